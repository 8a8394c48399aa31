"""Changes of shape that let a form go along a direction: walls drawn in as they go, hollows swept full."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from .columns.frame import rotation_for
from .mesh import Bools, Floats, Ints, Mesh
from .stretching import split_at

_ONE_SIDED = 1e-3
"""Least eigenvalue of the fit below which walls look one way only and do not tell their middle."""


@dataclass(frozen=True, eq=False)
class Narrowing:
    """A form that grows narrower along `direction` d, from where `still` stays as it is.

    A point moves across d, along the unit vectors `across` (k, 3), to the places (k,) `middle`: its
    coordinate c about a middle becomes c (1 - tan a (s - still) / half), where s is its own d
    coordinate, held between low and high. A wall `half` from the middle thereby gains the angle a; where
    half is inf nothing moves along that direction.
    """

    direction: Floats
    across: Floats
    middle: Floats
    half: Floats
    still: float
    low: float
    high: float

    def moved(self, points: Floats, angle_deg: float) -> Floats:
        """(n, 3) points after a taper of so many degrees.

        Raises ValueError when the form would be turned inside out.
        """
        slope = np.tan(np.radians(angle_deg)) / self.half
        span = self.still, self.low, self.high
        moved, worst = _narrowed(points, self.direction, self.across, self.middle, slope, *span)
        if worst >= 1:
            raise ValueError(f"a taper of {angle_deg:g} degrees turns the form inside out")
        return np.asarray(moved)

    def farthest(self, points: Floats, angle_deg: float) -> float:
        """How far a taper of so many degrees moves any of the points, mm."""
        return float(np.linalg.norm(self.moved(points, angle_deg) - points, axis=1).max())

    @property
    def most_deg(self) -> float:
        """The angle at which walls `half` from the middle would move half way to it."""
        ends = max(abs(self.low - self.still), abs(self.high - self.still))
        return float(np.degrees(np.arctan2(self.half.min() / 2, ends))) if ends > 0 else 90.0


def half_widths(mesh: Mesh, faces: Bools, across: Floats) -> tuple[Floats, Floats]:
    """(k,) middle and (k,) half width along each of the (k, 3) `across`, as the marked faces tell.

    Least squares of c = middle + half n over the faces, c and n the coordinates of their centroids and
    normals along a, weighted by area n^2: a round wall gives its radius, a straight one its distance.
    Where the walls look one way only, the middle is that of the mesh's bounds; where none looks along
    a, or they look inward, the half width is inf.
    """
    middle, half = np.empty(len(across)), np.empty(len(across))
    index = np.flatnonzero(faces)
    normals, places, area = mesh.normals[index], mesh.centroids[index], mesh.areas[index]
    for k, axis in enumerate(across):
        normal, place = normals @ axis, places @ axis
        middle[k], half[k] = float(mesh.bounds.mean(axis=0) @ axis), np.inf
        weight = area * normal**2
        if not weight.sum() > _ONE_SIDED * area.sum():
            continue
        rows = np.column_stack([np.ones(len(normal)), normal])
        moment = (rows * weight[:, None]).T @ rows
        if np.linalg.eigvalsh(moment)[0] > _ONE_SIDED * weight.sum():
            found = np.linalg.solve(moment, rows.T @ (weight * place))
        else:
            found = np.array([middle[k], (weight * normal) @ (place - middle[k]) / (weight @ normal**2)])
        if found[1] > 0:
            middle[k], half[k] = found
    return middle, half


def split_across(mesh: Mesh, direction: Floats, offset: float) -> tuple[Mesh, NDArray[np.int64]]:
    """The same surface with every face that crosses the plane p . direction = offset cut along it, and for each
    face the one of `mesh` that it is, -1 for parts of cut ones.

    Old vertices and uncut faces stay as they are and come first, in their order.
    """
    rotation = rotation_for(direction)
    turned = Mesh(mesh.vertices @ rotation.T, mesh.faces)
    cut = split_at(turned, offset)
    if cut is turned:
        return mesh, np.arange(len(mesh.faces))
    whole = np.delete(np.arange(len(mesh.faces)), _crossing(turned, offset))
    source = np.full(len(cut.faces), -1, np.int64)
    source[: len(whole)] = whole
    made = cut.vertices[len(mesh.vertices) :] @ rotation
    return Mesh(np.vstack([mesh.vertices, made]), cut.faces), source


def _crossing(mesh: Mesh, height: float) -> NDArray[np.int64]:
    """Indices of the faces with corners on both sides of the plane z = height."""
    side = (mesh.vertices[:, 2] - height)[mesh.faces]
    return np.flatnonzero((side.min(axis=1) < 0) & (side.max(axis=1) > 0))


def patches(mesh: Mesh, faces: Bools) -> Ints:
    """(m,) number of the connected patch of marked faces that each belongs to, -1 for those not marked.

    Faces hang together by common sides.
    """
    label = np.full(len(mesh.faces), -1, np.int32)
    index = np.flatnonzero(faces)
    if not len(index):
        return label
    corner = mesh.faces[index].astype(np.int64)
    side = np.sort(np.stack([corner, np.roll(corner, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    key = side[:, 0] * len(mesh.vertices) + side[:, 1]
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(np.diff(key[order]) == 0)
    pairs = order[same] // 3, order[same + 1] // 3
    graph = coo_matrix((np.ones(len(same), bool), pairs), shape=(len(index), len(index)))
    label[index] = connected_components(graph, directed=False)[1]
    return label


def swept(mesh: Mesh, faces: Bools, direction: Floats, end: float) -> Mesh:
    """The solid that the marked faces sweep when they move along the unit `direction`, to where p . d = end.

    The faces must look along the direction and lie before the end, one deep. Their own places are
    kept to the last bit, so the solid meets the mesh without a crack; its far end is level.
    """
    corner = mesh.faces[faces]
    used, local = np.unique(corner, return_inverse=True)
    local = local.reshape(-1, 3)
    near = mesh.vertices[used]
    far = near + (end - near @ direction)[:, None] * direction
    level = np.abs(direction) > 1 - 1e-12
    far[:, level] = (end * direction)[level]  # to the last bit
    sides = np.concatenate([local[:, [0, 1]], local[:, [1, 2]], local[:, [2, 0]]]).astype(np.int64)
    key = sides[:, 0] * len(used) + sides[:, 1]
    rim = sides[~np.isin(key, sides[:, 1] * len(used) + sides[:, 0])]
    a, b, over = rim[:, 0], rim[:, 1], len(used)
    walls = [np.column_stack([a, b, b + over]), np.column_stack([a, b + over, a + over])]
    return Mesh(np.vstack([near, far]), np.vstack([local[:, ::-1], local + over, *walls]))


@numba.njit(cache=True, nogil=True)
def _narrowed(points, direction, across, middle, slope, still, low, high):  # type: ignore[no-untyped-def]
    """The moved points, and the greatest share of its way to the middle that any moves."""
    moved, worst = points.copy(), -np.inf
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        height = min(max(x * direction[0] + y * direction[1] + z * direction[2], low), high) - still
        for k in range(len(across)):
            share = slope[k] * height
            worst = max(worst, share)
            off = x * across[k, 0] + y * across[k, 1] + z * across[k, 2] - middle[k]
            for axis in range(3):
                moved[i, axis] -= off * share * across[k, axis]
    return moved, worst
