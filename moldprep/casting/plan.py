"""Stage 13: the cast: time for the wall, slip, level, what the plaster takes, and what a bucket yields."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from scipy.spatial import ConvexHull

from ..findings import Finding
from ..formulas.drying import constant_rate_hours, falling_rate_hours
from ..formulas.filtration import wall_in_hollow_mm, wall_on_boss_mm
from ..geometry.outlines import section
from ..inside import Inside, Weights
from ..job import CastJob, CastMode, PlasterJob
from ..materials import (
    AIR_DRYING,
    CAST_DEMOLD,
    CAST_WALL,
    DISCARDED,
    DRAIN,
    SHEEN,
    SHELF_DRYING,
    START_WATER,
    TRIM,
    WORKABLE_WATER,
    Range,
)
from ..pieces import Pieces
from ..pour import PourPlan
from ..stand import Stand
from ..working import SILENT, Memo, Watch
from .absorption import Absorption, absorption, outside_of
from .rate import CastRate, cast_rate
from .slip import LevelDrop, SlipMix, casts_a_bucket, level_drop, slip_needed

CRITICAL_WATER = 0.10
"""Where the drying rate of plaster begins to fall, on dry weight: the middle of 5-20 % (our judgement)."""
MOST_TOP_UPS = 3
"""More top-ups than this keep a maker at the mold."""


@dataclass(frozen=True)
class CurvedWalls:
    """The wall where the mold is curved, when it is right on a flat.

    hollow: of the narrower of opening and throat, whose radius is `hollow_radius_mm`; thicker. boss: on the
    plaster that reaches into the foot's recess; thinner; None without one. Handles and other small parts
    are not in it: those that turn solid are told by `Inside.closing`.
    """

    flat_mm: float
    hollow_mm: float
    hollow_radius_mm: float
    boss_mm: float | None
    boss_radius_mm: float | None


@dataclass(frozen=True, eq=False)
class CastPlan:
    """Everything about a cast.

    minutes: until the wall has grown, or all is solid: most likely, least, most. walls: None when cast
    solid. discarded: first casts of a new mold. drain: None when cast solid. sheen, trim, demold: after draining (solid: after it has set), practice for a wall of 4 mm times
    the square of the wall. air_hours, shelf_hours: least and most, from the most water that casts well
    back to the middle of the start. bucket_casts: from 10 L of slip, one after the other.
    """

    mode: CastMode
    wall_mm: float
    rate: CastRate
    minutes: tuple[float, float, float]
    walls: CurvedWalls | None
    slip: SlipMix
    drop: LevelDrop
    bucket_casts: int
    discarded: Range
    drain: Range | None
    sheen: Range
    trim: Range
    demold: Range
    absorption: Absorption
    air_hours: tuple[float, float]
    shelf_hours: tuple[float, float]
    weights: Weights
    findings: tuple[Finding, ...] = ()


def plan_cast(
    inside: Inside,
    stand: Stand,
    pieces: Pieces,
    pours: PourPlan,
    job: CastJob,
    plaster: PlasterJob,
    *,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> CastPlan:
    """How to cast in this mold; `job` is the one that `inside` was found with. `memo` keeps what is measured on
    the mold, whatever plaster and slip are mixed from."""
    kept = memo or Memo()
    rate = cast_rate(job.trials)
    # clay meets in the middle of a solid cast
    grows = half_thickness_mm(inside) if inside.mode == "solid" else inside.wall_mm
    drop = level_drop(stand, inside)
    outside = kept.get("hull", (pieces,), None, lambda: outside_of(pieces))
    takes = absorption(inside, stand, pieces, plaster, outside=outside, watch=watch, memo=kept)
    # a cast left solid has given its water while it grew
    slower = (grows / CAST_WALL.value) ** 2 if inside.mode == "drain" else 1.0
    return CastPlan(
        mode=inside.mode,
        wall_mm=grows,
        rate=rate,
        minutes=rate.minutes(grows),
        walls=curved_walls(inside, stand) if inside.mode == "drain" else None,
        slip=slip_needed(inside),
        drop=drop,
        bucket_casts=casts_a_bucket(inside),
        discarded=DISCARDED,
        drain=DRAIN if inside.mode == "drain" else None,
        sheen=_times(SHEEN, slower),
        trim=_times(TRIM, slower),
        demold=_times(CAST_DEMOLD, slower),
        absorption=takes,
        air_hours=_recovery(outside, pours, inside, AIR_DRYING),
        shelf_hours=_recovery(outside, pours, inside, SHELF_DRYING),
        weights=inside.weights,
        findings=(*rate.findings, *_spare_finding(drop, stand, inside), *takes.findings),
    )


def half_thickness_mm(inside: Inside) -> float:
    """Half of the form's greatest thickness below the rim, mm in the mold: as far as clay must grow to be solid.

    On a slab that takes L^2/k; the middle of a round part is reached in half of that.
    """
    below = inside.distances.heights <= inside.rim_mm + inside.distances.pitch / 2
    return float(inside.distances.values[:, :, below].max()) * inside.growth


def curved_walls(inside: Inside, stand: Stand) -> CurvedWalls:
    """The walls of a hollow and a boss when the wall of a flat is `inside.wall_mm` (see `formulas.filtration`)."""
    wall, size = inside.wall_mm, inside.growth
    opening = shapely.union_all([shapely.Polygon(outline) for outline in stand.opening_outlines])
    hollow = min(_radius(opening) * size, inside.throat_mm / 2 + wall)
    holes = []
    if stand.foot_recess_mm > 0:
        cut = section(stand.form, stand.foot_recess_mm / 2)
        holes = [shapely.Polygon(ring) for part in shapely.get_parts(cut) for ring in part.interiors]
    boss = min((_radius(hole) * size for hole in holes), default=None)
    return CurvedWalls(
        flat_mm=wall,
        hollow_mm=wall_in_hollow_mm(wall**2, 1.0, hollow),
        hollow_radius_mm=hollow,
        boss_mm=None if boss is None else wall_on_boss_mm(wall**2, 1.0, boss),
        boss_radius_mm=boss,
    )


def _radius(area: shapely.Geometry) -> float:
    """Twice area over outline: the radius of a circle, half the width of a long slot's."""
    return 2 * float(area.area) / float(area.length)


def _times(span: Range, factor: float) -> Range:
    """A span of minutes, so many times as long, to two figures."""
    low, high = (float(f"{value * factor:.2g}") for value in (span.low, span.high))
    return Range(span.name.partition(",")[0], low, high, span.unit, span.source)


def _recovery(outside: ConvexHull, pours: PourPlan, inside: Inside, rates: Range) -> tuple[float, float]:
    """Hours from the most water that casts well back to the middle of the start, banded together: least, most.

    Water leaves through the hull of the mold, whose opening stands for the cavity; by drying theory
    (`formulas.drying`).
    """
    area_m2 = float(outside.area) * inside.growth**2 / 1e6
    begin, end = WORKABLE_WATER.value / 100, (START_WATER.low + START_WATER.high) / 200
    dry_kg = pours.dry_total_g / 1000

    def hours(rate: float) -> float:
        return constant_rate_hours(dry_kg, begin, CRITICAL_WATER, area_m2, rate) + falling_rate_hours(
            dry_kg, CRITICAL_WATER, end, area_m2, rate
        )

    return hours(rates.high), hours(rates.low)


def _spare_finding(drop: LevelDrop, stand: Stand, inside: Inside) -> tuple[Finding, ...]:
    """A spare that does not keep the rim covered by itself; a solid cast is topped up anyhow."""
    if inside.mode == "solid" or not drop.top_ups or drop.last_mm is None:
        return ()
    there = f"the spare is {stand.spare_mm:.0f} mm deep" if stand.spare_mm > 0 else "there is no spare"
    if drop.top_ups > MOST_TOP_UPS:  # in a neck that all but closes, depths and counts go beyond all measure
        says = f"The wall takes {drop.water_ml:.0f} mL as it grows, and {there}: the slip sinks below the rim, and it would come out thin."
        remedy = (
            "Top up all the while, or upend a bottle of slip in the spare; a wider opening needs less of it."
        )
        return (Finding("warn", "spare-shallow", says, remedy=remedy),)
    says = f"The slip sinks by {drop.last_mm:.0f} mm while the wall grows, and {there}: the rim would come out thin."
    first = 100 / drop.top_ups**2
    remedy = (
        f"Top up {drop.top_ups} times, first after {first:.0f} % of the time, or make the spare "
        f"{drop.needed_mm:.0f} mm deep."
        if drop.top_ups > 1
        else f"Top up as it sinks, or make the spare {drop.needed_mm:.0f} mm deep."
    )
    return (Finding("note", "spare-shallow", says, remedy=remedy),)
