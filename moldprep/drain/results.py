"""What a plan says about draining: tilts, puddles, holds, pictures."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from shapely.geometry.base import BaseGeometry

from ..errors import Point
from ..findings import Finding


@dataclass(frozen=True)
class Tilt:
    """One way to hold the mold, and the slip that stays: in all."""

    tilt_deg: float
    azimuth_deg: float
    left_ml: float


@dataclass(frozen=True)
class Stays:
    """A puddle or a pocket: its deepest (of air: highest) place, casting pose, and how much."""

    where: Point
    ml: float


@dataclass(frozen=True)
class Hold:
    """How the emptied mold stands, opening down.

    way: "slats", two of them across the azimuth, `SLAT_MM` in from the edges, or "bevel", on the flat cut
    into its outer edge. prop_mm: how much higher one edge of its face then lies than the other. margin_mm: how far the
    centre of mass (plaster wet, clay film in it) stands within what it rests on; negative when it topples.
    """

    way: Literal["slats", "bevel"]
    tilt: Tilt
    prop_mm: float
    margin_mm: float


@dataclass(frozen=True, eq=False)
class Section:
    """The hollow cut along the azimuth, through the largest puddle: outlines in (u, z).

    u runs along the azimuth from the point `middle` (x, y), z as in the casting pose; liquid runs along
    (sin tilt, cos tilt).
    """

    tilt: Tilt
    middle: tuple[float, float]
    hollow: BaseGeometry = field(repr=False)
    puddles: BaseGeometry = field(repr=False)


@dataclass(frozen=True, eq=False)
class Drain:
    """How the cast drains.

    straight: opening straight down. tilts: left at each tilt tried, at the azimuth of `best`. least: the
    least tilt that leaves no more than the job allows; None when none does. best: that, or where least
    stays. stays: at `best`, largest first. holds: on slats, and on the bevel when the pieces have one. pockets: air
    shut in when the mold is filled upright. gulps: whether air has to bubble in past the slip. sections:
    straight down, and at `best`.
    """

    straight: Tilt
    tilts: tuple[Tilt, ...]
    least: Tilt | None
    best: Tilt
    stays: tuple[Stays, ...]
    holds: tuple[Hold, ...]
    pockets: tuple[Stays, ...]
    gulps: bool
    sections: tuple[Section, Section]
    findings: tuple[Finding, ...] = ()
