"""Fine meshes thinned out for a screen, with what each face was."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from .coarse import ALONE, coarse_count, coarse_faces
from .mesh import Bools, Mesh

HELD_SHARE = 0.5
"""A place that keeps less than this share of its area is kept finer."""
_ROUNDS = 4
"""Corrections of the cells' size to meet the number of faces."""
_NEAR = 0.05
"""A number of faces within this share of the wanted one is near enough."""
_HALVINGS = (2, 4, 6, ALONE)
"""How a place that was lost is tried again."""


def thinned(mesh: Mesh, *, faces: int, held: Bools | None = None) -> tuple[Mesh, NDArray[np.int64]]:
    """A stand-in of about so many faces, and for each of its faces the face of the mesh that it was.

    held: (m,) marks faces whose places must not be lost. A place (marked faces that hang together by a
    corner) which keeps less than `HELD_SHARE` of its area is drawn together in cells of a quarter, a
    sixteenth, a sixty-fourth of the size, and at last not at all: every marked place of any area is seen,
    however small, at the price of some more faces. A mesh of no more faces than wanted comes back as it is.
    """
    if len(mesh.faces) <= faces:
        return mesh, np.arange(len(mesh.faces))
    pitch = _pitch(mesh, faces)
    shown, origin = coarse_faces(mesh, pitch=pitch)
    if held is None or not held.any():
        return shown, origin
    marked, place, area = _places(mesh, held)
    halvings = np.zeros(len(mesh.vertices), np.uint8)
    for halved in _HALVINGS:
        of_face = np.full(len(mesh.faces), -1)
        of_face[marked] = place
        of_shown = of_face[origin]
        left = np.bincount(of_shown[of_shown >= 0], weights=shown.areas[of_shown >= 0], minlength=len(area))
        lost = (left < HELD_SHARE * area) & (area > 0)
        if not lost.any():
            break
        halvings[mesh.faces[marked[lost[place]]]] = halved
        shown, origin = coarse_faces(mesh, pitch=pitch, halvings=halvings)
    return shown, origin


def _pitch(mesh: Mesh, faces: int) -> float:
    """The cells' size at which about so many faces are left."""
    # a plane askew to the grid passes through one and a half cells for each cell of its area,
    # and has two faces for each vertex
    pitch = float(np.sqrt(3 * mesh.area / faces))
    for _ in range(_ROUNDS):
        share = coarse_count(mesh, pitch=pitch) / faces
        if abs(share - 1) <= _NEAR:
            break
        pitch *= float(np.clip(np.sqrt(share), 0.5, 2.0))
    return pitch


def _places(mesh: Mesh, held: Bools) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """The marked faces, the place of each, and the area of each place in mm2."""
    marked = np.flatnonzero(held)
    corners = mesh.faces[marked]
    names, at = np.unique(corners, return_inverse=True)
    at = at.reshape(-1, 3)
    tied = np.vstack([at[:, :2], at[:, 1:]])
    joined = coo_matrix((np.ones(len(tied), bool), tied.T), shape=(len(names), len(names)))
    count, owner = connected_components(joined, directed=False)
    place = owner[at[:, 0]].astype(np.int64)
    area = np.bincount(place, weights=mesh.areas[marked], minlength=count).astype(np.float64)
    return marked, place, area
