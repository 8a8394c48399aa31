"""Vessels: the water that stands in a form, the lip that holds it, and where that lip is widest."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from .columns import Columns, Frame, cast, frame_for
from .flood import pooled_depth
from .levels import LEAST_AREA_MM2
from .mesh import Bools, Floats, Mesh
from .outlines import section
from .slices import cut_slices, level_lines

AZIMUTHS = 180
"""Lines from the pool's middle to the lip: an even number, two on each level line."""
FALL_MM = 0.5
"""Beyond its crest the lip falls by more than this; lesser dips are texture."""
DEPTHS = 96
"""Heights below the crest at which the outside is measured, before the mesh's own are looked at."""
MOST_ROUNDING = 0.15, 12.0
"""A lip is rounded over no more than this share of the form's height, and so many mm."""
UPRIGHT_DEG = 15.0
"""Where the outside leaves the upright by less than this, the lip's rounding is over."""
WIDENING_DEG = 1.0
"""An outside that goes on widening downward by more than this has its widest circle elsewhere."""
SLACK_MM = 1e-3
"""Widths that differ by less are the same."""
RIDGE_MM = 0.1
"""A lip that comes to a ridge is cut so far below it, to have a face to stand on."""
ROUNDING_MM = 2e-5
"""What single precision does to a width of a few hundred mm."""
_MOST_OWN = 64  # heights of the mesh's own vertices that are tried


@dataclass(frozen=True, eq=False)
class Pool:
    """The largest water that would stand in a form.

    held_mm3, deepest_mm: all of it and its depth, from the height map. level_mm: where it would spill. columns:
    the form's crossings with upright columns; top: (nu, nv) height of the form in each, -inf beside it.
    inside: (nu, nv) the columns that the water covers. middle: (2,) a place in plan well within it.
    """

    held_mm3: float
    deepest_mm: float
    level_mm: float
    columns: Columns = field(repr=False)
    top: Floats = field(repr=False)
    inside: Bools = field(repr=False)
    middle: tuple[float, float]

    @property
    def frame(self) -> Frame:
        """The columns' grid."""
        return self.columns.frame

    @property
    def places(self) -> Floats:
        """(k, 2) plan places of the covered columns."""
        return self.frame.centres(np.flatnonzero(self.inside.ravel()))


def top_heights(columns: Columns) -> Floats:
    """(nu, nv) height of the form's top in each upright column, -inf beside it."""
    met = np.diff(columns.start) > 0
    top = np.full(len(met), -np.inf)
    top[met] = columns.depth[columns.start[1:][met] - 1]
    return top.reshape(columns.frame.shape)


def standing_water(form: Mesh, *, lines: int) -> Pool | None:
    """The largest pool on a form that is rained on, by `lines` upright columns across it; None on a dry one.

    Where a hole leads right through from above, the water counts as standing on the ground below it, so
    that a vessel with a drain hole is still a vessel; a ring without any floor holds none.
    """
    columns = cast(form, frame_for(form, (0.0, 0.0, 1.0), lines=lines))
    top = top_heights(columns)
    depth = pooled_depth(top)
    floor = np.isfinite(depth) & (depth > 0)
    label, count = ndimage.label(depth > 0)
    if not count:
        return None
    pitch = columns.frame.pitch
    held = ndimage.sum_labels(np.where(floor, depth, 0.0), label, np.arange(1, count + 1)) * pitch**2
    largest = int(np.argmax(held)) + 1
    inside = np.asarray(floor & (label == largest))
    if not inside.any():
        return None
    level = float((top + np.where(floor, depth, 0))[inside].max())
    within = ndimage.distance_transform_edt(label == largest)
    x, y = columns.frame.centres(np.array([int(np.argmax(within))]))[0]
    return Pool(
        float(held[largest - 1]),
        float(depth[inside].max()),
        level,
        columns,
        top,
        inside,
        (float(x), float(y)),
    )


def crest(form: Mesh, pool: Pool) -> tuple[float, Floats]:
    """Height of the lip all round, and (AZIMUTHS,) of its crest along each line outward from the pool's middle.

    The first is the median, so that spouts, handles and notches do not move it, set to the mesh's own
    highest ring of vertices near by.
    """
    pitch, (rows, cols) = pool.frame.pitch, pool.frame.shape
    angle = np.arange(AZIMUTHS) * (2 * np.pi / AZIMUTHS)
    reach = np.arange(0, np.hypot(rows, cols)) * pitch
    across = np.array(pool.middle) + reach[:, None, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    cell = np.rint((across - pool.frame.origin) / pitch).astype(int)
    there = ((cell >= 0) & (cell < (rows, cols))).all(axis=-1)
    row, col = (np.where(there, cell[..., axis], 0) for axis in range(2))
    height = np.where(there, pool.top[row, col], -np.inf)
    wet = np.where(there, pool.inside[row, col], False)
    last = len(reach) - 1 - np.argmax(wet[::-1], axis=0)
    height[np.arange(len(reach))[:, None] <= last] = -np.inf
    highest = np.maximum.accumulate(height, axis=0)
    fallen = (height < highest - FALL_MM) & np.isfinite(highest)
    first = np.where(fallen.any(axis=0), np.argmax(fallen, axis=0), len(reach) - 1)
    crests = highest[first, np.arange(AZIMUTHS)]
    lip = float(np.median(crests[np.isfinite(crests)]))
    z = form.vertices[:, 2]
    near, count = np.unique(np.round(z[np.abs(z - lip) < pitch / 4], 4), return_counts=True)
    if not len(near):
        return lip, crests
    common = float(near[np.flatnonzero(2 * count >= count.max())[-1]])
    return float(z[np.argmin(np.abs(z - common))]), crests


def widest_below(form: Mesh, middle: tuple[float, float], lip: float) -> float:
    """Height of the lip's widest outer circle: where its outside, going down from the crest at `lip`, stops growing.

    How far out the form reaches is the median along `AZIMUTHS` level lines from the middle. From the crest
    down to where the outside is within `UPRIGHT_DEG` of upright it is rounded; from there the first
    greatest reach is the widest circle, set to a height of the mesh's own vertices. Where the outside
    goes on widening, the end of the rounding is given; where it is nowhere near upright, a neck above
    its shoulder, the crest itself, `RIDGE_MM` lower where it is not flat.
    """
    low, high = form.bounds[:, 2]
    window = min(MOST_ROUNDING[0] * float(high - low), MOST_ROUNDING[1])
    z = form.vertices[:, 2][form.faces]
    band = form.faces[(z.max(axis=1) > lip - 1.1 * window) & (z.min(axis=1) < lip + SLACK_MM)]
    used, renamed = np.unique(band, return_inverse=True)
    ring = Mesh(form.vertices[used] - [*middle, 0.0], renamed.reshape(-1, 3).astype(np.int32))
    step = window / DEPTHS
    depths = step * (np.arange(DEPTHS) + 1e-3)
    reach = _reach(ring, lip - depths[::-1])[::-1]
    growth = np.diff(np.where(np.isfinite(reach), reach, -1e9)) / step
    upright = np.flatnonzero((growth < np.tan(np.radians(UPRIGHT_DEG))) & np.isfinite(reach[:-1]))
    if not len(upright):
        flat = (np.abs(ring.vertices[:, 2][ring.faces] - lip) < SLACK_MM).all(axis=1)
        return lip if ring.areas[flat].sum() >= LEAST_AREA_MM2 else lip - RIDGE_MM
    over = int(upright[0])
    far = min(DEPTHS - 1, 2 * over + 4)
    widest = reach[over : far + 1].max()
    first = over + int(np.flatnonzero(reach[over : far + 1] >= widest - SLACK_MM)[0])
    goes_on = first >= far - 1 and growth[first - 1] > np.tan(np.radians(WIDENING_DEG))
    if goes_on:
        return lip if over == 0 else float(lip - depths[over])
    own = np.unique(np.append(ring.vertices[:, 2], lip))
    own = own[(np.abs(own - (lip - depths[first])) <= 2 * step) & (own <= lip)]
    if not len(own):
        return float(lip - depths[first])
    own = own[np.unique(np.linspace(0, len(own) - 1, _MOST_OWN).round().astype(int))]
    width = _reach(ring, own - 1e-6 * window)  # a hair below: at its very top a flat lip has no section
    return float(own[np.flatnonzero(width >= width.max() - ROUNDING_MM)[-1]])


def _reach(ring: Mesh, heights: ArrayLike) -> Floats:
    """(k,) median reach outward from the axis x = y = 0 at each ascending height."""
    slices = cut_slices(ring, heights)
    out = []
    for degrees in np.arange(AZIMUTHS // 2) * (360 / AZIMUTHS):
        lines = level_lines(slices, float(degrees), across=np.array([0.0, 1.0]))
        out += [lines.high[:, 0], -lines.low[:, 0]]
    return np.asarray(np.median(np.array(out), axis=0))


@dataclass(frozen=True, eq=False)
class Mouth:
    """A vessel's mouth at one height, in plan.

    area: everything within the lip's outer line, gaps closed by straight lines. gaps: the straight
    lines across what the lip leaves open; empty where it is whole.
    """

    area: shapely.Polygon
    lip: BaseGeometry
    gaps: tuple[shapely.LineString, ...]


def mouth_at(form: Mesh, pool: Pool, height: float) -> Mouth | None:
    """The mouth over a pool, from the form's section a hair below a height; None where no lip stands round it."""
    cut = section(form, height)
    areas = [part for part in shapely.get_parts(cut) if isinstance(part, shapely.Polygon)]
    for part in sorted(areas, key=lambda part: -shapely.Polygon(part.exterior).area):
        if shapely.contains_xy(shapely.Polygon(part.exterior), *pool.middle):
            return Mouth(shapely.Polygon(part.exterior), part, ())
    shore = pool.inside & ~ndimage.binary_erosion(pool.inside)
    wet = shapely.MultiPoint(pool.frame.centres(np.flatnonzero(shore.ravel())))
    if not areas:
        return None
    away = [float(part.distance(wet)) for part in areas]
    near = [part for part, far in zip(areas, away, strict=True) if far <= min(away) + 2 * pool.frame.pitch]
    lip = shapely.union_all(near)
    open_areas = shapely.get_parts(lip.convex_hull.difference(lip))
    over = [part for part in open_areas if shapely.contains_xy(part, *pool.middle)]
    if not over:
        return None
    whole = shapely.union_all([lip, *over])
    if not isinstance(whole, shapely.Polygon):
        return None
    area = shapely.Polygon(whole.exterior)
    left = shapely.line_merge(area.exterior.difference(lip.buffer(SLACK_MM)))
    gaps = tuple(line for line in shapely.get_parts(left) if line.length > pool.frame.pitch)
    return Mouth(area, lip, gaps)
