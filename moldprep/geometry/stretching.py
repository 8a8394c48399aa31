"""A mesh made taller or lower between two heights, exactly, everything beyond them kept as it is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .mesh import Ints, Mesh


def stretched(mesh: Mesh, low: float, high: float, by: float) -> Mesh:
    """The mesh with the zone low <= z <= high drawn out to be `by` longer; what is above moves up by that.

    Faces are cut along the two planes first, so below `low` nothing changes at all, above `high` all
    moves alike, and between them lengths along z grow evenly. Raises ValueError for an empty zone
    and for one that would be turned inside out.
    """
    if not high > low or by <= low - high:
        raise ValueError(f"a zone from {low:g} to {high:g} cannot be stretched by {by:g}")
    cut = split_at(split_at(mesh, low), high)
    z = cut.vertices[:, 2]
    inside = low + (z - low) * ((high - low + by) / (high - low))
    moved = np.where(z <= low, z, np.where(z >= high, z + by, inside))
    return Mesh(np.column_stack([cut.vertices[:, :2], moved]), cut.faces)


def split_at(mesh: Mesh, height: float) -> Mesh:
    """The same surface with every face that crosses the plane z = height cut along it.

    New vertices lie in the plane to the last bit and are shared by the faces on both sides.
    """
    z = mesh.vertices[:, 2]
    side = np.sign(z - height).astype(int)
    of_face = side[mesh.faces]
    crossing = (of_face.min(axis=1) < 0) & (of_face.max(axis=1) > 0)
    if not crossing.any():
        return mesh
    faces = mesh.faces[crossing]
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = np.sort(edges[side[edges[:, 0]] * side[edges[:, 1]] < 0], axis=1)
    edges = np.unique(edges, axis=0)
    a, b = mesh.vertices[edges[:, 0]], mesh.vertices[edges[:, 1]]
    share = (height - a[:, 2]) / (b[:, 2] - a[:, 2])
    points = np.column_stack([a[:, :2] + share[:, None] * (b - a)[:, :2], np.full(len(edges), height)])
    keys = edges[:, 0].astype(np.int64) * len(z) + edges[:, 1]

    def between(one: Ints, other: Ints) -> Ints:
        low, high = np.minimum(one, other).astype(np.int64), np.maximum(one, other)
        return np.asarray(len(z) + np.searchsorted(keys, low * len(z) + high), dtype=np.int32)

    made = [mesh.faces[~crossing], *_halved(faces, side, between)]
    return Mesh(np.vstack([mesh.vertices, points]), np.vstack(made))


def _halved(faces: Ints, side: Ints, between) -> list[Ints]:  # type: ignore[no-untyped-def]
    """Crossing faces in parts: two where a corner lies in the plane, three elsewhere."""
    of_face = side[faces]
    touching = (of_face == 0).any(axis=1)
    found: list[Ints] = []
    if touching.any():
        first = np.argmax(of_face[touching] == 0, axis=1)
        a, b, c = _turned(faces[touching], first)
        middle = between(b, c)
        found += [np.column_stack([a, b, middle]), np.column_stack([a, middle, c])]
    rest, own = faces[~touching], of_face[~touching]
    if len(rest):
        lone = np.argmax(own == -np.sign(own.sum(axis=1))[:, None], axis=1)
        a, b, c = _turned(rest, lone)
        ab, ca = between(a, b), between(c, a)
        found += [np.column_stack([a, ab, ca]), np.column_stack([ab, b, c]), np.column_stack([ab, c, ca])]
    return found


def _turned(faces: Ints, first: NDArray[np.integer]) -> tuple[Ints, Ints, Ints]:
    """The corners of each face in turn, beginning with its `first` one."""
    order = (first[:, None] + np.arange(3)) % 3
    turned = np.take_along_axis(faces, order, axis=1)
    return turned[:, 0], turned[:, 1], turned[:, 2]
