"""The studio's library as the page asks it: each question opens the file in a thread of its own and closes it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from ...drying import DryState
from ...errors import FileError
from ...files.studio import (
    BarRow,
    CastRow,
    Entry,
    Mold,
    MoldLife,
    ReadingRow,
    SavedJob,
    Studio,
    TrialRow,
)
from .keeping.words import dried

T = TypeVar("T")

KINDS = ("jobs", "molds", "casts", "trials", "bars", "readings")
"""In the order of `Holdings`."""
PATIENCE_S = 10.0
"""How long a question waits while another window writes: longer than dropping forms takes."""


@dataclass(frozen=True)
class Holdings:
    """Everything that the library shows, as it stood at one moment, each kind in the order of entry.

    lives: by mark; drying: by mark, by its latest log, or in words why nobody knows; forms: sizes [bytes] of kept
    forms by their SHA-256.
    """

    jobs: tuple[Entry[SavedJob], ...]
    molds: tuple[Entry[Mold], ...]
    casts: tuple[Entry[CastRow], ...]
    trials: tuple[Entry[TrialRow], ...]
    bars: tuple[Entry[BarRow], ...]
    readings: tuple[Entry[ReadingRow], ...]
    lives: dict[str, MoldLife]
    forms: dict[str, int]
    drying: dict[str, DryState | str]

    def logs(self, mark: str) -> tuple[tuple[Entry[ReadingRow], ...], ...]:
        """A mold's drying logs, the latest last, each in order of time."""
        return _logs(self.readings, mark)


class Library:
    """One library's file. It is made, with the folders that it lies in, when it is first asked."""

    def __init__(self, path: Path, *, patience_s: float = PATIENCE_S) -> None:
        self.path = path
        self._patience_s = patience_s

    async def ask(self, question: Callable[[Studio], T]) -> T:
        """What a question or a change gives; FileError and JobError come through as they are.

        An open `Studio` belongs to one thread, so the question runs in that which opens it, and must hand out
        finished values. A change that has begun is finished, whatever becomes of who awaits it.
        """
        return await asyncio.to_thread(self._asked, question)

    async def holdings(self) -> Holdings:
        """Everything that the page shows."""
        return await self.ask(_holdings)

    def _asked(self, question: Callable[[Studio], T]) -> T:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise FileError(
                f"The studio's library {self.path} cannot be made: {error.strerror or error}.",
                code="studio-file",
                remedy="Look at its folder, its permissions and the room on the disk.",
            ) from error
        with Studio(self.path, patience_s=self._patience_s) as studio:
            return question(studio)


def _holdings(studio: Studio) -> Holdings:
    with studio.moment():
        jobs, molds, casts, trials, bars, readings = map(studio.entries, KINDS)
        lives = {life.mold.mark: life for life in studio.molds()}
        forms = studio.forms()
    drying = {}
    for mark, life in lives.items():
        logs = _logs(readings, mark)
        drying[mark] = dried(life.mold, tuple(entry.row.reading for entry in logs[-1]) if logs else ())
    return Holdings(jobs, molds, casts, trials, bars, readings, lives, forms, drying)


def _logs(readings: tuple[Entry[ReadingRow], ...], mark: str) -> tuple[tuple[Entry[ReadingRow], ...], ...]:
    own = [entry for entry in readings if entry.row.mold == mark]
    numbers = sorted({entry.row.log for entry in own})
    return tuple(
        tuple(sorted((one for one in own if one.row.log == number), key=lambda one: one.row.hours))
        for number in numbers
    )
