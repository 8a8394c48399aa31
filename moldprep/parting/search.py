"""The cheapest stack of layers of each family, exactly, on the tables' grid.

Every family's price is a sum of terms that each depend on one plane, plus, for a split layer, a
difference of two cumulated values at the same azimuth and offset. One scan with a running minimum
therefore finds the best pair of planes, and a dynamic programme over heights the best of several
split layers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from ..geometry.mesh import Bools, Floats
from ..job import PartingJob
from .layers import Layer
from .tables import PartingTables

EXCESS_PRICE = 100.0
"""Price of a mm3 of locked plaster in mm of smooth level seam: ten cubic millimetres, half a
millimetre deep over twenty, weigh as much as a whole piece."""
LOCKED_PRICE = 1.0
"""Price of a mm3 of any locked plaster, noise included: of two planes that both pass, the truer one."""
STACKED_PRICE = 200.0
"""Price of two split layers on each other: nothing may register them upright."""
FRONT_PRICE, SKEW_PRICE, OFF_AXIS_PRICE = 5.0, 25.0, 10.0
"""Price of an upright seam on the front and back instead of left and right, of one that is square to
neither (it takes an angle gauge to set up), and of one beside the form's axis (halves that are not
alike). Only ties and facet noise are that near."""
ON_AXIS_MM = 0.05


@dataclass(frozen=True, eq=False)
class Prices:
    """What planes and seams cost, in mm of smooth level seam.

    down, up, level: (n + 1,) locked plaster below, above, and the seam at each level. side:
    (a, n + 1, o) cumulated price of locked plaster and upright seam; upright: (a, o) price of the plane.
    allowed: (n + 1,) levels that a plane may take. piece, stacked: of one more piece, of two split
    layers on each other.
    """

    down: Floats
    up: Floats
    level: Floats
    side: Floats = field(repr=False)
    upright: Floats
    allowed: Bools
    piece: float
    stacked: float


def prices_of(tables: PartingTables, level: Floats, job: PartingJob, *, allowed: Bools) -> Prices:
    """What the tables' entries cost; `level` (n + 1,) is the price of the level seam at each level."""
    return Prices(
        down=EXCESS_PRICE * tables.down + LOCKED_PRICE * tables.down_all,
        up=EXCESS_PRICE * tables.up + LOCKED_PRICE * tables.up_all,
        level=level,
        side=EXCESS_PRICE * tables.side
        + LOCKED_PRICE * tables.side_all
        + job.vertical_price * (tables.seam - tables.creased)
        + job.crease_price * tables.creased,
        upright=np.array(
            [
                [upright_price(tables, float(azimuth), float(offset)) for offset in row]
                for azimuth, row in zip(tables.azimuths_deg, tables.offsets, strict=True)
            ]
        ).reshape(tables.offsets.shape),
        allowed=allowed,
        piece=job.piece_price,
        stacked=STACKED_PRICE,
    )


def locked_only(tables: PartingTables, *, allowed: Bools) -> Prices:
    """The same when nothing counts but how little is locked."""
    return Prices(
        down=EXCESS_PRICE * tables.down + LOCKED_PRICE * tables.down_all,
        up=EXCESS_PRICE * tables.up + LOCKED_PRICE * tables.up_all,
        level=np.zeros(len(tables.levels)),
        side=EXCESS_PRICE * tables.side + LOCKED_PRICE * tables.side_all,
        upright=np.zeros(tables.offsets.shape),
        allowed=allowed,
        piece=0.0,
        stacked=0.0,
    )


def upright_price(tables: PartingTables, azimuth_deg: float, offset: float) -> float:
    """Nothing for halves that leave to front and back and part on the form's axis. See `FRONT_PRICE`."""
    turn, angle = azimuth_deg % 180, np.radians(azimuth_deg)
    own = tables.centre[0] * np.cos(angle) + tables.centre[1] * np.sin(angle)
    beside = OFF_AXIS_PRICE if abs(offset - own) > ON_AXIS_MM else 0.0
    if abs(turn - 90) < 1e-6:
        return beside
    return beside + (FRONT_PRICE if min(turn, 180 - turn) < 1e-6 else SKEW_PRICE)


def best_stacks(
    tables: PartingTables, prices: Prices, *, split_layers: int
) -> Iterator[tuple[float, tuple[Layer, ...]]]:
    """Price and layers of the cheapest stack of every family, up to `split_layers` split ones.

    Pieces beyond the first are priced; ties go to the lower plane.
    """
    last = len(tables.levels) - 1
    inner = np.arange(last + 1)[1:-1][prices.allowed[1:-1]]
    yield float(prices.down[last]), _layers(tables, [], (last, last))
    if len(inner):
        both = prices.down[inner] + prices.up[inner] + prices.level[inner] + prices.piece
        k = int(inner[np.argmin(both)])
        yield float(both.min()), _layers(tables, [], (k, k))
    if not len(tables.azimuths_deg):
        return
    plane = np.where(prices.allowed, prices.level, np.inf)
    for foot in (False, True):
        for top in (False, True):
            begin, end = np.full(last + 1, np.inf), np.full(last + 1, np.inf)
            begin[0], end[last] = 0.0, 0.0
            if foot:
                begin = prices.down + plane + prices.piece
                begin[[0, last]] = np.inf
            if top:
                end = prices.up + plane + prices.piece
                end[[0, last]] = np.inf
            yield from _splits(tables, prices, plane, begin, end, split_layers)


def _splits(
    tables: PartingTables, prices: Prices, plane: Floats, begin: Floats, end: Floats, most: int
) -> Iterator[tuple[float, tuple[Layer, ...]]]:
    """The best stack with one, two, ... split layers between a beginning and an end."""
    last = len(begin) - 1
    costs = [begin]  # costs[m][k]: m split layers end at level k, and what lies below them
    for count in range(1, most + 1):
        entry = _entry(costs, plane, prices)
        if not np.isfinite(entry).any():
            return
        lowest = np.minimum.accumulate(entry[None, :, None] - prices.side, axis=1)
        reached = np.full(last + 1, np.inf)
        ways = lowest[:, :-1] + prices.side[:, 1:] + prices.upright[:, None]
        reached[1:] = ways.min(axis=(0, 2))
        costs.append(reached)
        total = reached + end + prices.piece
        if not np.isfinite(total).any():
            return
        high = int(np.argmin(total))
        yield float(total[high]), _traced(tables, prices, plane, costs, high, count)


def _entry(costs: list[Floats], plane: Floats, prices: Prices) -> Floats:
    """Cost of beginning the next split layer at each level."""
    return costs[0] if len(costs) == 1 else costs[-1] + plane + 2 * prices.piece + prices.stacked


def _traced(
    tables: PartingTables, prices: Prices, plane: Floats, costs: list[Floats], high: int, count: int
) -> tuple[Layer, ...]:
    """The layers behind the last entry of the dynamic programme, found again from top to bottom."""
    splits: list[tuple[int, int, int, int]] = []
    top = high
    for m in range(count, 0, -1):
        entry = _entry(costs[:m], plane, prices)
        left = entry[None, :top, None] - prices.side[:, :top] + prices.side[:, top][:, None]
        a, low, o = (int(i) for i in np.unravel_index(np.argmin(left + prices.upright[:, None]), left.shape))
        splits.append((low, top, a, o))
        top = low
    return _layers(tables, splits[::-1], (splits[-1][0], splits[0][1]))


def _layers(
    tables: PartingTables, splits: list[tuple[int, int, int, int]], ends: tuple[int, int]
) -> tuple[Layer, ...]:
    """Layers from level numbers: what lies below the first and above the last plane, splits between."""
    levels = tables.levels
    found = []
    if ends[0] > 0:
        found.append(Layer(float(levels[0]), float(levels[ends[0]]), "down"))
    for low, high, a, o in splits:
        azimuth, offset = float(tables.azimuths_deg[a]), float(tables.offsets[a, o])
        found.append(Layer(float(levels[low]), float(levels[high]), "split", azimuth, offset))
    if ends[1] < len(levels) - 1:
        found.append(Layer(float(levels[ends[1]]), float(levels[-1]), "up"))
    return tuple(found)


def fixed_stacks(
    tables: PartingTables, prices: Prices, planes: list[int]
) -> Iterator[tuple[float, tuple[Layer, ...]]]:
    """Price and layers of the cheapest stack of every family whose planes are exactly these levels.

    The lowest layer leaves downward or is split, the highest leaves upward or is split, those
    between are split.
    """
    last = len(tables.levels) - 1
    bounds = [0, *planes, last]
    seams = float(prices.level[planes].sum())
    for foot in (False, True):
        for top in (False, True):
            begin, end = int(foot), len(bounds) - 1 - int(top)
            whole = foot and not top and end == begin  # one layer that leaves downward
            if end < begin or (end == begin and not whole and not (foot and top and len(planes) == 1)):
                continue
            slabs = list(zip(bounds[begin:end], bounds[begin + 1 : end + 1], strict=True))
            if slabs and not len(tables.azimuths_deg):
                continue
            splits, cost = [], seams
            for low, high in slabs:
                slab = prices.side[:, high] - prices.side[:, low] + prices.upright
                a, o = (int(i) for i in np.unravel_index(np.argmin(slab), slab.shape))
                splits.append((low, high, a, o))
                cost += float(slab[a, o])
            lower, upper = bounds[begin] if foot else 0, bounds[end] if top else last
            cost += float(prices.down[lower]) if foot else 0.0
            cost += float(prices.up[upper]) if top else 0.0
            pieces = int(foot) + int(top) + 2 * len(splits)
            cost += prices.piece * (pieces - 1) + prices.stacked * max(0, len(splits) - 1)
            yield cost, _layers(tables, splits, (lower, upper))
