"""A library as one JSON file, and how such a file is merged into a library.

Jobs and molds go by their names, readings by mold, log and hour. Casts, trials and bars have no name: of
equal ones a merge leaves as many as the richer side has, so that importing twice adds nothing. Kept forms
stay out of the file: it is to be small enough to read and to send.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections import Counter
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from ...errors import FileError, RequestError
from .rows import KINDS, CastRow, Contents, Mold, ReadingRow, Row, SavedJob, TrialRow, checked

FORMAT = "moldprep-studio/2"
EARLIER = "moldprep-studio/1"
"""One log a mold, and jobs without their form's name and record."""
MOST_BYTES = 256_000_000


@dataclass(frozen=True)
class Merge:
    """What a file brings: entries to add, jobs and molds to complete, and what stays out because the library
    says otherwise, in words."""

    added: Contents
    completed: tuple[SavedJob | Mold, ...]
    left: tuple[str, ...]


def write_contents(path: Path, contents: Contents) -> None:
    """Write the file, whole or not at all: the same bytes for the same contents.

    An earlier export in that place is replaced. Raises FileError where anything else lies, and for a
    place that cannot be written.
    """
    data = json.dumps({"format": FORMAT, **asdict(contents)}, indent=1, ensure_ascii=False).encode()
    if (path.exists() or path.is_symlink()) and not _is_export(path):
        raise FileError(
            f"{path} is there already and is no export of a studio.",
            code="export-exists",
            remedy="Name another file, or move it away.",
        )
    try:
        handle, beside = tempfile.mkstemp(prefix=".moldprep-", dir=path.absolute().parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(beside, path)
        except BaseException:
            with suppress(OSError):
                os.unlink(beside)
            raise
    except OSError as error:
        raise FileError(
            f"{path} cannot be written: {error.strerror or error}.",
            code="export-unwritable",
            remedy="Choose another place.",
        ) from error


def read_contents(path: Path) -> Contents:
    """What an export holds, each entry checked; FileError for any other file."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _no_export(path, "it is too large")
        raw = json.loads(path.read_bytes())
    except OSError as error:
        raise FileError(
            f"{path} cannot be read: {error.strerror or error}.",
            code="import-file",
            remedy="Look at its name and folder.",
        ) from error
    except (ValueError, RecursionError) as error:
        raise _no_export(path, "it is not JSON") from error
    name = str(raw.pop("format", "")) if isinstance(raw, dict) else ""
    if name not in (FORMAT, EARLIER):
        says = f"its format is {name[:40]!r}" if name else "it does not say its format"
        raise _no_export(path, f"{says}, not {FORMAT}")
    missing = [kind for kind in KINDS if kind not in raw]
    if missing:
        raise _no_export(path, f"it has no {missing[0]}")
    if name == EARLIER:
        raw = _brought_forward(raw)
    try:
        found = msgspec.convert(raw, Contents)
        for kind in KINDS:
            for row in getattr(found, kind):
                checked(row)
    except (msgspec.ValidationError, RequestError) as error:
        raise _no_export(path, getattr(error, "says", str(error))) from error
    if asdict(found) != {kind: tuple(rows) for kind, rows in raw.items()}:
        raise _no_export(path, "it holds what this version does not know")
    _check_names(path, found)
    return found


def merged(here: Contents, there: Contents) -> Merge:
    """What the contents of a file add to those of a library. What the library has stays as it is."""
    left: list[str] = []
    jobs, whole_jobs = _jobs_met(here, there, left)
    molds, whole_molds, strangers = _molds_met(here, there, left)
    weighed = {(row.mold, row.log, row.hours): row.grams for row in here.readings}
    readings = []
    for row in there.readings:
        if row.mold in strangers:
            continue
        grams = weighed.get((row.mold, row.log, row.hours))
        if grams is None:
            readings.append(row)
        elif grams != row.grams:
            left.append(
                f"a weighing of {row.mold} at {row.hours:g} h in its log {row.log}: {grams:g} g here, "
                f"{row.grams:g} g there"
            )
    added = Contents(
        jobs=tuple(job for job in there.jobs if job.name not in jobs),
        molds=tuple(mold for mold in there.molds if mold.mark not in molds),
        casts=_beyond(here.casts, (row for row in there.casts if row.mold not in strangers)),
        trials=_beyond(here.trials, (row for row in there.trials if row.mold not in strangers)),
        bars=_beyond(here.bars, there.bars),
        readings=tuple(readings),
    )
    return Merge(added, (*whole_jobs, *whole_molds), tuple(left))


def _jobs_met(here: Contents, there: Contents, left: list[str]) -> tuple[set[str], list[SavedJob]]:
    """Names in use here, and jobs of the file's names that it completes."""
    jobs, completed = {job.name: job for job in here.jobs}, []
    for job in there.jobs:
        ours = jobs.get(job.name, job)
        forms = {ours.digest, job.digest} - {None}
        if (ours.kind, ours.text) != (job.kind, job.text) or len(forms) > 1:
            left.append(f"job {job.name}: another one has that name here")
            continue
        whole = _job_completed(ours, job)
        if whole != ours:
            completed.append(whole)
        if replace(whole, date=job.date) != _job_completed(job, whole):
            left.append(f"job {job.name}: its record or its form's name is another here")
    return set(jobs), completed


def _molds_met(here: Contents, there: Contents, left: list[str]) -> tuple[set[str], list[Mold], set[str]]:
    """Marks in use here, molds of the file's marks that it completes, and marks that are other molds there."""
    molds, completed, strangers = {mold.mark: mold for mold in here.molds}, [], set()
    for mold in there.molds:
        known = molds.get(mold.mark, mold)
        if _differ(known, mold):
            strangers.add(mold.mark)
            left.append(f"mold {mold.mark} and all of its entries: another mold has that mark here")
            continue
        whole = _completed(known, mold)
        if whole != known:
            completed.append(whole)
        if replace(whole, date=mold.date) != _completed(mold, whole):
            left.append(f"mold {mold.mark}: its dry weight or retirement is another here")
    return set(molds), completed, strangers


def _beyond(here: Iterable[Row], there: Iterable[Row]) -> tuple[Row, ...]:
    """Rows of `there`, in their order, of which `here` has fewer."""
    spare, found = Counter(here), []
    for row in there:
        if spare[row]:
            spare[row] -= 1
        else:
            found.append(row)
    return tuple(found)


def _differ(ours: Mold, theirs: Mold) -> bool:
    """Two molds of one mark, not one mold twice."""
    plans = {ours.plan, theirs.plan} - {None}
    return (ours.form, ours.pieces) != (theirs.form, theirs.pieces) or len(plans) > 1


def _completed(ours: Mold, theirs: Mold) -> Mold:
    """Ours, with what only theirs knows."""
    return replace(
        ours,
        plan=ours.plan if ours.plan is not None else theirs.plan,
        dry_g=ours.dry_g if ours.dry_g is not None else theirs.dry_g,
        retired=ours.retired if ours.retired is not None else theirs.retired,
    )


def _job_completed(ours: SavedJob, theirs: SavedJob) -> SavedJob:
    """Ours, with what only theirs knows."""
    return replace(
        ours,
        form=ours.form if ours.form is not None else theirs.form,
        digest=ours.digest if ours.digest is not None else theirs.digest,
        record=ours.record if ours.record is not None else theirs.record,
    )


def _brought_forward(raw: dict[str, Any]) -> dict[str, Any]:
    """An earlier export as one of today; what does not fit is left for the check to find."""
    added: dict[str, dict[str, Any]] = {
        "jobs": {"form": None, "digest": None, "record": None},
        "readings": {"log": 1},
    }
    return {
        kind: [{**added[kind], **row} if isinstance(row, dict) else row for row in rows]
        if kind in added and isinstance(rows, list)
        else rows
        for kind, rows in raw.items()
    }


def _check_names(path: Path, found: Contents) -> None:
    """Names stand once each, and what hangs on a mold has it."""
    marks = {mold.mark for mold in found.molds}
    hanging: tuple[CastRow | TrialRow | ReadingRow, ...] = (*found.casts, *found.trials, *found.readings)
    for row in hanging:
        if row.mold is not None and row.mold not in marks:
            raise _no_export(path, f"it speaks of a mold {row.mold} that is not in it")
    keys: tuple[list[Any], ...] = (
        [job.name for job in found.jobs],
        [mold.mark for mold in found.molds],
        [(row.mold, row.log, row.hours) for row in found.readings],
    )
    for names in keys:
        twice = [name for name, count in Counter(names).items() if count > 1]
        if twice:
            raise _no_export(path, f"{twice[0]} is in it twice")


def _is_export(path: Path) -> bool:
    try:
        read_contents(path)
    except RequestError:
        return False
    return True


def _no_export(path: Path, says: str) -> FileError:
    return FileError(
        f"{path.name} is no export of a studio that can be read: {says}.",
        code="import-format",
        remedy="Give a file that a studio's library was exported to; nothing was changed.",
    )
