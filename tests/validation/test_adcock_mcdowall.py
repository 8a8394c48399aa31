"""Wall against time, L^2 = k t: Adcock and McDowall, J. Am. Ceram. Soc. 40:355, 1957 (from memory)."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from moldprep.formulas.filtration import (
    minutes_for,
    rate_of,
    wall_in_hollow_mm,
    wall_mm,
    wall_on_boss_mm,
)


@pytest.mark.parametrize(("wall", "minutes"), [(3, 9), (4, 16), (5, 25), (8, 64)])
def test_twice_the_wall_takes_four_times_as_long(wall: float, minutes: float) -> None:
    assert minutes_for(wall, 1.0) == minutes
    assert wall_mm(1.0, minutes) == wall


def test_three_casts_of_one_small_mold_get_slower() -> None:
    """4 mm in 3, 3.5 and 4 minutes (hot-clay.com)."""
    assert [rate_of(4, minutes) for minutes in (3, 3.5, 4)] == pytest.approx([5.33, 4.57, 4.00], abs=0.005)


def test_three_eighths_of_an_inch_in_45_to_60_minutes() -> None:
    """ceramicarts.com; an inch is 25.4 mm."""
    assert [rate_of(0.375 * 25.4, minutes) for minutes in (45, 60)] == pytest.approx([2.02, 1.51], abs=0.005)


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("radius", [10.0, 30.0])
def test_curved_walls_follow_darcys_law_integrated_step_by_step(radius: float, sign: int) -> None:
    """dL/dt = (k/2) / (r |ln(R/r)|) with r the cake's free surface, by Runge-Kutta from a thin flat wall."""
    from scipy.integrate import solve_ivp

    def grows(_: float, wall: np.ndarray) -> np.ndarray:
        free = radius + sign * wall
        return 0.5 / (free * np.abs(np.log(radius / free)))

    begin = 1e-4
    done = solve_ivp(grows, (begin**2, 16.0), [begin], rtol=1e-9, atol=1e-12, method="LSODA")
    found = wall_on_boss_mm(1, 16, radius) if sign > 0 else wall_in_hollow_mm(1, 16, radius)
    assert found == pytest.approx(done.y[0, -1], rel=1e-5)


def test_a_narrow_hollow_grows_shut() -> None:
    """At k t = R^2/2 the free surface has shrunk to nothing."""
    assert wall_in_hollow_mm(1, 50, 10) == 10
    assert wall_in_hollow_mm(1, 49.9, 10) < 10


def test_a_cup_s_slip_sinks_by_six_millimetres() -> None:
    """80 mm across, 120 mm deep, 4 mm of wall: 29.85 mL of water; 5.94 mm at first, 7.3 mm when 72 are left (by hand)."""
    from moldprep.formulas.slip import level_drop_mm, water_into_mold

    share = water_into_mold(1.80, 2.6, 20)
    wall = 4.0 * (pi * 80 * 120 + pi * 40**2)
    assert share * wall / 1000 == pytest.approx(29.85, abs=0.005)
    assert level_drop_mm(wall, pi * 40**2, share) == pytest.approx(5.94, abs=0.005)
    assert level_drop_mm(wall, pi * 36**2, share) == pytest.approx(7.3, abs=0.05)
