"""How far one surface lies from another: exact distances from points to the nearest triangle.

The triangles are sorted along a space-filling curve and boxed by twos, and so are the boxes: a balanced
tree without pointers. A point walks it nearest box first, so what lies farther than the best triangle
found is never looked at.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from .mesh import Floats, Mesh, read_only

_LEAF = 2
"""Triangles in a box of the last level."""
_BITS = 16
"""Steps along each axis of the curve, as a power of two."""
_SHARE = 1 / 100
"""Samples on large faces lie no farther apart than this share of the form's largest dimension."""
_MOST_CUTS = 256
"""Parts into which the side of a face is cut at the most."""
_WORKERS = 2


@dataclass(frozen=True, eq=False)
class Surface:
    """A mesh's triangles, ready to be asked for distances.

    corners: (m, 3, 3) triangles with an area, along the curve. boxes: (2 p, 6) least and greatest
    corner; box i holds boxes 2 i and 2 i + 1, and from p on triangles.
    """

    corners: Floats = field(repr=False)
    boxes: Floats = field(repr=False)


def surface_of(mesh: Mesh) -> Surface:
    """The surface of a mesh. Raises ValueError when no face has an area."""
    corners = mesh.vertices[mesh.faces[mesh.areas > 0]]
    if not len(corners):
        raise ValueError("a mesh without area has no surface to measure to")
    corners = np.ascontiguousarray(corners[np.argsort(_curve(corners.mean(axis=1)), kind="stable")])
    leaves = -(-len(corners) // _LEAF)
    boxes = _boxed(corners, 1 << int(np.ceil(np.log2(leaves))))
    return Surface(np.asarray(read_only(corners)), np.asarray(read_only(boxes)))


def distances(points: ArrayLike, surface: Surface) -> Floats:
    """(n,) distance of (n, 3) points from the surface, mm; never negative, exact to rounding."""
    asked = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
    found = np.empty(len(asked))
    shares = np.linspace(0, len(asked), 4 * _WORKERS + 1).astype(int)

    def ask(first: int, last: int) -> None:
        _nearest(asked, surface.corners, surface.boxes, first, last, found)

    with ThreadPoolExecutor(_WORKERS) as pool:
        list(pool.map(ask, shares[:-1], shares[1:]))
    return found


def vertex_distances(mesh: Mesh, other: Mesh, surface: Surface) -> Floats:
    """(n,) distance of each vertex of `mesh` from the surface of `other`, mm.

    Where both have a vertex in the very same place it is 0 without being asked: most of them, where a
    form was changed in one place.
    """
    kept = other.vertices[np.unique(other.faces[other.areas > 0])]
    names, asked = _named(kept), _named(mesh.vertices)
    order = np.argsort(names, kind="stable")
    found = order[np.minimum(np.searchsorted(names[order], asked), len(order) - 1)]
    away = (kept[found] != mesh.vertices).any(axis=1)
    result = np.zeros(len(asked))
    result[away] = distances(mesh.vertices[away], surface)
    return result


def greatest_distance(mesh: Mesh, other: Mesh | Surface) -> float:
    """Greatest distance of any place of `mesh` from `other`, mm (one-sided Hausdorff distance).

    Read at every vertex that faces use and, on faces with long sides, at further places (see
    `samples`). Distance is 1-Lipschitz, so what lies between samples exceeds the reading by less than
    their spacing; where the nearest triangle stays the same its greatest value is at a vertex.
    """
    surface = other if isinstance(other, Surface) else surface_of(other)
    asked = np.concatenate([mesh.vertices[np.unique(mesh.faces)], samples(mesh)])
    return float(distances(asked, surface).max())


def samples(mesh: Mesh) -> Floats:
    """(n, 3) places on the faces whose sides are long for the mesh's size, a grid on each; none on a fine mesh."""
    spacing = float(mesh.extents.max()) * _SHARE
    corner = mesh.vertices[mesh.faces]
    side = np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)
    first = np.argmax(side, axis=1)
    longest = side.max(axis=1)
    height = np.divide(2 * mesh.areas, longest, out=np.zeros_like(longest), where=longest > 0)
    along = np.minimum(np.ceil(longest / spacing), _MOST_CUTS).astype(int)
    rows = np.minimum(np.ceil(height / spacing), _MOST_CUTS).astype(int)
    found = [np.zeros((0, 3))]
    large = np.flatnonzero(along > 1)
    for cuts, row in np.unique(np.column_stack([along, rows])[large], axis=0):
        chosen = large[(along[large] == cuts) & (rows[large] == row)]
        a, b, c = (corner[chosen, (first[chosen] + k) % 3][:, None] for k in range(3))
        grid = np.meshgrid(np.linspace(0, 1, cuts + 1), np.linspace(0, 1, row + 1)[:-1])
        u, v = (part.reshape(1, -1, 1) for part in grid)
        found.append(((1 - v) * (a + u * (b - a)) + v * c).reshape(-1, 3))
    return np.concatenate(found)


def _named(points: Floats) -> NDArray[np.uint64]:
    """(n,) a number for each place, the same for the same place; rarely for others too."""
    bits = (points + 0.0).view(np.uint64)
    mixed = bits * np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)
    return np.asarray(mixed[:, 0] ^ (mixed[:, 1] >> np.uint64(7)) ^ (mixed[:, 2] << np.uint64(9)))


def _curve(points: Floats) -> NDArray[np.int64]:
    """(n,) place of each point along the Z-order curve through the box of them all."""
    low, size = points.min(axis=0), float(np.ptp(points, axis=0).max()) or 1.0
    cell = ((points - low) / size * ((1 << _BITS) - 1)).astype(np.int64)
    code = np.zeros(len(points), np.int64)
    for bit in range(_BITS):
        for axis in range(3):
            code |= ((cell[:, axis] >> bit) & 1) << (3 * bit + axis)
    return code


@numba.njit(cache=True, nogil=True)
def _boxed(corners, leaves):  # type: ignore[no-untyped-def]
    """(2 leaves, 6) boxes; those without triangles are inside out and infinitely far."""
    boxes = np.empty((2 * leaves, 6))
    boxes[:, :3], boxes[:, 3:] = np.inf, -np.inf
    for f in range(len(corners)):
        box = boxes[leaves + f // _LEAF]
        for k in range(3):
            for axis in range(3):
                box[axis] = min(box[axis], corners[f, k, axis])
                box[3 + axis] = max(box[3 + axis], corners[f, k, axis])
    for i in range(leaves - 1, 0, -1):
        for axis in range(3):
            boxes[i, axis] = min(boxes[2 * i, axis], boxes[2 * i + 1, axis])
            boxes[i, 3 + axis] = max(boxes[2 * i, 3 + axis], boxes[2 * i + 1, 3 + axis])
    return boxes


@numba.njit(cache=True, nogil=True)
def _nearest(points, corners, boxes, first, last, found):  # type: ignore[no-untyped-def]
    """Fill found[first:last] with the points' distances."""
    leaves = len(boxes) // 2
    stack, far = np.empty(64, np.int64), np.empty(64)
    for q in range(first, last):
        x, y, z = points[q, 0], points[q, 1], points[q, 2]
        best = np.inf
        stack[0], far[0], depth = 1, 0.0, 1
        while depth:
            depth -= 1
            if far[depth] >= best:
                continue
            i = stack[depth]
            if i >= leaves:
                begin = (i - leaves) * _LEAF
                for f in range(begin, min(begin + _LEAF, len(corners))):
                    best = min(best, _to_triangle(x, y, z, corners, f))
                continue
            left, right = _to_box(x, y, z, boxes, 2 * i), _to_box(x, y, z, boxes, 2 * i + 1)
            near, off = (2 * i, left) if left < right else (2 * i + 1, right)
            # the nearer one is pushed last and popped first
            stack[depth], far[depth] = 4 * i + 1 - near, max(left, right)
            stack[depth + 1], far[depth + 1] = near, off
            depth += 2
        found[q] = np.sqrt(best)


# views of rows would be counted references, which two threads fight over: plain numbers go down instead


@numba.njit(cache=True, nogil=True, inline="always")
def _to_box(x, y, z, boxes, i):  # type: ignore[no-untyped-def]
    """Squared distance of a point from box i."""
    dx = max(boxes[i, 0] - x, x - boxes[i, 3], 0.0)
    dy = max(boxes[i, 1] - y, y - boxes[i, 4], 0.0)
    dz = max(boxes[i, 2] - z, z - boxes[i, 5], 0.0)
    return dx * dx + dy * dy + dz * dz


@numba.njit(cache=True, nogil=True)
def _to_triangle(px, py, pz, corners, f):  # type: ignore[no-untyped-def]
    """Squared distance of a point from triangle f: from its plane where the foot of the perpendicular lies
    within, otherwise from the nearest side."""
    ax, ay, az = corners[f, 0, 0], corners[f, 0, 1], corners[f, 0, 2]
    ux, uy, uz = corners[f, 1, 0] - ax, corners[f, 1, 1] - ay, corners[f, 1, 2] - az
    vx, vy, vz = corners[f, 2, 0] - ax, corners[f, 2, 1] - ay, corners[f, 2, 2] - az
    x, y, z = px - ax, py - ay, pz - az
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    square = nx * nx + ny * ny + nz * nz
    # barycentric shares of the second and third corner, times the square
    second = nx * (y * vz - z * vy) + ny * (z * vx - x * vz) + nz * (x * vy - y * vx)
    third = nx * (uy * z - uz * y) + ny * (uz * x - ux * z) + nz * (ux * y - uy * x)
    if second >= 0 and third >= 0 and second + third <= square:
        off = nx * x + ny * y + nz * z
        return off * off / square
    return min(
        _to_side(x, y, z, ux, uy, uz),
        _to_side(x, y, z, vx, vy, vz),
        _to_side(x - ux, y - uy, z - uz, vx - ux, vy - uy, vz - uz),
    )


@numba.njit(cache=True, nogil=True, inline="always")
def _to_side(x, y, z, ux, uy, uz):  # type: ignore[no-untyped-def]
    """Squared distance of a point from the segment from the origin to u."""
    square = ux * ux + uy * uy + uz * uz
    t = min(1.0, max(0.0, (x * ux + y * uy + z * uz) / square)) if square > 0 else 0.0
    x, y, z = x - t * ux, y - t * uy, z - t * uz
    return x * x + y * y + z * z
