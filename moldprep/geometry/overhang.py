"""Where a solid that grows layer by layer hangs over air, and how much air stands beneath.

Read from columns along the build direction: a stretch of solid that begins on a face which leans out too
far needs support from there down to the next solid below, or to the bed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .columns import Intervals
from .mesh import Bools, Floats, Mesh, read_only

SLACK_DEG = 0.05
"""A face that leans no more than this beyond the limit still counts as within it: facets err by so much."""


@dataclass(frozen=True, eq=False)
class Overhangs:
    """Every place where a column enters solid through a face that leans out too far.

    height: (k,) along the build direction, mm. below: (k,) height of the next solid beneath, -inf where
    there is none. area: (k,) mm2 of surface that the place stands for. cell: plan area of a column, mm2.
    """

    height: Floats
    below: Floats
    area: Floats
    cell: float

    def __post_init__(self) -> None:
        for array in (self.height, self.below, self.area):
            read_only(array)


def overhangs(mesh: Mesh, intervals: Intervals, *, limit_deg: float) -> tuple[Overhangs, Overhangs]:
    """What hangs over when the solid is built along +d, and when along -d (heights negated), of the frame.

    intervals: of the same mesh. limit_deg: steepest lean that prints without support, from the build
    direction: asin(-n.d) of a face with normal n.
    """
    lean = mesh.normals @ intervals.frame.direction
    cell = intervals.frame.pitch**2
    first, last = np.zeros(len(intervals.low), bool), np.zeros(len(intervals.low), bool)
    met = np.diff(intervals.start) > 0
    first[intervals.start[:-1][met]] = True
    last[intervals.start[1:][met] - 1] = True
    before, after = np.roll(intervals.high, 1), np.roll(intervals.low, -1)
    upward = _gathered(-lean[intervals.face_low], intervals.low, before, first, limit_deg, cell)
    downward = _gathered(lean[intervals.face_high], -intervals.high, -after, last, limit_deg, cell)
    return upward, downward


def support_mm3(places: Overhangs, *, bed: float) -> float:
    """Volume of the air beneath all overhangs, down to what lies below or to the bed at height `bed`."""
    return float(np.maximum(places.height - np.maximum(places.below, bed), 0).sum()) * places.cell


def support_table(places: Overhangs, heights: ArrayLike, *, film: float) -> tuple[Floats, Floats]:
    """Support (mm3) and overhanging surface (mm2) of every slab cut out between two heights.

    heights: (n,) ascending. Returns two (n, n) arrays; entry [i, j] with i < j belongs to the slab that
    stands with heights[i] on the bed and ends at heights[j]; the others are zero. What begins less than
    `film` below the slab's end is not printed.

    With z an overhang's height and g what lies below, the slab's sum of z - max(h_i, g) over
    h_i < z < h_j - film is one of (z, 1) over h_i < z less one of (g, 1) over h_i <= g, each a running sum
    over both heights: exact, and no slab is looked at by itself.
    """
    levels = np.asarray(heights, dtype=np.float64)
    n = len(levels)
    under = np.searchsorted(levels, places.height, side="left") - 1  # last height below z
    rests = np.searchsorted(levels, places.below, side="right") - 1  # last height not above g
    over = np.searchsorted(levels, places.height + film, side="right")  # first height beyond z
    ones = np.ones(len(places.height))
    sums = _running(under, over, places.height, n) - _running(rests, over, places.below, n)
    counts = _running(under, over, ones, n) - _running(rests, over, ones, n)
    slab = np.triu(np.ones((n, n), bool), 1)
    volume = np.where(slab, np.maximum(sums - levels[:, None] * counts, 0), 0) * places.cell
    area = np.where(slab, _running(under, over, places.area, n), 0)
    return np.asarray(volume), np.asarray(area)


def _gathered(
    lean: Floats, height: Floats, below: Floats, lowest: Bools, limit_deg: float, cell: float
) -> Overhangs:
    """The entries that lean too far. lean: -n.d of the face entered through; lowest: nothing lies beneath."""
    hangs = lean > np.sin(np.radians(min(limit_deg + SLACK_DEG, 90)))
    under = np.where(lowest, -np.inf, below)
    return Overhangs(height[hangs], under[hangs], cell / lean[hangs], cell)


def _running(row: NDArray[np.int64], column: NDArray[np.int64], value: Floats, n: int) -> Floats:
    """(n, n): entry [i, j] sums the values whose row is at least i and whose column is at most j."""
    counted = (row >= 0) & (column < n)
    flat = np.bincount(row[counted] * n + column[counted], value[counted], minlength=n * n).reshape(n, n)
    return np.asarray(np.cumsum(np.cumsum(flat[::-1], axis=0)[::-1], axis=1))
