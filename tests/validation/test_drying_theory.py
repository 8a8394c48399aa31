"""Constant and falling rate of drying (drying theory, from memory), and the weights of a 5 kg batch."""

from __future__ import annotations

import pytest

from moldprep.formulas.drying import constant_rate_hours, falling_rate_hours, share_gone, weight_at
from moldprep.formulas.gypsum import combining_water, dry_to_wet_ratio


def test_a_mold_of_six_kilograms() -> None:
    """Ws 5.93 kg, X from 0.433 to 0.01, critical 0.10, 0.25 m2, 0.20 kg/m2h: 39.5 h and 27.3 h (by hand)."""
    assert constant_rate_hours(5.93, 0.433, 0.10, 0.25, 0.20) == pytest.approx(39.5, abs=0.05)
    assert falling_rate_hours(5.93, 0.10, 0.01, 0.25, 0.20) == pytest.approx(27.3, abs=0.05)


def test_five_kilograms_of_plaster_at_seventy() -> None:
    """Poured 8.50 kg, dry 5.931 kg; at 6.111 kg 93 % of the free water is gone."""
    poured = 5000 * 1.70
    dry = poured * dry_to_wet_ratio(0.70)
    assert dry == pytest.approx(5000 * (1 + combining_water()))
    assert dry == pytest.approx(5931, abs=0.5)
    assert share_gone(6111, poured, dry) == pytest.approx(0.93, abs=5e-4)
    assert weight_at(0.0, dry) == dry
