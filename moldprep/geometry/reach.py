"""Reach: how far locked plaster stands behind what is solid, measured across the pull.

Plaster is *locked* when something solid bars its way along the pull. Its reach is the distance,
normal to the pull and at the same height along it, to the nearest free plaster: a groove 6 mm deep
reads 6, a disc that stands 25 mm out over its stem reads 25. Volume does not tell a real lock from
the noise of facets, reach does.

A coarse grid finds the places; each is then judged again on columns at a third of the tolerance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numba
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ..errors import Point
from .columns import Frame, Intervals, cast, frame_for, solid_intervals
from .mesh import Bools, Floats, Ints, Mesh

Way = Literal["pair", "plus", "minus"]
"""What the plaster may do: leave along +d or -d (`pair`), only along +d, or only along -d."""

_CODE: dict[Way, int] = {"pair": 0, "plus": 1, "minus": 2}
_TILE = 24
"""Coarse columns along the side of a window that is judged again: a few hundred fine lines."""
_FINE_LINES = 512
"""Lines across a window around a deep place: its reach is then read to about a 250th."""
_HEIGHTS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Where along a locked stretch its reach is read."""


@dataclass(frozen=True)
class LockedSpot:
    """One connected place of locked plaster.

    where: world point of its deepest part. reach_mm across the pull. volume_mm3 of the locked
    plaster. area_mm2: its shadow along the pull. pitch_mm: at which the reach was read.
    """

    where: Point
    reach_mm: float
    volume_mm3: float
    area_mm2: float
    pitch_mm: float


def locked_spots(
    mesh: Mesh,
    direction: NDArray[np.float64] | Point,
    *,
    way: Way,
    tolerance: float,
    lines: int = 128,
    span: tuple[float, float] = (-np.inf, np.inf),
    rows: tuple[float, float] = (-np.inf, np.inf),
    up: NDArray[np.float64] | Point | None = None,
) -> tuple[LockedSpot, ...]:
    """The places where plaster is locked with a reach above `tolerance` mm, deepest first.

    Plaster reaches from the form's lowest to its highest point along `direction`, cut off to
    `span` (local depths along the direction) and to `rows` (local v; with `up` given, heights along
    it): what lies beyond bars the way but does not move. `way` says which way it may leave. `lines` columns
    across the form find the places; a lock that is smaller across than one pitch in both lateral
    directions can slip between them. Reach is within one fine pitch (a third of the tolerance, or
    the window's 512th part where the place is deep) plus the mesh's own chord error. Films of plaster
    no thicker along the pull than the tolerance give way and do not count.
    """
    frame = frame_for(mesh, direction, lines=lines, up=up)
    solid = solid_intervals(cast(mesh, frame))
    span = (max(span[0], solid.bottom), min(span[1], solid.top))
    if span[1] <= span[0]:
        return ()
    levels = _levels(span, frame.pitch)
    locked, taken = _voxels(solid, way, span, levels, tolerance)
    outside = _beyond(frame, rows)
    taken |= locked & outside
    locked &= ~outside
    if not locked.any():
        return ()
    depth = _distance_to_free(locked, taken) * frame.pitch
    deep = depth > tolerance + 2 * frame.pitch
    spots = list(_deep_spots(mesh, solid, way, span, rows, levels, locked, depth, deep, tolerance))
    shallow = locked & ~_connected_to(locked, deep)
    spots += _shallow_spots(mesh, solid, way, span, rows, np.asarray(shallow.any(axis=0)), tolerance)
    return tuple(sorted(spots, key=lambda spot: (-spot.reach_mm, spot.where)))


def locked_area(
    solid: Intervals, way: Way, *, film: float, span: tuple[float, float] = (-np.inf, np.inf)
) -> float:
    """Shadow along the pull of all locked plaster thicker than `film` mm, mm2, whatever its reach."""
    stretch = _stretches(solid.start, solid.low, solid.high, _CODE[way], *_clip(solid, span), film)
    return float(len(np.unique(stretch[0]))) * solid.frame.pitch**2


def _clip(solid: Intervals, span: tuple[float, float]) -> tuple[float, float]:
    return max(span[0], solid.bottom), min(span[1], solid.top)


def _beyond(frame: Frame, rows: tuple[float, float]) -> Bools:
    """(1, 1, nv) columns whose local v lies outside the rows."""
    v = frame.origin[1] + np.arange(frame.shape[1]) * frame.pitch
    return np.asarray((v < rows[0]) | (v > rows[1]))[None, None]


def _levels(span: tuple[float, float], pitch: float) -> Floats:
    """Mid-heights of slices about a pitch thick."""
    count = max(1, min(512, int(np.ceil((span[1] - span[0]) / pitch))))
    edges = np.linspace(span[0], span[1], count + 1)
    return np.asarray((edges[1:] + edges[:-1]) / 2)


def _voxels(
    solid: Intervals, way: Way, span: tuple[float, float], levels: Floats, film: float
) -> tuple[Bools, Bools]:
    """(levels, nu, nv) whether the plaster is locked, and whether the form is there.

    A slice is counted as locked when its middle is, so locks thinner than a slice along the pull
    could be missed: the slice that holds the middle of each stretch is therefore marked too.
    """
    shape = (len(levels), *solid.frame.shape)
    step = float(levels[1] - levels[0]) if len(levels) > 1 else span[1] - span[0]
    column, low, high = _stretches(solid.start, solid.low, solid.high, _CODE[way], *span, film)
    locked, taken = np.zeros(shape, bool), np.zeros(shape, bool)
    _mark(locked.reshape(len(levels), -1), column, low, high, levels[0], step, True)
    _mark(taken.reshape(len(levels), -1), solid.column, solid.low, solid.high, levels[0], step, False)
    return locked, taken & ~locked


def _distance_to_free(locked: Bools, taken: Bools) -> Floats:
    """(levels, nu, nv) distance in pitches from locked cells to free ones of the same slice."""
    depth = np.zeros(locked.shape)
    for k in np.flatnonzero(locked.any(axis=(1, 2))):
        not_free = locked[k] | taken[k]
        depth[k] = np.where(locked[k], ndimage.distance_transform_edt(np.pad(not_free, 1))[1:-1, 1:-1], 0.0)
    return depth


def _connected_to(locked: Bools, seeds: Bools) -> Bools:
    """The cells of `locked` that hang together with a seed."""
    label, count = ndimage.label(locked, structure=np.ones((3, 3, 3), bool))
    kept = np.zeros(count + 1, bool)
    kept[np.unique(label[seeds])] = True
    kept[0] = False
    return np.asarray(kept[label])


def _deep_spots(
    mesh: Mesh,
    solid: Intervals,
    way: Way,
    span: tuple[float, float],
    rows: tuple[float, float],
    levels: Floats,
    locked: Bools,
    depth: Floats,
    deep: Bools,
    tolerance: float,
) -> Iterator[LockedSpot]:
    """Places that even the coarse grid sees to be locked; reach read again round the deepest part."""
    frame = solid.frame
    whole, count = ndimage.label(locked, structure=np.ones((3, 3, 3), bool))
    step = float(levels[1] - levels[0]) if len(levels) > 1 else span[1] - span[0]
    for number in range(1, count + 1):
        cells = whole == number
        if not (cells & deep).any():
            continue
        k, i, j = np.unravel_index(np.argmax(np.where(cells, depth, -1.0)), depth.shape)
        centre = frame.origin + np.array([i, j]) * frame.pitch
        reach, pitch, at = _read_again(
            mesh, frame, way, span, rows, float(levels[k]), step, centre, float(depth[k, i, j]), tolerance
        )
        yield LockedSpot(
            _point(frame, at),
            reach,
            float(cells.sum()) * frame.pitch**2 * step,
            float(cells.any(axis=0).sum()) * frame.pitch**2,
            pitch,
        )


def _read_again(
    mesh: Mesh,
    frame: Frame,
    way: Way,
    span: tuple[float, float],
    rows: tuple[float, float],
    height: float,
    step: float,
    centre: Floats,
    coarse: float,
    tolerance: float,
) -> tuple[float, float, Floats]:
    """Reach, pitch and place (local) from a fine window round the deepest part of a deep place."""
    half = coarse + 3 * frame.pitch
    pitch = max(tolerance / 3, 2 * half / _FINE_LINES)
    window = (centre[0] - half, centre[0] + half, centre[1] - half, centre[1] + half)
    fine = frame_for(mesh, frame.rotation[2], pitch=pitch, window=window, up=frame.rotation[1])
    solid = solid_intervals(cast(mesh, fine))
    best, place = 0.0, np.array([*centre, height])
    outside = _beyond(fine, rows)[0]
    for z in np.clip(height + step * np.array([-0.45, 0.0, 0.45]), *span):
        locked, taken = _at_height(solid, way, span, float(z), tolerance)
        taken |= locked & outside
        locked &= ~outside
        if not locked.any() or (locked | taken).all():
            continue
        depth = np.where(locked, ndimage.distance_transform_edt(locked | taken), 0.0) * pitch
        # the window's rim hides what lies beyond it
        i, j = np.unravel_index(np.argmax(_away_from_rim(depth, pitch, coarse + frame.pitch)), depth.shape)
        if depth[i, j] > best:
            best, place = float(depth[i, j]), np.array([*(fine.origin + np.array([i, j]) * pitch), z])
    return (best, pitch, place) if best > 0 else (coarse, frame.pitch, place)


def _away_from_rim(depth: Floats, pitch: float, most: float) -> Floats:
    """`depth` with zero where it is nearer to the window's rim than to what it claims."""
    i = np.minimum(np.arange(depth.shape[0]), np.arange(depth.shape[0])[::-1])[:, None] * pitch
    j = np.minimum(np.arange(depth.shape[1]), np.arange(depth.shape[1])[::-1])[None, :] * pitch
    return np.asarray(np.where((depth <= np.minimum(i, j) + pitch) & (depth <= most), depth, 0.0))


def _at_height(
    solid: Intervals, way: Way, span: tuple[float, float], z: float, film: float
) -> tuple[Bools, Bools]:
    """(nu, nv) whether plaster is locked, and whether the form is there, at one local height."""
    column, low, high = _stretches(solid.start, solid.low, solid.high, _CODE[way], *span, film)
    locked, taken = np.zeros(solid.frame.count, bool), np.zeros(solid.frame.count, bool)
    locked[column[(low < z) & (z < high)]] = True
    taken[solid.column[(solid.low <= z) & (z <= solid.high)]] = True
    shape = solid.frame.shape
    return locked.reshape(shape), (taken & ~locked).reshape(shape)


def _shallow_spots(
    mesh: Mesh,
    solid: Intervals,
    way: Way,
    span: tuple[float, float],
    rows: tuple[float, float],
    suspects: Bools,
    tolerance: float,
) -> list[LockedSpot]:
    """Places that may be facet noise: all their columns judged at a third of the tolerance."""
    frame, pitch = solid.frame, tolerance / 3
    found: list[Floats] = []  # rows: local u, v, depth, reach, stretch length
    for i in range(0, frame.shape[0], _TILE):
        for j in range(0, frame.shape[1], _TILE):
            part = suspects[i : i + _TILE, j : j + _TILE]
            if not part.any():
                continue
            used_i, used_j = np.flatnonzero(part.any(axis=1)) + i, np.flatnonzero(part.any(axis=0)) + j
            rim = 4 * tolerance
            low = frame.origin + (np.array([used_i[0], used_j[0]]) - 1) * frame.pitch
            high = frame.origin + (np.array([used_i[-1], used_j[-1]]) + 1) * frame.pitch
            window = (low[0] - rim, high[0] + rim, low[1] - rim, high[1] + rim)
            fine = frame_for(mesh, frame.rotation[2], pitch=pitch, window=window, up=frame.rotation[1])
            found.append(_fine_reach(solid_intervals(cast(mesh, fine)), way, span, rows, tolerance, rim))
    measured = np.concatenate(found) if found else np.zeros((0, 5))
    spots = []
    for deepest, volume, area in _clusters(measured[measured[:, 3] > tolerance], frame, pitch):
        reach, at = float(deepest[3]), deepest[:3]
        if reach > rim:  # deeper than the windows could see
            most, height = tolerance + 3 * frame.pitch, float(deepest[2])
            reach, _, at = _read_again(
                mesh, frame, way, span, rows, height, 0.0, deepest[:2], most, tolerance
            )
        spots.append(LockedSpot(_point(frame, at), reach, volume, area, pitch))
    return spots


def _fine_reach(
    solid: Intervals,
    way: Way,
    span: tuple[float, float],
    rows: tuple[float, float],
    tolerance: float,
    rim: float,
) -> Floats:
    """(k, 5) local u, v, depth, reach and length of the locked stretches inside the window's rim."""
    frame = solid.frame
    column, low, high = _stretches(solid.start, solid.low, solid.high, _CODE[way], *span, tolerance)
    margin = int(rim / frame.pitch)
    i, j = np.divmod(column, frame.shape[1])
    inside = (i >= margin) & (i < frame.shape[0] - margin) & (j >= margin) & (j < frame.shape[1] - margin)
    inside &= ~_beyond(frame, rows)[0, 0][j]
    column, low, high = column[inside], low[inside], high[inside]
    if not len(column):
        return np.zeros((0, 5))
    offsets, distance = _disc(margin)
    state = (solid.start, solid.low, solid.high, *frame.shape, _CODE[way])
    reach, at = _nearest_free(*state, column, low, high, np.array(_HEIGHTS), offsets, distance)
    return np.column_stack([frame.centres(column), at, reach * frame.pitch, high - low])


def _disc(radius: int) -> tuple[Ints, Floats]:
    """Grid offsets within `radius` cells, nearest first, and their lengths in cells."""
    side = np.arange(-radius, radius + 1)
    offsets = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1).reshape(-1, 2)
    length = np.hypot(offsets[:, 0], offsets[:, 1])
    order = np.lexsort((offsets[:, 1], offsets[:, 0], length))
    order = order[(length[order] <= radius) & (length[order] > 0)]
    return offsets[order].astype(np.int32), length[order]


def _clusters(rows: Floats, frame: Frame, pitch: float) -> Iterator[tuple[Floats, float, float]]:
    """Deepest row, volume and area of each place; columns within two coarse ones are one place."""
    if not len(rows):
        return
    cell = np.rint((rows[:, :2] - frame.origin) / frame.pitch).astype(int)
    cell -= cell.min(axis=0)
    mask = np.zeros(cell.max(axis=0) + 1, bool)
    mask[cell[:, 0], cell[:, 1]] = True
    label, count = ndimage.label(ndimage.binary_dilation(mask), structure=np.ones((3, 3), bool))
    owner = label[cell[:, 0], cell[:, 1]]
    for number in range(1, count + 1):
        mine = rows[owner == number]
        if len(mine):
            area = len(np.unique(np.rint(mine[:, :2] / pitch), axis=0)) * pitch**2
            yield mine[np.argmax(mine[:, 3])], float(mine[:, 4].sum()) * pitch**2, area


def _point(frame: Frame, local: Floats) -> Point:
    x, y, z = frame.world(np.asarray(local)[None])[0]
    return float(x), float(y), float(z)


@numba.njit(cache=True, nogil=True)
def _stretches(start, low, high, code, bottom, top, film):  # type: ignore[no-untyped-def]
    """Column, low and high of every locked stretch of plaster between bottom and top, longer than film."""
    columns = len(start) - 1
    most = 2 * len(low) + columns
    column = np.empty(most, np.int64)
    begin, end = np.empty(most), np.empty(most)
    count = 0
    for c in range(columns):
        first, last = start[c], start[c + 1]
        for i in range(first, last + 1):
            if first == last:
                break
            # the plaster below solid stretch i (above the last one when i == last)
            if (i == first and code != 1) or (i == last and code != 2):
                continue  # one free side suffices for the pair and for its own way
            a = high[i - 1] if i > first else bottom
            b = low[i] if i < last else top
            a, b = max(a, bottom), min(b, top)
            if b - a > film:
                column[count], begin[count], end[count] = c, a, b
                count += 1
    return column[:count].copy(), begin[:count].copy(), end[:count].copy()


@numba.njit(cache=True, nogil=True)
def _mark(cells, column, low, high, first, step, thin):  # type: ignore[no-untyped-def]
    """Set cells[k, c] where level k lies in [low, high]; where none does, the nearest when `thin`."""
    levels = len(cells)
    for s in range(len(column)):
        a = int(np.ceil((low[s] - first) / step))
        b = int(np.floor((high[s] - first) / step))
        if a > b and thin:
            a = b = int(np.rint(((low[s] + high[s]) / 2 - first) / step))
            a, b = min(max(a, 0), levels - 1), min(max(b, 0), levels - 1)
        for k in range(max(a, 0), min(b, levels - 1) + 1):
            cells[k, column[s]] = True


@numba.njit(cache=True, nogil=True)
def _is_free(start, low, high, c, z, code):  # type: ignore[no-untyped-def]
    """Whether column c holds free plaster at height z."""
    first, last = start[c], start[c + 1]
    above = below = False
    for i in range(first, last):
        if low[i] <= z <= high[i]:
            return False
        if low[i] > z:
            above = True
        else:
            below = True
    if code == 0:
        return not (above and below)
    return not above if code == 1 else not below


@numba.njit(cache=True, nogil=True)
def _nearest_free(start, low, high, nu, nv, code, column, begin, end, heights, offsets, distance):  # type: ignore[no-untyped-def]
    """For each locked stretch the greatest distance (in cells) to free plaster, and the height where."""
    reach, at = np.zeros(len(column)), np.empty(len(column))
    for s in range(len(column)):
        ci, cj = column[s] // nv, column[s] % nv
        at[s] = (begin[s] + end[s]) / 2
        for t in heights:
            z = begin[s] + t * (end[s] - begin[s])
            nearest = distance[-1] + 1.0
            for o in range(len(distance)):
                i, j = ci + offsets[o, 0], cj + offsets[o, 1]
                if i < 0 or j < 0 or i >= nu or j >= nv:
                    continue
                if _is_free(start, low, high, i * nv + j, z, code):
                    nearest = distance[o]
                    break
            if nearest > reach[s]:
                reach[s], at[s] = nearest, z
    return reach, at
