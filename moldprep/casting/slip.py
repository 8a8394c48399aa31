"""Slip: how much to have ready, what to mix it from, how far its level sinks, and what a bucket yields."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, sqrt

import numpy as np
import shapely

from ..errors import JobError
from ..formulas.clay import water_given_up
from ..formulas.slip import OUNCES_A_PINT, dry_g_per_litre, water_g_per_litre
from ..geometry.outlines import section
from ..inside import Inside
from ..job import CastJob
from ..materials import SLIP_ALLOWANCE
from ..stand import Stand

US_PINT_ML = 473.176473
"""16 US fluid ounces: an eighth of the gallon of 231 cubic inches."""
OUNCE_G = 28.349523125
"""An avoirdupois ounce."""
BUCKET_ML = 10_000.0
"""The bucket that yields are told for."""
SPARE_DROPS = 1.5
"""A spare is so many times as deep as the slip sinks in it (common practice)."""
LEAST_SPARE_MM = 5.0
"""What a maker keeps filled above a rim that has no spare, with a ring of clay set on the mold (our judgement)."""
JUST_BELOW = 1e-6
"""A section is taken this share of the height below the opening plane."""


@dataclass(frozen=True)
class SlipMix:
    """Slip, and the dry matter and water that it is mixed from.

    pint_oz: an imperial pint of it, 20 fluid ounces, in ounces. us_pint_g, us_pint_oz: a US pint of 16 US
    fluid ounces, in g and in ounces. A pint on the scale tells whether the slip is right.
    """

    volume_ml: float
    weight_g: float
    dry_g: float
    water_g: float
    pint_oz: float
    us_pint_g: float
    us_pint_oz: float


@dataclass(frozen=True)
class LevelDrop:
    """How far slip sinks in the spare when nobody tops it up.

    water_ml: what goes into the plaster, and is to be topped up. first_mm: the drop in an opening that
    clay has not narrowed yet; last_mm: in what the wall leaves of it, None where that is nothing.
    needed_mm: spare that keeps the rim covered by itself. top_ups: in how many equal parts the water is
    made good so that the spare there is does; as the level falls with the root of time, the first of n
    comes after 1/n^2 of it. 0 where the spare is deep enough.
    """

    water_ml: float
    first_mm: float
    last_mm: float | None
    needed_mm: float
    top_ups: int


def mixed_slip(volume_ml: float, job: CastJob, *, allowance: float = 0.0) -> SlipMix:
    """What a volume of slip is mixed from (Brongniart; see `formulas.slip`); allowance: share on top.

    Raises JobError for slip that is as heavy as its grains.
    """
    if job.slip_g_ml >= job.solids_g_ml:
        raise JobError(
            f"Slip of {job.slip_g_ml:g} g/mL cannot be made of grains of {job.solids_g_ml:g} g/mL.",
            code="slip-density",
            remedy="Weigh a measured volume of the slip: 1.75-1.80 is usual, and 2.6 for grains.",
        )
    volume = volume_ml * (1 + allowance)
    us_pint = US_PINT_ML * job.slip_g_ml
    return SlipMix(
        volume_ml=volume,
        weight_g=volume * job.slip_g_ml,
        dry_g=volume / 1000 * dry_g_per_litre(job.slip_g_ml, job.solids_g_ml),
        water_g=volume / 1000 * water_g_per_litre(job.slip_g_ml, job.solids_g_ml),
        pint_oz=OUNCES_A_PINT * job.slip_g_ml,
        us_pint_g=us_pint,
        us_pint_oz=us_pint / OUNCE_G,
    )


def slip_needed(inside: Inside) -> SlipMix:
    """Slip for one cast: the mold full to the top of its spare, topped up as it sinks, and an allowance."""
    return mixed_slip(
        inside.slip_ml + _topped_up_ml(inside), inside.job, allowance=SLIP_ALLOWANCE.value / 100
    )


def casts_a_bucket(inside: Inside, bucket_ml: float = BUCKET_ML) -> int:
    """Casts from a bucket, one after the other: each keeps its share, and the last still fills the mold."""
    spare = bucket_ml - slip_needed(inside).volume_ml
    return 0 if spare < 0 else 1 + floor(spare / inside.slip_kept_ml)


def level_drop(stand: Stand, inside: Inside) -> LevelDrop:
    """The slip's drop in a spare that narrows downward, and below it in a neck as wide as the rim."""
    water = _topped_up_ml(inside)
    size = inside.growth
    rim = shapely.union_all([shapely.Polygon(outline) for outline in stand.opening_outlines])
    top = section(stand.mesh, stand.top_mm * (1 - JUST_BELOW)) if stand.spare_mm > 0 else rim
    depth, wall = stand.spare_mm * size, 0.0 if inside.mode == "solid" else inside.wall_mm / size
    first = _drop(1000 * water, top.area * size**2, rim.area * size**2, depth)
    left = rim.buffer(-wall).area * size**2
    last = _drop(1000 * water, top.buffer(-wall).area * size**2, left, depth) if left > 0 else None
    fallen = first if last is None else last
    needed = SPARE_DROPS * fallen
    spare = max(stand.spare_mm * size, LEAST_SPARE_MM)
    return LevelDrop(
        water, first, last, needed, ceil(needed / spare) if needed > stand.spare_mm * size else 0
    )


def _topped_up_ml(inside: Inside) -> float:
    """Water that the cast, spare included, gives up."""
    job = inside.job
    share = water_given_up(job.slip_g_ml, job.water_percent / 100, job.solids_g_ml)
    return inside.slip_kept_ml * share / (1 + share)


def _drop(volume: float, top: float, rim: float, depth: float) -> float:
    """Depth of that volume below the top of a spare whose area falls from `top` to `rim` over `depth`, then stays.

    The sides are taken as straight: the root of the area falls evenly, and the spare holds a frustum,
    d/3 (A + sqrt(A B) + B).
    """
    held = depth / 3 * (top + sqrt(top * rim) + rim)
    if volume >= held:
        return depth + (volume - held) / rim
    slope = (sqrt(top) - sqrt(rim)) / depth
    if slope < 1e-9:
        return volume / top
    # (sqrt A)^3 falls by 3 slope V on the way down
    return (sqrt(top) - float(np.cbrt(top**1.5 - 3 * slope * volume))) / slope
