"""A gypsum maker's mixing table: wet and dry densities by consistency (plaster.com/mixing.html).

Published in lb/ft3 and rounded to whole pounds; the alpha plasters are denser. The model knows no air
and assumes full hydration: it is held to 1.5 % of every published figure.
"""

from __future__ import annotations

import pytest

from moldprep.formulas.gypsum import dry_density_kg_m3, dry_to_wet_ratio, wet_density_kg_m3

MODEL_ERROR = 0.015
BETA_KG_M3 = {65: (1602, 1161), 70: (1586, 1105)}
ALPHA_KG_M3 = {45: (1772, 1442), 38: (1842, 1586), 32: (1913, 1741)}
ALPHA_DENSITY = 2740
"""Alpha hemihydrate, kg/m3 (from memory: Wirsching, Ullmann's Encyclopedia)."""


@pytest.mark.parametrize("consistency", BETA_KG_M3)
def test_beta_plaster(consistency: int) -> None:
    wet, dry = BETA_KG_M3[consistency]
    assert wet_density_kg_m3(consistency / 100) == pytest.approx(wet, rel=MODEL_ERROR)
    assert dry_density_kg_m3(consistency / 100) == pytest.approx(dry, rel=MODEL_ERROR)


@pytest.mark.parametrize("consistency", ALPHA_KG_M3)
def test_alpha_plaster(consistency: int) -> None:
    wet, dry = ALPHA_KG_M3[consistency]
    c = consistency / 100
    assert wet_density_kg_m3(c, hemihydrate_density=ALPHA_DENSITY) == pytest.approx(wet, rel=MODEL_ERROR)
    assert dry_density_kg_m3(c, hemihydrate_density=ALPHA_DENSITY) == pytest.approx(dry, rel=MODEL_ERROR)


def test_dry_to_wet_ratio_against_the_table() -> None:
    """69/99 at 70 and 72.5/100 at 65, in the table's whole and half pounds per cubic foot."""
    half_pound = 0.5 / 69
    assert dry_to_wet_ratio(0.70) == pytest.approx(69 / 99, rel=half_pound)
    assert dry_to_wet_ratio(0.65) == pytest.approx(72.5 / 100, rel=1.2 * half_pound)
