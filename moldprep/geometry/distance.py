"""How far it is, at each point of a grid, from inside a form to some of its faces.

The nearest face is found, not the distance alone: faces are entered into the cells beside them, and
sweeps through the grid in its eight diagonal directions hand each cell's nearest face on to its
neighbours, which measure their own exact distance to it. One such field serves every offset of the
form: the body at `level` inward is where the field is at least that.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, floor

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.interpolate import PchipInterpolator

from .columns import Frame, cast, rotation_for, solid_intervals
from .mesh import Bools, Floats, Mesh, read_only

Values = NDArray[np.float32]

BAND = 1.8
"""Cells from a face within which it is entered at once: more than a cell's diagonal, so that every cell
that a face crosses has all its corners measured."""
MARGIN = 2
"""Cells of grid beside and beneath the form."""


@dataclass(frozen=True, eq=False)
class DistanceField:
    """Distance to some faces of a form on a grid, mm: positive inside the form, negative outside.

    origin: (3,) place of values[0, 0, 0]. values: (nx, ny, nz) float32. Outside, beyond the cells next to
    the faces, it is only known to be less than zero.
    """

    origin: Floats
    pitch: float
    values: Values = field(repr=False)

    def __post_init__(self) -> None:
        read_only(self.origin)
        read_only(self.values)

    @property
    def heights(self) -> Floats:
        """(nz,) height of each layer."""
        return np.asarray(self.origin[2] + self.pitch * np.arange(self.values.shape[2]))

    def place(self, index: ArrayLike) -> Floats:
        """(..., 3) place of a grid index."""
        return np.asarray(self.origin + self.pitch * np.asarray(index, dtype=np.float64))

    def at(self, points: ArrayLike) -> Floats:
        """(...,) the field at (..., 3) points, linear between the grid's."""
        index = (np.asarray(points, dtype=np.float64) - self.origin) / self.pitch
        outside = -BAND * self.pitch
        found = ndimage.map_coordinates(
            self.values, np.moveaxis(index, -1, 0), order=1, cval=outside, output=np.float64
        )
        return np.asarray(found)


def distance_field(mesh: Mesh, towards: Bools, *, pitch: float, layer: float) -> DistanceField:
    """Distance to the faces `towards` (m,) of a closed mesh, on a grid of which one layer lies at height `layer`.

    No layer lies above the mesh. Exact to single precision but for rare cells whose nearest face none of
    their neighbours shares; those read a little too much.
    """
    low, high = mesh.bounds
    count = [ceil(float(size) / pitch) + 2 * MARGIN for size in (high - low)[:2]]
    below = ceil(float(layer - low[2]) / pitch) + MARGIN
    above = floor(float(high[2] - layer) / pitch + 1e-9)
    across = (low + high)[:2] / 2 - (np.array(count) - 1) / 2 * pitch
    origin = np.array([*across, layer - below * pitch])
    frame = Frame(rotation_for((0.0, 0.0, 1.0)), origin[:2], pitch, (count[0], count[1]))
    solid = solid_intervals(cast(mesh, frame))
    shape = (count[0], count[1], below + above + 1)
    inside = _inside(solid.start, solid.low, solid.high, float(origin[2]), pitch, shape)
    faces = mesh.faces[towards]
    triangles = _packed((mesh.vertices - origin) / pitch, faces)
    distance, nearest = _enter(triangles, shape, BAND)
    beside, start, star = _neighbours(faces, len(mesh.vertices))
    _sweep(triangles, inside, distance, nearest)
    _walk(triangles, faces, beside, start, star, inside, distance, nearest)
    distance[~inside] *= -1
    return DistanceField(origin, pitch, np.multiply(distance, np.float32(pitch)))


def layer_volumes(distances: DistanceField, level: float, *, kept: Bools | None = None) -> Floats:
    """(nz - 1,) volume of {field >= level} between each layer and the next, mm3.

    Between grid points the field counts as linear in six tetrahedra a cell, and its volume there is exact.
    kept: (nx, ny, nz) grid points that may count, all when left out.
    """
    values = distances.values
    if kept is not None:
        values = np.where(kept | (values < level), values, np.float32(level - 1e-3 * distances.pitch))
    return np.asarray(_layers(values, np.float32(level)) * distances.pitch**3)


def volume_below(distances: DistanceField, volumes: Floats, height: ArrayLike) -> Floats:
    """(...,) volume beneath heights, from that of each layer (`layer_volumes`), mm3; monotone between layers."""
    heights = distances.heights
    total = np.concatenate([[0.0], np.cumsum(volumes)])
    return np.asarray(PchipInterpolator(heights, total)(np.clip(height, heights[0], heights[-1])))


def joined_to(distances: DistanceField, level: float, seeds: Bools) -> Bools:
    """(nx, ny, nz) the grid points of {field >= level} that are joined to some of the `seeds` in it."""
    label, count = ndimage.label(distances.values >= level)
    chosen = np.zeros(count + 1, bool)
    chosen[np.unique(label[seeds])] = True
    chosen[0] = False
    return np.asarray(chosen[label])


def climbed(
    mesh: Mesh,
    towards: Bools,
    start: ArrayLike,
    *,
    reach: float,
    step: float,
    across: ArrayLike | None = None,
) -> tuple[Floats, float]:
    """A point (3,) near `start` that is as far from the faces as any around it, and its exact distance.

    reach: faces further than this from the start are left out. step: the first step of the search, halved
    to a hundredth. across: a direction (3,) in which the point must not move.
    """
    place = np.array(start, dtype=np.float64)
    corner = mesh.vertices[mesh.faces]
    near = towards & (corner.min(axis=1) <= place + reach).all(axis=1)
    near &= (corner.max(axis=1) >= place - reach).all(axis=1)
    triangles = _packed(mesh.vertices - place, mesh.faces[near])
    ways = np.vstack([np.eye(3), -np.eye(3)])
    if across is not None:
        plane = rotation_for(across)[:2]
        ways = np.vstack([plane, -plane, (plane[0] + plane[1]) * 0.7, -(plane[0] + plane[1]) * 0.7])
    moved = np.zeros(3)
    best = float(_nearest(moved, triangles))
    length = step
    while length > step / 100:
        tried = [(float(_nearest(moved + length * way, triangles)), k) for k, way in enumerate(ways)]
        most, k = max(tried)
        if most > best:
            best, moved = most, moved + length * ways[k]
        else:
            length /= 2
    return place + moved, best


def _packed(vertices: Floats, faces: NDArray[np.integer]) -> Values:
    """(m, 9) corners of each face side by side, in single precision: what the kernels read fastest."""
    return np.ascontiguousarray(vertices.astype(np.float32)[faces].reshape(-1, 9))


# --- kernels ------------------------------------------------------------------------------------


@numba.njit(cache=True, nogil=True)
def _inside(start, low, high, bottom, pitch, shape):  # type: ignore[no-untyped-def]
    """Whether each grid point, or rather a hair beneath it, is solid: a lid in the top layer keeps it inside."""
    inside = np.zeros(shape, np.bool_)
    for i in range(shape[0]):
        for j in range(shape[1]):
            column = i * shape[1] + j
            for s in range(start[column], start[column + 1]):
                first = int(np.ceil((low[s] - bottom) / pitch + 1e-6))
                last = int(np.floor((high[s] - bottom) / pitch + 1e-6))
                for k in range(max(first, 0), min(last + 1, shape[2])):
                    inside[i, j, k] = True
    return inside


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _from_triangle(x, y, z, triangles, f):  # type: ignore[no-untyped-def]
    """Distance of a point to a triangle, by the region of its plane that the point lies over (Ericson,
    Real-Time Collision Detection, 5.1.5); NaN where the triangle has no area and the point lies over it."""
    ax, ay, az = triangles[f, 0], triangles[f, 1], triangles[f, 2]
    abx, aby, abz = triangles[f, 3] - ax, triangles[f, 4] - ay, triangles[f, 5] - az
    acx, acy, acz = triangles[f, 6] - ax, triangles[f, 7] - ay, triangles[f, 8] - az
    apx, apy, apz = x - ax, y - ay, z - az
    d1 = abx * apx + aby * apy + abz * apz
    d2 = acx * apx + acy * apy + acz * apz
    v, w = 0.0, 0.0  # nearest point: a + v ab + w ac
    if not (d1 <= 0 and d2 <= 0):
        bb = abx * abx + aby * aby + abz * abz
        bc = abx * acx + aby * acy + abz * acz
        cc = acx * acx + acy * acy + acz * acz
        d3, d4, d5, d6 = d1 - bb, d2 - bc, d1 - bc, d2 - cc
        vc, vb, va = d1 * d4 - d3 * d2, d5 * d2 - d1 * d6, d3 * d6 - d5 * d4
        if d3 >= 0 and d4 <= d3:
            v = 1.0
        elif d6 >= 0 and d5 <= d6:
            w = 1.0
        elif vc <= 0 and d1 >= 0 and d3 <= 0:
            v = d1 / (d1 - d3)
        elif vb <= 0 and d2 >= 0 and d6 <= 0:
            w = d2 / (d2 - d6)
        elif va <= 0 and d4 >= d3 and d5 >= d6:
            w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
            v = 1 - w
        else:
            whole = va + vb + vc
            v, w = vb / whole, vc / whole
    rx, ry, rz = apx - v * abx - w * acx, apy - v * aby - w * acy, apz - v * abz - w * acz
    return np.sqrt(rx * rx + ry * ry + rz * rz)


@numba.njit(cache=True, nogil=True)
def _nearest(point, triangles):  # type: ignore[no-untyped-def]
    best = np.inf
    for f in range(len(triangles)):
        found = _from_triangle(point[0], point[1], point[2], triangles, f)
        if found < best:
            best = found
    return best


@numba.njit(cache=True, nogil=True)
def _neighbours(faces, count):  # type: ignore[no-untyped-def]
    """(m, 3) the face beyond each edge, -1 where there is none; CSR start and faces round each vertex."""
    start = np.zeros(count + 1, np.int64)
    for f in range(len(faces)):
        for e in range(3):
            start[faces[f, e] + 1] += 1
    for i in range(count):
        start[i + 1] += start[i]
    cursor, star = start[:-1].copy(), np.empty(3 * len(faces), np.int32)
    for f in range(len(faces)):
        for e in range(3):
            star[cursor[faces[f, e]]] = f
            cursor[faces[f, e]] += 1
    beside = np.full((len(faces), 3), np.int32(-1))
    for f in range(len(faces)):
        for e in range(3):
            p, q = faces[f, e], faces[f, (e + 1) % 3]
            if start[p + 1] - start[p] > start[q + 1] - start[q]:
                p, q = q, p  # the corner with fewer faces round it
            for s in range(start[p], start[p + 1]):
                g = star[s]
                if g != f and (faces[g, 0] == q or faces[g, 1] == q or faces[g, 2] == q):
                    beside[f, e] = g
                    break
    return beside, start, star


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _enter(triangles, shape, band):  # type: ignore[no-untyped-def]
    """Distance (in cells) and nearest face of the grid points within the band of the faces; band and -1 elsewhere."""
    distance = np.full(shape, np.float32(band))
    nearest = np.full(shape, np.int32(-1))
    first, last = np.empty(3, np.int64), np.empty(3, np.int64)
    for f in range(len(triangles)):
        t = triangles[f].astype(np.float64)
        for axis in range(3):
            low = min(t[axis], t[axis + 3], t[axis + 6])
            high = max(t[axis], t[axis + 3], t[axis + 6])
            first[axis] = max(int(np.ceil(low - band)), 0)
            last[axis] = min(int(np.floor(high + band)), shape[axis] - 1)
        nx = (t[4] - t[1]) * (t[8] - t[2]) - (t[5] - t[2]) * (t[7] - t[1])
        ny = (t[5] - t[2]) * (t[6] - t[0]) - (t[3] - t[0]) * (t[8] - t[2])
        nz = (t[3] - t[0]) * (t[7] - t[1]) - (t[4] - t[1]) * (t[6] - t[0])
        normal = np.sqrt(nx * nx + ny * ny + nz * nz)
        slab = band * normal
        for i in range(first[0], last[0] + 1):
            for j in range(first[1], last[1] + 1):
                # along the row only what lies within the band of the face's plane
                off = nx * (i - t[0]) + ny * (j - t[1]) - nz * t[2]
                begin, end = first[2], last[2]
                if abs(nz) * (end - begin + 1) > 1e-6 * slab:
                    one, other = (-slab - off) / nz, (slab - off) / nz
                    begin = max(begin, int(np.ceil(max(min(one, other), -1.0))))
                    end = min(end, int(np.floor(min(max(one, other), shape[2] * 1.0))))
                elif abs(off) > slab * (1 + 1e-6):
                    continue
                for k in range(begin, end + 1):
                    if abs(off + nz * k) > distance[i, j, k] * normal:
                        continue  # the face's plane is further than another face
                    found = np.float32(_from_triangle(float(i), float(j), float(k), triangles, f))
                    if found < distance[i, j, k]:
                        distance[i, j, k] = found
                        nearest[i, j, k] = f
    return distance, nearest


@numba.njit(cache=True, nogil=True)
def _sweep(triangles, inside, distance, nearest):  # type: ignore[no-untyped-def]
    """Hand nearest faces on through the inside, once in each diagonal direction; how many cells changed.

    The way from a point to its nearest place leads through cells nearer to the surface: only those
    hand on.
    """
    nx, ny, nz = distance.shape
    changed = 0
    for way in range(8):
        di, dj, dk = 1 - 2 * (way & 1), 1 - (way & 2), 1 - (way & 4) // 2
        for ii in range(nx):
            i = ii if di > 0 else nx - 1 - ii
            for jj in range(ny):
                j = jj if dj > 0 else ny - 1 - jj
                for kk in range(nz):
                    k = kk if dk > 0 else nz - 1 - kk
                    if not inside[i, j, k]:
                        continue
                    own = nearest[i, j, k]
                    best = distance[i, j, k] if own >= 0 else np.float32(np.inf)
                    before = own
                    for axis in range(3):
                        p = i - di if axis == 0 else i
                        q = j - dj if axis == 1 else j
                        r = k - dk if axis == 2 else k
                        if p < 0 or q < 0 or r < 0 or p >= nx or q >= ny or r >= nz:
                            continue
                        f = nearest[p, q, r]
                        if f < 0 or f == own or distance[p, q, r] >= best:
                            continue
                        found = np.float32(_from_triangle(float(i), float(j), float(k), triangles, f))
                        if found < best:
                            best, own = found, f
                    if own != before:
                        distance[i, j, k] = best
                        nearest[i, j, k] = own
                        changed += 1
    return changed


@numba.njit(cache=True, nogil=True)
def _walk(triangles, faces, beside, start, star, inside, distance, nearest):  # type: ignore[no-untyped-def]
    """From each cell's face on to the faces beside it, as long as that leads nearer; how many cells changed.

    Where a face is nearest at a corner, those beside it may be as near there: all faces round the
    corner are asked.
    """
    nx, ny, nz = distance.shape
    changed = 0
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                first = nearest[i, j, k]
                if first < 0 or not inside[i, j, k]:
                    continue
                x, y, z = float(i), float(j), float(k)
                own, best = first, distance[i, j, k]
                while True:
                    step = own
                    for e in range(3):
                        f = beside[own, e]
                        if f >= 0:
                            found = np.float32(_from_triangle(x, y, z, triangles, f))
                            if found < best:
                                best, step = found, f
                    if step == own:
                        corner = _at_corner(x, y, z, triangles, own, best)
                        if corner >= 0:
                            v = faces[own, corner]
                            for s in range(start[v], start[v + 1]):
                                found = np.float32(_from_triangle(x, y, z, triangles, star[s]))
                                if found < best:
                                    best, step = found, star[s]
                    if step == own:
                        break
                    own = step
                if own != first:
                    distance[i, j, k], nearest[i, j, k] = best, own
                    changed += 1
    return changed


@numba.njit(cache=True, nogil=True)
def _at_corner(x, y, z, triangles, f, distance):  # type: ignore[no-untyped-def]
    """Which corner of a face is no further than the face itself; -1 when none is."""
    most = (float(distance) * (1 + 1e-5)) ** 2
    for corner in range(3):
        dx, dy, dz = (
            triangles[f, 3 * corner] - x,
            triangles[f, 3 * corner + 1] - y,
            triangles[f, 3 * corner + 2] - z,
        )
        if dx * dx + dy * dy + dz * dz <= most:
            return corner
    return -1


@numba.njit(cache=True, nogil=True)
def _layers(values, level):  # type: ignore[no-untyped-def]
    """(nz - 1,) volume of {values >= level} in cells, layer by layer."""
    nx, ny, nz = values.shape
    total = np.zeros(nz - 1)
    f = np.empty(8)
    for i in range(nx - 1):
        for j in range(ny - 1):
            for k in range(nz - 1):
                above = 0
                for corner in range(8):
                    f[corner] = values[i + (corner & 1), j + (corner >> 1 & 1), k + (corner >> 2)] - level
                    above += f[corner] >= 0
                if above == 8:
                    total[k] += 1.0
                elif above > 0:
                    share = 0.0
                    for one, two in ((1, 3), (1, 5), (2, 3), (2, 6), (4, 5), (4, 6)):
                        share += share_above(f[0], f[one], f[two], f[7])
                    total[k] += share / 6
    return total


@numba.njit(cache=True, nogil=True)
def share_above(p, q, r, s):  # type: ignore[no-untyped-def]
    """Share of a tetrahedron in which a linear function with these values at its corners is not negative."""
    if p > q:
        p, q = q, p
    if r > s:
        r, s = s, r
    if p > r:
        p, r = r, p
    if q > s:
        q, s = s, q
    if q > r:
        q, r = r, q
    if p >= 0:
        return 1.0
    if s < 0:
        return 0.0
    if r < 0:
        return s / (s - p) * s / (s - q) * s / (s - r)
    if q >= 0:
        return 1 - p / (p - q) * p / (p - r) * p / (p - s)
    # two and two: the part beneath is a wedge of three tetrahedra
    pr, ps, qr, qs = p / (p - r), p / (p - s), q / (q - r), q / (q - s)
    return 1 - (pr * ps + pr * qs * (1 - ps) + (1 - pr) * qr * qs)
