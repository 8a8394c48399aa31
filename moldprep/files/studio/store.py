"""The library open: entering, reading, exporting and importing, each whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path
from types import TracebackType
from typing import Any

import msgspec

from ...casting.trend import RateTrend, rate_trend
from ...drying import Reading
from ...errors import JobError
from ...job import Bar, Job, Trial
from .exchange import merged, read_contents, write_contents
from .forms import give_room_back, packed, unpacked
from .rows import (
    KINDS,
    BarRow,
    CastRow,
    Contents,
    Entry,
    Mold,
    MoldLife,
    ReadingRow,
    Row,
    SavedJob,
    TrialRow,
    checked,
    columns,
    digest_of_record,
    record_text,
)
from .schema import change, opened, plainly

PATIENCE_S = 5.0
"""How long one window waits for another to finish writing."""
TRUTHS = ("kept", "upright")
"""Columns of yes and no, which SQLite keeps as 1 and 0."""
HANGING = {"casts": ("cast", "casts"), "trials": ("trial", "trials"), "readings": ("weighing", "weighings")}
"""Kinds whose entries hang on a mold, as one says of one and of several."""


@dataclass(frozen=True)
class Imported:
    """added: entries that were new; completed: jobs and molds of which the file knew more; left: what stayed out,
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

    def save_job(
        self,
        name: str,
        job: Job | str,
        *,
        form: str | None = None,
        digest: str | None = None,
        record: bytes | None = None,
        date: str = "",
    ) -> None:
        """Keep a job, or the TOML text of one, under a name; an earlier one of that name is replaced.

        form, digest: name and SHA-256 of the form's file; record: of the plan that the two gave, kept byte by
        byte. Raises JobError for a text that is no job, FileError for a record that is none.
        """
        kind = "toml" if isinstance(job, str) else "json"
        text = job if isinstance(job, str) else msgspec.json.encode(job).decode()
        told = None if record is None else record_text(record)
        row = SavedJob(name, kind, text, date, form, digest, told)  # type: ignore[arg-type]
        _ = row.job
        changed = ", ".join(f"{column} = excluded.{column}" for column in columns("jobs") if column != "name")
        with self._change():
            self._add("jobs", row, f"ON CONFLICT (name) DO UPDATE SET {changed}")

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
        with self.moment():
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

    def add_reading(self, mold: str, reading: Reading, *, anew: bool = False, date: str = "") -> None:
        """Keep a weighing of a mold in its latest log. anew: a new log begins with it, as after a day of casting.

        Raises JobError for an hour that is taken, and a mold that is not registered.
        """
        with self._change():
            self._mold(mold)
            latest = max((row.log for row in self._rows("readings", mold=mold)), default=0)
            log = max(latest, 1) + (1 if anew and latest else 0)
            row = ReadingRow(mold, reading.hours, reading.grams, date, log)
            self._check_hour(row)
            self._add("readings", row)

    def log_of(self, mold: str, *, log: int | None = None) -> tuple[Reading, ...]:
        """The weighings of a mold's latest log, or of that one, in order of time, as `drying.dry_state` takes
        them; none for a log that it does not have."""
        rows: tuple[ReadingRow, ...] = self._rows("readings", mold=mold)
        asked = log if log is not None else max((row.log for row in rows), default=0)
        own = (row.reading for row in rows if row.log == asked)
        return tuple(sorted(own, key=lambda reading: reading.hours))

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
            self._check_mark(mark)
            self._add("molds", Mold(mark, form, pieces, text, dry_g, date, None))

    def set_dry_weight(self, mold: str, grams: float) -> None:
        """Bone dry [g], as weighed."""
        with self._change():
            self._put(checked(replace(self._mold(mold), dry_g=grams)))

    def add_cast(self, mold: str, *, kept: bool, date: str = "") -> None:
        """Count a cast of a mold, kept or lost; JobError for a mold that is unknown or retired."""
        with self._change():
            self._in_use(mold)
            self._add("casts", CastRow(mold, kept, date))

    def retire(self, mold: str, *, date: str) -> None:
        """Give a mold up; JobError for one that is unknown or retired already."""
        with self._change():
            self._put(checked(replace(self._in_use(mold), retired=date)))

    def molds(self) -> tuple[MoldLife, ...]:
        """The register, in the order in which molds were entered."""
        with self.moment():
            return tuple(
                MoldLife(
                    mold,
                    self._count("casts", mold.mark),
                    len(self._rows("casts", mold=mold.mark, kept=False)),
                    self.rate_trend(mold.mark),
                )
                for mold in self._rows("molds")
            )

    def entries(self, kind: str) -> tuple[Entry[Any], ...]:
        """All rows of a kind ("jobs", "molds", "casts", "trials", "bars", "readings"), as `take_back` and
        `correct` take them, in the order in which they were entered."""
        with plainly(self._path):
            found = self._connection.execute(
                f"SELECT rowid, {', '.join(columns(kind))} FROM {kind} ORDER BY rowid"
            ).fetchall()
        return tuple(Entry(kind, number, _made(kind, row)) for number, *row in found)

    def take_back(self, entry: Entry[Any], *, along: bool = False) -> int:
        """Remove an entry, as if it had never been made; how many went. along: of a mold with all that hangs on it.

        Trials keep the number of casts that they were entered with. Raises JobError for an entry that was
        changed or removed since it was read, and for a mold on which something hangs.
        """
        with self._change():
            self._check_still(entry)
            gone = 1
            if isinstance(entry.row, Mold):
                hanging = self._hanging(entry.row.mark)
                if hanging and not along:
                    raise _hangs(entry.row.mark, hanging, "Take that back first, or all of it with the mold.")
                for kind in hanging:
                    self._connection.execute(f"DELETE FROM {kind} WHERE mold = ?", (entry.row.mark,))
                gone += sum(hanging.values())
            self._connection.execute(f"DELETE FROM {entry.kind} WHERE rowid = ?", (entry.number,))
        return gone

    def correct(self, entry: Entry[Row], row: Row, *, along: bool = False) -> None:
        """Put a row in the place of one that was read. along: what hangs on a mold follows it to another mark.

        Raises JobError as `take_back`, for what makes no entry, and for a name, a mark or an hour that is taken.
        """
        with self._change():
            self._check_still(entry)
            whole: SavedJob | Mold | CastRow | TrialRow | BarRow | ReadingRow = checked(row)
            was: Any = entry.row
            if isinstance(whole, SavedJob):
                _ = whole.job
                self._check_name(whole.name, was.name)
            elif isinstance(whole, Mold):
                if whole.mark != was.mark:
                    self._move(was.mark, whole.mark, along)
            elif not isinstance(whole, BarRow) and whole.mold is not None:
                self._mold(whole.mold)
            if isinstance(whole, ReadingRow) and _hour(whole) != _hour(was):
                self._check_hour(whole)
            self._write(entry.kind, entry.number, whole)

    def keep_form(self, name: str, data: bytes) -> str:
        """Keep the file of a form for the jobs and molds that name its SHA-256, which is returned.

        One that is kept already stays as it is. Raises FileError for one that is too large.
        """
        row = packed(name, data)
        with self._change():
            self._connection.execute("INSERT OR IGNORE INTO forms VALUES (?, ?, ?, ?)", row)
        return row[0]

    def form(self, digest: str) -> tuple[str, bytes] | None:
        """Name and bytes of a kept form; None for one that is not kept, FileError for one that is damaged."""
        with plainly(self._path):
            found = self._connection.execute(
                "SELECT name, bytes, data FROM forms WHERE digest = ?", (digest,)
            ).fetchone()
        return None if found is None else (found[0], unpacked(self._path, digest, *found[1:]))

    def forms(self) -> dict[str, int]:
        """Size [bytes] of each kept form, by its SHA-256."""
        with plainly(self._path):
            return dict(self._connection.execute("SELECT digest, bytes FROM forms ORDER BY rowid").fetchall())

    def drop_forms(self) -> int:
        """Give up kept forms that no job and no mold's plan names any more; how many."""
        with self._change():
            needed = {job.digest for job in self.jobs()}
            needed |= {digest_of_record(mold.plan) for mold in self._rows("molds") if mold.plan is not None}
            idle = [digest for digest in self.forms() if digest not in needed]
            self._connection.executemany("DELETE FROM forms WHERE digest = ?", [(digest,) for digest in idle])
        if idle:
            with plainly(self._path):
                give_room_back(self._connection)
        return len(idle)

    def contents(self) -> Contents:
        """Everything, as it stands at one moment."""
        with self.moment():
            return Contents(**{kind: self._rows(kind) for kind in KINDS})

    def export_to(self, path: Path) -> None:
        """Write everything but kept forms to one JSON file; see `exchange.write_contents`."""
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
            for whole in found.completed:
                self._put(whole)
        added = sum(len(getattr(found.added, kind)) for kind in KINDS)
        return Imported(added, len(found.completed), found.left)

    @contextmanager
    def moment(self) -> Iterator[None]:
        """All that is read within is of one moment, whatever other windows write."""
        if self._connection.in_transaction:
            yield
            return
        with plainly(self._path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                self._connection.execute("ROLLBACK")

    @contextmanager
    def _change(self) -> Iterator[None]:
        with plainly(self._path), change(self._connection):
            yield

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
        return tuple(_made(kind, row) for row in found)

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

    def _put(self, row: SavedJob | Mold) -> None:
        """Put a job or a mold in the place of the one of its name or mark."""
        kind, key, name = ("molds", "mark", row.mark) if isinstance(row, Mold) else ("jobs", "name", row.name)
        found = self._connection.execute(f"SELECT rowid FROM {kind} WHERE {key} = ?", (name,)).fetchone()
        self._write(kind, found[0], row)

    def _write(self, kind: str, number: int, row: Any) -> None:
        asked = ", ".join(f"{name} = ?" for name in columns(kind))
        self._connection.execute(f"UPDATE {kind} SET {asked} WHERE rowid = ?", (*astuple(row), number))

    def _move(self, mark: str, other: str, along: bool) -> None:
        """Let what hangs on a mold follow it to another mark, which it takes within the same change."""
        self._check_mark(other)
        hanging = self._hanging(mark)
        if hanging and not along:
            raise _hangs(mark, hanging, "Take that back first, or let it follow the mold to its new mark.")
        self._connection.execute("PRAGMA defer_foreign_keys = ON")
        for kind in hanging:
            self._connection.execute(f"UPDATE {kind} SET mold = ? WHERE mold = ?", (other, mark))

    def _hanging(self, mark: str) -> dict[str, int]:
        """How many entries of each kind hang on a mold; kinds of which there are none are left out."""
        return {kind: count for kind in HANGING if (count := self._count(kind, mark))}

    def _check_still(self, entry: Entry[Any]) -> None:
        names = columns(entry.kind)
        found = self._connection.execute(
            f"SELECT {', '.join(names)} FROM {entry.kind} WHERE rowid = ?", (entry.number,)
        ).fetchone()
        if found is None or _made(entry.kind, found) != entry.row:
            raise JobError(
                "That entry was changed or removed by another window.",
                code="studio-changed",
                remedy="Look at it as it is now.",
            )

    def _check_name(self, name: str, was: str) -> None:
        if name != was and self._rows("jobs", name=name):
            raise JobError(f"Another job is named {name}.", code="studio-name", remedy="Give another name.")

    def _check_mark(self, mark: str) -> None:
        if self._rows("molds", mark=mark):
            raise JobError(
                f"A mold {mark} is registered already.",
                code="studio-mark",
                remedy="Give this one a mark of its own.",
            )

    def _check_hour(self, row: ReadingRow) -> None:
        if self._rows("readings", mold=row.mold, log=row.log, hours=row.hours):
            raise JobError(
                f"{row.mold} was weighed at {row.hours:g} h already.",
                code="studio-hour",
                remedy="Give another hour.",
            )


def _made(kind: str, values: Any) -> Any:
    """The row of a kind from its columns' values."""
    made = KINDS[kind]
    return made(
        *(
            bool(value) if field.name in TRUTHS else value
            for field, value in zip(fields(made), values, strict=True)
        )
    )


def _hour(row: ReadingRow) -> tuple[str, int, float]:
    return row.mold, row.log, row.hours


def _hangs(mark: str, hanging: dict[str, int], remedy: str) -> JobError:
    *most, last = [f"{count} {HANGING[kind][count > 1]}" for kind, count in hanging.items()]
    told = f"{', '.join(most)} and {last}" if most else last
    return JobError(f"The mold {mark} has {told}.", code="studio-hangs", remedy=remedy)
