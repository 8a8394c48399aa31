"""What the commands that do one step alone take from a plan's record."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from ..errors import FileError
from ..job import Job, job_from_dict

T = TypeVar("T")


def job_of(record: Path) -> Job:
    """The job that a plan was made with."""
    return job_from_dict(_taken(record, lambda found: dict(found["job"])))


def weights_of(record: Path, piece: str | None) -> tuple[float, float]:
    """Set and dry weight [g] of a piece by letter, or of the whole mold."""
    if piece is None:
        return _taken(record, lambda found: (float(found["wet_total_g"]), float(found["dry_total_g"])))
    return _taken(record, lambda found: _weights(_pour(found, piece)))


def solid_ml_of(record: Path, piece: str | None) -> float:
    """Plaster [mL] of a piece by letter, or of the whole mold."""
    if piece is None:
        return _taken(record, lambda found: sum(float(pour["solid_ml"]) for pour in found["pours"]))
    return _taken(record, lambda found: float(_pour(found, piece)["solid_ml"]))


def cast_of(record: Path) -> tuple[float, float]:
    """Slip to have ready [mL], and the wall [mm], of the plan's cast."""
    return _taken(
        record,
        lambda found: (float(found["casting"]["slip"]["volume_ml"]), float(found["casting"]["wall_mm"])),
    )


def _taken(record: Path, take: Callable[[dict[str, Any]], T]) -> T:
    """What `take` finds in a record; FileError for a file that is none."""
    try:
        return take(json.loads(record.read_bytes()))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise FileError(
            f"{record} is not the record of a plan.",
            code="record-file",
            remedy="Give the plan.json of a plan.",
        ) from error


def _weights(pour: dict[str, Any]) -> tuple[float, float]:
    return float(pour["wet_g"]), float(pour["dry_g"])


def _pour(found: dict[str, Any], piece: str) -> dict[str, Any]:
    """The pour of a piece; FileError for a letter that the plan does not have."""
    pours: dict[str, dict[str, Any]] = {str(pour["piece"]): pour for pour in found["pours"]}
    if piece.upper() not in pours:
        raise FileError(
            f"The plan has no piece {piece}.",
            code="record-piece",
            remedy=f"It has {', '.join(sorted(pours))}.",
        )
    return pours[piece.upper()]
