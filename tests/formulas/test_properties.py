"""Formulas against one another: round trips, balances of mass and volume, what grows with what."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moldprep.formulas import gypsum, hydrostatics, shrinkage, walls

consistencies = st.floats(0.3, 1.2)
shares = st.floats(0, 0.4)


@given(c=consistencies, purity=st.floats(0.6, 1))
def test_mass_and_volume_of_a_batch_balance(c: float, purity: float) -> None:
    """A kg of plaster: gypsum and pores fill the slurry's volume; dry mass and free water are the wet."""
    litres = gypsum.slurry_litres_per_kg(c)
    wet, dry = (
        gypsum.wet_density_kg_m3(c) * litres / 1000,
        gypsum.dry_density_kg_m3(c, purity=purity) * litres / 1000,
    )
    assert wet == pytest.approx(1 + c)
    assert dry + (c - gypsum.combining_water(purity)) == pytest.approx(wet)
    assert dry / wet == pytest.approx(gypsum.dry_to_wet_ratio(c, purity=purity))
    solid = 1000 * dry / gypsum.DIHYDRATE_DENSITY_KG_M3
    assert solid / litres + gypsum.porosity(c, purity=purity) == pytest.approx(1)


def test_more_water_is_lighter_more_porous_and_cooler() -> None:
    mixes = [0.5, 0.6, 0.7, 0.8, 0.9]
    for thick, thin in pairwise(mixes):
        assert gypsum.dry_density_kg_m3(thin) < gypsum.dry_density_kg_m3(thick)
        assert gypsum.porosity(thin) > gypsum.porosity(thick)
        assert gypsum.adiabatic_rise_k(thin) < gypsum.adiabatic_rise_k(thick)


@given(s=shares)
def test_fired_basis_and_back(s: float) -> None:
    back = shrinkage.fired_basis(s) / (1 + shrinkage.fired_basis(s))
    assert back == pytest.approx(s)
    assert shrinkage.master_factor(s) == pytest.approx(1 + shrinkage.fired_basis(s))


@given(drying=shares, firing=shares)
def test_shrinkages_follow_each_other_as_factors_multiply(drying: float, firing: float) -> None:
    total = shrinkage.compounded(drying, firing)
    assert shrinkage.master_factor(total) == pytest.approx(
        shrinkage.master_factor(drying) * shrinkage.master_factor(firing)
    )
    assert shrinkage.linear(100, 100 * shrinkage.master_factor(total) ** -1) == pytest.approx(total)


@given(s=shares, expansion=st.floats(-0.01, 0.03), print_shrink=st.floats(-0.02, 0.05))
def test_a_master_made_by_the_factor_ends_at_the_fired_length(
    s: float, expansion: float, print_shrink: float
) -> None:
    drawn = 100 * shrinkage.master_factor(s, plaster_expansion=expansion, print_shrink=print_shrink)
    printed = drawn * (1 - print_shrink)
    mold = printed * (1 + expansion)
    assert mold * (1 - s) == pytest.approx(100)


@pytest.mark.parametrize(
    "refused",
    [
        lambda: shrinkage.master_factor(1.0),
        lambda: shrinkage.linear(100, 0),
        lambda: gypsum.slurry_litres_per_kg(0.18),
        lambda: gypsum.adiabatic_rise_k(0.1),
        lambda: gypsum.dry_to_wet_ratio(float("nan")),
        lambda: walls.least_wall_mm(0),
    ],
)
def test_what_has_no_meaning_is_refused(refused) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"\d"):
        refused()


def test_walls_lie_in_the_trade_s_ranges_and_grow() -> None:
    """Up to 100 mm 25-30, to 200 35-40, to 350 45-50, more 50-65 mm (common practice)."""
    ranges = {60: (25, 30), 100: (25, 30), 101: (35, 40), 200: (35, 40), 350: (45, 50), 900: (50, 65)}
    found = [walls.least_wall_mm(size) for size in ranges]
    assert all(low <= wall <= high for wall, (low, high) in zip(found, ranges.values(), strict=True))
    assert found == sorted(found)


def test_hoop_force_is_the_tension_summed_over_the_height() -> None:
    slices = 1000
    heads = [300 * (k + 0.5) / slices for k in range(slices)]
    summed = sum(
        hydrostatics.hoop_tension_n_m(hydrostatics.pressure_pa(1586, head), 100) * 0.3 / slices
        for head in heads
    )
    assert hydrostatics.hoop_force_n(1586, 300, 100) == pytest.approx(summed, rel=1e-6)


def test_a_sealed_prism_from_board_to_surface_feels_no_force_up() -> None:
    """It displaces base times head, and that is what presses on nothing."""
    assert hydrostatics.sealed_uplift_n(1572, 500, 0, base_mm2=5000, head_mm=100) == pytest.approx(
        0, abs=1e-12
    )
