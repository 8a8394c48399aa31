"""A mesh cut off level: what lies below a height, open where it was cut."""

from __future__ import annotations

import numpy as np

from .mesh import Floats, Ints, Mesh


def below_level(mesh: Mesh, height: float, *, same: float) -> Mesh:
    """The surface below z = height, its edge exactly there; faces that lie in the plane are left out.

    Vertices within `same` of the plane count as in it and stay where they are, as all others below it do:
    they keep their order, and new ones come after them.
    """
    side = np.sign(np.where(np.abs(mesh.vertices[:, 2] - height) <= same, 0.0, mesh.vertices[:, 2] - height))
    corner = side[mesh.faces]
    whole = (corner <= 0).all(axis=1) & (corner < 0).any(axis=1)
    cut = mesh.faces[(corner > 0).any(axis=1) & (corner < 0).any(axis=1)]
    added, pieces = _cut(mesh.vertices, cut, side, height)
    faces = np.concatenate([mesh.faces[whole], pieces])
    return compact(np.vstack([mesh.vertices, added]), faces)


def _cut(vertices: Floats, faces: Ints, side: Floats, height: float) -> tuple[Floats, Ints]:
    """New vertices (k, 3) where edges cross the plane, and the parts below it of faces that cross it."""
    above = side[faces] > 0
    count = len(vertices)
    # each edge that crosses the plane gets one new vertex, whichever face asks
    here, there = faces, np.roll(faces, -1, axis=1)
    crossing = side[here] * side[there] < 0
    ends = np.sort(np.stack([here[crossing], there[crossing]], axis=1).astype(np.int64), axis=1)
    keys, index = np.unique(ends[:, 0] * count + ends[:, 1], return_inverse=True)
    low, high = vertices[keys // count], vertices[keys % count]
    share = ((height - low[:, 2]) / (high[:, 2] - low[:, 2]))[:, None]
    added = low + share * (high - low)
    added[:, 2] = height
    new = np.full(faces.shape, -1, np.int64)
    new[crossing] = count + index
    # turned so that the corner that stands alone on its side comes first; with a corner in the plane, that one
    flat = side[faces] == 0
    one_above, two_above = above.sum(axis=1) == 1, above.sum(axis=1) == 2
    in_plane = flat.any(axis=1)
    lone = np.where(two_above, np.argmin(above, axis=1), np.argmax(above, axis=1))
    first = np.where(in_plane, np.argmax(flat, axis=1), lone)
    turn = (first[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces.astype(np.int64), turn, axis=1).T
    ab, bc, ca = np.take_along_axis(new, turn, axis=1).T
    up = np.take_along_axis(above, turn, axis=1)
    tip = two_above & ~in_plane  # only a lies below
    pair = one_above & ~in_plane  # b and c lie below
    left, right = in_plane & up[:, 2], in_plane & up[:, 1]  # b, or c, lies below
    pieces = [
        np.stack([a, ab, ca], axis=1)[tip],
        np.stack([ab, b, c], axis=1)[pair],
        np.stack([ab, c, ca], axis=1)[pair],
        np.stack([a, b, bc], axis=1)[left],
        np.stack([a, bc, c], axis=1)[right],
    ]
    return added, np.concatenate(pieces).astype(np.int32)


def compact(vertices: Floats, faces: Ints) -> Mesh:
    """A mesh of the faces and only the vertices that they use, in their order."""
    mask = np.zeros(len(vertices), bool)
    mask[faces] = True
    return Mesh(vertices[mask], (np.cumsum(mask) - 1)[faces].astype(np.int32))
