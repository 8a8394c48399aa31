"""How thick a solid is along lines, where it is thin over a patch, and how sharp its edges in a plane are.

Thickness is read along columns: a stretch of solid between two faces that look away from each other.
Neighbouring thin stretches that overlap along the lines make a patch.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from .columns import Intervals, cast, frame_for, solid_intervals
from .mesh import Bools, Floats, Mesh, read_only

Indices: TypeAlias = NDArray[np.int64]

MOST_OBLIQUE_DEG = 50.0
"""Most that a face's normal may lean from the line. Every face is nearer than 47.4 degrees to one of x,
y, z and the two level diagonals, so each thin wall is seen along one of them."""
MOST_TAPER_DEG = 45.0
"""Most that the two faces may lean to each other: beyond it they bound an edge, not a wall."""
_IN_PLANE = 1e-7
"""Vertices within this share of the mesh's size of a plane lie in it; booleans err a thousand times less."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """The solid stretches along one direction, and how thick the solid is there.

    thickness: (k,) mm, inf where the end faces do not stand opposed. low_marked, high_marked: (k,)
    whether the faces at the ends are marked. touching: (p, 2) pairs of stretches of neighbouring
    columns that overlap along the line.
    """

    intervals: Intervals
    thickness: Floats
    low_marked: Bools
    high_marked: Bools
    touching: Indices = field(repr=False)

    @property
    def length(self) -> Floats:
        """(k,) length along the line, mm."""
        return np.asarray(self.intervals.high - self.intervals.low)

    def middles(self, which: Indices) -> Floats:
        """(n, 3) middles of some stretches in world axes."""
        return self._at(which, (self.intervals.low[which] + self.intervals.high[which]) / 2)

    def ends(self, which: Indices, *, high: Bools) -> Floats:
        """(n, 3) one end of each of some stretches in world axes: the high one where `high`, else the low."""
        return self._at(which, np.where(high, self.intervals.high[which], self.intervals.low[which]))

    def _at(self, which: Indices, depth: Floats) -> Floats:
        frame = self.intervals.frame
        return frame.world(np.column_stack([frame.centres(self.intervals.column[which]), depth]))


@dataclass(frozen=True, eq=False)
class Patch:
    """A patch of solid that is thin.

    where: (3,) middle of the solid at its thinnest. thickness: least mm that a spot of the asked width
    stays within. typical: median thickness. across: longer side of the patch, across the line. rise:
    how far it stands out from thicker solid, at most `across`. points: (k, 3) middles of its stretches.
    """

    where: Floats
    thickness: float
    typical: float
    across: float
    rise: float
    points: Floats = field(repr=False)

    def __post_init__(self) -> None:
        read_only(self.where)
        read_only(self.points)


@dataclass(frozen=True, eq=False)
class PlaneEdges:
    """Edges of a mesh that lie in a plane, between a marked face that leaves it and an unmarked one in it.

    face: (k,) the marked face. begin, end: (k, 3). ahead: (k,) whether the solid lies on the plane's
    positive side there.
    """

    face: Indices
    begin: Floats
    end: Floats
    ahead: Bools

    def __post_init__(self) -> None:
        for array in (self.face, self.begin, self.end, self.ahead):
            read_only(array)

    @cached_property
    def middle(self) -> Floats:
        """(k, 3) middle of each edge."""
        return np.asarray(read_only((self.begin + self.end) / 2))

    @cached_property
    def length(self) -> Floats:
        """(k,) length of each edge, mm."""
        return np.asarray(read_only(np.linalg.norm(self.end - self.begin, axis=1)))

    def points(self, which: Indices, *, step: float) -> Floats:
        """(n, 3) points along some of the edges, at most `step` apart on each, mm."""
        count = np.ceil(self.length[which] / step).astype(np.int64) + 1
        own = np.repeat(which, count)
        place = np.arange(len(own)) - np.repeat(np.cumsum(count) - count, count)
        share = (place / np.repeat(np.maximum(count - 1, 1), count))[:, None]
        return np.asarray(self.begin[own] + share * (self.end[own] - self.begin[own]))


def stretches(mesh: Mesh, direction: ArrayLike, marked: Bools, *, lines: int) -> Stretches:
    """The stretches of a closed mesh along a direction, on a grid `lines` columns across.

    marked: (m,) faces to be told apart. With the normals at angles a and b to the line, length x cos a
    is the distance from one end to the plane of the face at the other. The greater of the two is the
    thickness: exact between parallel faces, and never less than the distance from either end to the
    opposite face where that is flat or bulges outward.
    """
    intervals = solid_intervals(cast(mesh, frame_for(mesh, direction, lines=lines)))
    low, high = _normals(mesh, intervals.face_low), _normals(mesh, intervals.face_high)
    along = intervals.frame.direction
    one, other = -(low @ along), high @ along
    opposed = (np.minimum(one, other) >= np.cos(np.radians(MOST_OBLIQUE_DEG))) & (
        np.einsum("ij,ij->i", low, high) <= -np.cos(np.radians(MOST_TAPER_DEG))
    )
    thickness = np.where(opposed, (intervals.high - intervals.low) * np.maximum(one, other), np.inf)
    touching = _touching(intervals.start, intervals.low, intervals.high, *intervals.frame.shape)
    return Stretches(
        intervals, thickness, marked[intervals.face_low], marked[intervals.face_high], read_only(touching)
    )


def thin_patches(along: Stretches, chosen: Bools, *, held_mm: float, width_mm: float) -> list[Patch]:
    """The patches of chosen stretches (k,) into which a spot `width_mm` across fits, thinnest first.

    Stretches of at least `held_mm` beside a patch, or beside short ones that it runs over into, hold
    it: `rise` is the distance to the nearest of them, greatest over the patch.
    """
    pitch = along.intervals.frame.pitch
    spot = _disc(width_mm / pitch)
    group = _groups(along.touching, chosen)
    count = np.bincount(group[chosen], minlength=1)
    large = np.flatnonzero(count >= int(spot.sum()))
    if not len(large):
        return []
    member, held = _by_group(group, chosen), _held_beside(along, held_mm)
    found = [_patch(along, member[g], held, spot, pitch) for g in large.tolist()]
    return sorted((patch for patch in found if patch is not None), key=lambda patch: patch.thickness)


def edges_in_plane(mesh: Mesh, marked: Bools, normal: ArrayLike, offset: float) -> PlaneEdges:
    """The edges along which marked faces of a closed mesh meet unmarked faces in the plane normal . p = offset.

    Marked faces that lie in the plane themselves have no such edge.
    """
    height = mesh.vertices @ np.asarray(normal, dtype=np.float64) - offset
    within = np.abs(height) <= _IN_PLANE * float(mesh.extents.max())
    corners = within[mesh.faces]
    count = corners.sum(axis=1)
    lying = np.flatnonzero((count == 3) & ~marked)
    standing = np.flatnonzero((count == 2) & marked)
    apart = np.argmin(corners[standing], axis=1)  # the corner that is not in the plane
    rows = mesh.faces[standing]
    own = np.arange(len(standing))
    begin, end = rows[own, (apart + 1) % 3].astype(np.int64), rows[own, (apart + 2) % 3].astype(np.int64)
    flat = mesh.faces[lying].astype(np.int64)
    size = len(mesh.vertices)
    there = np.concatenate([flat[:, k] * size + flat[:, (k + 1) % 3] for k in range(3)])
    met = np.isin(end * size + begin, there)  # neighbours run along a shared edge in opposite ways
    return PlaneEdges(
        face=standing[met],
        begin=mesh.vertices[begin[met]],
        end=mesh.vertices[end[met]],
        ahead=height[rows[own, apart]][met] > 0,
    )


def wedge_deg(edges: PlaneEdges, normals: Floats, normal: ArrayLike, *, within_mm: float) -> Floats:
    """(k,) angle of the solid at each edge between the plane and a wall, degrees.

    normals: (k, 3) unit normals of the walls, out of the solid. 90 where a wall stands square to the
    plane, less where the solid runs out thin. The walls' normals are averaged by length over edges
    within `within_mm`, so that single facets of a rough wall do not count.
    """
    if not len(edges.length):
        return np.zeros(0)
    pairs = cKDTree(edges.middle).query_pairs(within_mm, output_type="ndarray")
    weighed = normals * edges.length[:, None]
    mean = weighed.copy()
    np.add.at(mean, pairs[:, 0], weighed[pairs[:, 1]])
    np.add.at(mean, pairs[:, 1], weighed[pairs[:, 0]])
    into = np.where(edges.ahead, 1.0, -1.0)[:, None] * np.asarray(normal, dtype=np.float64)
    size = np.linalg.norm(mean, axis=1)
    cosine = np.einsum("ij,ij->i", mean, into) / np.where(size > 0, size, 1.0)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1, 1))))


# --- helpers ------------------------------------------------------------------------------------


def _normals(mesh: Mesh, faces: NDArray[np.integer]) -> Floats:
    """(k, 3) unit normals of some faces: far fewer than all of a large mesh; zero without area."""
    a, b, c = (mesh.vertices[mesh.faces[faces, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    length = np.linalg.norm(cross, axis=1, keepdims=True)
    return np.asarray(np.divide(cross, length, out=np.zeros_like(cross), where=length > 0))


def _disc(across: float) -> Bools:
    """A disc of cells at least so many cells across, at least one."""
    radius = max(int(np.ceil(across)) - 1, 0) / 2
    reach = int(np.ceil(radius))
    i, j = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return np.asarray(np.hypot(i, j) <= radius + 0.1)


def _groups(touching: Indices, chosen: Bools) -> Indices:
    """(k,) number of the connected group of chosen stretches that each belongs to."""
    kept = touching[chosen[touching].all(axis=1)]
    graph = coo_array((np.ones(len(kept), bool), (kept[:, 0], kept[:, 1])), shape=(len(chosen), len(chosen)))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _by_group(group: Indices, chosen: Bools) -> dict[int, Indices]:
    """The chosen stretches of each group."""
    own = np.flatnonzero(chosen)
    order = own[np.argsort(group[own], kind="stable")]
    names, first = np.unique(group[order], return_index=True)
    return {int(name): part for name, part in zip(names, np.split(order, first[1:]), strict=True)}


def _held_beside(along: Stretches, held_mm: float) -> tuple[Indices, dict[int, Indices]]:
    """Group of each short stretch, and for each group the columns of the long stretches beside it."""
    short = along.length < held_mm
    group = _groups(along.touching, short)
    pairs = np.concatenate([along.touching, along.touching[:, ::-1]])
    pairs = pairs[short[pairs[:, 0]] & ~short[pairs[:, 1]]]
    order = np.argsort(group[pairs[:, 0]], kind="stable")
    names, first = np.unique(group[pairs[order, 0]], return_index=True)
    if not len(names):
        return group, {}
    columns = along.intervals.column[pairs[order, 1]].astype(np.int64)
    return group, {
        int(n): np.unique(part) for n, part in zip(names, np.split(columns, first[1:]), strict=True)
    }


def _patch(
    along: Stretches, own: Indices, held: tuple[Indices, dict[int, Indices]], spot: Bools, pitch: float
) -> Patch | None:
    """The patch of the stretches `own`; None when the spot fits nowhere in it."""
    nv = along.intervals.frame.shape[1]
    cell = np.column_stack(np.divmod(along.intervals.column[own].astype(np.int64), nv))
    corner = cell.min(axis=0) - 1
    grid = np.full(cell.max(axis=0) - corner + 2, np.inf)
    at = tuple((cell - corner).T)
    np.minimum.at(grid, at, along.thickness[own])
    spread = ndimage.maximum_filter(grid, footprint=spot, mode="constant", cval=np.inf)
    if not np.isfinite(spread.min()):
        return None
    thinnest = int(np.argmin(spread[at]))
    sides = (np.ptp(cell, axis=0) + 1) * pitch
    points = along.middles(own)
    return Patch(
        where=points[thinnest],
        thickness=float(spread.min()),
        typical=float(np.median(along.thickness[own])),
        across=float(sides.max()),
        rise=_rise(cell, own, held, nv, pitch, float(sides.max())),
        points=points,
    )


def _rise(
    cell: Indices, own: Indices, held: tuple[Indices, dict[int, Indices]], nv: int, pitch: float, most: float
) -> float:
    """Greatest distance of the cells (k, 2) from the nearest one that holds them, mm."""
    group, beside = held
    columns = [beside[g] for g in np.unique(group[own]).tolist() if g in beside]
    if not columns:
        return most
    holding = np.column_stack(np.divmod(np.concatenate(columns), nv))
    return min(float(np.max(cKDTree(holding).query(cell)[0])) * pitch, most)


@numba.njit(cache=True, nogil=True)
def _touching(start, low, high, nu, nv):  # type: ignore[no-untyped-def]
    """(p, 2) pairs of stretches of columns side by side that overlap."""
    pairs = np.empty((2 * len(low) + 16, 2), np.int64)
    count = 0
    for c in range(nu * nv):
        for step in (1, nv):
            n = c + step
            if n >= nu * nv or (step == 1 and (c + 1) % nv == 0):
                continue
            i, j = start[c], start[n]
            while i < start[c + 1] and j < start[n + 1]:
                if min(high[i], high[j]) > max(low[i], low[j]):
                    if count == len(pairs):
                        grown = np.empty((2 * count, 2), np.int64)
                        grown[:count] = pairs
                        pairs = grown
                    pairs[count, 0], pairs[count, 1] = i, j
                    count += 1
                if high[i] < high[j]:
                    i += 1
                else:
                    j += 1
    return pairs[:count].copy()
