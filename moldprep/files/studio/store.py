"""The library open: entering, reading, exporting and importing, each whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import astuple, dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any

import msgspec

from ...casting.trend import RateTrend, rate_trend
from ...drying import Reading
from ...errors import JobError
from ...job import Bar, Job, Trial
from .exchange import merged, read_contents, write_contents
from .rows import (
    KINDS,
    BarRow,
    CastRow,
    Contents,
    Mold,
    MoldLife,
    ReadingRow,
    SavedJob,
    TrialRow,
    checked,
    columns,
    record_text,
)
from .schema import change, opened, plainly

PATIENCE_S = 5.0
"""How long one window waits for another to finish writing."""
TRUTHS = ("kept", "upright")
"""Columns of yes and no, which SQLite keeps as 1 and 0."""


@dataclass(frozen=True)
class Imported:
    """added: entries that were new; completed: molds of which the file knew more; left: what stayed out,
    in words."""

    added: int
    completed: int
    left: tuple[str, ...]


class Studio:
    """A studio's library in one file, which is made when there is none. Belongs to the thread that opens it.

    Several processes may have it open; each change waits its turn. Raises FileError for a file that is
    damaged, of a newer version or of something else, and for one that another window keeps writing.
    """

    def __init__(self, path: Path, *, patience_s: float = PATIENCE_S) -> None:
        self._path = path
        self._connection = opened(path, patience_s)

    def __enter__(self) -> Studio:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the file free; closing twice does no harm."""
        self._connection.close()

    def save_job(self, name: str, job: Job | str, *, date: str = "") -> None:
        """Keep a job, or the TOML text of one, under a name; an earlier one of that name is replaced.

        Raises JobError for a text that is no job.
        """
        if isinstance(job, str):
            row = SavedJob(name, "toml", job, date)
        else:
            row = SavedJob(name, "json", msgspec.json.encode(job).decode(), date)
        _ = row.job
        with self._change():
            self._add(
                "jobs",
                row,
                "ON CONFLICT (name) DO UPDATE SET kind = excluded.kind, text = excluded.text, date = excluded.date",
            )

    def jobs(self) -> tuple[SavedJob, ...]:
        """All jobs, in the order in which their names were first used."""
        rows: tuple[SavedJob, ...] = self._rows("jobs")
        return rows

    def add_trial(
        self,
        trial: Trial,
        *,
        slip: str,
        mold: str | None = None,
        after_casts: int | None = None,
        date: str = "",
    ) -> None:
        """Keep a trial of a slip. after_casts: casts the mold had made by then; as many as are entered when
        left out. Raises JobError for a mold that is not registered."""
        with self._change():
            if mold is not None:
                self._mold(mold)
            made = after_casts if after_casts is not None else self._count("casts", mold)
            self._add("trials", TrialRow(trial.minutes, trial.wall_mm, slip, mold, made, date))

    def trials(self, *, mold: str | None = None, slip: str | None = None) -> tuple[Trial, ...]:
        """Trials in that mold and of that slip, or in any and of any, as `CastJob.trials` takes them."""
        return tuple(row.trial for row in self._rows("trials", mold=mold, slip=slip))

    def rate_trend(self, mold: str) -> tuple[RateTrend, ...]:
        """How the casting rate of a mold changes over its casts, for each slip, in order of their names.

        A slip whose trials do not lie apart by a cast has none.
        """
        with self._view():
            self._mold(mold)
            rows: tuple[TrialRow, ...] = self._rows("trials", mold=mold)
        found = []
        for slip in sorted({row.slip for row in rows}):
            own = [row for row in rows if row.slip == slip]
            found.append(rate_trend(slip, [row.after_casts for row in own], [row.trial for row in own]))
        return tuple(trend for trend in found if trend is not None)

    def add_bar(self, clay: str, bar: Bar, *, upright: bool = False, date: str = "") -> None:
        """Keep a measured bar of a clay; upright: it stood, and tells of the height."""
        with self._change():
            self._add("bars", BarRow(clay, upright, bar.wet_mm, bar.fired_mm, bar.dry_mm, date))

    def bars(self, clay: str, *, upright: bool = False) -> tuple[Bar, ...]:
        """Bars of a clay, as `ShrinkageJob` takes them: `bars`, or upright its `height_bars`."""
        return tuple(row.bar for row in self._rows("bars", clay=clay, upright=upright))

    def add_reading(self, mold: str, reading: Reading, *, date: str = "") -> None:
        """Keep a weighing of a mold; JobError for an hour that is taken, and a mold that is not registered."""
        with self._change():
            self._mold(mold)
            row = ReadingRow(mold, reading.hours, reading.grams, date)
            if self._rows("readings", mold=mold, hours=reading.hours):
                raise JobError(
                    f"{mold} was weighed at {reading.hours:g} h already.",
                    code="studio-hour",
                    remedy="Give another hour.",
                )
            self._add("readings", row)

    def log_of(self, mold: str) -> tuple[Reading, ...]:
        """The weighings of a mold in order of time, as `drying.dry_state` takes them."""
        rows: tuple[ReadingRow, ...] = self._rows("readings", mold=mold)
        return tuple(sorted((row.reading for row in rows), key=lambda reading: reading.hours))

    def register_mold(
        self,
        mark: str,
        *,
        form: str,
        pieces: int,
        plan: bytes | None = None,
        dry_g: float | None = None,
        date: str = "",
    ) -> None:
        """Enter a mold under the mark cast into it. plan: its record, kept byte by byte; dry_g: bone dry.

        Raises JobError for a mark that is taken, FileError for a plan that is no record.
        """
        text = None if plan is None else record_text(plan)
        with self._change():
            if self._rows("molds", mark=mark):
                raise JobError(
                    f"A mold {mark} is registered already.",
                    code="studio-mark",
                    remedy="Give this one a mark of its own.",
                )
            self._add("molds", Mold(mark, form, pieces, text, dry_g, date, None))

    def set_dry_weight(self, mold: str, grams: float) -> None:
        """Bone dry [g], as weighed."""
        with self._change():
            self._put(replace(self._mold(mold), dry_g=grams))

    def add_cast(self, mold: str, *, kept: bool, date: str = "") -> None:
        """Count a cast of a mold, kept or lost; JobError for a mold that is unknown or retired."""
        with self._change():
            self._in_use(mold)
            self._add("casts", CastRow(mold, kept, date))

    def retire(self, mold: str, *, date: str) -> None:
        """Give a mold up; JobError for one that is unknown or retired already."""
        with self._change():
            self._put(replace(self._in_use(mold), retired=date))

    def molds(self) -> tuple[MoldLife, ...]:
        """The register, in the order in which molds were entered."""
        with self._view():
            return tuple(
                MoldLife(
                    mold,
                    self._count("casts", mold.mark),
                    len(self._rows("casts", mold=mold.mark, kept=False)),
                    self.rate_trend(mold.mark),
                )
                for mold in self._rows("molds")
            )

    def contents(self) -> Contents:
        """Everything, as it stands at one moment."""
        with self._view():
            return Contents(**{kind: self._rows(kind) for kind in KINDS})

    def export_to(self, path: Path) -> None:
        """Write everything to one JSON file; see `exchange.write_contents`."""
        write_contents(path, self.contents())

    def import_from(self, path: Path) -> Imported:
        """Merge an exported file into the library; what is here stays. FileError, and nothing changed, for
        a file that is none."""
        there = read_contents(path)
        with self._change():
            found = merged(Contents(**{kind: self._rows(kind) for kind in KINDS}), there)
            for kind in KINDS:
                for row in getattr(found.added, kind):
                    self._add(kind, row)
            for mold in found.completed:
                self._put(mold)
        added = sum(len(getattr(found.added, kind)) for kind in KINDS)
        return Imported(added, len(found.completed), found.left)

    @contextmanager
    def _change(self) -> Iterator[None]:
        with plainly(self._path), change(self._connection):
            yield

    @contextmanager
    def _view(self) -> Iterator[None]:
        """All that is read within is of one moment."""
        if self._connection.in_transaction:
            yield
            return
        with plainly(self._path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                self._connection.execute("ROLLBACK")

    def _rows(self, kind: str, **where: str | float | None) -> Any:
        """Rows of a kind in the order of entry; a condition of None does not count."""
        given = {name: value for name, value in where.items() if value is not None}
        asked = "".join(f" AND {name} = ?" for name in given)
        names = columns(kind)
        with plainly(self._path):
            found = self._connection.execute(
                f"SELECT {', '.join(names)} FROM {kind} WHERE true{asked} ORDER BY rowid",
                tuple(given.values()),
            ).fetchall()
        made = KINDS[kind]
        return tuple(
            made(*(bool(value) if name in TRUTHS else value for name, value in zip(names, row, strict=True)))
            for row in found
        )

    def _count(self, kind: str, mold: str | None) -> int:
        (count,) = self._connection.execute(f"SELECT count(*) FROM {kind} WHERE mold = ?", (mold,)).fetchone()
        return int(count)

    def _add(self, kind: str, row: Any, otherwise: str = "") -> None:
        names = columns(kind)
        self._connection.execute(
            f"INSERT INTO {kind} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}) {otherwise}",
            astuple(checked(row)),
        )

    def _mold(self, mark: str) -> Mold:
        """The mold of a mark; JobError for one that is not registered, naming some that are."""
        found: tuple[Mold, ...] = self._rows("molds", mark=mark)
        if found:
            return found[0]
        marks = [mold.mark for mold in self._rows("molds")]
        known = f"Registered are {', '.join(marks[:8])}{', ...' if len(marks) > 8 else ''}."
        raise JobError(
            f"No mold {mark} is registered.",
            code="studio-mold",
            remedy=known if marks else "Register it first.",
        )

    def _in_use(self, mark: str) -> Mold:
        found = self._mold(mark)
        if found.retired is not None:
            raise JobError(
                f"The mold {mark} is retired{f' since {found.retired}' if found.retired else ''}.",
                code="studio-retired",
                remedy="Is it another mold's mark?",
            )
        return found

    def _put(self, mold: Mold) -> None:
        """Put a mold's entry in the place of the one of its mark."""
        whole = checked(mold)
        self._connection.execute(
            "UPDATE molds SET plan = ?, dry_g = ?, retired = ? WHERE mark = ?",
            (whole.plan, whole.dry_g, whole.retired, whole.mark),
        )
