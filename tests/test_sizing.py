"""Sizing: factors reach the mesh, bars are read as they were measured, traps are named."""

from __future__ import annotations

import numpy as np
import pytest

from moldprep.errors import JobError
from moldprep.formulas.shrinkage import fired_basis, master_factor
from moldprep.job import Bar, ShrinkageJob
from moldprep.master import Master
from moldprep.sizing import shrinkage_of, size_master
from tests.forms import tumbler

FORM = Master("tumbler", tumbler(), (), "mm", "", ())
BAR = Bar(wet_mm=150, dry_mm=144, fired_mm=133)


def test_the_master_is_bigger_by_the_factor_and_stands_on_its_foot() -> None:
    sizing = size_master(FORM, ShrinkageJob(total_percent=12))
    factor = master_factor(0.12, plaster_expansion=0.002)
    assert sizing.factor == pytest.approx((factor,) * 3)
    assert sizing.mesh.volume == pytest.approx(FORM.mesh.volume * factor**3)
    assert sizing.mesh.bounds[0, 2] == 0
    assert sizing.mesh.bounds.mean(axis=0)[:2] == pytest.approx([0, 0], abs=1e-9)
    assert sizing.fired_size_mm == pytest.approx(tuple(FORM.mesh.extents))


def test_height_shrinks_apart_from_width() -> None:
    sizing = size_master(FORM, ShrinkageJob(total_percent=12, height_percent=13, plaster_expansion_percent=0))
    assert sizing.factor == pytest.approx((1 / 0.88, 1 / 0.88, 1 / 0.87))
    lost = 1 - FORM.mesh.volume / sizing.mesh.volume
    assert 100 * lost == pytest.approx(32.63, abs=0.005)


def test_a_fired_height_is_met() -> None:
    sizing = size_master(FORM, ShrinkageJob(total_percent=12, fired_height_mm=95))
    assert sizing.fired_size_mm[2] == pytest.approx(95)
    assert sizing.master_size_mm[2] == pytest.approx(95 * master_factor(0.12, plaster_expansion=0.002))


def test_without_shrinkage_nothing_is_scaled_and_it_says_so() -> None:
    sizing = size_master(FORM, ShrinkageJob())
    assert np.allclose(sizing.mesh.extents, FORM.mesh.extents)
    assert [finding.code for finding in sizing.findings] == ["no-shrinkage"]


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


def test_impossible_bars_and_height_alone_are_refused() -> None:
    with pytest.raises(JobError, match="width"):
        shrinkage_of(ShrinkageJob(height_percent=13))
    with pytest.raises(JobError, match="cannot become"):
        shrinkage_of(ShrinkageJob(bars=(Bar(wet_mm=100, fired_mm=250),)))
