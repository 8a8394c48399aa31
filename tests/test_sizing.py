"""Sizing: factors reach the mesh, bars are read as they were measured, traps are named."""

from __future__ import annotations

import numpy as np
import pytest

from moldprep.errors import JobError
from moldprep.formulas.shrinkage import fired_basis, master_factor
from moldprep.job import Bar, ShrinkageJob, StretchJob, TargetJob
from moldprep.master import Master
from moldprep.sizing import Sizing, shrinkage_of, size_master
from tests.forms import tumbler

FORM = Master("tumbler", tumbler(), (), "mm", "", ())


def sized(shrinkage: ShrinkageJob, target: TargetJob = TargetJob()) -> Sizing:  # noqa: B008
    return size_master(FORM, shrinkage, target)


BAR = Bar(wet_mm=150, dry_mm=144, fired_mm=133)


def test_the_master_is_bigger_by_the_factor_and_stands_on_its_foot() -> None:
    sizing = sized(ShrinkageJob(total_percent=12))
    factor = master_factor(0.12, plaster_expansion=0.002)
    assert sizing.factor == pytest.approx((factor,) * 3)
    assert sizing.mesh.volume == pytest.approx(FORM.mesh.volume * factor**3)
    assert sizing.mesh.bounds[0, 2] == 0
    assert sizing.mesh.bounds.mean(axis=0)[:2] == pytest.approx([0, 0], abs=1e-9)
    assert sizing.fired_size_mm == pytest.approx(tuple(FORM.mesh.extents))


def test_height_shrinks_apart_from_width() -> None:
    sizing = sized(ShrinkageJob(total_percent=12, height_percent=13, plaster_expansion_percent=0))
    assert sizing.factor == pytest.approx((1 / 0.88, 1 / 0.88, 1 / 0.87))
    lost = 1 - FORM.mesh.volume / sizing.mesh.volume
    assert 100 * lost == pytest.approx(32.63, abs=0.005)


def test_a_fired_height_is_met() -> None:
    sizing = sized(ShrinkageJob(total_percent=12), TargetJob(height_mm=95))
    assert sizing.fired_size_mm[2] == pytest.approx(95)
    assert sizing.master_size_mm[2] == pytest.approx(95 * master_factor(0.12, plaster_expansion=0.002))


def test_without_shrinkage_nothing_is_scaled_and_it_says_so() -> None:
    sizing = sized(ShrinkageJob())
    assert np.allclose(sizing.mesh.extents, FORM.mesh.extents)
    assert [finding.code for finding in sizing.findings] == ["no-shrinkage"]
    assert sizing.fired_size_mm is None  # the clay shrinks all the same; nobody said how much


def test_what_the_bars_were_measured_from_decides_what_is_added() -> None:
    shrinkage = 17 / 150
    master = shrinkage_of(ShrinkageJob(bars=(BAR,), measured_from="master", print_shrink_percent=0.3))
    mold = shrinkage_of(ShrinkageJob(bars=(BAR,), measured_from="mold", print_shrink_percent=0.3))
    cast = shrinkage_of(ShrinkageJob(bars=(BAR,), measured_from="cast"))
    assert master.factor[0] == pytest.approx(1 / (1 - shrinkage))
    assert mold.factor[0] == pytest.approx(
        master_factor(shrinkage, plaster_expansion=0.002, print_shrink=0.003)
    )
    assert [finding.code for finding in cast.findings] == ["bars-from-cast"]
    assert master.findings == mold.findings == ()


def test_drying_and_firing_come_from_the_dry_length() -> None:
    found = shrinkage_of(ShrinkageJob(bars=(BAR, BAR)))
    assert found.drying == pytest.approx(6 / 150) and found.firing == pytest.approx(11 / 144)


def test_the_fired_basis_trap_is_named() -> None:
    percent = 100 * fired_basis(17 / 150)
    with pytest.raises(JobError, match="taken on the fired length") as caught:
        shrinkage_of(ShrinkageJob(total_percent=percent, bars=(BAR,)))
    assert caught.value.code == "shrinkage-twice"


def test_an_outlier_is_named() -> None:
    bars = (Bar(wet_mm=100, fired_mm=88),) * 4 + (Bar(wet_mm=100, fired_mm=85),)
    (finding,) = shrinkage_of(ShrinkageJob(bars=bars)).findings
    assert finding.code == "bar-outlier" and "Bar 5" in finding.says


@pytest.mark.parametrize(("percent", "code"), [(0.12, "shrinkage-fraction"), (25.0, "shrinkage-unusual")])
def test_odd_percents_are_questioned(percent: float, code: str) -> None:
    assert [finding.code for finding in shrinkage_of(ShrinkageJob(total_percent=percent)).findings] == [code]


@pytest.mark.parametrize(
    "bar",
    [
        Bar(wet_mm=100, fired_mm=250),
        Bar(wet_mm=88, fired_mm=100),
        Bar(wet_mm=100, fired_mm=50),
        Bar(wet_mm=100, dry_mm=104, fired_mm=88),
        Bar(wet_mm=100, dry_mm=86, fired_mm=88),
    ],
)
@pytest.mark.parametrize("percent", [None, 12.0])
def test_bars_that_grow_are_refused(bar: Bar, percent: float | None) -> None:
    with pytest.raises(JobError, match="does not shrink") as caught:
        shrinkage_of(ShrinkageJob(bars=(bar,), total_percent=percent))
    assert caught.value.code == "bar-lengths" and "wet, dry and fired" in caught.value.remedy


def test_height_alone_is_refused() -> None:
    with pytest.raises(JobError, match="width"):
        shrinkage_of(ShrinkageJob(height_percent=13))


def test_a_fired_height_without_a_shrinkage_is_refused() -> None:
    with pytest.raises(JobError, match="needs the clay's shrinkage"):
        sized(ShrinkageJob(), TargetJob(height_mm=95))
    assert sized(ShrinkageJob(total_percent=0), TargetJob(height_mm=95)).fired_size_mm[2] == pytest.approx(95)


def test_a_percent_measured_from_the_master_or_the_cast_is_read_as_a_bar_is() -> None:
    master = shrinkage_of(ShrinkageJob(total_percent=12, measured_from="master", print_shrink_percent=0.3))
    assert master.factor[0] == pytest.approx(1 / 0.88)
    cast = shrinkage_of(ShrinkageJob(total_percent=12, measured_from="cast"))
    assert [finding.code for finding in cast.findings] == ["bars-from-cast"]


def test_wet_lengths_of_the_cast_make_the_master_small() -> None:
    """S 10.5 % taken from the cast where 12 % from the mold is true: 1.7 % small (by hand)."""
    said, true = (shrinkage_of(ShrinkageJob(total_percent=p)).factor[0] for p in (10.5, 12))
    assert 100 * (1 - said / true) == pytest.approx(1.7, abs=0.05)


def test_bars_in_height_have_their_own_factor_and_outliers() -> None:
    across = (Bar(wet_mm=100, fired_mm=88),) * 3
    along = (*(Bar(wet_mm=100, fired_mm=87),) * 3, Bar(wet_mm=100, fired_mm=90))
    found = shrinkage_of(ShrinkageJob(bars=across, height_bars=along, plaster_expansion_percent=0))
    assert found.factor == pytest.approx((1 / 0.88, 1 / 0.88, 1 / (1 - 0.1225)))
    (finding,) = found.findings
    assert finding.says.startswith("Height bar 4")


def test_spread_of_the_bars_counts_when_it_is_more_than_the_marks() -> None:
    """Bars of 11, 12 and 13 %: standard deviation 1 point, of the mean 1/sqrt(3); marks give 0.67."""
    bars = tuple(Bar(wet_mm=100, fired_mm=fired) for fired in (87, 88, 89))
    found = shrinkage_of(ShrinkageJob(bars=bars))
    assert found.spread == pytest.approx(0.01)
    assert found.uncertainty == pytest.approx(0.01 / np.sqrt(3))


def test_an_uncertain_size_is_said_in_millimetres() -> None:
    """One bar of 100 mm: u(S)/(1 - S) = 0.757 % of the largest side, 100 mm."""
    (finding,) = sized(ShrinkageJob(bars=(Bar(wet_mm=100, fired_mm=88),))).findings
    assert finding.code == "size-uncertain" and "± 0.8 mm in 100 mm" in finding.says
    assert not sized(ShrinkageJob(bars=(Bar(wet_mm=100, fired_mm=88),) * 10)).findings


def test_a_form_scaled_to_a_height_says_by_how_much() -> None:
    (finding,) = sized(ShrinkageJob(total_percent=12), TargetJob(height_mm=95)).findings
    assert finding.code == "scaled" and "0.95" in finding.says


@pytest.mark.parametrize(
    ("clay", "percent", "codes"),
    [
        ("white stoneware slip", 12, []),
        ("red earthenware", 12, ["shrinkage-of-clay"]),
        ("bone china", 14, []),
        ("number nine", 4, []),
    ],
)
def test_a_shrinkage_that_does_not_fit_the_clay_s_kind_is_noted(
    clay: str, percent: float, codes: list[str]
) -> None:
    found = shrinkage_of(ShrinkageJob(clay=clay, total_percent=percent))
    assert [finding.code for finding in found.findings] == codes


# --- targets ------------------------------------------------------------------------------------

CLAY = ShrinkageJob(total_percent=12, height_percent=13)


def test_a_fired_width_and_a_named_length_are_met() -> None:
    """The tumbler is drawn 80 wide; a mark of 50 on it shall be 60."""
    assert max(sized(CLAY, TargetJob(width_mm=92)).fired_size_mm[:2]) == pytest.approx(92)
    named = sized(CLAY, TargetJob(length_drawn_mm=50, length_mm=60))
    assert named.fired_size_mm == pytest.approx(tuple(1.2 * FORM.mesh.extents))
    assert named.scale == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("target", "match"),
    [
        (TargetJob(height_mm=95, width_mm=80), "several sizes"),
        (TargetJob(length_mm=60), "two figures"),
        (TargetJob(stretch=StretchJob(taller_mm=-70, zone_mm=(20, 80))), "cannot become"),
        (TargetJob(stretch=StretchJob(taller_mm=10, zone_mm=(20, 180))), "cannot become"),
    ],
)
def test_targets_that_make_no_sense_are_refused(target: TargetJob, match: str) -> None:
    with pytest.raises(JobError, match=match):
        sized(CLAY, target)


def test_a_stretch_keeps_foot_and_rim_and_adds_its_length() -> None:
    """A frustum 30 to 40 over 100, the zone from 20 to 80 drawn out by 15: volume by the frustums' formula."""
    made = sized(
        ShrinkageJob(total_percent=0, plaster_expansion_percent=0),
        TargetJob(stretch=StretchJob(taller_mm=15, zone_mm=(20, 80))),
    )
    assert made.fired_size_mm == pytest.approx((80, 80, 115), abs=1e-9)

    def frustum(low: float, high: float, height: float) -> float:
        a, b = 30 + low / 10, 30 + high / 10
        return height / 3 * (a * a + a * b + b * b)

    sides = 256
    area = sides / 2 * np.sin(2 * np.pi / sides)  # of the polygon in a circle of radius 1
    expected = area * (frustum(0, 20, 20) + frustum(20, 80, 75) + frustum(80, 100, 20))
    assert made.mesh.volume == pytest.approx(expected, rel=1e-9)
