"""The largest disc that fits into a level section of a field."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from .mesh import Bools, Floats

FINEST = 1 / 256
"""Share of a cell to which the disc's middle is found."""


@dataclass(frozen=True)
class Disc:
    """A level disc: middle (x, y) and radius, mm; radius 0 where nothing fits."""

    middle: tuple[float, float]
    radius: float


def widest_radius(section: Bools, pitch: float) -> float:
    """Radius of the largest disc in a (nx, ny) section of grid points, to about half a cell, mm."""
    return float(ndimage.distance_transform_edt(np.pad(section, 1)).max()) * pitch if section.any() else 0.0


def inscribed_disc(values: Floats, level: float, *, origin: Floats, pitch: float) -> Disc:
    """The largest disc inside {values >= level}; values: (nx, ny) on a grid whose first point is at `origin` (2,).

    The edge of the section is read from the grid's lines, on which the values count as linear. From the
    grid point furthest from the edge the middle climbs until no step of `FINEST` cells leads further.
    """
    section = values >= level
    if not section.any():
        return Disc((float(origin[0]), float(origin[1])), 0.0)
    edge = cKDTree(_edge(values, level))
    depth = ndimage.distance_transform_edt(np.pad(section, 1))[1:-1, 1:-1]
    middle = np.array(np.unravel_index(int(depth.argmax()), depth.shape), dtype=np.float64)
    radius, step = float(edge.query(middle)[0]), 0.5
    angle = np.arange(8) * np.pi / 4
    ways = np.column_stack([np.cos(angle), np.sin(angle)])
    while step >= FINEST:
        tried = np.asarray(edge.query(middle + step * ways)[0])
        k = int(np.argmax(tried))
        if tried[k] > radius:
            radius, middle = float(tried[k]), middle + step * ways[k]
        else:
            step /= 2
    x, y = origin + pitch * middle
    return Disc((float(x), float(y)), radius * pitch)


def _edge(values: Floats, level: float) -> Floats:
    """(k, 2) where the grid's lines cross the level, in cells."""
    found = []
    for axis in (0, 1):
        one = np.take(values, np.arange(values.shape[axis] - 1), axis=axis) - level
        other = np.take(values, np.arange(1, values.shape[axis]), axis=axis) - level
        at = np.argwhere((one >= 0) != (other >= 0))
        a, b = one[tuple(at.T)], other[tuple(at.T)]
        place = at.astype(np.float64)
        place[:, axis] += a / (a - b)
        found.append(place)
    return np.vstack(found)
