"""How a plaster mold dries: water left, and the time by drying theory.

Water contents are on dry weight [kg/kg]. First water leaves the surface as from a puddle, at a constant
rate; below the critical content it must come from within, and the rate falls in proportion to what is
left (drying theory; from memory).
"""

from __future__ import annotations

from math import log

import numpy as np
from numpy.typing import NDArray

WARN_C = 45.0
STOP_C = 49.0
"""Dry gypsum loses its own water above this, and crumbles: 120 °F (clayart archive, subject38175)."""
READY_LOW, READY_HIGH = 0.05, 0.15
"""Water left in a mold that is ready to cast (common practice): bone dry it grips and cracks the cast."""


def water_left(weight_g: float, dry_g: float) -> float:
    """Water that a piece holds, on its dry weight [g/g].

    >>> round(water_left(1100, 1000), 3)
    0.1
    """
    return weight_g / dry_g - 1


def share_gone(weight_g: float, set_g: float, dry_g: float) -> float:
    """Share of the free water that has left a piece since it set [g/g].

    >>> round(share_gone(6111, 8500, 5931), 2)
    0.93
    """
    return (set_g - weight_g) / (set_g - dry_g)


def weight_at(water: float, dry_g: float) -> float:
    """Weight of a piece that holds so much water on its dry weight [g].

    >>> weight_at(0.10, 5931)
    6524.1
    """
    return dry_g * (1 + water)


def constant_rate_hours(
    dry_kg: float, begin: float, critical: float, area_m2: float, rate_kg_m2_h: float
) -> float:
    """Hours from a water content down to the critical one: Ws (X0 - Xc)/(A N).

    >>> round(constant_rate_hours(5.93, 0.433, 0.10, 0.25, 0.20), 1)
    39.5
    """
    return dry_kg * (begin - critical) / (area_m2 * rate_kg_m2_h)


def falling_rate_hours(
    dry_kg: float,
    critical: float,
    end: float,
    area_m2: float,
    rate_kg_m2_h: float,
    *,
    equilibrium: float = 0.0,
) -> float:
    """Hours from the critical water content to `end`: Ws (Xc - Xe)/(A N) ln[(Xc - Xe)/(Xf - Xe)].

    equilibrium Xe: what the room's air leaves in the plaster.

    >>> round(falling_rate_hours(5.93, 0.10, 0.01, 0.25, 0.20), 1)
    27.3
    """
    span = critical - equilibrium
    return dry_kg * span / (area_m2 * rate_kg_m2_h) * log(span / (end - equilibrium))


def water_after(
    hours: NDArray[np.float64],
    begin: NDArray[np.float64],
    rate: NDArray[np.float64],
    critical: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Water content after some hours of drying [kg/kg], arrays broadcast against one another.

    begin: at hour 0; rate: lost in an hour while it is constant [1/h]; critical: content below which it
    falls with what is left. begin - rate t, then critical exp(-rate (t - tc)/critical).

    >>> water_after(*(np.array(x) for x in (10.0, 0.40, 0.02, 0.10))).round(3).item()
    0.2
    """
    turn = np.maximum(begin - critical, 0) / rate
    falling = np.minimum(begin, critical) * np.exp(-rate * np.maximum(hours - turn, 0) / critical)
    return np.where(hours < turn, begin - rate * hours, falling)


def hours_to(
    water: float,
    begin: NDArray[np.float64],
    rate: NDArray[np.float64],
    critical: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Hours from `begin` until a content is reached [h], the inverse of `water_after`; 0 when it is already.

    >>> hours_to(0.2, *(np.array(x) for x in (0.40, 0.02, 0.10))).round(3).item()
    10.0
    """
    constant = np.maximum(begin - np.maximum(critical, water), 0) / rate
    lowest = np.minimum(begin, critical)
    return constant + np.where(water < lowest, critical / rate * np.log(lowest / water), 0.0)
