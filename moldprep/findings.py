"""What moldprep noticed on the way: level, code, sentence, place and cure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from .errors import Point

Level = Literal["stop", "warn", "note"]
"""`stop`: this mold would fail. `warn`: look before you pour. `note`: good to know."""

_RANK: dict[Level, int] = {"stop": 0, "warn": 1, "note": 2}


@dataclass(frozen=True)
class Finding:
    """One thing the maker should know.

    `code` is stable and kebab-case, so that other programs can rely on it. `says` names what and
    how much in one plain sentence. `where` are places in mm in the casting pose (before the
    casting pose is known: in the master's own axes). `remedy` is the cure, "" where none is needed.
    """

    level: Level
    code: str
    says: str
    where: tuple[Point, ...] = ()
    remedy: str = ""


def worst_first(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The findings with stops first, then warnings, then notes; otherwise in the order found."""
    return tuple(sorted(findings, key=lambda finding: _RANK[finding.level]))


def any_stop(findings: tuple[Finding, ...]) -> bool:
    """Whether one of the findings says that the mold would fail."""
    return any(finding.level == "stop" for finding in findings)
