"""What a body runs into when it is drawn off along a direction: read from columns, and by sliding copies."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage

from ..errors import Point
from .columns import Frame, Intervals, cast, frame_for, solid_intervals
from .mesh import Bools, Floats, Mesh
from .solids import Solid, intersection, moved, parts, shadow_width

CONTACT = 1e-5
"""Bodies that overlap along the way by less than this share of their size touch."""
NARROW = 3.0
"""Places narrower than so many columns are read again at a finer pitch."""
TILE = 256
"""Columns along a side of the fine windows."""
GROWTH = 8.0
"""Each slid copy stands this many times as far off as the one before."""


@dataclass(frozen=True)
class Overlap:
    """What one obstacle holds back of a body that is drawn off.

    lateral_mm: width across the way of what is struck, twice the greatest inscribed radius of its shadow
    (a groove 6 deep reads 6); along_mm: its greatest length along the way; volume_mm3: of the body's
    struck part; where: the middle of the widest place; pitch_mm: at which it was read.
    """

    lateral_mm: float
    along_mm: float
    volume_mm3: float
    where: Point | None
    pitch_mm: float


@dataclass(frozen=True)
class Slid:
    """Overlap of a copy of the body, slid by so much, with all obstacles."""

    distance_mm: float
    volume_mm3: float
    lateral_mm: float


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
    Of places with less volume than `grain` mm3 the width is not told.
    """
    frame = frame_for(body, way, lines=lines, shift=shift)
    own = solid_intervals(cast(body, frame))
    slack = CONTACT * float(np.linalg.norm(body.extents))
    found = []
    for obstacle in obstacles:
        struck = _struck(own, solid_intervals(cast(obstacle, frame)), slack)
        wide, along = _widest(struck.length, frame, 0.0), float(struck.length.max(initial=0.0))
        volume = float(struck.length.sum()) * frame.pitch**2
        if wide is not None and wide[0] <= NARROW * frame.pitch:
            windows = _fine(body, obstacle, struck.length > 0, frame, tolerance / 3, slack)
            readings = [_widest(part.length, window, grain) for window, part in windows]
            wide = max((one for one in readings if one is not None), default=None, key=lambda one: one[0])
        if wide is None:
            found.append(Overlap(0.0, along, volume, None, frame.pitch))
            continue
        width, u, v, pitch = wide
        cell = np.rint((np.array([u, v]) - frame.origin) / frame.pitch).astype(int)
        cell = np.clip(cell, 0, np.array(frame.shape) - 1)
        depth = struck.middle[cell[0], cell[1]]
        depth = depth if np.isfinite(depth) else float(np.nanmean(struck.middle))
        x, y, z = frame.world([[u, v, depth]])[0]
        found.append(Overlap(width, along, volume, (float(x), float(y), float(z)), pitch))
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
        common = [intersection(copy, obstacle) for obstacle in obstacles]
        places = [place for solid in common if solid.volume() >= grain for place in parts(solid)]
        widths = [shadow_width(place, way, most=last) for place in places if place.volume() >= grain]
        yield Slid(distance, sum(solid.volume() for solid in common), max(widths, default=0.0))
        if distance >= last:
            return
        distance *= GROWTH


@dataclass(frozen=True, eq=False)
class _Struck:
    """(nu, nv) length of the struck part of the body in each column, and the height of its middle (nan: none)."""

    length: Floats
    middle: Floats


def _struck(own: Intervals, other: Intervals, slack: float) -> _Struck:
    length, middle = _under(own.start, own.low, own.high, other.start, other.high, slack)
    return _Struck(length.reshape(own.frame.shape), middle.reshape(own.frame.shape))


def _widest(length: Floats, frame: Frame, grain: float) -> tuple[float, float, float, float] | None:
    """Width of the widest place of at least a grain, its local u and v, and the pitch; None without one."""
    label, count = ndimage.label(length > 0, structure=np.ones((3, 3), bool))
    volume = np.bincount(label.ravel(), weights=length.ravel(), minlength=count + 1) * frame.pitch**2
    large = volume >= grain
    large[0] = False
    struck = large[label]
    if not struck.any():
        return None
    inside = ndimage.distance_transform_edt(np.pad(struck, 1))[1:-1, 1:-1]
    i, j = np.unravel_index(np.argmax(inside), inside.shape)
    u, v = frame.origin + np.array([i, j]) * frame.pitch
    return (2 * float(inside[i, j]) - 1) * frame.pitch, float(u), float(v), frame.pitch


def _fine(
    body: Mesh, obstacle: Mesh, struck: Bools, frame: Frame, pitch: float, slack: float
) -> Iterator[tuple[Frame, _Struck]]:
    """Windows at a fine pitch over all struck columns of a frame, and what is struck there."""
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
            near = frame_for(body, frame.rotation[2], pitch=pitch, window=window, up=frame.rotation[1])
            own, other = solid_intervals(cast(body, near)), solid_intervals(cast(obstacle, near))
            yield near, _struck(own, other, slack)


@numba.njit(cache=True, nogil=True)
def _under(start, low, high, other_start, other_high, slack):  # type: ignore[no-untyped-def]
    """Per column the length of the body that lies below the obstacle's highest point, and its middle."""
    columns = len(start) - 1
    length, middle = np.zeros(columns), np.full(columns, np.nan)
    for c in range(columns):
        if other_start[c] == other_start[c + 1]:
            continue
        top = other_high[other_start[c + 1] - 1]
        moment = 0.0
        for i in range(start[c], start[c + 1]):
            end = min(high[i], top)
            if end - low[i] > slack:
                length[c] += end - low[i]
                moment += (end - low[i]) * (end + low[i]) / 2
        if length[c] > 0:
            middle[c] = moment / length[c]
    return length, middle
