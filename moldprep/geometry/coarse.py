"""A coarse stand-in for a fine mesh, for ranking many directions quickly."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from .mesh import Bools, Mesh

CELLS = 96
"""Cells along the longest side: 40 to 50 thousand faces are left of a million."""
ALONE = 20
"""So many halvings of a cell draw nothing together."""
_HOLD = 1e-3
"""Share of the quadric's trace that holds a vertex to its cell's mean where the surface leaves it free."""


def coarse(mesh: Mesh, *, cells: int = CELLS) -> Mesh:
    """The mesh with all vertices of one cell of a regular grid drawn together to one point.

    The point lies where the planes of the faces round the cell meet as nearly as they can (least
    squares, weighted by area), so rims and creases stay sharp and walls stay where they are; the
    mean of the vertices, the usual choice, rounds every rim and misreads gaps tenfold. It is kept
    within a cell's width of that mean. (After Rossignac and Borrel 1993 and Lindstrom 2000.)

    Drawing vertices together is a simplicial map: a closed surface stays closed, in the sense that
    the signs along every column still sum to zero, whatever folds. Faces that lose a corner are
    dropped. Walls thinner than a cell may vanish, so judge on the fine mesh what the stand-in
    found. A mesh with fewer faces than its surface has cells comes back as it is. Raises ValueError
    for fewer than 2 cells. (Edge collapse keeps shape as well, but takes 1 to 2 s for a million
    faces where this takes 0.03 s, and stalls on fans of slivers.)
    """
    if cells < 2:
        raise ValueError(f"a grid of {cells} cells keeps no shape; give 2 or more")
    if len(mesh.faces) < 2 * cells**2:
        return mesh
    low, high = mesh.bounds
    pitch = float((high - low).max()) / cells
    shape = np.floor((high - low) / pitch).astype(np.int64) + 2
    cluster, means = _clusters(mesh.vertices, low, pitch, shape)
    quadrics, faces = _gather(mesh.vertices, mesh.faces, cluster, means)
    return Mesh(_settled(means, quadrics, np.full(len(means), pitch)), faces)


def coarse_faces(
    mesh: Mesh, *, pitch: float, halvings: NDArray[np.uint8] | None = None
) -> tuple[Mesh, NDArray[np.int64]]:
    """The stand-in of `coarse` in cells of `pitch` mm, and for each of its faces the face it was.

    halvings: (n,) for each vertex how often its cell is halved, so that a place can be kept finer than the
    rest; `ALONE` draws it together with no other. Vertices of different cell sizes are never drawn together.
    """
    low = mesh.bounds[0]
    shape = _cells_across(mesh, pitch)
    if halvings is None or not halvings.any():
        cluster, means = _clusters(mesh.vertices, low, pitch, shape)
        farthest = np.full(len(means), pitch)
    else:
        plain = halvings == 0
        cluster = np.empty(len(mesh.vertices), np.int32)
        cluster[plain], means = _clusters(mesh.vertices[plain], low, pitch, shape)
        names = _fine_cells(mesh.vertices[~plain] - low, halvings[~plain], pitch)
        _, first, owner, members = np.unique(
            names, return_index=True, return_inverse=True, return_counts=True
        )
        cluster[~plain] = owner + len(means)
        totals = (np.bincount(owner, weights=axis) for axis in mesh.vertices[~plain].T)
        width = pitch / 2.0 ** halvings[~plain][first]
        farthest = np.concatenate([np.full(len(means), pitch), width])
        means = np.vstack([means, np.column_stack([total / members for total in totals])])
    quadrics, faces = _gather(mesh.vertices, mesh.faces, cluster, means)
    return Mesh(_settled(means, quadrics, farthest), faces), np.flatnonzero(_apart(mesh.faces, cluster))


def coarse_count(mesh: Mesh, *, pitch: float) -> int:
    """How many faces `coarse_faces` would leave, in a third of its time."""
    cluster, _ = _clusters(mesh.vertices, mesh.bounds[0], pitch, _cells_across(mesh, pitch))
    return int(_apart(mesh.faces, cluster).sum())


def _cells_across(mesh: Mesh, pitch: float) -> NDArray[np.int64]:
    return np.floor(mesh.extents / pitch).astype(np.int64) + 2


def _fine_cells(places: NDArray[np.float64], halvings: NDArray[np.uint8], pitch: float) -> NDArray[np.int64]:
    """(k,) a name for each vertex, the same for those of one cell of one size; below 0 for those alone."""
    alone = halvings == ALONE
    size = pitch / 2.0 ** np.where(alone, 0, halvings).astype(np.float64)
    cell = np.floor(places / size[:, None]).astype(np.int64)
    across = int(cell.max(initial=0)) + 1
    names = ((halvings.astype(np.int64) * across + cell[:, 0]) * across + cell[:, 1]) * across + cell[:, 2]
    return np.where(alone, -1 - np.arange(len(places)), names)


def _apart(faces: NDArray[np.int32], cluster: NDArray[np.int32]) -> Bools:
    """(m,) whether a face's corners lie in three different clusters."""
    a, b, c = cluster[faces.T]
    return np.asarray((a != b) & (b != c) & (c != a))


@numba.njit(cache=True, nogil=True)
def _clusters(vertices, low, pitch, shape):  # type: ignore[no-untyped-def]
    """The cluster of each vertex, one for each cell in use, and the means of the clusters."""
    owner = np.full(shape[0] * shape[1] * shape[2], -1, np.int32)
    cluster = np.empty(len(vertices), np.int32)
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
        cluster[i] = owner[cell]
        members[owner[cell]] += 1
        for k in range(3):
            total[owner[cell], k] += vertices[i, k]
    for c in range(count):
        for k in range(3):
            total[c, k] /= members[c]
    return cluster, total[:count].copy()


@numba.njit(cache=True, nogil=True)
def _gather(vertices, faces, cluster, means):  # type: ignore[no-untyped-def]
    """Each cluster's quadric, and the faces between three different clusters.

    A quadric row holds, about the cluster's mean, the sums over the faces that touch the cluster of
    area times n n^T (xx, xy, xz, yy, yz, zz) and of area times n times the plane's distance.
    """
    quadrics = np.zeros((len(means), 9))
    kept = np.empty((len(faces), 3), np.int32)
    left = 0
    for f in range(len(faces)):
        ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
        a, b, c = cluster[ia], cluster[ib], cluster[ic]
        if a != b and b != c and c != a:
            kept[left, 0], kept[left, 1], kept[left, 2] = a, b, c
            left += 1
        ax, ay, az = vertices[ia, 0], vertices[ia, 1], vertices[ia, 2]
        ux, uy, uz = vertices[ib, 0] - ax, vertices[ib, 1] - ay, vertices[ib, 2] - az
        vx, vy, vz = vertices[ic, 0] - ax, vertices[ic, 1] - ay, vertices[ic, 2] - az
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(x * x + y * y + z * z)
        if length == 0:
            continue
        scale = 1 / np.sqrt(length)  # then n n^T weighs as twice the area
        x, y, z = x * scale, y * scale, z * scale
        for k in range(3):
            m = cluster[faces[f, k]]
            if (k > 0 and m == a) or (k > 1 and m == b):
                continue
            away = x * (ax - means[m, 0]) + y * (ay - means[m, 1]) + z * (az - means[m, 2])
            quadrics[m, 0] += x * x
            quadrics[m, 1] += x * y
            quadrics[m, 2] += x * z
            quadrics[m, 3] += y * y
            quadrics[m, 4] += y * z
            quadrics[m, 5] += z * z
            quadrics[m, 6] += x * away
            quadrics[m, 7] += y * away
            quadrics[m, 8] += z * away
    return quadrics, kept[:left].copy()


@numba.njit(cache=True, nogil=True)
def _settled(means, quadrics, farthest):  # type: ignore[no-untyped-def]
    """The points nearest to all planes of each quadric, at most `farthest` (one for each) from the means."""
    points = means.copy()
    for m in range(len(points)):
        xx, xy, xz, yy, yz, zz, x, y, z = quadrics[m]
        hold = _HOLD * (xx + yy + zz)
        xx, yy, zz = xx + hold, yy + hold, zz + hold
        # Cramer's rule for the symmetric three equations
        across, up, down = yy * zz - yz * yz, xy * zz - xz * yz, xy * yz - xz * yy
        det = xx * across - xy * up + xz * down
        if not det > 0:
            continue
        dx = (x * across - xy * (y * zz - z * yz) + xz * (y * yz - z * yy)) / det
        dy = (xx * (y * zz - z * yz) - x * up + xz * (xy * z - xz * y)) / det
        dz = (xx * (yy * z - yz * y) - xy * (xy * z - xz * y) + x * down) / det
        length = np.sqrt(dx * dx + dy * dy + dz * dz)
        short = min(1.0, farthest[m] / length) if length > 0 else 0.0
        points[m, 0] += dx * short
        points[m, 1] += dy * short
        points[m, 2] += dz * short
    return points
