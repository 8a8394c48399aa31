"""What an inward offset of a form shuts off, and what of the form it never hollows."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .distance import DistanceField, climbed
from .mesh import Bools, Floats, Mesh

LEAST_CELLS = 8
"""Fewer grid points than this make no place."""
CORNER = 1.75
"""No point of a corner of three square walls is further from the hollow than this many levels (the
square root of 3); what is belongs to a place that the offset leaves solid."""
HALVINGS = 12
"""Of a level, to find the height of a pass."""

Indices = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Pass:
    """A neck that the offset closes: its middle (3,), its distance to the faces, and the hollow shut off by it, mm3."""

    where: Floats
    depth: float
    behind: float


@dataclass(frozen=True, eq=False)
class SolidPlace:
    """A part that the offset leaves solid: its deepest point (3,), its depth there, and how far it reaches, mm."""

    where: Floats
    depth: float
    extent: float


def passes(
    mesh: Mesh, towards: Bools, distances: DistanceField, open_part: Bools, level: float
) -> list[Pass]:
    """The necks between the hollow's parts that are shut off and its `open_part` (nx, ny, nz), largest part first.

    A neck is where a path from one to the other has to come nearest to the faces. Parts smaller than a
    cube of the level are left out.
    """
    values, pitch = distances.values, distances.pitch
    label, _ = ndimage.label(values >= level)
    size = np.bincount(label.ravel())
    size[0] = 0
    size[np.unique(label[open_part])] = 0
    least = max(LEAST_CELLS, (level / pitch) ** 3)
    goal = open_part if open_part.any() else _deepest_of_top(values)
    found = []
    for part in sorted(np.flatnonzero(size >= least).tolist(), key=lambda k: (-size[k], k)):
        where, way = _saddle(values, label == part, goal, level)
        place, depth = climbed(
            mesh,
            towards,
            distances.place(where),
            reach=2 * level,
            step=pitch / 2,
            across=way if np.any(way) else None,
        )
        found.append(Pass(place, min(depth, level), float(size[part]) * pitch**3))
    return found


def solid_places(
    mesh: Mesh, towards: Bools, distances: DistanceField, within: Bools, level: float
) -> list[SolidPlace]:
    """Parts of the form that lie further from every hollow than a corner does, largest first.

    within: (nx, ny, nz) grid points that belong to the form. Nothing is found where there is no hollow at all.
    """
    values, pitch = distances.values, distances.pitch
    hollow = values >= level
    if not hollow.any():
        return []
    away = ndimage.distance_transform_edt(~hollow) * pitch
    label, count = ndimage.label(within & (values > 0) & (away > CORNER * level + pitch))
    boxes = ndimage.find_objects(label)
    size = np.bincount(label.ravel(), minlength=count + 1)
    found = []
    for part in sorted(range(1, count + 1), key=lambda k: (-size[k], k)):
        if size[part] < LEAST_CELLS:
            break
        box = boxes[part - 1]
        depths = np.where(label[box] == part, values[box], -inf)
        first = np.array([edge.start for edge in box])
        deepest = first + np.unravel_index(int(depths.argmax()), depths.shape)
        place, depth = climbed(mesh, towards, distances.place(deepest), reach=2 * level, step=pitch / 2)
        extent = pitch * float(np.linalg.norm([edge.stop - edge.start for edge in box]))
        found.append(SolidPlace(place, min(depth, level), extent))
    return found


def _deepest_of_top(values: NDArray[np.float32]) -> Bools:
    goal = np.zeros(values.shape, bool)
    at = np.unravel_index(int(values[:, :, -1].argmax()), values.shape[:2])
    goal[at[0], at[1], -1] = True
    return goal


def _saddle(values: NDArray[np.float32], part: Bools, goal: Bools, level: float) -> tuple[Indices, Floats]:
    """Grid index (3,) of the lowest place on the highest path from a part to the goal, and the way (3,) across it."""
    low, high = 0.0, level
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        label, _ = ndimage.label((values >= middle) | goal)
        if np.isin(label[goal], np.unique(label[part])).any():
            low = middle
        else:
            high = middle
    label, _ = ndimage.label((values >= high) | goal)
    here = np.isin(label, np.unique(label[part]))
    there = np.isin(label, np.unique(label[goal])) & ~here
    to_here, from_here = _nearest(here)
    to_there, from_there = _nearest(there)
    between = np.where((values >= low) & ~here & ~there, to_here + to_there, inf)
    at = np.unravel_index(int(between.argmin()), values.shape)
    where = np.array(at, dtype=np.int64)
    return where, (
        from_there[:, where[0], where[1], where[2]] - from_here[:, where[0], where[1], where[2]]
    ).astype(float)


def _nearest(part: Bools) -> tuple[Floats, Indices]:
    """Distance of each grid point to a part, in cells, and the index (3, nx, ny, nz) of its nearest point."""
    distance, index = ndimage.distance_transform_edt(~part, return_indices=True)
    return np.asarray(distance, dtype=np.float64), np.asarray(index, dtype=np.int64)
