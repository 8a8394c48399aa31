"""Revised NIOSH lifting equation (publication 94-110): 23 kg x HM x VM x DM, straight lift, good grip.

HM = 25/H, VM = 1 - 0.003 |V - 75|, DM = 0.82 + 4.5/D, lengths in cm.
"""

from __future__ import annotations

import pytest

from moldprep.materials import HEAVY_LIFT_KG


def limit_kg(horizontal: float, vertical: float, distance: float) -> float:
    return 23 * (25 / horizontal) * (1 - 0.003 * abs(vertical - 75)) * (0.82 + 4.5 / distance)


def test_the_limit_from_the_floor_to_a_bench() -> None:
    assert limit_kg(40, 75, 25) == pytest.approx(14.375)
    assert HEAVY_LIFT_KG.value == pytest.approx(limit_kg(30, 0, 75), abs=0.005)
