"""A coarse stand-in for a fine mesh, for ranking many directions quickly."""

from __future__ import annotations

import numba
import numpy as np

from .mesh import Mesh

CELLS = 96
"""Cells along the longest side: about 20 thousand faces are left of a million."""


def coarse(mesh: Mesh, *, cells: int = CELLS) -> Mesh:
    """The mesh with all vertices of one cell of a regular grid drawn together to their mean.

    Drawing vertices together is a simplicial map: a closed surface stays closed, in the sense that
    the signs along every column still sum to zero, whatever folds. Faces that lose a corner are
    dropped. Surfaces move by less than a cell's diagonal; walls thinner than a cell may vanish, so
    judge on the fine mesh what the stand-in found. A mesh with fewer faces than its surface has
    cells comes back as it is. (Quadric edge collapse keeps shape better, but takes seconds for a
    million faces where this takes a twentieth of one, and stalls on fans of slivers.)
    """
    if cells < 2:
        raise ValueError(f"a grid of {cells} cells keeps no shape; give 2 or more")
    if len(mesh.faces) < 2 * cells**2:
        return mesh
    low, high = mesh.bounds
    pitch = float((high - low).max()) / cells
    shape = np.floor((high - low) / pitch).astype(np.int64) + 2
    vertices, faces = _cluster(mesh.vertices, mesh.faces, low, pitch, shape)
    return Mesh(vertices, faces)


@numba.njit(cache=True, nogil=True)
def _cluster(vertices, faces, low, pitch, shape):  # type: ignore[no-untyped-def]
    """Means of the vertices in each used cell, and the faces that keep three corners."""
    owner = np.full(shape[0] * shape[1] * shape[2], -1, np.int32)
    mine = np.empty(len(vertices), np.int32)
    total = np.zeros((len(vertices), 3))
    members = np.zeros(len(vertices), np.int64)
    count = 0
    for i in range(len(vertices)):
        cell = 0
        for k in range(3):
            at = int((vertices[i, k] - low[k]) / pitch)
            cell = cell * shape[k] + min(max(at, 0), shape[k] - 1)
        if owner[cell] < 0:
            owner[cell] = count
            count += 1
        mine[i] = owner[cell]
        members[mine[i]] += 1
        for k in range(3):
            total[mine[i], k] += vertices[i, k]
    for c in range(count):
        for k in range(3):
            total[c, k] /= members[c]
    kept = np.empty((len(faces), 3), np.int32)
    left = 0
    for f in range(len(faces)):
        a, b, c = mine[faces[f, 0]], mine[faces[f, 1]], mine[faces[f, 2]]
        if a != b and b != c and c != a:
            kept[left, 0], kept[left, 1], kept[left, 2] = a, b, c
            left += 1
    return total[:count].copy(), kept[:left].copy()
