"""How a cast's wall grows: the plaster draws water through the clay that is there already.

The thicker the wall, the slower it grows: L^2 = k t on a flat wall (Adcock and McDowall, J. Am. Ceram.
Soc. 40:355, 1957; from memory). k [mm2/min] belongs to one slip in one mold: it falls as the mold gets
wet, and only the maker's own trials tell it. Observed: 0.5 to 5.
"""

from __future__ import annotations

from collections.abc import Callable
from math import log, sqrt

from scipy.optimize import brentq


def wall_mm(rate: float, minutes: float) -> float:
    """Wall after a time [mm], rate k [mm2/min].

    >>> wall_mm(1, 25)
    5.0
    """
    return sqrt(rate * minutes)


def minutes_for(wall: float, rate: float) -> float:
    """Time for a wall [min], rate k [mm2/min].

    >>> minutes_for(8, 1)
    64.0
    """
    return wall**2 / rate


def rate_of(wall: float, minutes: float) -> float:
    """Rate k [mm2/min] of a trial: its wall [mm] and time [min].

    >>> round(rate_of(4, 3), 2)
    5.33
    """
    return wall**2 / minutes


def wall_in_hollow_mm(rate: float, minutes: float, radius: float) -> float:
    """Wall in a round hollow of the mold of that radius [mm], thicker than on a flat.

    Darcy's law between cylinders: (R^2 - r^2)/4 - (r^2/2) ln(R/r) = k t/2 with r = R - L. A hollow that
    has grown shut has a wall of R.

    >>> round(wall_in_hollow_mm(1, 16, 30), 3), round(wall_in_hollow_mm(1, 16, 10), 3)
    (4.098, 4.379)
    """
    if rate * minutes >= radius**2 / 2:
        return radius

    def missing(wall: float) -> float:
        inner = radius - wall
        return (radius**2 - inner**2) / 4 - inner**2 / 2 * log(radius / inner) - rate * minutes / 2

    return _root(missing, radius * (1 - 1e-12))


def wall_on_boss_mm(rate: float, minutes: float, radius: float) -> float:
    """Wall on a round boss of the mold of that radius [mm], thinner than on a flat.

    (r^2/2) ln(r/R) - (r^2 - R^2)/4 = k t/2 with r = R + L.

    >>> round(wall_on_boss_mm(1, 16, 30), 3), round(wall_on_boss_mm(1, 16, 10), 3)
    (3.918, 3.787)
    """

    def missing(wall: float) -> float:
        outer = radius + wall
        return outer**2 / 2 * log(outer / radius) - (outer**2 - radius**2) / 4 - rate * minutes / 2

    return _root(missing, wall_mm(rate, minutes) + 1e-9)


def _root(missing: Callable[[float], float], most: float) -> float:
    return float(brentq(missing, 0.0, most, xtol=1e-9))
