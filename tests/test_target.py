"""Targets of capacity and weight, what the other sizes become, and whether they nest."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from moldprep.errors import JobError
from moldprep.formulas.shrinkage import uncertainty
from moldprep.geometry.mesh import Mesh
from moldprep.job import Bar, CapacityUnit, CastJob, ShrinkageJob, StandJob, StretchJob, TargetJob
from moldprep.master import Master
from moldprep.target import ML, Fitted, Size, fitted, fitted_scale, fluid_ounces, outcome
from tests.forms import turned

SECTIONS = 192
WALL = 4.0
TWELVE = ShrinkageJob(total_percent=12)
BARS = ShrinkageJob(bars=(Bar(wet_mm=100, fired_mm=88),))
HALF_PERCENT = 0.005
RIM = StandJob(opening="rim")


def cup() -> Mesh:
    """80 mm wide, 120 mm high when fired."""
    return turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=SECTIONS)


def two_lobes() -> Mesh:
    return turned(
        [(0, 0), (40, 0), (40, 30), (4, 50), (4, 52), (40, 75), (40, 100), (0, 100)], sections=SECTIONS
    )


@cache
def made(
    target: TargetJob,
    shrinkage: ShrinkageJob = TWELVE,
    cast: CastJob = CastJob(),  # noqa: B008
    stand: StandJob = RIM,
    form: str = "cup",
) -> Fitted:
    mesh = {"cup": cup, "two lobes": two_lobes}[form]()
    return fitted(Master(form, mesh, (), "mm", "", ()), shrinkage, target, stand, cast)


def sizes(target: TargetJob, shrinkage: ShrinkageJob = TWELVE, cast: CastJob = CastJob()) -> tuple[Size, ...]:  # noqa: B008
    found = made(target, shrinkage, cast)
    return outcome(found.inside, found.sizing, target, cast)


def inner_ml(radius: float, height: float) -> float:
    """Inside of a wet cup of that outer size, to its brim."""
    return np.pi * (radius - WALL) ** 2 * (height - WALL) / 1000


# --- solving ------------------------------------------------------------------------------------


def test_350_ml_fired_at_12_percent_are_513_6_wet() -> None:
    target = TargetJob(capacity=350)
    found = made(target)
    assert found.inside.capacity_ml == pytest.approx(513.6, rel=HALF_PERCENT)
    assert found.inside.fired_capacity_ml == pytest.approx(350, rel=1e-3)
    # and by formula on the master that is handed out
    radius, height = found.sizing.master_size_mm[0] / 2, found.sizing.master_size_mm[2]
    growth = found.inside.growth
    assert inner_ml(radius * growth, height * growth) == pytest.approx(513.6, rel=HALF_PERCENT)
    assert sizes(target)[0].brim_ml is not None
    assert sizes(target)[0].brim_ml.value == pytest.approx(350, rel=1e-3)  # type: ignore[union-attr]


def test_width_and_height_may_shrink_apart() -> None:
    shrinkage = ShrinkageJob(total_percent=12, height_percent=13)
    found = made(TargetJob(capacity=350), shrinkage)
    assert found.inside.capacity_ml == pytest.approx(350 / (0.88**2 * 0.87), rel=1e-3)


@pytest.mark.parametrize(("unit", "ml"), [("imperial fl oz", 28.4130625), ("US fl oz", 29.5735295625)])
def test_a_capacity_in_fluid_ounces_is_met(unit: CapacityUnit, ml: float) -> None:
    assert ML[unit] == ml
    found = made(TargetJob(capacity=12, capacity_unit=unit))
    assert found.inside.fired_capacity_ml == pytest.approx(12 * ml, rel=1e-3)


def test_ounces_are_parts_of_their_gallons() -> None:
    assert fluid_ounces(4546.09)[0] == pytest.approx(160)
    assert fluid_ounces(231 * 16.387064)[1] == pytest.approx(128)


def test_a_fill_line_is_met_below_the_brim() -> None:
    target = TargetJob(capacity=250, fill_mm=12)
    found = made(target)
    first = outcome(found.inside, found.sizing, target, CastJob())[0]
    assert first.fill_ml is not None and first.brim_ml is not None
    assert first.fill_ml.value == pytest.approx(250, rel=1e-3)
    width = first.width_mm.value - 2 * WALL * 0.88
    assert first.brim_ml.value - 250 == pytest.approx(np.pi * width**2 / 4 * 12 / 1000, rel=HALF_PERCENT)


def test_a_weight_is_met() -> None:
    target = TargetJob(weight_g=300)
    found = made(target)
    assert found.inside.weights.fired_g == pytest.approx(300, rel=1e-3)
    radius, height = (
        found.inside.growth * size
        for size in (found.sizing.master_size_mm[0] / 2, found.sizing.master_size_mm[2])
    )
    shell = np.pi * (radius**2 * height - (radius - WALL) ** 2 * (height - WALL)) / 1000
    assert shell / (0.8 / 2.6 + 0.2) * 0.8 * 0.92 == pytest.approx(300, rel=HALF_PERCENT)


def test_a_solid_cast_meets_a_weight_by_the_cube() -> None:
    cast = CastJob(mode="solid")
    first = made(TargetJob(), cast=cast)
    wanted = first.inside.weights.fired_g * 1.331
    found = made(TargetJob(weight_g=wanted), cast=cast)
    assert found.scale == pytest.approx(1.1, rel=1e-3)


def test_a_low_spout_scales_with_the_form() -> None:
    cast = CastJob(spill_mm=100.0)
    found = made(TargetJob(capacity=350), cast=cast)
    assert found.inside.spill_mm == pytest.approx(100 * found.scale)
    assert found.inside.fired_capacity_ml == pytest.approx(350, rel=1e-3)


def test_a_stretched_form_is_scaled_after_it() -> None:
    target = TargetJob(capacity=350, stretch=StretchJob(taller_mm=20))
    found = made(target)
    assert found.inside.fired_capacity_ml == pytest.approx(350, rel=1e-3)
    x, _, z = found.sizing.master_size_mm
    assert z / x == pytest.approx(140 / 80, rel=1e-3)


def test_nothing_asked_leaves_the_size() -> None:
    found = made(TargetJob(sizes=(0.7,)))
    assert found.scale == 1
    assert found.sizing.fired_size_mm == pytest.approx((80, 80, 120), rel=1e-3)
    assert fitted_scale(found.inside, TargetJob(height_mm=100), CastJob()) == 1


# --- what cannot be met -------------------------------------------------------------------------


def test_a_solid_cast_holds_nothing() -> None:
    with pytest.raises(JobError) as refused:
        made(TargetJob(capacity=350), cast=CastJob(mode="solid"))
    assert refused.value.code == "target-capacity"


def test_what_is_cast_base_up_holds_nothing() -> None:
    with pytest.raises(JobError) as refused:
        made(TargetJob(capacity=350), stand=StandJob(opening="foot"))
    assert refused.value.code == "target-capacity"


def test_a_weight_out_of_reach_is_refused() -> None:
    with pytest.raises(JobError) as refused:
        made(TargetJob(weight_g=1e-3))
    assert refused.value.code == "target-unreached"


def test_a_capacity_that_a_closing_neck_jumps_over_is_refused() -> None:
    inside = made(TargetJob(), form="two lobes").inside
    # at 12 % the neck of 9.1 mm is just open; at 0.88 of the size it closes, and the lower lobe is lost
    assert inside.throat_mm > 0 and inside.closing == ()
    assert inside.fired_capacity_ml is not None
    with pytest.raises(JobError) as refused:
        fitted_scale(inside, TargetJob(capacity=0.45 * inside.fired_capacity_ml), CastJob())
    assert refused.value.code == "target-jump"


# --- outcome ------------------------------------------------------------------------------------


def test_uncertainty_comes_from_the_bars() -> None:
    first = sizes(TargetJob(), BARS)[0]
    share = uncertainty(0.12, 100, 88, 0.5) / 0.88
    assert first.height_mm.uncertainty == pytest.approx(share * 120, rel=1e-6)
    assert first.width_mm.uncertainty == pytest.approx(share * first.width_mm.value, rel=1e-6)
    assert first.brim_ml is not None
    assert first.brim_ml.uncertainty == pytest.approx(3 * share * first.brim_ml.value)
    assert first.weight_g.uncertainty is None


def test_a_percent_leaves_the_uncertainty_open() -> None:
    assert sizes(TargetJob())[0].height_mm.uncertainty is None


def test_without_shrinkage_there_is_no_outcome() -> None:
    assert sizes(TargetJob(), ShrinkageJob()) == ()


def test_further_sizes_keep_the_wall() -> None:
    whole, part = sizes(TargetJob(sizes=(0.7,)))
    assert part.share == 0.7
    assert part.height_mm.value == pytest.approx(0.7 * 120)
    assert part.width_mm.value == pytest.approx(0.7 * 80, rel=1e-3)
    assert part.brim_ml is not None and whole.brim_ml is not None
    radius, height = 40 / 0.88, 120 / 0.88
    assert whole.brim_ml.value == pytest.approx(inner_ml(radius, height) * 0.88**3, rel=HALF_PERCENT)
    assert part.brim_ml.value == pytest.approx(
        inner_ml(0.7 * radius, 0.7 * height) * 0.88**3, rel=HALF_PERCENT
    )
    assert part.fill_ml == part.brim_ml


def test_sizes_nest_with_the_gap_of_the_formula() -> None:
    whole, small, mid, near = sizes(TargetJob(sizes=(0.5, 0.7, 0.95)))
    assert whole.gap_mm is None and not whole.nests
    # gap fired: the larger's inner radius, its wall wet, less the smaller's outer radius
    wall = WALL * 0.88
    assert near.gap_mm == pytest.approx(40 - wall - 38, abs=0.05) and not near.nests
    assert mid.gap_mm == pytest.approx(38 - wall - 28, abs=0.05) and mid.nests
    assert small.gap_mm == pytest.approx(28 - wall - 20, abs=0.05) and small.nests


def test_what_is_cast_solid_does_not_nest_and_holds_nothing() -> None:
    _, part = sizes(TargetJob(sizes=(0.5,)), TWELVE, CastJob(mode="solid"))
    assert part.gap_mm is None and part.brim_ml is None and part.fill_ml is None
