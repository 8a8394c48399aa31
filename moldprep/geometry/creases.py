"""Creases: edges where a form's surface bends sharply, and the heights at which they run level."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from .mesh import Floats, Mesh

_SAMPLE_MM = 0.25
"""Creases are sampled this finely when distances to them are asked."""


def crease_edges(mesh: Mesh, *, angle_deg: float) -> NDArray[np.int64]:
    """(k, 2) vertex pairs of the edges whose two faces meet at more than `angle_deg` from flat."""
    a, b = mesh.faces.ravel().astype(np.int64), np.roll(mesh.faces, -1, axis=1).ravel().astype(np.int64)
    count = len(mesh.vertices)
    face = np.repeat(np.arange(len(mesh.faces)), 3)
    rising = a < b
    up, down = a[rising] * count + b[rising], b[~rising] * count + a[~rising]
    order_up, order_down = np.argsort(up), np.argsort(down)
    keys, first, second = np.intersect1d(
        up[order_up], down[order_down], assume_unique=False, return_indices=True
    )
    left, right = face[rising][order_up][first], face[~rising][order_down][second]
    bend = np.einsum("ij,ij->i", mesh.normals[left], mesh.normals[right])
    has_area = (mesh.areas[left] > 0) & (mesh.areas[right] > 0)
    sharp = (bend < np.cos(np.radians(angle_deg))) & has_area
    return np.column_stack([keys[sharp] // count, keys[sharp] % count])


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
    return mean, np.asarray(total, dtype=np.float64)


class CreaseField:
    """Answers which points lie on a crease."""

    def __init__(self, mesh: Mesh, edges: NDArray[np.int64]) -> None:
        begin, end = mesh.vertices[edges[:, 0]], mesh.vertices[edges[:, 1]]
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
