"""Reading weighing logs: CSV with a time and grams on each line."""

from __future__ import annotations

import csv
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from ..drying import Reading
from ..errors import FileError

MOST_BYTES = 1_000_000
FORM = "hours,grams (such as 12.5,6111), or a date and time (2031-05-04 18:30,6111)"

EPOCH = datetime(2000, 1, 1)
"""Dates count from here; only differences matter."""


def read_log(path: Path) -> tuple[Reading, ...]:
    """The readings of a log, hours counted from the first.

    Comma, semicolon or tab between the two; a line of headings, blank lines and lines that begin with
    # are passed over. Raises FileError for a file that cannot be read, and for a line that is no
    reading, naming the line.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise FileError(
                f"{path} is too large for a log of weighings.",
                code="log-size",
                remedy="Is it the right file?",
            )
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(
            f"The log {path} cannot be read: {getattr(error, 'strerror', None) or error}.",
            code="log-file",
            remedy="Look at its name and folder; save it as CSV in UTF-8.",
        ) from error
    dialect = next((mark for mark in "\t;" if mark in text), ",")
    found: list[tuple[float, float]] = []
    for number, row in enumerate(csv.reader(text.splitlines(), delimiter=dialect), 1):
        cells = [cell.strip() for cell in row if cell.strip()]
        if dialect != ",":
            cells = [cell.replace(",", ".") for cell in cells]  # 24,5 hours
        if not cells or cells[0].startswith("#"):
            continue
        try:
            found.append(_reading(cells))
        except (ValueError, IndexError):
            if not found and not any(cell[:1].isdigit() for cell in cells):
                continue  # headings
            raise FileError(
                f"Line {number} of {path.name} is no reading: {dialect.join(row)[:60]}.",
                code="log-line",
                remedy=f"Write {FORM}.",
            ) from None
    begin = found[0][0] if found else 0.0
    return tuple(Reading(hours - begin, grams) for hours, grams in found)


def _reading(cells: list[str]) -> tuple[float, float]:
    """Hours and grams of a line's cells."""
    when, grams = cells[0], float(cells[1])
    if not 0 < grams < 1e7:
        raise ValueError(grams)
    with suppress(ValueError):
        return float(when), grams
    try:
        stamp = datetime.fromisoformat(when)
    except ValueError:
        raise ValueError(when) from None
    if stamp.tzinfo is not None:
        stamp = stamp.astimezone(UTC).replace(tzinfo=None)
    return (stamp - EPOCH).total_seconds() / 3600, grams
