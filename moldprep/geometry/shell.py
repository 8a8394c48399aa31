"""How much of a solid lies near its surface."""

from __future__ import annotations

from math import pi

import numba
import numpy as np

from .mesh import Mesh

SHARPEST_DEG = 160.0
"""An edge turns at most so far; beyond it the two faces bound no solid a shell thick."""


def shell_volume(mesh: Mesh, thickness: float) -> float:
    """Volume of a closed solid that lies within `thickness` of its surface, mm3.

    V = A t + t^2 (sum over concave edges of L a/2 - sum over convex edges of L tan(a/2)) + (2 pi X / 3) t^3,
    with A the area, L an edge's length, a the angle by which the surface turns at it, X the Euler
    characteristic. (Steiner's formula for a parallel surface inside: where the surface is smooth, tan(a/2)
    is a/2 and the sums are the integral of mean curvature; at a sharp convex edge two slabs share a kite,
    at a concave one a sector is added.) What is left out is of the order of t^3 at each sharp corner,
    which is nothing for a form much larger than t. Where the solid is thinner than 2 t, or its surface bends
    more tightly than t, it says too much; never more than the whole. Holds for closed meshes. Raises
    ValueError for a negative thickness.
    """
    if not thickness >= 0:
        raise ValueError(f"a shell of {thickness:g} mm has no volume")
    bend = _bend(mesh.vertices, mesh.faces, mesh.normals, np.radians(SHARPEST_DEG))
    used = np.zeros(len(mesh.vertices), bool)
    used[mesh.faces] = True
    corners = np.count_nonzero(used) - len(mesh.faces) / 2  # vertices - edges + faces
    near = mesh.area * thickness + bend * thickness**2 + 2 * pi / 3 * corners * thickness**3
    return float(min(max(near, 0.0), mesh.volume))


@numba.njit(cache=True, nogil=True)
def _bend(vertices, faces, normals, sharpest):  # type: ignore[no-untyped-def]
    """Sum of L a/2 over concave edges less that of L tan(a/2) over convex ones, for edges of two faces.

    Edges are bucketed by their lower vertex, where few others share the bucket.
    """
    start = np.zeros(len(vertices) + 1, np.int64)
    for f in range(len(faces)):
        for e in range(3):
            start[min(faces[f, e], faces[f, (e + 1) % 3]) + 1] += 1
    for v in range(len(vertices)):
        start[v + 1] += start[v]
    cursor = start[:-1].copy()
    upper, corner = np.empty(start[-1], np.int32), np.empty(start[-1], np.int64)
    total = 0.0
    for f in range(len(faces)):
        for e in range(3):
            p, q = faces[f, e], faces[f, (e + 1) % 3]
            low, high = min(p, q), max(p, q)
            mate = -1
            for i in range(start[low], cursor[low]):
                if upper[i] == high:
                    mate = i
            if mate < 0:
                upper[cursor[low]], corner[cursor[low]] = high, 3 * f + e
                cursor[low] += 1
                continue
            upper[mate] = -1  # of more than two faces the next ones pair among themselves
            other = corner[mate] // 3
            tip = vertices[faces[other, (corner[mate] % 3 + 2) % 3]]
            a, b = normals[f], normals[other]
            sine = np.sqrt(
                (a[1] * b[2] - a[2] * b[1]) ** 2
                + (a[2] * b[0] - a[0] * b[2]) ** 2
                + (a[0] * b[1] - a[1] * b[0]) ** 2
            )
            turn = np.arctan2(sine, a[0] * b[0] + a[1] * b[1] + a[2] * b[2])
            side, length = 0.0, 0.0
            for k in range(3):
                side += (tip[k] - vertices[p, k]) * a[k]
                length += (vertices[p, k] - vertices[q, k]) ** 2
            length = np.sqrt(length)
            total += length * turn / 2 if side > 0 else -length * np.tan(min(turn, sharpest) / 2)
    return total
