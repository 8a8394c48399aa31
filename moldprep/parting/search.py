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


@dataclass(frozen=True, eq=False)
class Prices:
    """What the planes and seams cost: level (n + 1,) the seam at each level; side (a, n + 1, o) the
    cumulated price of locked plaster and upright seam; allowed (n + 1,) levels that a plane may take.
    """

    down: Floats
    up: Floats
    level: Floats
    side: Floats = field(repr=False)
    allowed: Bools
    piece: float


def prices_of(
    tables: PartingTables, level: Floats, job: PartingJob, *, allowed: Bools | None = None
) -> Prices:
    """The tables in one currency; `level` (n + 1,) is the price of the level seam at each level."""
    return Prices(
        down=EXCESS_PRICE * tables.down + LOCKED_PRICE * tables.down_all,
        up=EXCESS_PRICE * tables.up + LOCKED_PRICE * tables.up_all,
        level=level,
        side=EXCESS_PRICE * tables.side + LOCKED_PRICE * tables.side_all + job.vertical_price * tables.seam,
        allowed=np.ones(len(tables.levels), bool) if allowed is None else allowed,
        piece=job.piece_price,
    )


def best_stacks(
    tables: PartingTables, prices: Prices, *, split_layers: int
) -> Iterator[tuple[float, tuple[Layer, ...]]]:
    """Price and layers of the cheapest stack of every family; `split_layers` at the most.

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
        entry = begin if count == 1 else costs[-1] + plane + 2 * prices.piece + STACKED_PRICE
        lowest = np.minimum.accumulate(entry[None, :, None] - prices.side, axis=1)
        reached = np.full(last + 1, np.inf)
        reached[1:] = (lowest[:, :-1] + prices.side[:, 1:]).min(axis=(0, 2))
        if count > 1:
            reached[~np.isfinite(entry).any()] = np.inf
        costs.append(reached)
        total = reached + end + prices.piece
        if not np.isfinite(total).any():
            return
        high = int(np.argmin(total))
        yield float(total[high]), _traced(tables, prices, plane, costs, high, count)


def _traced(
    tables: PartingTables, prices: Prices, plane: Floats, costs: list[Floats], high: int, count: int
) -> tuple[Layer, ...]:
    """The layers behind the last entry of the dynamic programme, found again from top to bottom."""
    splits: list[tuple[int, int, int, int]] = []
    top = high
    for m in range(count, 0, -1):
        entry = costs[0] if m == 1 else costs[m - 1] + plane + 2 * prices.piece + STACKED_PRICE
        left = entry[None, :top, None] - prices.side[:, :top] + prices.side[:, top][:, None]
        a, low, o = (int(i) for i in np.unravel_index(np.argmin(left), left.shape))
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


def locked_volumes(tables: PartingTables, layers: tuple[Layer, ...]) -> tuple[float, float]:
    """(excess, all) locked plaster of a stack in mm3, by look-up between the tables' grid points."""
    excess = whole = 0.0
    for layer in layers:
        if layer.kind == "down":
            excess += float(np.interp(layer.high_mm, tables.levels, tables.down))
            whole += float(np.interp(layer.high_mm, tables.levels, tables.down_all))
        elif layer.kind == "up":
            excess += float(np.interp(layer.low_mm, tables.levels, tables.up))
            whole += float(np.interp(layer.low_mm, tables.levels, tables.up_all))
        else:
            excess += _split_volume(tables, tables.side, layer)
            whole += _split_volume(tables, tables.side_all, layer)
    return excess, whole


def _split_volume(tables: PartingTables, table: Floats, layer: Layer) -> float:
    """Locked volume of one split layer, linear between levels and offsets, at the nearest azimuth."""
    assert layer.azimuth_deg is not None and layer.offset_mm is not None
    turn = (tables.azimuths_deg - layer.azimuth_deg + 90) % 180 - 90
    a = int(np.argmin(np.abs(turn)))
    column = [
        np.interp(height, tables.levels, table[a, :, o])
        for o in range(table.shape[2])
        for height in (layer.low_mm, layer.high_mm)
    ]
    slab = np.array(column[1::2]) - np.array(column[::2])
    return float(np.interp(layer.offset_mm, tables.offsets[a], slab))
