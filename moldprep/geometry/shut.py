"""Faces of a form that are shut in: its inside, and the walls of holes that lead out of it."""

from __future__ import annotations

import numba
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from .columns import cast, frame_for, solid_intervals
from .mesh import Bools, Mesh


def joined(faces: NDArray[np.integer]) -> NDArray[np.int32]:
    """(m,) number of the patch each face belongs to; faces that share a vertex belong together."""
    used, corner = np.unique(faces, return_inverse=True)
    corner = corner.reshape(-1, 3)
    ends = np.concatenate([corner[:, :2], corner[:, 1:]])
    size = len(used)
    link = coo_matrix((np.ones(len(ends), bool), (ends[:, 0], ends[:, 1])), shape=(size, size))
    _, label = connected_components(link, directed=False)
    return np.asarray(label[corner[:, 0]])


def outermost(mesh: Mesh, faces: NDArray[np.integer]) -> int:
    """Index of a face, among faces (m, 3), that is surely outside: it has the vertex farthest along x."""
    return int(np.argmax(mesh.vertices[:, 0][faces].max(axis=1)))


def joined_by_edges(faces: NDArray[np.integer]) -> NDArray[np.int32]:
    """(m,) number of the patch each face belongs to; faces that share an edge belong together."""
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    _, edge = np.unique(
        ends[:, 0].astype(np.int64) * (int(faces.max()) + 1) + ends[:, 1], return_inverse=True
    )
    count = len(faces)
    size = count + int(edge.max()) + 1
    link = coo_matrix(
        (np.ones(3 * count, bool), (np.tile(np.arange(count), 3), count + edge)), shape=(size, size)
    )
    return np.asarray(connected_components(link, directed=False)[1][:count])


def shut_in(mesh: Mesh, form: Mesh, lid: shapely.Polygon, height: float, *, lines: int) -> Bools:
    """(m,) which faces of a part of a closed form are not its outer skin, when a lid covers z = height.

    A face is open when a straight line from it along its normal leaves the form; the outer skin is the open
    faces that hang together with the outermost one. The walls of a hole look at each other, so the skin ends
    where the hole begins. Lines are walked on a grid of `lines` cells across the form.
    """
    pitch = float(form.extents.max()) / lines
    frame = frame_for(form, (0.0, 0.0, 1.0), pitch=pitch)
    solid = solid_intervals(cast(form, frame))
    levels = int(np.ceil((solid.top - solid.bottom) / pitch)) + 1
    first = np.clip(np.ceil((solid.low - solid.bottom) / pitch - 0.5), 0, levels).astype(int)
    last = np.clip(np.floor((solid.high - solid.bottom) / pitch - 0.5) + 1, 0, levels).astype(int)
    change = np.zeros((levels + 1, frame.count), np.int8)
    np.add.at(change, (first, solid.column), 1)
    np.add.at(change, (np.maximum(first, last), solid.column), -1)
    taken = (np.cumsum(change, axis=0)[:levels] > 0).reshape(levels, *frame.shape)
    centres = frame.centres()
    taken[round((height - solid.bottom) / pitch)] |= shapely.contains_xy(
        lid, centres[:, 0], centres[:, 1]
    ).reshape(frame.shape)
    begin = mesh.centroids + 1.5 * pitch * mesh.normals
    cells = (frame.local(begin) - [*frame.origin, solid.bottom + pitch / 2]) / pitch
    opens = _walked_out(taken, cells[:, [2, 0, 1]], mesh.normals[:, [2, 0, 1]])
    skin = np.zeros(len(mesh.faces), bool)
    index = np.flatnonzero(opens)
    patch = joined(mesh.faces[index])
    skin[index] = patch == patch[outermost(mesh, mesh.faces[index])]
    return ~skin


@numba.njit(cache=True, nogil=True)
def _walked_out(taken, begin, along):  # type: ignore[no-untyped-def]
    """Whether a walk from each place, in cells, leaves the grid before it meets a taken cell."""
    free = np.ones(len(begin), np.bool_)
    levels, rows, cols = taken.shape
    for k in range(len(begin)):
        a, b, c = begin[k, 0], begin[k, 1], begin[k, 2]
        if along[k, 0] == 0 and along[k, 1] == 0 and along[k, 2] == 0:  # a face without area
            free[k] = False
            continue
        while True:
            i, j, m = int(np.floor(a + 0.5)), int(np.floor(b + 0.5)), int(np.floor(c + 0.5))
            if i < 0 or j < 0 or m < 0 or i >= levels or j >= rows or m >= cols:
                break
            if taken[i, j, m]:
                free[k] = False
                break
            a, b, c = a + 0.5 * along[k, 0], b + 0.5 * along[k, 1], c + 0.5 * along[k, 2]
    return free
