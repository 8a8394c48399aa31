"""The studio's library as the page asks it: each question opens the file in a thread of its own and closes it."""

from __future__ import annotations

import asyncio
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

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
ByMold = defaultdict[Any, list[Entry[Any]]]

PATIENCE_S = 10.0
"""How long a question waits while another window writes: longer than dropping forms takes."""


@dataclass(frozen=True)
class KeptMold:
    """A mold and all that hangs on it. casts: in the order of entry; trials: how many; logs: the latest last, each
    in order of time; drying: where the latest log stands, or in words why nobody knows."""

    entry: Entry[Mold]
    life: MoldLife
    casts: tuple[Entry[CastRow], ...]
    trials: int
    logs: tuple[tuple[Entry[ReadingRow], ...], ...]
    drying: DryState | str


@dataclass(frozen=True)
class Holdings:
    """Everything that the library shows, as it stood at one moment, each kind in the order of entry.

    forms: sizes [bytes] of kept forms by their SHA-256.
    """

    jobs: tuple[Entry[SavedJob], ...]
    molds: tuple[KeptMold, ...]
    trials: tuple[Entry[TrialRow], ...]
    bars: tuple[Entry[BarRow], ...]
    forms: dict[str, int]


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
        molds = studio.entries("molds")
        trials: tuple[Entry[TrialRow], ...] = studio.entries("trials")
        casts, readings = _by_mold(studio.entries("casts")), _by_mold(studio.entries("readings"))
        lives = {life.mold.mark: life for life in studio.molds()}
        jobs, bars, forms = studio.entries("jobs"), studio.entries("bars"), studio.forms()
    tried = Counter(entry.row.mold for entry in trials)
    kept = (_kept(entry, lives[entry.row.mark], casts, tried[entry.row.mark], readings) for entry in molds)
    return Holdings(jobs, tuple(kept), trials, bars, forms)


def _kept(entry: Entry[Mold], life: MoldLife, casts: ByMold, trials: int, readings: ByMold) -> KeptMold:
    mark = entry.row.mark
    of_log: ByMold = defaultdict(list)
    for one in sorted(readings[mark], key=lambda one: (one.row.log, one.row.hours)):
        of_log[one.row.log].append(one)
    logs = tuple(tuple(log) for log in of_log.values())
    latest = tuple(one.row.reading for one in logs[-1]) if logs else ()
    return KeptMold(entry, life, tuple(casts[mark]), trials, logs, dried(life.mold, latest))


def _by_mold(entries: tuple[Entry[Any], ...]) -> ByMold:
    found: ByMold = defaultdict(list)
    for entry in entries:
        found[entry.row.mold].append(entry)
    return found
