"""Multipliers on the set, and the share of the heat that stays: signs, limits and their closed forms."""

from __future__ import annotations

from itertools import pairwise
from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from moldprep.formulas import timing


def test_nothing_changes_at_twenty_degrees_in_the_usual_mix_of_fresh_plaster() -> None:
    assert timing.by_temperature(20) == (1, 1)
    assert timing.by_age(0) == timing.by_age(3) == (1, 1)
    for consistency in (65, 70, 74):
        assert timing.by_consistency(consistency, (65, 74)) == (1, 1)


@given(water=st.floats(1, 60))
def test_ten_kelvin_warmer_is_sooner_up_to_the_warmest(water: float) -> None:
    low, high = timing.by_temperature(water)
    assert low <= high and (high <= 1 if water >= 20 else low >= 1)
    warmer = timing.by_temperature(water + 10)
    assert warmer[0] <= low and warmer[1] <= high
    if water > timing.WARMEST_C:
        assert (low, high) == timing.by_temperature(timing.WARMEST_C)


def test_cold_and_warm_water_mirror_each_other() -> None:
    cold, warm = timing.by_temperature(10), timing.by_temperature(30)
    assert (cold[0] * warm[1], cold[1] * warm[0]) == pytest.approx((1, 1))
    assert warm == pytest.approx((exp(-10 / 35), exp(-10 / 70)))


def test_thicker_sets_sooner_and_thinner_later() -> None:
    spans = [timing.by_consistency(c, (65, 74)) for c in (40, 50, 60, 70, 80, 90)]
    for thick, thin in pairwise(spans):
        assert thick[0] < thin[0] and thick[1] < thin[1]
    assert timing.by_consistency(80, (65, 74)) == pytest.approx(((80 / 74) ** 0.5, (80 / 74) ** 1.5))


def test_age_takes_its_share_of_each_month_and_no_more_after_two_years() -> None:
    assert timing.by_age(4) == pytest.approx((0.97, 0.99))
    assert timing.by_age(24) == timing.by_age(240) == pytest.approx((0.97**21, 0.99**21))


def test_the_mix_starts_between_its_water_and_its_powder() -> None:
    """0.7 x 4.18 = 2.926 J/K of water at 40, 0.82 of powder at 20: 35.6 degrees (by hand)."""
    assert timing.start_c(40, 0.70) == pytest.approx((2.926 * 40 + 0.82 * 20) / 3.746)
    assert timing.start_c(20, 0.70) == pytest.approx(20)


@given(depth=st.floats(2, 200), minutes=st.floats(5, 60), loss=st.floats(1, 30), heat=st.floats(2000, 4000))
def test_the_share_of_the_rise_lies_between_none_and_all_and_grows_with_depth(
    depth: float, minutes: float, loss: float, heat: float
) -> None:
    def share(mm: float) -> float:
        return timing.rise_share(mm, release_min=minutes, loss_w_m2k=loss, heat_capacity_kj_m3k=heat)

    assert 0 < share(depth) < share(2 * depth) < 1


def test_the_share_solves_the_heat_balance() -> None:
    """C d T' = q - h T over the release, q d = C d (1 K) / t: against an integrator."""
    depth, seconds, loss, capacity = 0.019, 1800.0, 12.0, 3.17e6

    def balance(_: float, warm: np.ndarray) -> np.ndarray:
        return np.asarray(1 / seconds - loss * warm / (capacity * depth))

    solved = solve_ivp(balance, (0, seconds), [0.0], rtol=1e-9, atol=1e-12).y[0, -1]
    share = timing.rise_share(19, release_min=30, loss_w_m2k=12, heat_capacity_kj_m3k=3170)
    assert share == pytest.approx(solved, rel=1e-7)


def test_where_nothing_leaves_all_of_it_stays() -> None:
    assert timing.rise_share(19, release_min=30, loss_w_m2k=0, heat_capacity_kj_m3k=3170) == 1
