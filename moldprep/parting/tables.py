"""What every parting of a layer stack would lock, tabulated once; then any stack is priced by look-up.

Along the stack axis the form is cut into slices. For each slice the tables hold the plaster that
stays locked when the slice leaves downward, upward, or sideways along an azimuth when it is split at
an offset. A stack's locked volume is then a sum over slices, because a sideways pull keeps the height
and a pull along the axis looks only at what lies beyond the slice. Everything is read at the middle
of a slice.

Facet noise must not buy pieces. A locked stretch therefore counts only where it is at least two
cells wide across its pull: noise is a sliver narrower than that, a lock is not. (Subtracting
`tolerance x boundary length` from a slice's area instead would hide a real lock of half a millimetre
over twenty behind a long boundary.) What is narrower than two cells weighs a hundredth, which leads
planes to where nothing is locked at all, and is judged afterwards by its reach.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numba
import numpy as np
from numpy.typing import ArrayLike

from ..geometry.coarse import coarse
from ..geometry.columns import cast, frame_for, rotation_for, solid_intervals
from ..geometry.columns.intervals import Intervals
from ..geometry.mesh import Bools, Floats, Mesh
from ..geometry.profile import upright_creases, upright_profile
from ..geometry.slices import LevelLines, Slices, cut_slices, level_lines
from ..working import SILENT, Watch

ON_CREASE_MM = 0.2
"""A seam this near to a crease runs on it."""


@dataclass(frozen=True, eq=False)
class PartingTables:
    """Locked volumes of slices, cumulated from the bottom.

    rotation: (3, 3), rows u, v, axis. levels: (n + 1,) heights of the slices' bounds along the axis,
    form bottom to top. pitch: width of a cell, mm. centre: (2,) local (u, v) of the form's own axis.
    slices: the form's outlines at the slices' middles.
    outline: (n + 1,) length of the level seam at each level: the longer of the slices it parts.
    down, up: (n + 1,) locked volume of the slices below level k that leave downward, above level k
    that leave upward, mm3, what counts; down_all, up_all: all of it. azimuths_deg: (a,), offsets:
    (a, o), side, side_all: (a, n + 1, o) locked volume of the slices below level k split at that
    azimuth and offset. seam: (a, n + 1, o) length of the upright seam below level k; creased: what of it
    runs on creases.
    """

    rotation: Floats
    levels: Floats
    pitch: float
    centre: Floats
    slices: Slices = field(repr=False)
    outline: Floats = field(repr=False)
    down: Floats = field(repr=False)
    up: Floats = field(repr=False)
    down_all: Floats = field(repr=False)
    up_all: Floats = field(repr=False)
    azimuths_deg: Floats = field(repr=False)
    offsets: Floats = field(repr=False)
    side: Floats = field(repr=False)
    side_all: Floats = field(repr=False)
    seam: Floats = field(repr=False)
    creased: Floats = field(repr=False)

    @property
    def axis(self) -> Floats:
        """(3,) the stack axis."""
        return np.asarray(self.rotation[2])


def tabulate(
    mesh: Mesh,
    axis: ArrayLike,
    *,
    levels: Floats,
    lines: int,
    azimuths_deg: ArrayLike = (),
    seam_top: float = np.inf,
    through: ArrayLike = (0.0, 0.0, 0.0),
    creases: Floats | None = None,
    prism: tuple[Floats, float, float] | None = None,
    watch: Watch = SILENT,
) -> PartingTables:
    """The tables of a form (its spare included) for one stack axis.

    `levels` are the slices' bounds along the axis; `lines` cells stand across the form; `seam_top` is
    the height along the axis above which an upright seam does not count (the spare). One offset of
    each azimuth goes `through` a given point (the form's own axis). `creases` (c, 2, 3) are the ends of the
    form's creases. `prism` is the
    block, (convex outline, bottom, top); without it plaster reaches as high and low as the form, which
    is right for the upright axis.
    """
    rotation = rotation_for(axis)
    along = frame_for(mesh, rotation[2], lines=lines)
    solid = solid_intervals(cast(mesh, along))
    middles, thick = (levels[1:] + levels[:-1]) / 2, np.diff(levels)
    taken = occupied(solid, middles)
    down = ~taken & np.logical_or.accumulate(taken, axis=0)  # form below: it cannot leave downward
    up = ~taken & np.logical_or.accumulate(taken[::-1], axis=0)[::-1]
    if prism is not None:
        inside = _in_prism(solid, middles, *prism)
        down, up = down & inside, up & inside
    down_counts, down_all, up_counts, up_all = (
        np.concatenate([[0.0], np.cumsum(part.sum(axis=(1, 2)) * thick * along.pitch**2)])
        for part in (_opened(down), down, _opened(up), up)
    )
    slices = cut_slices(mesh, middles, rotation=rotation)
    proxy = coarse(mesh)
    sides = []
    azimuths = np.array(azimuths_deg, dtype=np.float64)
    centre = (rotation @ np.asarray(through, dtype=np.float64))[:2]
    for k, azimuth in enumerate(azimuths):
        watch.step(k, len(azimuths))
        offsets, counted, whole = _sideways(slices, float(azimuth), thick, along.pitch, centre)
        seam = upright_profile(proxy, rotation, float(azimuth), offsets=offsets, levels=levels)
        seam[middles > seam_top] = 0
        on = np.zeros_like(seam)
        if creases is not None:
            on = upright_creases(
                creases, rotation, float(azimuth), offsets=offsets, levels=levels, within=ON_CREASE_MM
            )
        sides.append((offsets, counted, whole, _cumulated(seam), _cumulated(np.minimum(seam, on))))
    offsets, side, side_all, seams, creased = _stacked(sides, len(levels))
    around = slices.lengths
    return PartingTables(
        rotation=rotation,
        levels=levels,
        pitch=along.pitch,
        centre=centre,
        slices=slices,
        outline=np.maximum(np.append(around, 0.0), np.insert(around, 0, 0.0)),
        down=down_counts,
        up=up_counts[-1] - up_counts,
        down_all=down_all,
        up_all=up_all[-1] - up_all,
        azimuths_deg=azimuths,
        offsets=offsets,
        side=side,
        side_all=side_all,
        seam=seams,
        creased=creased,
    )


def split_volume(
    tables: PartingTables, azimuth_deg: float, offset: float, low: float, high: float
) -> tuple[float, float]:
    """(counted, whole) locked volume, mm3, between two heights split at any azimuth and offset."""
    met, area = _lines_between(tables, azimuth_deg, low, high)
    counted, whole = _locked(met.low, met.high, met.gap, np.array([offset]))
    return float(counted[:, 0] @ area), float(whole[:, 0] @ area)


def truest_offset(tables: PartingTables, azimuth_deg: float, near: float, low: float, high: float) -> float:
    """The offset that locks least between two heights, the nearest to `near` of those that do.

    What a line locks is convex in the offset and changes slope at its two ends, so the best offset
    is a weighted median of the pooled ends.
    """
    met, area = _lines_between(tables, azimuth_deg, low, high)
    row, column = np.nonzero(met.high > met.low)
    if not len(row):
        return near
    ends = np.concatenate([met.low[row, column], met.high[row, column]])
    weight = np.tile(area[row], 2)
    order = np.argsort(ends, kind="stable")
    ends, below = ends[order], np.cumsum(weight[order])
    half = below[-1] / 2
    first = int(np.searchsorted(below, half * (1 - 1e-12)))
    last = min(first + int(abs(below[first] - half) <= 1e-12 * half), len(ends) - 1)
    return float(np.clip(near, ends[first], ends[last]))


def _lines_between(
    tables: PartingTables, azimuth_deg: float, low: float, high: float
) -> tuple[LevelLines, Floats]:
    """Level lines in the slices between two heights, and (k,) the area that one line of each stands for."""
    thick = np.diff(np.clip(tables.levels, low, high))
    part = np.flatnonzero(thick > 0)
    slices = (
        tables.slices.between(int(part[0]), int(part[-1]) + 1) if len(part) else tables.slices.between(0, 0)
    )
    lines = _places(*_extents(tables.slices, azimuth_deg)[1], tables.pitch)
    return level_lines(slices, azimuth_deg, across=lines), thick[part] * (lines[1] - lines[0])


def occupied(solid: Intervals, heights: Floats) -> Bools:
    """(k, nu, nv) whether the form is at each of (k,) ascending heights in each column."""
    first = np.searchsorted(heights, solid.low)
    last = np.searchsorted(heights, solid.high, side="right")
    change = np.zeros((len(heights) + 1, solid.frame.count), np.int16)
    np.add.at(change, (first, solid.column), 1)
    np.add.at(change, (last, solid.column), -1)
    return (np.cumsum(change, axis=0)[:-1] > 0).reshape(len(heights), *solid.frame.shape)


def _in_prism(solid: Intervals, heights: Floats, outline: Floats, bottom: float, top: float) -> Bools:
    """(k, nu, nv) whether heights in each column lie in an upright prism with a convex outline, ccw."""
    frame = solid.frame
    edge = np.roll(outline, -1, axis=0) - outline
    normal = np.column_stack([-edge[:, 1], edge[:, 0], np.zeros(len(edge))])  # inward
    limit = np.einsum("ij,ij->i", normal[:, :2], outline)
    normal = np.vstack([normal, [0, 0, 1], [0, 0, -1]])
    limit = np.concatenate([limit, [bottom, -top]])
    foot = frame.world(np.column_stack([frame.centres(), np.zeros(frame.count)]))
    low, high = np.full(frame.count, -np.inf), np.full(frame.count, np.inf)
    for way, least in zip(normal, limit, strict=True):
        rise, room = float(way @ frame.direction), foot @ way - least  # inside where room + rise d >= 0
        if abs(rise) < 1e-12:
            high[room < 0] = -np.inf
        elif rise > 0:
            low = np.maximum(low, -room / rise)
        else:
            high = np.minimum(high, -room / rise)
    inside = (heights[:, None] >= low) & (heights[:, None] <= high)
    return inside.reshape(len(heights), *frame.shape)


def _stacked(
    sides: list[tuple[Floats, Floats, Floats, Floats, Floats]], levels: int
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Offsets, counted, whole, seam and creased of all azimuths in one array each.

    Azimuths along which the form is shorter have fewer offsets; they are filled up by repeating the
    last one, which changes no choice.
    """
    if not sides:
        none = np.zeros((0, levels, 1))
        return np.zeros((0, 1)), none, none, none, none
    most = max(len(offsets) for offsets, *_ in sides)
    offsets, counted, whole, seam, creased = (
        np.array(
            [
                np.pad(part, [(0, 0)] * (part.ndim - 1) + [(0, most - part.shape[-1])], mode="edge")
                for part in of
            ]
        )
        for of in zip(*sides, strict=True)
    )
    return offsets, counted, whole, seam, creased


def _opened(cells: Bools) -> Bools:
    """Only cells that belong to a block of two by two within their slice."""
    corners = np.pad(cells, ((0, 0), (1, 1), (1, 1)))
    blocks = corners[:, 1:, 1:] & corners[:, :-1, 1:] & corners[:, 1:, :-1] & corners[:, :-1, :-1]
    kept = blocks[:, 1:, 1:] | blocks[:, :-1, 1:] | blocks[:, 1:, :-1] | blocks[:, :-1, :-1]
    return np.asarray(kept & cells)


def _sideways(
    slices: Slices, azimuth_deg: float, thick: Floats, pitch: float, centre: Floats
) -> tuple[Floats, Floats, Floats]:
    """Offsets (o,), counted and whole locked volume (n + 1, o), cumulated, of the slices' middles."""
    along, across = _extents(slices, azimuth_deg)
    lines = _places(*across, pitch)
    steps = 2 * max(1, int(np.ceil((along[1] - along[0]) / (2 * pitch) - 1e-6)))  # even: the middle is one
    offsets = np.linspace(along[0], along[1], steps + 1)
    own = np.cos(np.radians(azimuth_deg)) * centre[0] + np.sin(np.radians(azimuth_deg)) * centre[1]
    if along[0] < own < along[1]:
        offsets[np.argmin(np.abs(offsets - own))] = own
    met = level_lines(slices, azimuth_deg, across=lines)
    counted, whole = _locked(met.low, met.high, met.gap, offsets)
    scale = (thick * (lines[1] - lines[0]))[:, None]
    return offsets, _cumulated(counted * scale), _cumulated(whole * scale)


def _extents(slices: Slices, azimuth_deg: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest place of all slices along and across an azimuth."""
    angle = np.radians(azimuth_deg)
    found = []
    for way in ((np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle))):
        place = slices.hull @ np.array(way)
        found.append((float(place.min()), float(place.max())))
    return found[0], found[1]


def _places(low: float, high: float, pitch: float) -> Floats:
    """The middles of evenly spaced cells about a pitch wide that fill low to high."""
    count = max(2, int(np.ceil((high - low) / pitch - 1e-6)))
    return np.asarray(low + (np.arange(count) + 0.5) * (high - low) / count)


def _cumulated(slices: Floats) -> Floats:
    return np.concatenate([np.zeros((1, slices.shape[1])), np.cumsum(slices, axis=0)])


@numba.njit(cache=True, nogil=True)
def _locked(low, high, gap, offsets):  # type: ignore[no-untyped-def]
    """(slices, offsets) length of locked plaster summed over lines: what counts, and all of it.

    On a line the gaps are locked, and what lies between the form and an offset plane beyond it. Of
    a line's share counts what one of its neighbours matches.
    """
    slices, lines = low.shape
    counted, whole = np.zeros((slices, len(offsets))), np.zeros((slices, len(offsets)))
    for k in range(slices):
        for o in range(len(offsets)):
            before, here = 0.0, _locked_on(low[k, 0], high[k, 0], gap[k, 0], offsets[o])
            for j in range(lines):
                after = 0.0
                if j + 1 < lines:
                    after = _locked_on(low[k, j + 1], high[k, j + 1], gap[k, j + 1], offsets[o])
                whole[k, o] += here
                counted[k, o] += min(here, max(before, after))
                before, here = here, after
    return counted, whole


@numba.njit(cache=True, nogil=True)
def _locked_on(low, high, gap, offset):  # type: ignore[no-untyped-def]
    if low > high:
        return 0.0
    return gap + max(0.0, low - offset) + max(0.0, offset - high)
