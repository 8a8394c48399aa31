"""Published test bars and worked sums of shrinkage, each with its source."""

from __future__ import annotations

import pytest

from moldprep.formulas import shrinkage as formula
from moldprep.job import Bar, ShrinkageJob
from moldprep.sizing import shrinkage_of

LAST_DIGIT = 5e-6


def test_a_bar_of_150_mm() -> None:
    """150 wet, 144 dry, 133 fired (rcboisjoli.blogspot.com 2011/04): 4.000, 7.639, 11.333 %."""
    drying, firing = formula.linear(150, 144), formula.linear(144, 133)
    assert drying == pytest.approx(0.04, abs=LAST_DIGIT)
    assert firing == pytest.approx(0.07639, abs=LAST_DIGIT)
    assert formula.compounded(drying, firing) == pytest.approx(formula.linear(150, 133))
    assert formula.linear(150, 133) == pytest.approx(0.11333, abs=LAST_DIGIT)
    assert formula.master_factor(17 / 150) == pytest.approx(1.12782, abs=LAST_DIGIT)
    assert 100 * formula.fired_basis(17 / 150) == pytest.approx(12.78, abs=0.005)


def test_shrinkages_compound() -> None:
    """6.25 % drying and 6.66 % firing make 12.49 % (digitalfire.com)."""
    assert 100 * formula.compounded(0.0625, 0.0666) == pytest.approx(12.49, abs=0.005)


def test_eleven_inches_fired() -> None:
    """11 in at 12.5 % need 12.571 in (method: ceramicartsnetwork.org, Math for Potters)."""
    assert 11 * formula.master_factor(0.125) == pytest.approx(12.571, abs=5e-4)


@pytest.mark.parametrize(("percent", "lost"), [(10, 27.10), (12, 31.85), (16, 40.73)])
def test_volume_loss(percent: float, lost: float) -> None:
    """1 - (1 - S)^3, by hand."""
    assert 100 * formula.volume_loss(percent / 100) == pytest.approx(lost, abs=0.005)


def test_volume_loss_when_height_shrinks_more() -> None:
    """Height 13 %, width 12 %: 1 - 0.88^2 x 0.87."""
    assert 100 * formula.volume_loss(0.12, 0.13) == pytest.approx(32.63, abs=0.005)


def test_the_chain_of_plaster_and_print() -> None:
    """S 12 %, e 0.2 %, p 0.3 %: 1.13636, 1.13410, 1.13751 (by hand)."""
    chain = [{}, {"plaster_expansion": 0.002}, {"plaster_expansion": 0.002, "print_shrink": 0.003}]
    found = [formula.master_factor(0.12, **part) for part in chain]
    assert found == pytest.approx([1.13636, 1.13410, 1.13751], abs=LAST_DIGIT)


def test_uncertainty_of_marks_100_mm_apart() -> None:
    """u = (1 - S) sqrt[(u/Lf)^2 + (u/Lp)^2]: 0.666 points for one bar, 0.211 for ten."""
    assert 100 * formula.uncertainty(0.12, 100, 88, 0.5) == pytest.approx(0.666, abs=5e-4)
    ten = ShrinkageJob(bars=(Bar(wet_mm=100, fired_mm=88),) * 10)
    assert 100 * (shrinkage_of(ten).uncertainty or 0) == pytest.approx(0.211, abs=5e-4)
