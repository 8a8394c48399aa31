"""Creases: edges where a form's surface bends sharply, the loops they make, the heights where they run level."""

from __future__ import annotations

from dataclasses import dataclass, field

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from .mesh import Floats, Mesh, read_only

_SAMPLE_MM = 0.25
"""Creases are sampled this finely when distances to them are asked."""


@dataclass(frozen=True, eq=False)
class CreaseLoop:
    """A closed chain of creases. vertices: (n,) in order, the first not repeated. low, high: its heights
    along the axis. turns: how often it winds round the axis, counter-clockwise. length in mm.
    """

    vertices: NDArray[np.int64] = field(repr=False)
    low: float
    high: float
    turns: int
    length: float

    def __post_init__(self) -> None:
        read_only(self.vertices)


def crease_edges(mesh: Mesh, *, angle_deg: float) -> NDArray[np.int64]:
    """(k, 2) ascending vertex pairs of the edges whose two faces meet at more than `angle_deg` from flat.

    Edges of other than two faces, and of faces without area, are none.
    """
    edges = _sharp(mesh.faces, len(mesh.vertices), mesh.normals, np.cos(np.radians(angle_deg)))
    return np.asarray(edges[np.lexsort((edges[:, 1], edges[:, 0]))])


def crease_loops(
    mesh: Mesh, edges: NDArray[np.int64], axis: ArrayLike, *, through: ArrayLike = (0.0, 0.0, 0.0)
) -> tuple[CreaseLoop, ...]:
    """The closed chains of crease edges (k, 2), lowest first, seen from an axis `through` a point.

    Where more than two creases meet, a chain goes straight on. Creases that end are left out.
    """
    direction = np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis)
    side = np.linalg.svd(direction[None])[2][1]
    frame = np.array([side, np.cross(direction, side), direction])
    centre = np.asarray(through, dtype=np.float64)
    loops = []
    for chain in _closed_chains(mesh.vertices, edges):
        place = mesh.vertices[chain]
        u, v = ((place - centre) @ frame[:2].T).T
        height, angle = place @ direction, np.arctan2(v, u)
        turning = (np.diff(np.append(angle, angle[0])) + np.pi) % (2 * np.pi) - np.pi
        turns = int(np.rint(turning.sum() / (2 * np.pi)))
        step = np.roll(place, -1, axis=0) - place
        loops.append(
            CreaseLoop(
                chain[::-1].copy() if turns < 0 else chain,
                float(height.min()),
                float(height.max()),
                abs(turns),
                float(np.linalg.norm(step, axis=1).sum()),
            )
        )
    return tuple(sorted(loops, key=lambda loop: (loop.low, loop.high, loop.length)))


def level_creases(
    mesh: Mesh, edges: NDArray[np.int64], axis: ArrayLike, *, within: float
) -> tuple[Floats, Floats]:
    """(k,) heights along `axis` at which creases run level, ascending, and (k,) their length there.

    Edges whose two ends differ by less than `within` in height are level; those nearer in height than
    `within` belong together, at their length's mean.
    """
    if not len(edges):
        return np.zeros(0), np.zeros(0)
    height = mesh.vertices @ np.asarray(axis, dtype=np.float64)
    ends = height[edges]
    length = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
    level = np.abs(ends[:, 0] - ends[:, 1]) < within
    middle, length = ends[level].mean(axis=1), length[level]
    order = np.argsort(middle, kind="stable")
    middle, length = middle[order], length[order]
    group = np.cumsum(np.concatenate([[0], (np.diff(middle) > within).astype(int)])) if len(middle) else order
    total = np.bincount(group, length)
    mean = np.bincount(group, length * middle) / np.maximum(total, 1e-300)
    return np.asarray(mean), np.asarray(total, dtype=np.float64)


class CreaseField:
    """Answers which points lie on a crease. ends: (k, 2, 3) of the creases."""

    def __init__(self, mesh: Mesh, edges: NDArray[np.int64]) -> None:
        self.ends = np.asarray(read_only(mesh.vertices[edges]))
        begin, end = self.ends[:, 0], self.ends[:, 1]
        steps = np.maximum(1, np.ceil(np.linalg.norm(end - begin, axis=1) / _SAMPLE_MM)).astype(int) + 1
        owner = np.repeat(np.arange(len(edges)), steps)
        within = np.arange(len(owner)) - np.repeat(np.cumsum(steps) - steps, steps)
        share = (within / np.repeat(steps - 1, steps))[:, None]
        self._tree = cKDTree(begin[owner] + share * (end - begin)[owner]) if len(edges) else None

    def near(self, points: Floats, within: float) -> NDArray[np.bool_]:
        """(k,) whether each (k, 3) point lies within that distance of a crease."""
        if self._tree is None or not len(points):
            return np.zeros(len(points), bool)
        distance, _ = self._tree.query(points, distance_upper_bound=within + _SAMPLE_MM / 2)
        return np.asarray(np.isfinite(distance))


def _closed_chains(vertices: Floats, edges: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Chains that come back to where they began; each edge is walked once."""
    if not len(edges):
        return []
    names, ends = np.unique(edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    both = np.concatenate([ends, ends[:, ::-1]])
    order = np.argsort(both[:, 0], kind="stable")
    start = np.searchsorted(both[order, 0], np.arange(len(names) + 1))
    points, lengths = _walk(
        np.ascontiguousarray(vertices[names]), start, both[order, 1], order % len(ends), len(ends)
    )
    return [names[chain] for chain in np.split(points, np.cumsum(lengths)[:-1])] if len(lengths) else []


@numba.njit(cache=True, nogil=True)
def _walk(place, start, target, edge, edges):  # type: ignore[no-untyped-def]
    """Points of all closed chains one after the other, and the number of points of each.

    The edges at point p lead to target[start[p]:start[p + 1]] and are numbered in `edge`.
    """
    used = np.zeros(edges, np.bool_)
    at = np.full(len(place), -1)  # where a point stands on the chain under way
    path = np.empty(edges + 1, np.int64)
    points, lengths = np.empty(edges + 1, np.int64), np.empty(edges + 1, np.int64)
    found = chains = 0
    for first in range(len(place)):
        for begin in range(start[first], start[first + 1]):
            if used[edge[begin]]:
                continue
            path[0], path[1], length = first, target[begin], 2
            at[first] = 0
            used[edge[begin]] = True
            while True:
                here = path[length - 1]
                if at[here] >= 0:  # the chain comes back: lift the loop off it
                    back = at[here]
                    for k in range(back, length - 1):
                        points[found + k - back] = path[k]
                    found += length - 1 - back
                    lengths[chains] = length - 1 - back
                    chains += 1
                    for k in range(back + 1, length - 1):
                        at[path[k]] = -1
                    length = back + 1
                    if length == 1:
                        break
                    here = path[length - 1]
                at[here] = length - 1
                best, straightest = -1, -2.0
                for other in range(start[here], start[here + 1]):
                    if used[edge[other]]:
                        continue
                    straight = 0.0
                    if length > 1:
                        came, goes = place[here] - place[path[length - 2]], place[target[other]] - place[here]
                        size = np.sqrt((came**2).sum() * (goes**2).sum())
                        straight = (came * goes).sum() / size if size > 0 else 0.0
                    if straight > straightest:
                        best, straightest = other, straight
                if best < 0:
                    break
                used[edge[best]] = True
                path[length] = target[best]
                length += 1
            for k in range(length):
                at[path[k]] = -1
    return points[:found], lengths[:chains]


@numba.njit(cache=True, nogil=True)
def _sharp(faces, vertices, normals, least):  # type: ignore[no-untyped-def]
    """(k, 2) vertex pairs of edges of exactly two faces whose normals' product is below `least`.

    Edges are bucketed by their lower vertex, where few others share the bucket.
    """
    start = np.zeros(vertices + 1, np.int64)
    for f in range(len(faces)):
        for e in range(3):
            start[min(faces[f, e], faces[f, (e + 1) % 3]) + 1] += 1
    for v in range(vertices):
        start[v + 1] += start[v]
    cursor = start[:-1].copy()
    upper, face = np.empty(start[-1], np.int32), np.empty(start[-1], np.int32)
    for f in range(len(faces)):
        for e in range(3):
            p, q = faces[f, e], faces[f, (e + 1) % 3]
            low = min(p, q)
            upper[cursor[low]], face[cursor[low]] = max(p, q), f
            cursor[low] += 1
    found = np.empty((len(upper), 2), np.int64)
    count = 0
    for v in range(vertices):
        for i in range(start[v], start[v + 1]):
            other, shared = -1, 0
            first = True
            for j in range(start[v], start[v + 1]):
                if upper[j] == upper[i]:
                    shared += 1
                    if j < i:
                        first = False
                    elif j > i:
                        other = face[j]
            if shared != 2 or not first:
                continue
            a, b = normals[face[i]], normals[other]
            if (a**2).sum() < 0.5 or (b**2).sum() < 0.5:  # a face without area has no normal
                continue
            if a[0] * b[0] + a[1] * b[1] + a[2] * b[2] < least:
                found[count, 0], found[count, 1] = v, upper[i]
                count += 1
    return found[:count].copy()
