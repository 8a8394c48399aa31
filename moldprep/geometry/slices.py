"""Slices: the outlines of a form at many heights as loose segments, and what level lines meet in them.

A level pull keeps the height, so everything about it can be asked of slices. They are cut once; then
each azimuth costs a pass over their segments, however fine the mesh is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull

from .mesh import Floats, Mesh, read_only


@dataclass(frozen=True, eq=False)
class Slices:
    """Outlines of a closed form at ascending (k,) heights along the third axis of `rotation`.

    start: (k + 1,) int64; the segments of slice i are start[i]:start[i + 1]. begin, end: (s, 2) local
    (u, v), mm; the solid lies on the left. Ends that meet are the same to the last bit.
    """

    rotation: Floats
    heights: Floats
    start: NDArray[np.int64] = field(repr=False)
    begin: Floats = field(repr=False)
    end: Floats = field(repr=False)

    def __post_init__(self) -> None:
        for array in (self.rotation, self.heights, self.start, self.begin, self.end):
            read_only(array)

    @cached_property
    def lengths(self) -> Floats:
        """(k,) length of each slice's outline, inner outlines included, mm."""
        own = np.hypot(*(self.end - self.begin).T)
        total = np.concatenate([[0.0], np.cumsum(own)])
        return np.asarray(read_only(np.diff(total[self.start])))

    @cached_property
    def areas(self) -> Floats:
        """(k,) area of each slice, mm2."""
        own = (self.begin[:, 0] * self.end[:, 1] - self.end[:, 0] * self.begin[:, 1]) / 2
        total = np.concatenate([[0.0], np.cumsum(own)])
        return np.asarray(read_only(np.diff(total[self.start])))

    @cached_property
    def hull(self) -> Floats:
        """(h, 2) convex hull of all slices together, counter-clockwise."""
        return np.asarray(read_only(self.begin[ConvexHull(self.begin).vertices]))

    def between(self, first: int, last: int) -> Slices:
        """Slices first to last - 1."""
        a, b = self.start[first], self.start[last]
        return Slices(
            self.rotation,
            self.heights[first:last],
            self.start[first : last + 1] - a,
            self.begin[a:b],
            self.end[a:b],
        )


@dataclass(frozen=True, eq=False)
class LevelLines:
    """What parallel level lines meet in slices.

    low, high: (k, lines) least and greatest place along the pull where line j meets slice i (inf and
    -inf where it misses it). gap: (k, lines) length between that is not solid, mm.
    """

    low: Floats
    high: Floats
    gap: Floats


def cut_slices(mesh: Mesh, heights: ArrayLike, *, rotation: ArrayLike | None = None) -> Slices:
    """The slices of a closed mesh at ascending heights; a height that equals a vertex's is taken a hair above it."""
    turn = np.eye(3) if rotation is None else np.array(rotation, dtype=np.float64)
    levels = np.array(heights, dtype=np.float64)
    start, begin, end = _cut(mesh.vertices, mesh.faces, turn, levels)
    return Slices(turn, levels, start, begin, end)


class Slicer:
    """Cuts one mesh at a few heights along one axis, over and over, and passes by the faces that are not met.

    A cut is the same as `cut_slices` makes it, to the last bit.
    """

    def __init__(self, mesh: Mesh, rotation: ArrayLike) -> None:
        self._mesh, self._rotation = mesh, np.array(rotation, dtype=np.float64)
        self._low, self._high = _spans(mesh.vertices, mesh.faces, self._rotation[2])
        self._slack = 1e-9 * float(np.abs(mesh.bounds).max())  # the cut itself decides, by its own rounding

    def cut(self, heights: ArrayLike) -> Slices:
        """The slices at ascending heights; those near to each other cost least."""
        levels = np.array(heights, dtype=np.float64)
        met = np.flatnonzero(
            (self._low <= levels[-1] + self._slack) & (self._high >= levels[0] - self._slack)
        )
        used, corners = np.unique(
            self._mesh.faces[met], return_inverse=True
        )  # ascending: edges keep their sense
        near = Mesh(self._mesh.vertices[used], corners.reshape(-1, 3).astype(np.int32))
        return cut_slices(near, levels, rotation=self._rotation)


def level_lines(slices: Slices, azimuth_deg: float, *, across: Floats) -> LevelLines:
    """Lines along (cos azimuth, sin azimuth) in every slice, at evenly spaced (lines,) places `across`.

    The across axis is the pull turned a quarter counter-clockwise. A line through a corner counts as
    a hair beside it, so that each line enters as often as it leaves.
    """
    angle = np.radians(azimuth_deg)
    step = float(across[1] - across[0])
    low, high, solid = _lines(
        slices.start,
        slices.begin,
        slices.end,
        float(np.cos(angle)),
        float(np.sin(angle)),
        float(across[0]),
        step,
        len(across),
    )
    met = high > low
    gap = np.where(met, np.where(met, high, 0.0) - np.where(met, low, 0.0) - solid, 0.0)
    return LevelLines(low, high, np.where(gap > _ROUNDING * step, gap, 0.0))


_ROUNDING = 1e-6
"""Gaps shorter than this share of the lines' spacing are rounding."""


@numba.njit(cache=True, nogil=True)
def _cut(vertices, faces, turn, heights):  # type: ignore[no-untyped-def]
    """CSR start, begins and ends of the segments of every slice."""
    levels = len(heights)
    z = np.empty(len(vertices))
    for i in range(len(vertices)):
        z[i] = turn[2, 0] * vertices[i, 0] + turn[2, 1] * vertices[i, 1] + turn[2, 2] * vertices[i, 2]
    start = np.zeros(levels + 1, np.int64)
    for f in range(len(faces)):
        a, b, c = z[faces[f, 0]], z[faces[f, 1]], z[faces[f, 2]]
        low, high = min(a, b, c), max(a, b, c)
        k = np.searchsorted(heights, low)
        while k < levels and heights[k] < high:
            start[k + 1] += 1
            k += 1
    for k in range(levels):
        start[k + 1] += start[k]
    cursor = start[:-1].copy()
    ends = np.empty((2, start[-1], 2))
    for f in range(len(faces)):
        a, b, c = z[faces[f, 0]], z[faces[f, 1]], z[faces[f, 2]]
        low, high = min(a, b, c), max(a, b, c)
        k = np.searchsorted(heights, low)
        while k < levels and heights[k] < high:
            for e in range(3):
                p, q = faces[f, e], faces[f, (e + 1) % 3]
                if (z[p] <= heights[k]) == (z[q] <= heights[k]):
                    continue
                # rising edges end the segment, falling edges begin it: the solid lies on its left
                side = 0 if z[q] <= heights[k] else 1
                if p > q:  # the same arithmetic from both faces of an edge
                    p, q = q, p
                t = (heights[k] - z[p]) / (z[q] - z[p])
                # number by number: a small array for each crossing takes several times as long
                x = vertices[p, 0] + t * (vertices[q, 0] - vertices[p, 0])
                y = vertices[p, 1] + t * (vertices[q, 1] - vertices[p, 1])
                w = vertices[p, 2] + t * (vertices[q, 2] - vertices[p, 2])
                for axis in range(2):
                    ends[side, cursor[k], axis] = turn[axis, 0] * x + turn[axis, 1] * y + turn[axis, 2] * w
            cursor[k] += 1
            k += 1
    return start, ends[0].copy(), ends[1].copy()


@numba.njit(cache=True, nogil=True)
def _spans(vertices, faces, axis):  # type: ignore[no-untyped-def]
    """(m,) least and greatest height of each face along an axis."""
    z = np.empty(len(vertices))
    for i in range(len(vertices)):
        z[i] = axis[0] * vertices[i, 0] + axis[1] * vertices[i, 1] + axis[2] * vertices[i, 2]
    low, high = np.empty(len(faces)), np.empty(len(faces))
    for f in range(len(faces)):
        a, b, c = z[faces[f, 0]], z[faces[f, 1]], z[faces[f, 2]]
        low[f], high[f] = min(a, b, c), max(a, b, c)
    return low, high


@numba.njit(cache=True, nogil=True)
def _lines(start, begin, end, cos, sin, first, step, lines):  # type: ignore[no-untyped-def]
    """Least and greatest place and solid length of each line in each slice."""
    slices = len(start) - 1
    low, high = np.full((slices, lines), np.inf), np.full((slices, lines), -np.inf)
    solid = np.zeros((slices, lines))
    for k in range(slices):
        for s in range(start[k], start[k + 1]):
            ta = (cos * begin[s, 1] - sin * begin[s, 0] - first) / step
            tb = (cos * end[s, 1] - sin * end[s, 0] - first) / step
            ja, jb = int(np.ceil(ta)), int(np.ceil(tb))
            if ja == jb:
                continue
            da = cos * begin[s, 0] + sin * begin[s, 1]
            db = cos * end[s, 0] + sin * end[s, 1]
            sign = 1.0 if jb > ja else -1.0  # walking across with the solid on the left, one leaves it ahead
            for j in range(max(min(ja, jb), 0), min(max(ja, jb), lines)):
                at = da + (j - ta) / (tb - ta) * (db - da)
                low[k, j] = min(low[k, j], at)
                high[k, j] = max(high[k, j], at)
                solid[k, j] += sign * at
    return low, high, solid
