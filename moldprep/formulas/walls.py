"""How thick plaster should be round a form (common practice of the trade, no source)."""

from __future__ import annotations

WALLS_MM: tuple[tuple[float, float], ...] = ((100, 28), (200, 38), (350, 48), (float("inf"), 58))
"""Largest dimension of the form up to which a wall serves: 25-30, 35-40, 45-50, 50-65 mm."""


def least_wall_mm(largest_mm: float) -> float:
    """Wall of plaster for a form by its largest dimension [mm]: the middle of the usual range.

    >>> least_wall_mm(150)
    38
    """
    if not largest_mm > 0:
        raise ValueError(f"a form of {largest_mm:g} mm has no size")
    return next(wall for limit, wall in WALLS_MM if largest_mm <= limit)
