"""Drying logs: invented ones with noise, of the fitted model and of another; and impossible ones."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from moldprep.drying import CRITICAL_WATER, READY_WATER, DryState, Reading, dry_state
from moldprep.errors import JobError
from moldprep.formulas.drying import hours_to, water_after

DRY_G, SET_G = 5931.0, 8500.0
"""A batch of 5 kg at 70 parts of water."""
LOGS = 500
"""Two thirds of them dry as the fitted model does."""


def log_of(hours: np.ndarray, water: np.ndarray, dry_g: float) -> list[Reading]:
    return [Reading(float(t), float(dry_g * (1 + x))) for t, x in zip(hours, water, strict=True)]


@cache
def invented() -> list[tuple[bool, float, DryState]]:
    """(of the fitted model, hours really left, what was said) of each log that is not ready at its end.

    Drawn at random: the water at the start, the rate, where it begins to fall, the noise of the scale,
    six to fifteen weighings up to between half and all but a twentieth of the way. Beside the others a
    heater is turned on half way through the log, and triples the rate.
    """
    chance = np.random.default_rng(1)
    found = []
    for k in range(LOGS):
        begin, rate = chance.uniform(0.35, 0.43), np.exp(chance.uniform(np.log(0.004), np.log(0.03)))
        critical, dry_g = chance.uniform(*CRITICAL_WATER), chance.uniform(1500, 9000)
        ready = float(hours_to(READY_WATER, *(np.array(x) for x in (begin, rate, critical))))
        count = int(chance.integers(6, 16))
        own = k % 3 != 2
        span = chance.uniform(0.5, 0.95) * ready * (1.0 if own else 0.5)
        hours = np.sort(chance.uniform(0, span, count))
        hours[0] = 0.0
        sped = hours if own else hours + 2 * np.maximum(hours - span / 2, 0)
        water = water_after(sped, *(np.array(x) for x in (begin, rate, critical)))
        water = water + chance.normal(0, chance.uniform(0.0007, 0.0025), count)
        if water[-1] > READY_WATER:
            state = dry_state(log_of(hours, water, dry_g), set_g=dry_g * SET_G / DRY_G, dry_g=dry_g)
            found.append((own, ready - hours[-1], state))
    return found


def test_the_model_is_drying_at_a_constant_then_falling_rate() -> None:
    """dX/dt = -N above the critical content, -N X/Xc below, integrated step by step."""
    begin, rate, critical = 0.43, 0.01, 0.15
    hours = np.linspace(0, 90, 31)
    done = solve_ivp(
        lambda _, x: -rate * np.minimum(x / critical, 1), (0, 90), [begin], t_eval=hours, max_step=0.1
    )
    found = water_after(hours, *(np.array(x) for x in (begin, rate, critical)))
    assert found == pytest.approx(done.y[0], abs=1e-4)
    assert hours_to(float(found[-1]), *(np.array(x) for x in (begin, rate, critical))) == pytest.approx(90)


def test_the_interval_holds_the_true_time_nine_times_in_ten() -> None:
    own = [(left, state.hours_left) for fitted, left, state in invented() if fitted]
    told = [(left, hours) for left, hours in own if hours is not None]
    assert len(told) >= 0.98 * len(own) >= 0.6 * LOGS
    held = np.mean([low <= left <= high for left, (_, low, high) in told])
    assert 0.86 <= held <= 0.94
    assert np.median([(high - low) / left for left, (_, low, high) in told]) <= 0.40


def test_a_heater_turned_on_half_way_is_noticed() -> None:
    others = [state for fitted, _, state in invented() if not fitted]
    assert len(others) > 100
    noticed = [state for state in others if state.hours_left is None]
    assert len(noticed) >= 0.9 * len(others)
    assert all("dry-misfit" in [finding.code for finding in state.findings] for state in noticed)


def test_water_left_and_the_weight_to_wait_for() -> None:
    """6111 g of the 5 kg batch: 93 % of the free water is gone; ready at 1.10 times 5931 g."""
    state = dry_state([Reading(0, 8500), Reading(60, 6111)], set_g=SET_G, dry_g=DRY_G)
    assert state.free_left_percent == pytest.approx(7.0, abs=0.05)
    assert state.ready
    assert state.hours_left == (0, 0, 0)
    assert state.ready_grams == pytest.approx(1.10 * DRY_G)


def test_two_readings_are_too_few_for_a_time() -> None:
    state = dry_state([Reading(0, 8500), Reading(10, 8000)], set_g=SET_G, dry_g=DRY_G)
    assert state.hours_left is None
    assert [finding.code for finding in state.findings] == ["dry-few"]
    alone = dry_state([Reading(0, 8500)], set_g=SET_G, dry_g=DRY_G)
    assert alone.findings[0].says == "1 reading is too little to tell a time."


def test_a_mold_that_was_cast_into_is_reckoned_from_there() -> None:
    hours = np.arange(0, 40, 4.0)
    water = water_after(hours, *(np.array(x) for x in (0.3, 0.005, 0.1)))
    plain = dry_state(log_of(hours, water, DRY_G), set_g=SET_G, dry_g=DRY_G)
    before = [Reading(-20, 7000), Reading(-10, 6500)]
    shifted = [Reading(reading.hours, reading.grams) for reading in log_of(hours, water, DRY_G)]
    state = dry_state([*before, *shifted], set_g=SET_G, dry_g=DRY_G)
    assert [finding.code for finding in state.findings] == ["dry-wetted"]
    assert state.hours_left == plain.hours_left


@pytest.mark.parametrize(
    ("log", "code"),
    [
        ([], "dry-empty"),
        ([Reading(0, 8500), Reading(10, 0.98 * DRY_G)], "dry-lighter"),
        ([Reading(0, SET_G + 0.03 * DRY_G)], "dry-heavier"),
        ([Reading(5, 8500), Reading(5, 8000)], "dry-order"),
    ],
)
def test_impossible_logs_are_refused_in_one_line(log: list[Reading], code: str) -> None:
    with pytest.raises(JobError) as caught:
        dry_state(log, set_g=SET_G, dry_g=DRY_G)
    assert caught.value.code == code
    assert caught.value.remedy
    assert "\n" not in str(caught.value)
