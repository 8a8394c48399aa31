"""Candidate directions for pulling a form: those that its shape suggests, and an even spread."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import ConvexHull, QhullError

from .axis import axis_of_revolution
from .mesh import Floats, Mesh

SUGGESTED_BY = (
    "given",
    "upright and level",
    "axis of revolution",
    "principal axis",
    "flat of the hull",
    "even spread",
)
"""What suggests an axis, the most telling first."""
_SAME = np.cos(np.radians(2.0))
"""Axes nearer to each other than 2 degrees count as one candidate."""
_TURNED_SHARE = 0.5
"""Least share of the surface that must be turned about an axis for it to be one of revolution."""
_FLAT_SHARE = 0.01
"""Least share of the hull's area for a flat of the hull to suggest an axis."""


def candidate_axes(mesh: Mesh, *, count: int, first: ArrayLike = ()) -> tuple[Floats, tuple[str, ...]]:
    """(k, 3) unit axes, k <= about `count`, and what suggested each.

    In order: those of `first` (the caller's own), upright and level, the axis of revolution, the
    principal axes of the surface, the normals of large flats of the convex hull, then half of an
    evenly spread set of directions until `count` is reached. An axis stands for both its directions;
    it points upward, or along +y, or +x.
    """
    axes: list[Floats] = []
    sources: list[str] = []

    def offer(vectors: Floats, source: str) -> None:
        for vector in vectors:
            axis = upward(vector)
            if len(axes) < count and not any(abs(axis @ other) > _SAME for other in axes):
                axes.append(axis)
                sources.append(source)

    given = np.asarray(first, dtype=np.float64).reshape(-1, 3)
    turned = axis_of_revolution(mesh)
    revolution = np.array([turned.direction]) if turned.share >= _TURNED_SHARE else np.zeros((0, 3))
    suggested = (
        given,
        np.eye(3)[::-1],
        revolution,
        principal_axes(mesh),
        hull_flats(mesh),
        half_sphere(count),
    )
    for vectors, source in zip(suggested, SUGGESTED_BY, strict=True):
        offer(vectors, source)
    return np.array(axes), tuple(sources)


def upward(vector: ArrayLike) -> Floats:
    """The unit vector along the same axis that points up, or along +y, or +x when level."""
    unit = np.asarray(vector, dtype=np.float64)
    unit = unit / np.linalg.norm(unit)
    for k in (2, 1, 0):
        if abs(unit[k]) > 1e-9:
            return np.asarray(unit if unit[k] > 0 else -unit)
    raise ValueError("a direction needs a length")


def half_sphere(count: int) -> Floats:
    """(count, 3) directions spread evenly over the upper half sphere, by the golden spiral."""
    k = np.arange(count)
    z = (k + 0.5) / count
    turn = k * np.pi * (3 - np.sqrt(5))
    ring = np.sqrt(1 - z**2)
    return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), z])


def principal_axes(mesh: Mesh) -> Floats:
    """(3, 3) rows: principal axes of the surface's area, least spread last."""
    weights = mesh.areas / mesh.areas.sum()
    centred = mesh.centroids - weights @ mesh.centroids
    _, axes = np.linalg.eigh((centred * weights[:, None]).T @ centred)
    return np.asarray(axes.T[::-1])


def hull_flats(mesh: Mesh, *, most: int = 30) -> Floats:
    """(k, 3) normals of the largest flats of the convex hull, largest first; none for a flat form."""
    try:
        hull = ConvexHull(mesh.vertices)
    except QhullError:
        return np.zeros((0, 3))
    corners = mesh.vertices[hull.simplices]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    keys, owner = np.unique(np.round(hull.equations[:, :3], 3), axis=0, return_inverse=True)
    total = np.bincount(owner.ravel(), areas, minlength=len(keys))
    order = np.argsort(-total, kind="stable")[:most]
    order = order[total[order] > _FLAT_SHARE * areas.sum()]
    return np.asarray(keys[order])
