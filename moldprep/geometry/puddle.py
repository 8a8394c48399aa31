"""What stays in a hollow when it is turned: the liquid that no path leads down to the opening.

The hollow is where a field on a grid is not negative, taken as linear in six tetrahedra a cell
(Kuhn's, as in `distance`). Each clipped tetrahedron is convex, so that the lowest pass between two of
its places lies on its edges: a flood over grid points and over the points where the grid's edges
leave the hollow finds every spill level exactly, for the field as it is. The flood is a priority flood
(Barnes, Lehman and Mulla, Computers & Geosciences 62:117, 2014) over a hollow instead of a height map.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from .distance import DistanceField, Values, share_above
from .mesh import Bools, Floats, read_only

BUCKETS = 1 << 16
"""The flood takes nodes by height in so many steps over the hollow's own height: a spill level is off by
less than one of them, 3 um at 200 mm."""
NEGLIGIBLE = 1e-3
"""Cells of depth below which a puddle is rounding."""


@dataclass(frozen=True, eq=False)
class Hollow:
    """A hollow on a grid: where `values` (nx, ny, nz) float32 is not negative, mm or any other measure.

    origin: (3,) place of values[0, 0, 0]; pitch: mm. It is open across its last layer, and nowhere else:
    the two outermost layers beside and beneath are negative.
    """

    origin: Floats
    pitch: float
    values: Values = field(repr=False)

    def __post_init__(self) -> None:
        read_only(self.origin)
        read_only(self.values)


@dataclass(frozen=True, eq=False)
class Puddle:
    """Liquid that stays in one place.

    volume: mm3. lowest: (3,) its deepest grid point. spill: its surface lies where
    -gravity . place = spill, mm. depth: mm.
    """

    volume: float
    lowest: Floats
    spill: float
    depth: float


@dataclass(frozen=True, eq=False)
class Standing:
    """All that stays, mm3, and the single puddles, largest first.

    label: (nx, ny, nz) of each grid point the puddle it lies in, counted from 1 in that order; 0 where dry.
    """

    volume: float
    puddles: tuple[Puddle, ...]
    label: NDArray[np.int32] = field(repr=False)


def hollow_in(distances: DistanceField, level: float, kept: Bools, *, step: int = 1) -> Hollow:
    """The part `kept` (nx, ny, nz) of {field >= level}, on every `step`-th grid point; the last layer is among them."""
    values = distances.values - np.float32(level)
    shut = np.float32(-1e-3 * distances.pitch)
    values = np.where(kept, values, np.minimum(values, shut))
    first = np.array([0, 0, (values.shape[2] - 1) % step])
    values = values[::step, ::step, first[2] :: step]
    inside = np.argwhere(values >= 0)
    low, high = np.zeros(3, np.int64), np.array(values.shape)
    if len(inside):
        low, high = np.maximum(inside.min(axis=0) - 1, 0), inside.max(axis=0) + 2
    values = values[low[0] : high[0], low[1] : high[1], low[2] :]
    beside = ((2, 2), (2, 2), (2, 0))  # closed where the grid itself ends
    values = np.pad(values, beside, constant_values=shut)
    return Hollow(distances.place(first + step * (low - 2)), step * distances.pitch, values)


def joined_share(hollow: Hollow) -> float:
    """Share of the hollow's grid points that are joined to its open layer along the grid; 1 when it has none."""
    label, count = ndimage.label(hollow.values >= 0)
    size = np.bincount(label.ravel(), minlength=count + 1)
    size[0] = 0
    joined = np.unique(label[:, :, -1])
    return float(size[joined].sum() / size.sum()) if count else 1.0


def left_standing(hollow: Hollow, gravity: ArrayLike) -> float:
    """Volume that stays in the hollow, mm3; gravity: (3,) direction in which liquid runs, any length.

    Parts of the hollow that are not joined to its open layer hold nothing here.
    """
    up = _uphill(gravity)
    spill, wet = _flood(hollow.values, up)
    none = np.zeros((1, 1, 1), np.int32)
    return float(_volumes(hollow.values, up, spill, wet, none, 0)[0]) * hollow.pitch**3


def standing(hollow: Hollow, gravity: ArrayLike) -> Standing:
    """`left_standing`, puddle by puddle; what is thinner than a cell everywhere counts in the whole alone."""
    up = _uphill(gravity)
    spill, touched = _flood(hollow.values, up)
    at_points = spill.reshape(*hollow.values.shape, 8)[..., 0]
    height = sum(
        up[axis] * np.arange(count).reshape([-1 if k == axis else 1 for k in range(3)])
        for axis, count in enumerate(hollow.values.shape)
    )
    wet = np.isfinite(at_points) & (at_points > height + NEGLIGIBLE)
    label, count = ndimage.label(wet, ndimage.generate_binary_structure(3, 3))
    volumes = _volumes(hollow.values, up, spill, touched, label.astype(np.int32), count) * hollow.pitch**3
    order = np.argsort(-volumes[1:], kind="stable")
    lowest = ndimage.minimum_position(np.asarray(height), label, order + 1) if count else []
    base = float(up @ hollow.origin)
    puddles = []
    for k, at in zip(order.tolist(), lowest, strict=True):
        place = hollow.origin + hollow.pitch * np.array(at, dtype=np.float64)
        surface = base + hollow.pitch * float(at_points[at])
        puddles.append(Puddle(float(volumes[k + 1]), place, surface, surface - float(up @ place)))
    rank = np.zeros(count + 1, np.int32)
    rank[order + 1] = np.arange(1, count + 1)
    return Standing(float(volumes.sum()), tuple(puddles), np.asarray(read_only(rank[label])))


def _uphill(gravity: ArrayLike) -> Floats:
    down = np.asarray(gravity, dtype=np.float64)
    length = float(np.linalg.norm(down))
    if not length > 0:
        raise ValueError("gravity needs a direction")
    return np.asarray(-down / length)


# --- kernels ------------------------------------------------------------------------------------
#
# Nodes: 8 p + e for grid point p (flat index). e = 0: the point itself. Else the bits of e (1: x, 2: y,
# 4: z) are the way to the grid point at the edge's other end, and the node lies where the field is zero.


def _links() -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """The triangles round each edge e: (8, 6, 3) their third corner, from the edge's first end; (8,) how
    many; (8, 6, 2) the bits of the edge between the third corner and either end."""
    ways = [np.array([e & 1, e >> 1 & 1, e >> 2]) for e in range(8)]
    third, count = np.zeros((8, 6, 3), np.int64), np.zeros(8, np.int64)
    edge = np.zeros((8, 6, 2), np.int64)
    for e in range(1, 8):
        for s in range(1, 8):
            if s != e and s & e in (s, e):
                third[e, count[e]], edge[e, count[e]] = ways[s], (s, s ^ e)
                count[e] += 1
            if s & e == 0:
                third[e, count[e]], edge[e, count[e]] = -ways[s], (s, s | e)
                count[e] += 1
    return third, count, edge


THIRD, THIRDS, EDGE = _links()
TETRAHEDRA = ((1, 3), (1, 5), (2, 3), (2, 6), (4, 5), (4, 6))
"""The two corners of each of a cell's tetrahedra beside corners 0 and 7."""


@numba.njit(cache=True, nogil=True)
def _height(values, up, node):  # type: ignore[no-untyped-def]
    """How high a node lies, in cells."""
    ny, nz = values.shape[1], values.shape[2]
    e, p = node & 7, node >> 3
    i, j, k = p // (ny * nz), p // nz % ny, p % nz
    height = up[0] * i + up[1] * j + up[2] * k
    if e:
        di, dj, dk = e & 1, e >> 1 & 1, e >> 2
        one, other = np.float64(values[i, j, k]), np.float64(values[i + di, j + dj, k + dk])
        height += one / (one - other) * (up[0] * di + up[1] * dj + up[2] * dk)
    return np.float32(height)


@numba.njit(cache=True, nogil=True)
def _flood(values, up):  # type: ignore[no-untyped-def]
    """(8 n,) float32 for each node the least height, in cells, that a path to the open layer has to climb to;
    (n,) uint8 whether liquid stays at a grid point or on one of its edges.

    inf for what is no node of the hollow, or not joined to that layer.
    """
    nx, ny, nz = values.shape
    spill = np.full(8 * nx * ny * nz, np.float32(np.inf))
    wet = np.zeros(nx * ny * nz, np.uint8)
    after = np.empty(len(spill), np.int32)
    head = np.full(BUCKETS + 1, np.int32(-1))
    bottom = min(up[0] * nx, 0.0) + min(up[1] * ny, 0.0) + min(up[2] * nz, 0.0)
    scale = BUCKETS / (abs(up[0]) * nx + abs(up[1]) * ny + abs(up[2]) * nz)
    for i in range(nx - 1):
        for j in range(ny - 1):
            for e in range(4):  # the open layer's points, and its edges that leave the hollow
                inside = values[i, j, nz - 1] >= 0
                if e == 0 and not inside:
                    continue
                if e > 0 and inside == (values[i + (e & 1), j + (e >> 1), nz - 1] >= 0):
                    continue
                node = 8 * ((i * ny + j) * nz + nz - 1) + e
                spill[node] = _height(values, up, node)
                bucket = int((spill[node] - bottom) * scale)
                after[node] = head[bucket]
                head[bucket] = node
    flat = values.ravel()
    step = np.array([ny * nz, nz, 1])
    met, height = np.empty(16, np.int64), np.empty(16, np.float32)
    for bucket in range(BUCKETS + 1):
        while head[bucket] >= 0:
            node = head[bucket]
            head[bucket] = after[node]
            level = spill[node]
            for m in range(_around(flat, up, step, nz, node, met, height)):
                other = met[m]
                if spill[other] == np.inf:
                    if level > height[m] + NEGLIGIBLE:
                        wet[other >> 3] = 1
                    spill[other] = max(level, height[m])
                    there = max(int((spill[other] - bottom) * scale), bucket)
                    after[other] = head[there]
                    head[there] = other
    return spill, wet


@numba.njit(cache=True, nogil=True)
def _around(flat, up, step, nz, node, met, height):  # type: ignore[no-untyped-def]
    """Nodes that share an edge of the clipped tetrahedra with a node, into `met`, their heights; how many."""
    e, p = node & 7, node >> 3
    k = p % nz
    own = up[0] * (p // step[0]) + up[1] * (p % step[0] // nz) + up[2] * k
    count = 0
    if e == 0:
        one = np.float64(flat[p])
        for way in range(1, 8):
            x, y, z = way & 1, way >> 1 & 1, way >> 2
            along = x * step[0] + y * step[1] + z
            rise = up[0] * x + up[1] * y + up[2] * z
            if k + z < nz:
                other = flat[p + along]
                met[count] = 8 * (p + along) if other >= 0 else 8 * p + way
                height[count] = own + (rise if other >= 0 else one / (one - other) * rise)
                count += 1
            other = flat[p - along]
            met[count] = 8 * (p - along) + (0 if other >= 0 else way)
            height[count] = own - (rise if other >= 0 else one / (one - other) * rise)
            count += 1
        return count
    along = (e & 1) * step[0] + (e >> 1 & 1) * step[1] + (e >> 2)
    rise = up[0] * (e & 1) + up[1] * (e >> 1 & 1) + up[2] * (e >> 2)
    first = flat[p] >= 0
    a, o = (p, p + along) if first else (p + along, p)  # the edge's end in the hollow, and the other
    at_a, at_o = (own, own + rise) if first else (own + rise, own)
    inside, outside = np.float64(flat[a]), np.float64(flat[o])
    met[0], height[0] = 8 * a, at_a
    count = 1
    for t in range(THIRDS[e]):
        x, y, z = THIRD[e, t, 0], THIRD[e, t, 1], THIRD[e, t, 2]
        if k + z >= nz:
            continue
        r = p + x * step[0] + y * step[1] + z
        at_r = own + up[0] * x + up[1] * y + up[2] * z
        third = np.float64(flat[r])
        if third >= 0:
            met[count] = 8 * min(r, o) + EDGE[e, t, 1 if first else 0]
            height[count] = at_r + third / (third - outside) * (at_o - at_r)
        else:
            met[count] = 8 * min(a, r) + EDGE[e, t, 0 if first else 1]
            height[count] = at_a + inside / (inside - third) * (at_r - at_a)
        count += 1
    return count


@numba.njit(cache=True, nogil=True)
def _volumes(values, up, spill, wet, label, count):  # type: ignore[no-untyped-def]
    """(count + 1,) volume that stays, in cells, by the label of the grid points; 0 where none is wet.

    `label` may be of one cell alone, and then all of it is counted under 0.
    """
    nx, ny, nz = values.shape
    volume = np.zeros(count + 1)
    corner = np.empty(8, np.int64)
    f, h, four = np.empty(8), np.empty(8), np.empty(4, np.int64)
    inner, outer = np.empty(4, np.int64), np.empty(4, np.int64)
    for i in range(nx - 1):
        for j in range(ny - 1):
            for k in range(nz - 1):
                wets = 0
                for c in range(8):
                    corner[c] = ((i + (c & 1)) * ny + j + (c >> 1 & 1)) * nz + k + (c >> 2)
                    wets += wet[corner[c]]
                if wets == 0:
                    continue
                drowned = True
                for c in range(8):
                    a, b, d = i + (c & 1), j + (c >> 1 & 1), k + (c >> 2)
                    f[c] = values[a, b, d]
                    h[c] = up[0] * a + up[1] * b + up[2] * d
                    found = spill[8 * corner[c]]
                    drowned &= f[c] >= 0 and found < np.inf and found > h[c] + NEGLIGIBLE
                total = 6.0 if drowned else 0.0
                four[0], four[3] = 0, 7
                for one, two in TETRAHEDRA:
                    if drowned:
                        break
                    four[1], four[2] = one, two
                    surface = _surface(values, up, spill, corner, f, h, four)
                    if surface > -np.inf:
                        total += _share_of_both(f, h, four, surface, inner, outer)
                if total > 0:
                    own = 0
                    if count > 0:
                        for c in range(8):
                            own = max(own, label[i + (c & 1), j + (c >> 1 & 1), k + (c >> 2)])
                    volume[own] += total / 6
    return volume


@numba.njit(cache=True, nogil=True)
def _surface(values, up, spill, corner, f, h, four):  # type: ignore[no-untyped-def]
    """Level of the liquid in a tetrahedron; -inf when it is dry. All wet nodes of one have one level: each
    is within a straight, lower line of the other."""
    level = -np.inf
    for s in range(4):
        a = four[s]
        if f[a] >= 0:
            found = spill[8 * corner[a]]
            if found < np.inf and found > h[a] + NEGLIGIBLE:
                level = max(level, found)
        for t in range(s + 1, 4):
            b = four[t]
            if (f[a] >= 0) != (f[b] >= 0):
                node = 8 * corner[a] + (b - a)  # corners of one are in order: their bits nest
                found = spill[node]
                if found < np.inf and found > _height(values, up, node) + NEGLIGIBLE:
                    level = max(level, found)
    return level


@numba.njit(cache=True, nogil=True)
def _share_of_both(f, h, four, surface, inner, outer):  # type: ignore[no-untyped-def]
    """Share of a tetrahedron that lies in the hollow and beneath the surface; f, h: linear, at its
    corners. inner, outer: (4,) room to work in."""
    n = m = 0
    for s in range(4):
        if f[four[s]] >= 0:
            inner[n] = four[s]
            n += 1
        else:
            outer[m] = four[s]
            m += 1
    if n == 0:
        return 0.0
    if n == 4:
        return share_above(
            surface - h[four[0]], surface - h[four[1]], surface - h[four[2]], surface - h[four[3]]
        )
    if n == 2:
        a, b, c, d = inner[0], inner[1], outer[0], outer[1]
        p, q = f[a] / (f[a] - f[c]), f[a] / (f[a] - f[d])
        r, s_ = f[b] / (f[b] - f[c]), f[b] / (f[b] - f[d])
        wa, wb = surface - h[a], surface - h[b]
        ac, ad = wa + p * (h[a] - h[c]), wa + q * (h[a] - h[d])
        bc, bd = wb + r * (h[b] - h[c]), wb + s_ * (h[b] - h[d])
        # the wedge between a, ac, ad and b, bc, bd as three tetrahedra
        return (
            p * q * (1 - s_) * share_above(wa, ac, ad, bd)
            + p * (1 - r) * s_ * share_above(wa, ac, bc, bd)
            + r * s_ * share_above(wa, wb, bc, bd)
        )
    # one corner is cut off: it is the hollow's, or what is left is
    a = inner[0] if n == 1 else outer[0]
    b, c, d = (outer[0], outer[1], outer[2]) if n == 1 else (inner[0], inner[1], inner[2])
    p, q, r = f[a] / (f[a] - f[b]), f[a] / (f[a] - f[c]), f[a] / (f[a] - f[d])
    wa, wb, wc, wd = surface - h[a], surface - h[b], surface - h[c], surface - h[d]
    tip = p * q * r * share_above(wa, wa + p * (wb - wa), wa + q * (wc - wa), wa + r * (wd - wa))
    return tip if n == 1 else share_above(wa, wb, wc, wd) - tip
