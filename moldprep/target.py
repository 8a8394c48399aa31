"""Stage 5: the size at which the fired piece holds or weighs what it shall, and what else becomes of it.

Height and width follow from the form alone (see `sizing`); capacity and weight do not, for a wall of
clay is as thick in a small cup as in a large one. They are solved for on the cast's inside.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log

from scipy.optimize import brentq

from .errors import JobError
from .formulas.walls import least_wall_mm
from .geometry.nesting import nesting_gap
from .inside import Inside, capacity_at, cast_inside, weights_at
from .job import CapacityUnit, CastJob, ShrinkageJob, StandJob, TargetJob
from .master import Master
from .sizing import Sizing, size_master
from .stand import Stand, stand_master
from .working import SILENT, Memo, Watch

ML: dict[CapacityUnit, float] = {"mL": 1.0, "imperial fl oz": 28.4130625, "US fl oz": 29.5735295625}
"""mL in each unit: a 160th of the imperial gallon of 4.54609 L, a 128th of the US gallon of 231 cubic inches."""
LARGEST_SCALE = 16.0
"""A form is scaled up or down by this at most to meet a target."""
NEAR = 1e-4
"""Share of the scale below which another round changes nothing that could be measured."""
ROUNDS = 4
"""Of sizing and standing: the spare and the grid do not scale with the form."""
MET_SHARE = 0.005
"""A target missed by more than this share is not met: where a neck closes, the capacity jumps."""


@dataclass(frozen=True)
class Measure:
    """A figure of the fired piece, and its standard uncertainty from the shrinkage bars; None where none is known."""

    value: float
    uncertainty: float | None


@dataclass(frozen=True)
class Size:
    """One size of the form, fired, at a share of the first; its wall is as thick as the first one's.

    brim_ml, fill_ml: to the brim and to the fill line; None for what holds nothing. gap_mm: least gap at
    which it stands in the next larger size, negative when it does not go in; None for the largest.
    weight_g has no uncertainty from the bars: clay shrinks, its mass stays.
    """

    share: float
    height_mm: Measure
    width_mm: Measure
    brim_ml: Measure | None
    fill_ml: Measure | None
    weight_g: Measure
    gap_mm: float | None

    @property
    def nests(self) -> bool:
        """Whether it stands in the next larger size."""
        return self.gap_mm is not None and self.gap_mm >= 0


@dataclass(frozen=True, eq=False)
class Fitted:
    """The master at the size that meets the target; scale: found for capacity or weight, 1 where neither is asked."""

    sizing: Sizing
    stand: Stand
    inside: Inside
    scale: float


def fitted(
    master: Master,
    shrinkage: ShrinkageJob,
    target: TargetJob,
    stand: StandJob,
    cast: CastJob,
    *,
    wall_mm: float | None = None,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> Fitted:
    """Size and stand the master and find its inside, again and again until capacity or weight are met.

    wall_mm: of plaster; by the form's size when left out. The job's spill height is the master's before it
    is scaled to hold or weigh. `memo` keeps what the three stages keep. Raises what the three stages raise, and
    JobError as `fitted_scale`.
    """
    scale, step = 1.0, 1.0
    for _ in range(ROUNDS):
        scale *= step
        sizing = size_master(master, shrinkage, target, fitted_scale=scale, watch=watch, memo=memo)
        wall = wall_mm or least_wall_mm(float(sizing.mesh.extents.max()))
        stood = stand_master(sizing, stand, wall_mm=wall, watch=watch, memo=memo)
        inside = cast_inside(stood, sizing, cast, fitted_scale=scale, watch=watch, memo=memo)
        step = fitted_scale(inside, target, cast)
        if abs(step - 1) <= NEAR:
            break
    return Fitted(sizing, stood, inside, scale)


def fitted_scale(inside: Inside, target: TargetJob, cast: CastJob) -> float:
    """By how much the form must be scaled further to hold or weigh what it shall; 1 when neither is asked.

    Raises JobError for a capacity of what holds nothing, without shrinkage, and for what no scale meets.
    """
    if target.capacity is not None:
        _check_holds(inside)
        wanted = target.capacity * ML[target.capacity_unit]
        asked = f"a capacity of {target.capacity:g} {target.capacity_unit}"
        return _solved(lambda scale: _fired_ml(inside, target, cast, scale, target.fill_mm), wanted, asked)
    if target.weight_g is not None:
        asked = f"a weight of {target.weight_g:g} g"
        return _solved(
            lambda scale: weights_at(inside, scale, wall_mm=cast.wall_mm).fired_g, target.weight_g, asked
        )
    return 1.0


def outcome(inside: Inside, sizing: Sizing, target: TargetJob, cast: CastJob) -> tuple[Size, ...]:
    """What the fired piece and its further sizes become, the first one first, then as asked for.

    Relative uncertainties from the bars: u/(1 - S) of lengths, 3 u/(1 - S) of volumes. Empty where no
    shrinkage is given.
    """
    if inside.fired_share is None or sizing.fired_size_mm is None:
        return ()
    shares = (1.0, *target.sizes)
    gaps = _gaps(inside, sizing, shares, cast)
    return tuple(_size(inside, sizing, target, cast, share, gaps[share]) for share in shares)


def fluid_ounces(ml: float) -> tuple[float, float]:
    """mL in imperial and in US fluid ounces.

    >>> [round(value, 2) for value in fluid_ounces(350)]
    [12.32, 11.83]
    """
    return ml / ML["imperial fl oz"], ml / ML["US fl oz"]


# --- helpers ------------------------------------------------------------------------------------


def _fired_ml(inside: Inside, target: TargetJob, cast: CastJob, scale: float, fill_mm: float) -> float:
    """What the fired piece holds up to `fill_mm` below its brim, mL."""
    below = fill_mm / (inside.fired_height or 1.0)
    return capacity_at(inside, scale, wall_mm=cast.wall_mm, below_mm=below) * (inside.fired_share or 1.0)


def _check_holds(inside: Inside) -> None:
    if inside.mode == "solid":
        why, cure = "it is cast solid", "Cast it drained, or ask for its weight instead."
    elif not inside.vessel:
        why, cure = (
            "its opening is not on top when it stands on its foot",
            "Ask for its height, width or weight.",
        )
    else:
        return
    raise JobError(f"The piece holds nothing: {why}.", code="target-capacity", remedy=cure)


def _solved(figure: Callable[[float], float], wanted: float, asked: str) -> float:
    """The scale at which a figure that grows with it is what it shall be."""
    away = log(LARGEST_SCALE) if figure(1.0) < wanted else -log(LARGEST_SCALE)
    end = _bracket(figure, wanted, away)
    if end is None:
        raise JobError(
            f"Between {1 / LARGEST_SCALE:g} and {LARGEST_SCALE:g} times its size the piece does not come to {asked}.",
            code="target-unreached",
            remedy="Check the figure and its unit, and the units of the file.",
        )

    def over(logarithm: float) -> float:
        return figure(exp(logarithm)) - wanted

    scale = exp(float(brentq(over, min(0.0, end), max(0.0, end), xtol=NEAR / 10)))
    met = figure(scale)
    if abs(met - wanted) > MET_SHARE * wanted:
        raise JobError(
            f"No size of the form comes to {asked}: at {scale:.3f} times its size a neck closes up with clay, "
            "and what lies behind it is lost.",
            code="target-jump",
            remedy="Ask for more, cast a thinner wall, or widen the neck.",
        )
    return scale


def _bracket(figure: Callable[[float], float], wanted: float, away: float) -> float | None:
    """A logarithm of the scale, towards `away`, beyond which the wanted figure lies; None where it is not reached."""
    for share in (0.05, 0.15, 0.4, 1.0):
        if (figure(exp(share * away)) - wanted) * away >= 0:
            return share * away
    return None


def _gaps(
    inside: Inside, sizing: Sizing, shares: tuple[float, ...], cast: CastJob
) -> dict[float, float | None]:
    """Gap of each size in the next larger one, mm fired."""
    order = sorted(set(shares), reverse=True)
    found: dict[float, float | None] = dict.fromkeys(order)
    if inside.mode == "solid" or not inside.vessel:
        return found
    fired = inside.growth * (1 - sizing.width_shrinkage)
    for large, small in pairwise(order):
        gap = nesting_gap(
            inside.distances,
            inside.throat_at[:2],
            large=large,
            small=small,
            level=cast.wall_mm / (inside.growth * large),
            rim=inside.rim_mm,
        )
        found[small] = gap * fired
    return found


def _size(
    inside: Inside, sizing: Sizing, target: TargetJob, cast: CastJob, share: float, gap: float | None
) -> Size:
    size = sizing.fired_size_mm or sizing.master_size_mm
    known = None if sizing.uncertainty is None else sizing.uncertainty / (1 - sizing.width_shrinkage)

    def measure(value: float, power: int) -> Measure:
        return Measure(value, None if known is None else power * known * value)

    holds = inside.mode == "drain" and inside.vessel
    return Size(
        share=share,
        height_mm=measure(share * size[2], 1),
        width_mm=measure(share * max(size[:2]), 1),
        brim_ml=measure(_fired_ml(inside, target, cast, share, 0.0), 3) if holds else None,
        fill_ml=measure(_fired_ml(inside, target, cast, share, target.fill_mm), 3) if holds else None,
        weight_g=Measure(weights_at(inside, share, wall_mm=cast.wall_mm).fired_g, None),
        gap_mm=gap,
    )
