"""Full liquid head on formwork, p = rho g h (ACI 347-04 2.2.2), and what follows from it by statics."""

from __future__ import annotations

import pytest

from moldprep.formulas.hydrostatics import (
    hoop_force_n,
    hoop_tension_n_m,
    pressure_pa,
    sealed_uplift_n,
    uplift_n,
)


def test_pressure_at_300_mm() -> None:
    assert pressure_pa(1586, 300) == pytest.approx(4666, abs=0.5)


def test_a_board_300_mm_wide_takes_210_newton() -> None:
    mean = pressure_pa(1586, 300) / 2
    assert mean * 0.3 * 0.3 == pytest.approx(210.0, abs=0.05)


def test_hoop_tension_of_a_cottle_200_mm_wide() -> None:
    assert hoop_tension_n_m(pressure_pa(1586, 300), 100) == pytest.approx(466.6, abs=0.05)
    assert hoop_force_n(1586, 300, 100) == pytest.approx(70.0, abs=0.05)


def test_uplift_by_archimedes() -> None:
    """Half a litre displaced, 150 g: 6.306 N, or 0.643 kilograms of weight on top."""
    assert uplift_n(1586, 500, 150) == pytest.approx(6.306, abs=5e-4)
    assert uplift_n(1586, 500, 150) / 9.80665 == pytest.approx(0.643, abs=5e-4)


def test_a_base_sealed_to_the_board_holds_the_master_down() -> None:
    """50 cm2 under 150 mm of slurry: -3.888 N, and -5.359 N with its 150 g (by hand)."""
    sealed = [sealed_uplift_n(1586, 500, mass, base_mm2=5000, head_mm=150) for mass in (0, 150)]
    assert sealed == pytest.approx([-3.888, -5.359], abs=5e-4)
