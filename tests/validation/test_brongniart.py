"""Brongniart's formula for dry matter in slip: 1854, in Cardew, Pioneer Pottery, p. 269; and GTZ 1991."""

from __future__ import annotations

import pytest

from moldprep.formulas.slip import dry_g_per_litre, dry_oz_per_pint, water_g_per_litre


@pytest.mark.parametrize(
    ("litre_g", "grains", "dry_g"), [(1500, 2.5, 833.3), (1700, 2.5, 1166.7), (1750, 2.5, 1250.0)]
)
def test_dry_matter_in_a_litre(litre_g: float, grains: float, dry_g: float) -> None:
    """1700 g/L by GTZ 1991; the others by the formula."""
    assert dry_g_per_litre(litre_g / 1000, grains) == pytest.approx(dry_g, abs=0.05)
    assert water_g_per_litre(litre_g / 1000, grains) == pytest.approx(litre_g - dry_g, abs=0.05)


def test_the_imperial_pint_says_the_same_as_the_litre() -> None:
    """(P - 20) S/(S - 1) with P in ounces: 34 oz a pint is 1.7 g/mL."""
    assert dry_oz_per_pint(34, 2.5) == pytest.approx(14 * 2.5 / 1.5, rel=1e-12)


@pytest.mark.parametrize("slip", [0.9, 1.0, 2.6])
def test_a_slip_lighter_than_water_or_heavier_than_its_grains_is_refused(slip: float) -> None:
    with pytest.raises(ValueError, match="between water"):
        dry_g_per_litre(slip, 2.6)
