"""For every face: is its plaster free to leave along +d, and along -d?

A column reads what it meets, and most faces of a fine mesh, like every upright wall, it does not
meet. So each face is asked at its own centroid, moved out along the face normal by a tolerance,
against the exact triangles over it, which a grid of bins across d hands out. Coordinates are snapped
to fixed point and samples on an edge are decided as in `raster`, so no ray slips through between two
triangles.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from math import isqrt

import numba
import numpy as np
from numpy.typing import ArrayLike

from ..mesh import Bools, Mesh
from .frame import extent, rotation_for
from .raster import snap

_STEPS = 1 << 28
"""Fixed-point steps across the form: a 200 mm form is snapped to a millionth of a millimetre."""
_MOST_BINS = 1024  # along each side; about four faces a bin, where they lie one deep


def face_blocked(mesh: Mesh, direction: ArrayLike, *, offset: float, workers: int = 1) -> Bools:
    """(m, 2) whether the ray from each face along +d, and along -d, meets the form.

    The ray starts at the face's centroid, moved `offset` mm outward along the face normal. `offset`
    is therefore the lateral overhang that is forgiven: an upright wall, its own facets and its
    grazing neighbours do not block it, a lip that overhangs it by more than `offset` does, and a gap
    narrower than `offset` reads blocked. A face that looks away from d is blocked along d by the
    form itself; a face blocked both ways is locked for the pair whatever the parting. Faces without
    area read free. `workers` threads share the faces. Raises ValueError for an offset that is not positive.
    """
    if not offset > 0:
        raise ValueError(f"the offset must be a positive length in mm, not {offset}")
    blocked = np.zeros((len(mesh.faces), 2), dtype=bool)
    if not len(mesh.faces):
        return blocked
    rotation = rotation_for(direction)
    low, high = extent(mesh.vertices, mesh.faces, rotation)
    corner = low - 2 * offset
    scale = _STEPS / (float((high - low).max()) + 4 * offset)
    across, depth = snap(mesh.vertices, rotation, corner, scale)
    starts, heights = snap(mesh.centroids + offset * mesh.normals, rotation, corner, scale)
    side = int(np.clip(isqrt(len(mesh.faces)) // 2, 1, _MOST_BINS))
    start, entry, box = _bin(across, mesh.faces, side, _STEPS // side + 1)

    def ask(first: int, last: int) -> None:
        bins = (start, entry, box, side, _STEPS // side + 1)
        _blocked(across, depth, mesh.faces, starts, heights, *bins, first, last, blocked)

    shares = np.linspace(0, len(blocked), 4 * max(workers, 1) + 1).astype(int)
    with ThreadPoolExecutor(max(workers, 1)) as pool:
        list(pool.map(ask, shares[:-1], shares[1:]))
    blocked[mesh.areas == 0] = False
    return blocked


@numba.njit(cache=True, nogil=True)
def _bins_of_row(x, y, low, high, side, width):  # type: ignore[no-untyped-def]
    """First and last bin that a triangle touches in the row of bins low <= y <= high."""
    least, most = np.inf, -np.inf
    for k in range(3):
        x0, y0 = float(x[k]), float(y[k])
        x1, y1 = float(x[(k + 1) % 3]), float(y[(k + 1) % 3])
        if max(y0, y1) < low or min(y0, y1) > high:
            continue
        t0, t1 = 0.0, 1.0
        if y0 != y1:
            ta, tb = (low - y0) / (y1 - y0), (high - y0) / (y1 - y0)
            t0, t1 = max(0.0, min(ta, tb)), min(1.0, max(ta, tb))
        xa, xb = x0 + t0 * (x1 - x0), x0 + t1 * (x1 - x0)
        least, most = min(least, xa, xb), max(most, xa, xb)
    # one step of slack for rounding
    return max(0, int(np.floor((least - 1) / width))), min(side - 1, int(np.floor((most + 1) / width)))


@numba.njit(cache=True, nogil=True)
def _bin(across, faces, side, width):  # type: ignore[no-untyped-def]
    """CSR lists of the faces that touch each bin, with each entry's bounding box beside it.

    The boxes lie in the order in which they are asked, which spares most look-ups of corners where
    a wall puts hundreds of faces over one bin. Faces seen edge-on are in no bin.
    """
    start = np.zeros(side * side + 1, np.int64)
    entry, box = np.empty(0, np.int32), np.empty((0, 4), np.int32)
    x, y = np.empty(3, np.int64), np.empty(3, np.int64)
    for fill in range(2):
        if fill:
            for b in range(side * side):
                start[b + 1] += start[b]
            entry, box = np.empty(start[-1], np.int32), np.empty((start[-1], 4), np.int32)
        # while filling, start[b] counts down from the end of bin b to its beginning
        for f in range(len(faces)):
            for k in range(3):
                x[k], y[k] = across[faces[f, k], 0], across[faces[f, k], 1]
            if (x[1] - x[0]) * (y[2] - y[0]) == (y[1] - y[0]) * (x[2] - x[0]):
                continue
            left, right = min(x[0], x[1], x[2]) // width, max(x[0], x[1], x[2]) // width
            for row in range(min(y[0], y[1], y[2]) // width, max(y[0], y[1], y[2]) // width + 1):
                first, last = left, right
                if right - left > 1:  # a small face may as well be in every bin of its box
                    first, last = _bins_of_row(x, y, row * width - 1, (row + 1) * width + 1, side, width)
                for b in range(row * side + first, row * side + last + 1):
                    if fill:
                        start[b] -= 1
                        entry[start[b]] = f
                        box[start[b], 0], box[start[b], 1] = min(x[0], x[1], x[2]), max(x[0], x[1], x[2])
                        box[start[b], 2], box[start[b], 3] = min(y[0], y[1], y[2]), max(y[0], y[1], y[2])
                    else:
                        start[b] += 1
    return start, entry, box


@numba.njit(cache=True, nogil=True)
def _blocked(across, depth, faces, starts, heights, start, entry, box, side, width, first, last, blocked):  # type: ignore[no-untyped-def]
    """Fill rows first:last of `blocked`: does any triangle over the start lie above it, below it?"""
    for q in range(first, last):
        px, py, height = starts[q, 0], starts[q, 1], heights[q]
        b = (py // width) * side + px // width
        above = below = False
        for i in range(start[b], start[b + 1]):
            if px < box[i, 0] or px > box[i, 1] or py < box[i, 2] or py > box[i, 3]:
                continue
            f = entry[i]
            ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
            za, zb, zc = depth[ia], depth[ib], depth[ic]
            if (above or max(za, zb, zc) <= height) and (below or min(za, zb, zc) >= height):
                continue
            ax, ay, bx, by = across[ia, 0], across[ia, 1], across[ib, 0], across[ib, 1]
            cx, cy = across[ic, 0], across[ic, 1]
            area2 = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
            if area2 < 0:
                bx, cx, by, cy, zb, zc = cx, bx, cy, by, zc, zb
                area2 = -area2
            wa = (cx - bx) * (py - by) - (cy - by) * (px - bx)
            if wa < (0 if cy < by or (cy == by and cx > bx) else 1):
                continue
            wb = (ax - cx) * (py - cy) - (ay - cy) * (px - cx)
            if wb < (0 if ay < cy or (ay == cy and ax > cx) else 1):
                continue
            wc = (bx - ax) * (py - ay) - (by - ay) * (px - ax)
            if wc < (0 if by < ay or (by == ay and bx > ax) else 1):
                continue
            z = za + (wb * (zb - za) + wc * (zc - za)) / area2
            if z > height:
                above = True
            elif z < height:
                below = True
            if above and below:
                break
        blocked[q, 0], blocked[q, 1] = above, below
