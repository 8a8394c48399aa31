"""How water, mix and age hurry or slow the set, and how warm setting plaster becomes.

A span is (least, most). Influences are spans of multipliers on a time that holds at 20 °C, at the usual
consistency, for fresh plaster. That warm water, a thick mix and old set crumbs shorten the set, and cold
water lengthens it, is common practice; by how much is our judgement, and the spans are wide for it. A cup
of the same bag, timed, is worth more than all of them.
"""

from __future__ import annotations

from math import exp, inf

from .gypsum import WATER_HEAT_CAPACITY_J_GK

Span = tuple[float, float]

BASE_C = 20.0
"""Water temperature at which the multiplier is 1."""
WARMEST_C = 40.0
"""Warmer water does not hurry it further: hemihydrate then dissolves less (from memory)."""
KELVIN_PER_E = (35.0, 70.0)
"""So much warmer water shortens the times to 1/e (our judgement): 10 K by 13-25 %."""
CONSISTENCY_POWER = (0.5, 1.5)
"""Times go with the consistency to this power (our judgement)."""
FRESH_MONTHS = 3.0
"""So long a dry bag is as good as fresh (common practice)."""
STALE_MONTHS = 24.0
"""Older is not reckoned further."""
SHORTER_A_MONTH = (0.01, 0.03)
"""Share of the times that each further month takes (our judgement)."""
HEMIHYDRATE_HEAT_CAPACITY_J_GK = 0.82
"""119 J/(mol K) near 25 °C (from memory)."""
LOSS_W_M2K = (5.0, 20.0)
"""Heat that leaves a surface: to a board or a print, and bare to moving air (our judgement)."""


def by_temperature(water_c: float) -> Span:
    """Multiplier for the water's temperature [Celsius]: exp((20 - T)/k), k within `KELVIN_PER_E`.

    >>> tuple(round(x, 2) for x in by_temperature(30))
    (0.75, 0.87)
    """
    off = BASE_C - min(water_c, WARMEST_C)
    return _span(*(exp(off / kelvin) for kelvin in KELVIN_PER_E))


def by_consistency(consistency: float, usual: Span) -> Span:
    """Multiplier for a mix outside the usual consistencies, which share one time: (c / nearest usual)^n.

    >>> tuple(round(x, 3) for x in by_consistency(52, (65, 74)))
    (0.716, 0.894)
    """
    low, high = usual
    ratio = consistency / min(max(consistency, low), high)
    return _span(*(ratio**power for power in CONSISTENCY_POWER))


def by_age(months: float) -> Span:
    """Multiplier for the plaster's age: each month beyond `FRESH_MONTHS` takes 1-3 % of what is left.

    >>> by_age(3.0)
    (1.0, 1.0)
    """
    old = max(min(months, STALE_MONTHS) - FRESH_MONTHS, 0.0)
    return _span(*((1 - share) ** old for share in SHORTER_A_MONTH))


def together(*spans: Span) -> Span:
    """Spans of positive factors, multiplied: least by least, most by most.

    >>> together((27.0, 37.0), (0.5, 2.0))
    (13.5, 74.0)
    """
    least = most = 1.0
    for low, high in spans:
        least, most = least * low, most * high
    return least, most


def start_c(water_c: float, consistency: float, *, powder_c: float = BASE_C) -> float:
    """Temperature of the mix before it sets [Celsius]: heat of water and powder shared out.

    consistency [kg/kg]; the bucket and the heat of wetting are left out.

    >>> round(start_c(10, 0.70), 1)
    12.2
    """
    water = consistency * WATER_HEAT_CAPACITY_J_GK
    return (water * water_c + HEMIHYDRATE_HEAT_CAPACITY_J_GK * powder_c) / (
        water + HEMIHYDRATE_HEAT_CAPACITY_J_GK
    )


def rise_share(
    depth_mm: float, *, release_min: float, loss_w_m2k: float, heat_capacity_kj_m3k: float
) -> float:
    """Share of the adiabatic rise that a piece of plaster reaches.

    depth_mm: its volume over its surface; half the wall of a slab. Heat released evenly over the time
    that the set takes, against loss in proportion to the warmth, the piece warm alike all through (Biot
    number below 0.3 up to 50 mm): (tau/t)(1 - exp(-t/tau)), tau = C V/(h A). 1 for a piece so thick that
    nothing leaves it.

    >>> round(rise_share(19, release_min=30, loss_w_m2k=10, heat_capacity_kj_m3k=3200), 2)
    0.87
    """
    if loss_w_m2k == 0 or depth_mm == inf:
        return 1.0
    tau_min = heat_capacity_kj_m3k * depth_mm / loss_w_m2k / 60
    share = release_min / tau_min
    return (1 - exp(-share)) / share


def _span(*values: float) -> Span:
    return min(values), max(values)
