"""What the library holds, row by row; each entry is checked before it is kept.

Dates are the caller's text, kept as they are: nothing here reads a clock or a calendar.
"""

from __future__ import annotations

import json
import math
import unicodedata
from dataclasses import dataclass, fields
from typing import Annotated, Any, Generic, Literal, TypeVar

import msgspec
from msgspec import Meta

from ...casting.trend import RateTrend
from ...drying import Reading
from ...errors import FileError, JobError
from ...job import Bar, Job, Trial, job_from_dict, job_from_toml

Name = Annotated[str, Meta(min_length=1, max_length=200)]
Text = Annotated[str, Meta(max_length=200)]
Grams = Annotated[float, Meta(gt=0, lt=1e7)]
Casts = Annotated[int, Meta(ge=0, le=1_000_000)]
Record = Annotated[str, Meta(max_length=20_000_000)]

LONG = ("text", "plan", "record")
"""Fields of many lines; all others stand on one."""
RECORD_FORMAT = "moldprep-plan/"


@dataclass(frozen=True)
class SavedJob:
    """A job under a name, as the maker's TOML or as JSON.

    form, digest: name and SHA-256 of the file of the form that it was saved with; record: that plan's, word
    for word. None where it was saved without.
    """

    name: Name
    kind: Literal["toml", "json"]
    text: Annotated[str, Meta(max_length=1_000_000)]
    date: Text
    form: Name | None = None
    digest: Annotated[str, Meta(pattern=r"\A[0-9a-f]{64}\Z")] | None = None
    record: Record | None = None

    @property
    def job(self) -> Job:
        """Raises JobError for a text that does not fit this version's jobs."""
        return job_from_toml(self.text) if self.kind == "toml" else job_from_dict(json.loads(self.text))


@dataclass(frozen=True)
class Mold:
    """An entry of the register. mark: what is cast into it; plan: its record, word for word; dry_g: bone
    dry; date: when it was made; retired: when it was given up, None while it is in use."""

    mark: Name
    form: Text
    pieces: Annotated[int, Meta(ge=1, le=100)]
    plan: Record | None
    dry_g: Grams | None
    date: Text
    retired: Text | None


@dataclass(frozen=True)
class CastRow:
    """One cast of a mold: kept, or lost."""

    mold: Name
    kept: bool
    date: Text


@dataclass(frozen=True)
class TrialRow:
    """A trial of a slip, in a registered mold or none; after_casts: how many that mold had made before."""

    minutes: float
    wall_mm: float
    slip: Name
    mold: Name | None
    after_casts: Casts
    date: Text

    @property
    def trial(self) -> Trial:
        return msgspec.convert({"minutes": self.minutes, "wall_mm": self.wall_mm}, Trial)


@dataclass(frozen=True)
class BarRow:
    """A measured bar of a clay; upright: it tells of the height."""

    clay: Name
    upright: bool
    wet_mm: float
    fired_mm: float
    dry_mm: float | None
    date: Text

    @property
    def bar(self) -> Bar:
        raw = {"wet_mm": self.wet_mm, "fired_mm": self.fired_mm, "dry_mm": self.dry_mm}
        return msgspec.convert(raw, Bar)


@dataclass(frozen=True)
class ReadingRow:
    """One weighing of a mold, hours since its log began; log: which of the mold's logs, counted from 1."""

    mold: Name
    hours: Annotated[float, Meta(ge=-1e6, le=1e6)]
    grams: Grams
    date: Text
    log: Annotated[int, Meta(ge=1, le=1_000_000)] = 1

    @property
    def reading(self) -> Reading:
        return Reading(self.hours, self.grams)


@dataclass(frozen=True)
class Contents:
    """Everything in a library, each kind in the order in which it was entered."""

    jobs: tuple[SavedJob, ...] = ()
    molds: tuple[Mold, ...] = ()
    casts: tuple[CastRow, ...] = ()
    trials: tuple[TrialRow, ...] = ()
    bars: tuple[BarRow, ...] = ()
    readings: tuple[ReadingRow, ...] = ()


@dataclass(frozen=True)
class MoldLife:
    """A mold and what became of it: casts made, those of them that were lost, trends slip by slip."""

    mold: Mold
    casts: int
    losses: int
    trends: tuple[RateTrend, ...]


Row = TypeVar("Row", SavedJob, Mold, CastRow, TrialRow, BarRow, ReadingRow)


@dataclass(frozen=True)
class Entry(Generic[Row]):
    """A row as it was read, and where it stands in the library: what is taken back or corrected."""

    kind: str
    number: int
    row: Row


KINDS: dict[str, type[Any]] = {
    "jobs": SavedJob,
    "molds": Mold,
    "casts": CastRow,
    "trials": TrialRow,
    "bars": BarRow,
    "readings": ReadingRow,
}
"""Parts of `Contents`, which are the library's tables too; molds stand before what hangs on them."""


def columns(kind: str) -> tuple[str, ...]:
    """Fields of a kind's rows, in order."""
    return tuple(field.name for field in fields(KINDS[kind]))


def checked(row: Row) -> Row:
    """The row, whole numbers made floats where floats belong; JobError for what makes no entry."""
    values = {field.name: getattr(row, field.name) for field in fields(row)}
    for name, value in values.items():
        if isinstance(value, float) and not math.isfinite(value):
            raise _no_entry(f"{name} is {value}")
        if isinstance(value, str):
            _check_text(name, value)
    try:
        found = msgspec.convert(values, type(row))
        if isinstance(found, TrialRow):
            _ = found.trial
        if isinstance(found, BarRow):
            _ = found.bar
    except msgspec.ValidationError as error:
        raise _no_entry(str(error)) from error
    plan = found.plan if isinstance(found, Mold) else found.record if isinstance(found, SavedJob) else None
    if plan is not None:
        _record(plan)
    return found


def job_of_record(record: bytes | str) -> Job:
    """The job that a plan's record (plan.json) was made for; planned again it gives the same record.

    Raises FileError for what is no record, JobError for a job that this version does not know.
    """
    job = _record(record).get("job")
    if not isinstance(job, dict):
        raise _no_record("it holds no job")
    return job_from_dict(job)


def digest_of_record(record: bytes | str) -> str | None:
    """SHA-256 of the file whose form a plan's record (plan.json) tells of; FileError for what is no record."""
    master = _record(record).get("master")
    digest = master.get("source_sha256") if isinstance(master, dict) else None
    return digest if isinstance(digest, str) else None


def record_text(record: bytes) -> str:
    """A plan's record as text, which encodes to the same bytes; FileError for what is none."""
    try:
        text = record.decode()
    except UnicodeDecodeError as error:
        raise _no_record("it is not text in UTF-8") from error
    _record(text)
    return text


def _record(record: bytes | str) -> dict[str, Any]:
    try:
        found = json.loads(record)
    except (ValueError, RecursionError) as error:
        raise _no_record("it is not JSON") from error
    if not isinstance(found, dict) or not str(found.get("format", "")).startswith(RECORD_FORMAT):
        raise _no_record("its format is another")
    return found


def _check_text(name: str, value: str) -> None:
    """Names are printed and compared: none is blank, breaks the line or cannot be written."""
    try:
        value.encode()
    except UnicodeEncodeError as error:
        odd = value[error.start]
    else:
        if name in LONG:
            return
        odd = next((mark for mark in value if unicodedata.category(mark) in ("Cc", "Zl", "Zp")), "")
    if odd:
        raise _no_entry(f"{name} holds a character that cannot be written (U+{ord(odd):04X})")
    if value and not value.strip():
        raise _no_entry(f"{name} is blank")


def _no_entry(says: str) -> JobError:
    return JobError(
        f"That makes no entry in the studio's library: {says}.",
        code="studio-entry",
        remedy="Correct it and enter it again.",
    )


def _no_record(says: str) -> FileError:
    return FileError(
        f"That is not the record of a plan: {says}.",
        code="record-file",
        remedy="Give the plan.json of a plan.",
    )
