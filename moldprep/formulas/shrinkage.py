"""Shrinkage of clay, always on the wet length: S = (wet - fired) / wet (as ASTM C326, from memory)."""

from __future__ import annotations

from math import sqrt


def linear(before: float, after: float) -> float:
    """Linear shrinkage from one length to the next, on the first [mm/mm].

    >>> linear(150, 144)
    0.04
    """
    if not 0 < after < 2 * before:
        raise ValueError(f"a bar of {before:g} mm cannot become {after:g} mm; check the two lengths")
    return (before - after) / before


def compounded(drying: float, firing: float) -> float:
    """Total shrinkage of two that follow each other: 1 - (1 - S_d)(1 - S_f).

    >>> round(100 * compounded(0.0625, 0.0666), 2)
    12.49
    """
    return 1 - (1 - drying) * (1 - firing)


def master_factor(shrinkage: float, *, plaster_expansion: float = 0.0, print_shrink: float = 0.0) -> float:
    """How many times the fired length the drawn master must have: 1/[(1 - S)(1 + e)(1 - p)].

    All as fractions: plaster expansion makes the mold larger than the master, the print comes out
    smaller than drawn. Limits: S < 1, p < 1.

    >>> round(master_factor(0.12, plaster_expansion=0.002, print_shrink=0.003), 5)
    1.13751
    """
    kept = (1 - shrinkage) * (1 + plaster_expansion) * (1 - print_shrink)
    if kept <= 0:
        raise ValueError(f"a shrinkage of {shrinkage:g} leaves nothing")
    return 1 / kept


def fired_basis(shrinkage: float) -> float:
    """The same shrinkage put on the fired length, S/(1 - S): what a maker gets who divides by it.

    >>> round(100 * fired_basis(1 - 133 / 150), 2)
    12.78
    """
    return shrinkage / (1 - shrinkage)


def volume_loss(width: float, height: float | None = None) -> float:
    """Share of the volume lost: 1 - (1 - S_w)^2 (1 - S_h).

    >>> round(100 * volume_loss(0.12), 2)
    31.85
    """
    return 1 - (1 - width) ** 2 * (1 - (width if height is None else height))


def uncertainty(shrinkage: float, wet: float, fired: float, mark_error: float) -> float:
    """Standard uncertainty of S from two readings: (1 - S) sqrt[(u/fired)^2 + (u/wet)^2].

    >>> round(100 * uncertainty(0.12, 100, 88, 0.5), 3)
    0.666
    """
    return (1 - shrinkage) * sqrt((mark_error / fired) ** 2 + (mark_error / wet) ** 2)
