"""Heat of setting from Thermoddem (BRGM): 16.30 kJ/mol of hemihydrate, heat capacity of gypsum 1.081 J/gK."""

from __future__ import annotations

import pytest

from moldprep.formulas.gypsum import HEAT_OF_HYDRATION_J_G, adiabatic_rise_k

LAST_DIGIT = 0.05


def test_heat_of_a_gram() -> None:
    assert pytest.approx(112, abs=0.5) == HEAT_OF_HYDRATION_J_G


def test_adiabatic_rise_at_70() -> None:
    """32.7 K, worked by hand: 112.3 / (1.1862 x 1.081 + 0.5138 x 4.18)."""
    assert adiabatic_rise_k(0.70) == pytest.approx(32.7, abs=LAST_DIGIT)
    assert adiabatic_rise_k(0.70) == pytest.approx(112.3 / (1.1862 * 1.081 + 0.5138 * 4.18), abs=LAST_DIGIT)


def test_a_plaster_of_less_purity_warms_less() -> None:
    assert adiabatic_rise_k(0.70, purity=0.8) < 0.85 * adiabatic_rise_k(0.70)
