"""The axis of revolution of a form, found in spite of handles and spouts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..errors import Point
from .mesh import Floats, Mesh

_ROUNDS = 40
_TURNING = 0.05
"""Sine of the angle to the turning motion up to which a face counts as turned: facets and texture lie below."""
_SAME = 1e-4
"""Axes whose mean residuals differ by less than this, squared, are equally good: all through a sphere's centre."""
_MOST_FACES = 30_000


@dataclass(frozen=True)
class Revolution:
    """An axis of revolution. point: where it passes nearest to the surface's centroid. direction: unit
    vector, pointing upward. share: of the surface's area that is turned about it, 0 to 1.
    """

    point: Point
    direction: Point
    share: float


def axis_of_revolution(mesh: Mesh, *, prefer: ArrayLike = (0.0, 0.0, 1.0)) -> Revolution:
    """The axis about which most of the surface is turned; `prefer` decides between equally good ones.

    The normals of a surface of revolution meet its axis, so the turning motion v(x) = m + c x x has
    v . n = 0 everywhere. (c, m) minimises the area-weighted mean of (v . n)^2 under |c| = 1: the
    6 x 6 eigenproblem of Pottmann, Hofer, Odehnal and Wallner (ECCV 2004), here after elimination of
    m. Faces are then weighted anew by how well they fit, (v . n / |v|)^2 against `_TURNING`, which
    sheds handles. A translation along the axis, free on a cylinder, is taken off. Every form has a
    best axis: look at `share` before believing it. Deterministic; at most `_MOST_FACES` faces are used.
    """
    step = -(-len(mesh.faces) // _MOST_FACES)
    area = mesh.areas[::step]
    normal = mesh.normals[::step][area > 0]
    place = mesh.centroids[::step][area > 0]
    area = area[area > 0] / area.sum()
    middle = area @ place
    size = float(np.sqrt(area @ ((place - middle) ** 2).sum(axis=1)))
    x = (place - middle) / size
    lines = np.hstack([np.cross(x, normal), normal])  # v . n = c . (x x n) + m . n
    wanted = np.asarray(prefer, dtype=np.float64) / np.linalg.norm(prefer)
    weight = area
    motion = _best_motion(lines, weight, wanted)
    for _ in range(_ROUNDS):
        off = _off_the_turn(motion, x, normal)
        weight = area / (1 + (off / _TURNING) ** 2) ** 2
        before, motion = motion, _best_motion(lines, weight / weight.sum(), wanted)
        if np.allclose(before, motion, atol=1e-9):
            break
    share = float(area[_off_the_turn(motion, x, normal) < _TURNING].sum())
    c, m = motion[:3], motion[3:]
    point = middle + size * np.cross(c, m)  # the place of least motion: c x m / |c|^2
    return Revolution(_point(point), _point(c), share)


def _best_motion(lines: Floats, weight: Floats, wanted: Floats) -> Floats:
    """(6,) c and m of the turning motion that fits best; of equally good ones the nearest to `wanted`."""
    moment = (lines * weight[:, None]).T @ lines
    cc, cm, mm = moment[:3, :3], moment[:3, 3:], moment[3:, 3:]
    carry = -np.linalg.pinv(mm, rcond=1e-9, hermitian=True) @ cm.T  # the best m for each c
    residual, axes = np.linalg.eigh(cc + cm @ carry)
    equal = axes[:, residual < residual[0] + _SAME]
    c = equal @ (equal.T @ wanted)
    if np.linalg.norm(c) < 1e-6:
        c = axes[:, 0]
    c = c / np.linalg.norm(c)
    if c @ wanted < 0 or (abs(c @ wanted) < 1e-9 and c[np.flatnonzero(np.abs(c) > 1e-9)[-1]] < 0):
        c = -c
    m = carry @ c
    return np.concatenate([c, m - (m @ c) * c])


def _off_the_turn(motion: Floats, x: Floats, normal: Floats) -> Floats:
    """(k,) |sine| of the angle between each face and the turning motion at it."""
    v = motion[3:] + np.cross(motion[:3], x)
    speed = np.maximum(np.linalg.norm(v, axis=1), 1e-9)
    return np.asarray(np.abs(np.einsum("ij,ij->i", v, normal)) / speed)


def _point(vector: Floats) -> Point:
    a, b, c = (float(value) + 0.0 for value in vector)
    return a, b, c
