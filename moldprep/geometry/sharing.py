"""A solid shared out among patches of its surface: how much of it lies nearest to each.

The solid is filled with points that stand askew to the axes, so that a flat wall never lies along their
rows, and each goes to the patch nearest to it (a Voronoi share). Volume over area is a depth: that of a
slab behind a flat patch, less where two patches share a fin, more behind a patch that bulges into the
solid.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .columns import cast, frame_for, solid_intervals
from .mesh import Bools, Floats, Mesh, read_only

Indices: TypeAlias = NDArray[np.int64]

ASKEW = (0.37, 0.22, 0.9)
"""Direction of the columns: none of a box's faces, nor its diagonals, lies along it."""
_BAND = 1.5
"""Depths are averaged in bands; each reaches so many times as deep as the one before."""
_SPREAD = (0.7548776662466927, 0.5698402909980532)
"""Steps of a sequence that covers a square evenly (inverse powers of the plastic number)."""


@dataclass(frozen=True, eq=False)
class Patches:
    """Small patches of a surface.

    middle, normal: (p, 3), the normals not of unit length where a patch bends. area: (p,) mm2. face,
    patch: (s,) which faces of the mesh lie in which patch, face by face; a large face lies in many.
    """

    middle: Floats
    normal: Floats
    area: Floats
    face: Indices = field(repr=False)
    patch: Indices = field(repr=False)

    def __post_init__(self) -> None:
        for array in (self.middle, self.normal, self.area, self.face, self.patch):
            read_only(array)


def patches_of(mesh: Mesh, chosen: Bools, *, size: float) -> Patches:
    """Patches about `size` across of the chosen faces (m,).

    Large faces are divided, small ones gathered by cubes of that size, the six ways that they may look
    apart: two sides of a thin wall are never one patch.
    """
    own = np.flatnonzero(chosen & (mesh.areas > 0))
    count = np.ceil(mesh.areas[own] / (size**2 / 4)).astype(np.int64)
    face = np.repeat(own, count)
    # one sequence for all faces: slivers of a fan are met all along, not all in the same place
    one, other = ((0.5 + np.arange(len(face))[:, None] * np.array(_SPREAD)) % 1).T
    folded = one + other > 1
    one, other = np.where(folded, 1 - one, one), np.where(folded, 1 - other, other)
    a, b, c = (mesh.vertices[mesh.faces[face, k]] for k in range(3))
    place = a + one[:, None] * (b - a) + other[:, None] * (c - a)
    area = mesh.areas[face] / np.repeat(count, count)
    patch = _by_cube(place, mesh.normals[face], size)
    total: Floats = np.bincount(patch, weights=area).astype(np.float64)
    middle, normal = (
        np.column_stack([np.bincount(patch, weights=area * values[:, k]) / total for k in range(3)])
        for values in (place, mesh.normals[face])
    )
    return Patches(middle, normal, total, face, patch)


def joined(patches: list[Patches]) -> Patches:
    """Patches of several surfaces as one list; `face` is each one's own, and then tells nothing by itself."""
    offset = np.cumsum([0, *(len(some.area) for some in patches)])[:-1].tolist()
    return Patches(
        np.concatenate([some.middle for some in patches]),
        np.concatenate([some.normal for some in patches]),
        np.concatenate([some.area for some in patches]),
        np.concatenate([some.face for some in patches]),
        np.concatenate([some.patch + first for some, first in zip(patches, offset, strict=True)]),
    )


def filling(mesh: Mesh, *, pitch: float) -> tuple[Floats, Floats]:
    """(k, 3) points that fill a closed mesh, about `pitch` apart, and (k,) the volume that each stands for, mm3.

    Along each column the solid is cut into equal lengths, so that no length is lost.
    """
    frame = frame_for(mesh, ASKEW, pitch=pitch)
    solid = solid_intervals(cast(mesh, frame))
    length = solid.high - solid.low
    count = np.maximum(np.ceil(length / pitch).astype(np.int64), 1)
    step = np.repeat(length / count, count)
    turn = np.arange(len(step)) - np.repeat(np.cumsum(count) - count, count)
    depth = np.repeat(solid.low, count) + (turn + 0.5) * step
    across = frame.centres(np.repeat(solid.column, count))
    return frame.world(np.column_stack([across, depth])), step * pitch**2


def shared_depth(patches: Patches, points: Floats, volume: Floats, *, reach: float, spread: float) -> Floats:
    """(p,) volume near each patch over area, mm.

    points (k, 3), volume (k,): of the solid; those further than `reach` from all patches go to none. Each
    goes to its nearest patch, and is then averaged over patches near by that look the same way within a
    right angle: within `spread`, or half of the point's depth where that is more, since from depth d a way
    d/2 aside is hardly longer (12 %). Volumes and areas are summed before they are divided.
    """
    tree = cKDTree(patches.middle)
    found = tree.query(points, distance_upper_bound=reach)
    deep, nearest = np.asarray(found[0]), np.asarray(found[1])
    size = len(patches.area)
    depth = np.zeros(size)
    low = 0.0
    while low < reach and (deep[np.isfinite(deep)] >= low).any():
        high = max(2 * spread, _BAND * low)
        within = (deep >= low) & (deep < high) & np.isfinite(deep)
        own = np.bincount(nearest[within], weights=volume[within], minlength=size).astype(np.float64)
        depth += _near_by(tree, patches, own, max(spread, (low + min(high, reach)) / 4))
        low = high
    return depth


def _near_by(tree: cKDTree, patches: Patches, own: Floats, radius: float) -> Floats:
    """(p,) sum of `own` (p,) over that of the areas, over patches within the radius that look the same way."""
    pairs = tree.query_pairs(radius, output_type="ndarray")
    alike = np.einsum("ij,ij->i", patches.normal[pairs[:, 0]], patches.normal[pairs[:, 1]]) > 0
    one, other = pairs[alike].T
    around, area = own.copy(), patches.area.copy()
    for total, part in ((around, own), (area, patches.area)):
        total += np.bincount(one, weights=part[other], minlength=len(own))
        total += np.bincount(other, weights=part[one], minlength=len(own))
    return np.asarray(around / area)


def _by_cube(place: Floats, normal: Floats, size: float) -> Indices:
    """(s,) number of the group of each sample: by its cube, and by the side that it looks to most."""
    cube = np.floor((place - place.min(axis=0)) / size).astype(np.int64)
    axis = np.abs(normal).argmax(axis=1)
    side = 2 * axis + (normal[np.arange(len(axis)), axis] > 0)
    wide = cube.max(axis=0) + 1
    key = ((cube[:, 0] * wide[1] + cube[:, 1]) * wide[2] + cube[:, 2]) * 6 + side
    return np.asarray(np.unique(key, return_inverse=True)[1].reshape(-1), dtype=np.int64)
