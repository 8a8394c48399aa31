"""What a body runs into when it is drawn off along a direction: read from columns, and by sliding copies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage

from ..errors import Point
from .columns import Frame, Intervals, cast, frame_for, rotation_for, solid_intervals
from .mesh import Floats, Mesh
from .solids import Solid, boxes_meet, from_manifold, intersection, moved, parts, shadow_width

CONTACT = 1e-5
"""Bodies that overlap along the way by less than this share of their size touch."""
NARROW = 3.0
"""Places narrower than so many columns are read again at a finer pitch."""
TILE = 256
"""Columns along a side of the fine windows."""
GROWTH = 8.0
"""Each slid copy stands this many times as far off as the one before."""
ASKEW_DEG = 23.0
"""How far the rows of columns are turned from the axes: rows along a level face would meet it edge on, all
of them or none."""


@dataclass(frozen=True)
class Overlap:
    """What one obstacle holds back of a body that is drawn off.

    lateral_mm: width across the way of what is struck, twice the greatest inscribed radius of its shadow
    (a groove 6 deep reads 6); along_mm: its greatest length along the way; volume_mm3: of the body's
    struck part; where: the point of the body that strikes first, deepest in the widest place; pitch_mm: at
    which it was read.
    """

    lateral_mm: float
    along_mm: float
    volume_mm3: float
    where: Point | None
    pitch_mm: float


@dataclass(frozen=True)
class Slid:
    """Overlap of a copy of the body, slid by so much, with all obstacles.

    widest: index of the obstacle at the widest place, where: a point of the body that strikes there; both
    None where nothing is told.
    """

    distance_mm: float
    volume_mm3: float
    lateral_mm: float
    widest: int | None
    where: Point | None


def swept_overlaps(
    body: Mesh,
    way: ArrayLike,
    obstacles: Sequence[Mesh],
    *,
    tolerance: float,
    grain: float,
    lines: int,
    shift: tuple[float, float],
) -> list[Overlap]:
    """For each obstacle, what of the body lies under it along the unit vector `way`.

    A point of the body is struck when the obstacle stands anywhere ahead of it in its column. Places
    wider than a few columns are measured on the grid, narrower ones at a third of the tolerance.
    Of places with less volume than `grain` mm3, thin films above all, the width is not told.
    """
    frame = frame_for(body, way, lines=lines, shift=shift, up=_askew(way))
    own = solid_intervals(cast(body, frame))
    slack = CONTACT * float(np.linalg.norm(body.extents))
    found = []
    for obstacle in obstacles:
        struck = _struck(own, solid_intervals(cast(obstacle, frame)), slack)
        widest = _widest(struck, grain)
        if struck.length.any() and (widest is None or widest.width <= NARROW * frame.pitch):
            parts = _fine(body, obstacle, struck, pitch=tolerance / 3, slack=slack)
            readings = [widest for part in parts if (widest := _widest(part, grain)) is not None]
            widest = max(readings, default=None, key=lambda one: one.width)
        found.append(
            Overlap(
                lateral_mm=0.0 if widest is None else widest.width,
                along_mm=float(struck.length.max(initial=0.0)),
                volume_mm3=float(struck.length.sum()) * frame.pitch**2,
                where=None if widest is None else widest.where,
                pitch_mm=frame.pitch if widest is None else widest.pitch,
            )
        )
    return found


def slid_overlaps(
    body: Solid, way: Sequence[float], obstacles: Sequence[Solid], *, first: float, last: float, grain: float
) -> Iterator[Slid]:
    """Overlaps of copies of the body with the obstacles, slid along `way` from `first` mm to beyond `last`.

    Of places with less volume than `grain` mm3 the width is not told.
    """
    distance = first
    while True:
        copy = moved(body, distance * np.asarray(way))
        common = {k: intersection(copy, one) for k, one in enumerate(obstacles) if boxes_meet(copy, one)}
        places = [(k, place) for k, solid in common.items() for place in _grains(solid, grain)]
        widths = [shadow_width(place, way, most=last) for _, place in places]
        volume = float(sum(solid.volume() for solid in common.values()))
        if places:
            k, place = places[int(np.argmax(widths))]
            x, y, z = (_foremost(place, way) - distance * np.asarray(way)).tolist()
            yield Slid(distance, volume, max(widths), k, (x, y, z))
        else:
            yield Slid(distance, volume, 0.0, None, None)
        if distance >= last:
            return
        distance *= GROWTH


@dataclass(frozen=True, eq=False)
class _Struck:
    """(nu, nv) length of the struck part of the body in each column of a frame, and how far along the way it
    reaches (nan: none)."""

    frame: Frame
    length: Floats
    end: Floats


@dataclass(frozen=True)
class _Widest:
    """Width of a place across the way, where it is widest, and the pitch at which it was read, mm."""

    width: float
    where: Point
    pitch: float


def _askew(way: ArrayLike) -> Floats:
    """(3,) across the way, askew to the axes."""
    u, v, _ = rotation_for(way)
    turn = np.radians(ASKEW_DEG)
    return np.asarray(np.sin(turn) * u + np.cos(turn) * v)


def _grains(solid: Solid, grain: float) -> list[Solid]:
    """The connected parts of at least a grain."""
    return [part for part in parts(solid) if part.volume() >= grain] if solid.volume() >= grain else []


def _foremost(solid: Solid, way: Sequence[float]) -> Floats:
    """(3,) the corner of a solid that lies farthest along the way."""
    vertices = from_manifold(solid).vertices
    return np.asarray(vertices[np.argmax(vertices @ np.asarray(way))])


def _struck(own: Intervals, other: Intervals, slack: float) -> _Struck:
    length, end = _under(own.start, own.low, own.high, other.start, other.high, slack)
    return _Struck(own.frame, length.reshape(own.frame.shape), end.reshape(own.frame.shape))


def _widest(struck: _Struck, grain: float) -> _Widest | None:
    """The widest place of at least a grain; None without one."""
    frame = struck.frame
    label, count = ndimage.label(struck.length > 0, structure=np.ones((3, 3), bool))
    volume = np.bincount(label.ravel(), weights=struck.length.ravel(), minlength=count + 1) * frame.pitch**2
    large = volume >= grain
    large[0] = False
    place = large[label]
    if not place.any():
        return None
    inside = ndimage.distance_transform_edt(np.pad(place, 1))[1:-1, 1:-1]
    i, j = np.unravel_index(np.argmax(inside), inside.shape)
    u, v = frame.origin + np.array([i, j]) * frame.pitch
    x, y, z = frame.world([u, v, struck.end[i, j]]).tolist()
    return _Widest((2 * float(inside[i, j]) - 1) * frame.pitch, (x, y, z), frame.pitch)


def _fine(body: Mesh, obstacle: Mesh, coarse: _Struck, *, pitch: float, slack: float) -> Iterator[_Struck]:
    """What is struck in windows at a fine pitch over all struck columns of a coarse frame."""
    frame, struck = coarse.frame, coarse.length > 0
    side = max(1, int(TILE * pitch / frame.pitch))
    for i in range(0, frame.shape[0], side):
        for j in range(0, frame.shape[1], side):
            part = struck[i : i + side, j : j + side]
            if not part.any():
                continue
            used_i, used_j = np.flatnonzero(part.any(axis=1)) + i, np.flatnonzero(part.any(axis=0)) + j
            low = frame.origin + (np.array([used_i[0], used_j[0]]) - 1) * frame.pitch
            high = frame.origin + (np.array([used_i[-1], used_j[-1]]) + 1) * frame.pitch
            window = (low[0], high[0], low[1], high[1])
            near = frame_for(body, frame.direction, pitch=pitch, window=window, up=frame.rotation[1])
            own, other = solid_intervals(cast(body, near)), solid_intervals(cast(obstacle, near))
            yield _struck(own, other, slack)


@numba.njit(cache=True, nogil=True)
def _under(start, low, high, other_start, other_high, slack):  # type: ignore[no-untyped-def]
    """Per column the length of the body that lies below the obstacle's highest point, and how high it reaches."""
    columns = len(start) - 1
    length, end = np.zeros(columns), np.full(columns, np.nan)
    for c in range(columns):
        if other_start[c] == other_start[c + 1]:
            continue
        top = other_high[other_start[c + 1] - 1]
        for i in range(start[c], start[c + 1]):
            upper = min(high[i], top)
            if upper - low[i] > slack:
                length[c] += upper - low[i]
                end[c] = upper
    return length, end
