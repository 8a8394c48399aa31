"""Combining water from the IUPAC 1995 atomic weights (Coplen, Pure Appl. Chem. 68:2339)."""

from __future__ import annotations

import pytest

from moldprep.formulas.gypsum import COMBINING_WATER, combining_water, porosity, slurry_litres_per_kg

CALCIUM, SULPHUR, OXYGEN, HYDROGEN = 40.078, 32.066, 15.9994, 1.00794
LAST_DIGIT = 2e-5


def test_three_halves_of_water_over_the_hemihydrate() -> None:
    water = 2 * HYDROGEN + OXYGEN
    hemihydrate = CALCIUM + SULPHUR + 4 * OXYGEN + water / 2
    assert hemihydrate == pytest.approx(145.149, abs=1e-3)
    assert pytest.approx(1.5 * water / hemihydrate, abs=LAST_DIGIT) == COMBINING_WATER
    assert combining_water(0.9) == pytest.approx(0.9 * COMBINING_WATER)


@pytest.mark.parametrize(
    ("consistency", "litres", "pores"),
    [(60, 0.981, 0.476), (70, 1.081, 0.524), (80, 1.182, 0.564), (90, 1.282, 0.598)],
)
def test_volume_of_slurry_and_pores(consistency: int, litres: float, pores: float) -> None:
    """Arithmetic on hemihydrate 2.63, gypsum 2.305 and water 0.9982 g/cm3, worked by hand."""
    c = consistency / 100
    assert slurry_litres_per_kg(c) == pytest.approx(litres, abs=6e-4)
    assert porosity(c) == pytest.approx(pores, abs=6e-4)


def test_less_water_than_plaster_binds_is_refused() -> None:
    with pytest.raises(ValueError, match=r"0\.70"):
        slurry_litres_per_kg(0.15)
