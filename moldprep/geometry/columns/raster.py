"""All crossings of a mesh with a grid of parallel lines, sorted along each line.

How it stays exact. The vertices are snapped, in the plane across the columns, to a fixed-point grid
of 2^bits steps per pitch. From there on coverage is integer arithmetic: a column belongs to a
triangle when its three edge functions are positive, and a column exactly on an edge is decided as if
it stood an infinitesimal step away, along +u and then +v. Every column is thus a line in general
position, neighbouring triangles tile the grid without gap or overlap, and the signs in each column
of a closed mesh sum to zero, vertices on grid lines included.

A sample lies inside its snapped triangle, so its depth is a mean of the three corners' depths with
positive weights: it never leaves the triangle's own range.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2

import numba
import numpy as np
from numpy.typing import NDArray

from ..mesh import Floats, Ints, Mesh, read_only
from .frame import Frame, Indices

MOST_BITS = 20
"""Sub-pitch bits when the form leaves room for them: a millionth of a pitch."""
LEAST_BITS = 8
"""Fewer sub-pitch bits than this fold thin walls over; the request is refused instead."""
_ROOM_BITS = 30  # |coordinate differences| < 2^31, so that their products fit in 64 bits

_SHORT = 48  # columns of up to so many crossings are sorted by insertion


@dataclass(frozen=True, eq=False)
class Columns:
    """Every crossing of a mesh with the columns of a frame.

    start: (count + 1,) int64; the crossings of flat column c are start[c]:start[c + 1]. depth: (k,)
    float64, local d, ascending in each column. face: (k,) int32. sign: (k,) int8, +1 where a
    traveller along +d enters the solid (n.d < 0), -1 where it leaves; at equal depth, entering comes
    first. bottom, top: least and greatest local d of the whole form, whatever the window.
    """

    frame: Frame
    start: Indices
    depth: Floats
    face: Ints
    sign: NDArray[np.int8]
    bottom: float
    top: float

    def __post_init__(self) -> None:
        for array in (self.start, self.depth, self.face, self.sign):
            read_only(array)

    @property
    def column(self) -> Ints:
        """(k,) int32 flat column of each crossing."""
        return np.repeat(np.arange(self.frame.count, dtype=np.int32), np.diff(self.start))


@dataclass(frozen=True)
class Defects:
    """Columns that no closed, outward, non-overlapping solid would give.

    odd: with an odd number of crossings. unbalanced: whose signs do not sum to zero.
    not_alternating: whose signs do not alternate in, out, in, out (crossings at the same depth may
    stand in any order). An odd or unbalanced column proves a hole or an inconsistent winding; overlapping
    bodies do not alternate; no defect in any column proves nothing about places between columns.
    """

    odd: int
    unbalanced: int
    not_alternating: int


def cast(mesh: Mesh, frame: Frame) -> Columns:
    """All crossings of the mesh with the frame's columns.

    Exact as the module describes; the mesh need not be closed. Triangles that the direction sees
    edge-on (no area after snapping) cross nothing. Raises ValueError when the form is so many
    pitches wide that fewer than `LEAST_BITS` sub-pitch bits are left.
    """
    faces = mesh.faces
    bits = sub_pitch_bits(mesh, frame)
    across, depth = snap(mesh.vertices, frame.rotation, frame.origin, (1 << bits) / frame.pitch)
    column, depths, face, count, bottom, top = _crossings(across, depth, faces, *frame.shape, bits)
    start, depths, face = _by_column(column, depths, face, count, frame.count)
    face, sign = _split_sign(face)
    return Columns(frame, start, depths, face, sign, bottom, top)


def defects(columns: Columns) -> Defects:
    """How many columns are odd, unbalanced, or do not alternate."""
    return Defects(*_count_defects(columns.start, columns.depth, columns.sign))


def projected_area(columns: Columns) -> float:
    """Area of the form's shadow along d, mm2: pitch squared times the columns that meet the form.

    Along an outline n pitches long the errors cancel but for about sqrt(n) pitches squared; an edge
    that runs along the grid may err by half a pitch times its length. Only what the frame's window
    shows is counted.
    """
    met = np.count_nonzero(np.diff(columns.start))
    return float(met) * columns.frame.pitch**2


def exact_face_projection(mesh: Mesh, direction: Floats) -> float:
    """Half the sum of the faces' projected areas |n.d| A, mm2: the shadow of a form convex along d.

    Never less than the shadow's area; the excess is the area that lies behind other parts of the
    form (twin of the gap volume).
    """
    d = np.asarray(direction, dtype=np.float64)
    return float((mesh.areas * np.abs(mesh.normals @ (d / np.linalg.norm(d)))).sum() / 2)


def sub_pitch_bits(mesh: Mesh, frame: Frame) -> int:
    """Sub-pitch bits that keep every edge function within 64 bits."""
    corners = np.stack(np.meshgrid(*mesh.bounds.T), axis=-1).reshape(-1, 3)
    local = frame.local(corners)[:, :2]
    farthest = float(np.abs((local - frame.origin) / frame.pitch).max())
    bits = min(MOST_BITS, _ROOM_BITS - ceil(log2(max(farthest, *frame.shape, 2.0) + 1)))
    if bits < LEAST_BITS:
        raise ValueError(f"a pitch of {frame.pitch:g} mm is too fine for a form {farthest:.0f} pitches wide")
    return bits


@numba.njit(cache=True, nogil=True)
def snap(vertices, rotation, origin, scale):  # type: ignore[no-untyped-def]
    """(n, 2) int64 fixed-point (u, v) from column [0, 0], and (n,) depths."""
    n = len(vertices)
    across = np.empty((n, 2), np.int64)
    depth = np.empty(n)
    for i in range(n):
        x, y, z = vertices[i, 0], vertices[i, 1], vertices[i, 2]
        u = rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z
        v = rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z
        across[i, 0] = np.int64(np.floor((u - origin[0]) * scale + 0.5))
        across[i, 1] = np.int64(np.floor((v - origin[1]) * scale + 0.5))
        depth[i] = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z
    return across, depth


@numba.njit(cache=True, nogil=True)
def edge_functions(across, faces, f, nu, nv, bits):  # type: ignore[no-untyped-def]
    """The columns that may lie in face f, and its edge functions: the heart of the raster.

    Returns (u0, u1, v0, v1): the columns of its bounding box (u1 < u0 when there are none); area2:
    twice its signed area in squared steps; and for the edges opposite corners a, b, c one row each
    of (value at column [0, v0], change per column along u, change per column along v, least value
    that counts as inside). The edge functions are taken positive inside whichever way the face
    looks, their sum is |area2|, and they are the weights of a, b, c at the column.
    """
    one = np.int64(1) << bits
    ia, ib, ic = faces[f, 0], faces[f, 1], faces[f, 2]
    ax, bx, cx = across[ia, 0], across[ib, 0], across[ic, 0]
    none = (np.int64(0), np.int64(0), np.int64(0), np.int64(1))
    # shifts of negative numbers round down
    u0, u1 = max((min(ax, bx, cx) + one - 1) >> bits, 0), min(max(ax, bx, cx) >> bits, nu - 1)
    if u0 > u1:
        return u0, u1, u0, u1, np.int64(0), none, none, none
    ay, by, cy = across[ia, 1], across[ib, 1], across[ic, 1]
    v0, v1 = max((min(ay, by, cy) + one - 1) >> bits, 0), min(max(ay, by, cy) >> bits, nv - 1)
    area2 = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    if v0 > v1 or area2 == 0:
        return u0, u0 - 1, v0, v1, area2, none, none, none
    way = np.int64(1) if area2 > 0 else np.int64(-1)
    y = v0 << bits
    ea = edge_function(bx, by, cx, cy, way, y, bits)
    eb = edge_function(cx, cy, ax, ay, way, y, bits)
    ec = edge_function(ax, ay, bx, by, way, y, bits)
    return u0, u1, v0, v1, area2, ea, eb, ec


@numba.njit(cache=True, nogil=True)
def edge_function(px, py, qx, qy, way, y, bits):  # type: ignore[no-untyped-def]
    """The edge from p to q as (value at (0, y), change along u, change along v, least inside value).

    e(x, y) = dx (y - py) - dy (x - px), times `way` (1, -1) so that the inside is positive. A sample
    on the edge counts when a small step along +u, then +v, would lead inside: dy < 0, or dy = 0 and
    dx > 0. In 64 bits the partial sums may wrap; the value at a column of the bounding box does not.
    """
    dx, dy = (qx - px) * way, (qy - py) * way
    least = np.int64(0) if dy < 0 or (dy == 0 and dx > 0) else np.int64(1)
    return dx * (y - py) + dy * px, -dy << bits, dx << bits, least


@numba.njit(cache=True, nogil=True)
def row_span(lo, hi, row, ea, eb, ec):  # type: ignore[no-untyped-def]
    """The columns lo..hi of row v0 + row that may be inside, trimmed by division when they are many."""
    if hi - lo > 3:
        lo, hi = _trim(lo, hi, ea[0] + row * ea[2] - ea[3], ea[1])
        lo, hi = _trim(lo, hi, eb[0] + row * eb[2] - eb[3], eb[1])
        lo, hi = _trim(lo, hi, ec[0] + row * ec[2] - ec[3], ec[1])
    return lo, hi


@numba.njit(cache=True, nogil=True)
def _trim(lo, hi, value, step):  # type: ignore[no-untyped-def]
    """Columns of lo..hi where value + step * column >= 0, by exact division."""
    if step > 0:
        return max(lo, -(value // step)), hi
    if step < 0:
        return lo, min(hi, value // -step)
    return (lo, hi) if value >= 0 else (lo, lo - 1)


@numba.njit(cache=True, nogil=True)
def depth_at(wa, wb, wc, za, zb, zc):  # type: ignore[no-untyped-def]
    """Depth of the sample with integer weights wa, wb, wc, kept within the corners' range."""
    z = za + (wb * (zb - za) + wc * (zc - za)) / (wa + wb + wc)
    return min(max(z, min(za, zb, zc)), max(za, zb, zc))


@numba.njit(cache=True, nogil=True)
def _crossings(across, depth, faces, nu, nv, bits):  # type: ignore[no-untyped-def]
    """Unsorted crossings: flat column, depth, and face id (complemented where leaving).

    Also their number (the arrays are longer) and the least and greatest depth of the faces' corners.
    """
    capacity = 4 * nu * nv + 1024
    column, depths, face = np.empty(capacity, np.int32), np.empty(capacity), np.empty(capacity, np.int32)
    count = 0
    bottom, top = np.inf, -np.inf
    for f in range(len(faces)):
        za, zb, zc = depth[faces[f, 0]], depth[faces[f, 1]], depth[faces[f, 2]]
        bottom, top = min(bottom, za, zb, zc), max(top, za, zb, zc)
        u0, u1, v0, v1, area2, ea, eb, ec = edge_functions(across, faces, f, nu, nv, bits)
        if u0 > u1:
            continue
        for row in range(v1 - v0 + 1):
            lo, hi = row_span(u0, u1, row, ea, eb, ec)
            for u in range(lo, hi + 1):
                wa = ea[0] + row * ea[2] + u * ea[1]
                wb = eb[0] + row * eb[2] + u * eb[1]
                wc = ec[0] + row * ec[2] + u * ec[1]
                if wa < ea[3] or wb < eb[3] or wc < ec[3]:
                    continue
                if count == capacity:
                    capacity *= 2
                    column = np.concatenate((column, np.empty(count, np.int32)))
                    depths = np.concatenate((depths, np.empty(count)))
                    face = np.concatenate((face, np.empty(count, np.int32)))
                column[count] = u * nv + v0 + row
                depths[count] = depth_at(wa, wb, wc, za, zb, zc)
                face[count] = ~f if area2 > 0 else f
                count += 1
    return column, depths, face, count, bottom, top


@numba.njit(cache=True, nogil=True)
def _by_column(column, depth, face, count, columns):  # type: ignore[no-untyped-def]
    """Counting sort by column, then by depth within each; entering first at equal depth."""
    start = np.zeros(columns + 1, np.int64)
    for i in range(count):
        start[column[i] + 1] += 1
    for c in range(columns):
        start[c + 1] += start[c]
    cursor = start[:-1].copy()
    sorted_depth, sorted_face = np.empty(count), np.empty(count, np.int32)
    for i in range(count):
        at = cursor[column[i]]
        cursor[column[i]] = at + 1
        sorted_depth[at], sorted_face[at] = depth[i], face[i]
    for c in range(columns):
        first, last = start[c], start[c + 1]
        if last - first > _SHORT:
            order = np.argsort(sorted_depth[first:last], kind="mergesort")
            sorted_depth[first:last] = sorted_depth[first:last][order]
            sorted_face[first:last] = sorted_face[first:last][order]
        for i in range(first + 1, last):
            z, f = sorted_depth[i], sorted_face[i]
            j = i - 1
            while j >= first and (sorted_depth[j] > z or (sorted_depth[j] == z and sorted_face[j] < 0 <= f)):
                sorted_depth[j + 1], sorted_face[j + 1] = sorted_depth[j], sorted_face[j]
                j -= 1
            sorted_depth[j + 1], sorted_face[j + 1] = z, f
    return start, sorted_depth, sorted_face


@numba.njit(cache=True, nogil=True)
def _split_sign(face):  # type: ignore[no-untyped-def]
    """Face ids and signs from ids that are complemented where leaving."""
    sign = np.empty(len(face), np.int8)
    plain = np.empty(len(face), np.int32)
    for i in range(len(face)):
        sign[i] = 1 if face[i] >= 0 else -1
        plain[i] = face[i] if face[i] >= 0 else ~face[i]
    return plain, sign


@numba.njit(cache=True, nogil=True)
def _count_defects(start, depth, sign):  # type: ignore[no-untyped-def]
    odd = unbalanced = not_alternating = 0
    for c in range(len(start) - 1):
        first, last = start[c], start[c + 1]
        total = 0
        alternating = True
        for i in range(first, last):
            total += sign[i]
            # the running sum is judged where the depth changes
            if (i + 1 == last or depth[i + 1] > depth[i]) and total != 0 and total != 1:
                alternating = False
        odd += (last - first) % 2
        unbalanced += total != 0
        not_alternating += not alternating
    return odd, unbalanced, not_alternating
