"""What is solid along each column, and what lies between: the volumes that a pull would lock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numba
import numpy as np

from ..mesh import Floats, Ints, read_only
from .frame import Frame, Indices
from .raster import Columns


@dataclass(frozen=True, eq=False)
class Intervals:
    """The solid stretches of every column: maximal intervals where the running sum of signs is >= 1.

    Overlapping outward bodies are thereby united, and stretches that merely touch are joined.
    start: (count + 1,) int64; the intervals of flat column c are start[c]:start[c + 1], from low to
    high. column: (k,) int32. low, high: (k,) float64, local d. face_low, face_high: (k,) int32, the
    faces that bound them. bottom, top: least and greatest local d of the whole form.
    """

    frame: Frame
    start: Indices
    column: Ints
    low: Floats
    high: Floats
    face_low: Ints
    face_high: Ints
    bottom: float
    top: float

    def __post_init__(self) -> None:
        for array in (self.start, self.column, self.low, self.high, self.face_low, self.face_high):
            read_only(array)


def solid_intervals(columns: Columns) -> Intervals:
    """The solid stretches of every column; a stretch that never ends (open mesh) is left out."""
    start, column, low, high, face_low, face_high = _intervals(
        columns.start, columns.depth, columns.face, columns.sign
    )
    return Intervals(
        columns.frame, start, column, low, high, face_low, face_high, columns.bottom, columns.top
    )


def solid_mm3(intervals: Intervals) -> float:
    """Volume of the solid that the frame's window shows, mm3: pitch squared times the sum of lengths."""
    return float((intervals.high - intervals.low).sum()) * intervals.frame.pitch**2


def gap_mm3(intervals: Intervals) -> float:
    """Volume between the solid stretches of each column, mm3.

    Plaster there has master above and below: it leaves along neither +d nor -d, whatever the
    parting. Zero on a form convex along d.
    """
    return float(_gaps(intervals.start, intervals.low, intervals.high).sum()) * intervals.frame.pitch**2


def gaps_by_column(intervals: Intervals) -> Floats:
    """(count,) summed length of the gaps in each column, mm; zero where there is none."""
    gaps: Floats = _gaps(intervals.start, intervals.low, intervals.high)
    return gaps


def one_way_mm3(intervals: Intervals, *, master_leaves: Literal[1, -1]) -> float:
    """Volume that locks the master in a single-pull mold whose plaster ends level with the form, mm3.

    `master_leaves=1`: the master is drawn along +d (the plaster goes along -d) out of plaster that
    reaches up to the form's highest point along d. Plaster is struck when some master stands below
    it: all gaps, and what lies above each column's highest crossing up to `top`.
    `master_leaves=-1`: the mirror image; all gaps, and what lies under each column's first crossing
    down to `bottom`. Columns that miss the form lock nothing. Zero for a drop-out form drawn from
    its wide end.
    """
    if master_leaves not in (1, -1):
        raise ValueError(f"master_leaves is 1 (along +d) or -1 (along -d), not {master_leaves}")
    first, last = intervals.start[:-1], intervals.start[1:]
    met = last > first
    if master_leaves == 1:
        beyond = intervals.top - intervals.high[last[met] - 1]
    else:
        beyond = intervals.low[first[met]] - intervals.bottom
    return gap_mm3(intervals) + float(beyond.sum()) * intervals.frame.pitch**2


def parted_mm3(intervals: Intervals) -> float:
    """Volume that stays locked when the plaster is parted by the best plane across the columns, mm3.

    Plaster above the plane leaves along +d, below it along -d, in a block that ends level with the
    form. With l and u a column's lowest and highest crossing, f(h) = gaps + sum of max(0, h - u) +
    max(0, l - h) is convex and piecewise linear in the plane's depth h: its least value is taken at
    the median of all l and u together.
    """
    first, last = intervals.start[:-1], intervals.start[1:]
    met = last > first
    low, high = intervals.low[first[met]], intervals.high[last[met] - 1]
    plane = float(np.median(np.concatenate([low, high])))
    missed = np.maximum(0, plane - high) + np.maximum(0, low - plane)
    return gap_mm3(intervals) + float(missed.sum()) * intervals.frame.pitch**2


@numba.njit(cache=True, nogil=True)
def _intervals(start, depth, face, sign):  # type: ignore[no-untyped-def]
    """CSR start, column, low, high, face_low and face_high of the solid stretches."""
    columns = len(start) - 1
    most = len(depth) // 2 + 1
    first = np.zeros(columns + 1, np.int64)
    column = np.empty(most, np.int32)
    low, high = np.empty(most), np.empty(most)
    face_low, face_high = np.empty(most, np.int32), np.empty(most, np.int32)
    count = 0
    for c in range(columns):
        total = 0
        begun = -1
        for i in range(start[c], start[c + 1]):
            total += sign[i]
            if total == 1 and sign[i] > 0:
                begun = i
            elif total == 0 and sign[i] < 0 and begun >= 0:
                if count > first[c] and high[count - 1] == depth[begun]:
                    count -= 1  # touches the stretch before: one stretch
                else:
                    column[count], low[count], face_low[count] = c, depth[begun], face[begun]
                high[count], face_high[count] = depth[i], face[i]
                count += 1
                begun = -1
        first[c + 1] = count
    return (
        first,
        column[:count].copy(),
        low[:count].copy(),
        high[:count].copy(),
        face_low[:count].copy(),
        face_high[:count].copy(),
    )


@numba.njit(cache=True, nogil=True)
def _gaps(start, low, high):  # type: ignore[no-untyped-def]
    """(columns,) summed length of the gaps between the stretches of each column."""
    gaps = np.zeros(len(start) - 1)
    for c in range(len(gaps)):
        for i in range(start[c] + 1, start[c + 1]):
            gaps[c] += low[i] - high[i - 1]
    return gaps
