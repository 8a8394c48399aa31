"""A hollow and what stands in it, cut by an upright plane."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from .distance import DistanceField
from .mesh import Bools, Floats, Mesh
from .outlines import section
from .puddle import Hollow, Standing


def waterline(
    hollow: Hollow, found: Standing, gravity: Floats, *, middle: Floats, along: Floats
) -> tuple[BaseGeometry, BaseGeometry]:
    """What the plane through `middle` (2,), upright and along `along` (2,), cuts from the hollow and from its
    puddles, in (u, z); u runs along `along` from the middle.

    found: what stands in that hollow under that gravity (3,). The field over the plane is a surface of its own, which is
    cut where it is zero.
    """
    count = np.array(hollow.values.shape)
    corners = hollow.origin[:2] + hollow.pitch * np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * count[:2]
    reach = (corners - middle) @ along
    u = np.arange(reach.min(), reach.max() + hollow.pitch, hollow.pitch)
    z = hollow.origin[2] + hollow.pitch * np.arange(count[2])
    grid_u, grid_z = np.meshgrid(u, z, indexing="ij")
    points = np.concatenate([middle + grid_u[..., None] * along, grid_z[..., None]], axis=-1)
    values = DistanceField(hollow.origin, hollow.pitch, hollow.values).at(points)
    values[[0, -1]] = np.minimum(values[[0, -1]], -hollow.pitch)
    area = _not_negative(u, z, values)
    place = np.moveaxis((points - hollow.origin) / hollow.pitch, -1, 0)
    label = ndimage.map_coordinates(found.label, place, order=0, cval=0)
    slope = gravity / np.linalg.norm(gravity)
    drop = points @ slope  # -(height)
    wet = []
    for k, puddle in enumerate(found.puddles, start=1):
        within = (label == k) & (values > 0)
        if within.any():
            beneath = area.intersection(_not_negative(u, z, drop + puddle.spill))
            wet += [part for part in shapely.get_parts(beneath) if _mostly(part, within, grid_u, grid_z)]
    return area, shapely.union_all(wet)


def _mostly(part: BaseGeometry, wet: Bools, grid_u: Floats, grid_z: Floats) -> bool:
    """Whether more than half of the grid points in a part are wet: a film may seem to join it to what is dry."""
    inside = shapely.contains_xy(part, grid_u, grid_z)
    return bool(2 * np.count_nonzero(inside & wet) > np.count_nonzero(inside))


def _not_negative(u: Floats, z: Floats, values: Floats) -> BaseGeometry:
    """Where values (len(u), len(z)) are not negative, taken as linear in two triangles a cell; ends with the grid."""
    edge_u = np.concatenate([u[:1], u, u[-1:]])
    edge_z = np.concatenate([z[:1], z, z[-1:]])
    lowest = -np.abs(values).max() - 1
    heights = np.pad(values, 1, constant_values=lowest)
    grid_u, grid_z = np.meshgrid(edge_u, edge_z, indexing="ij")
    surface = np.column_stack([grid_u.ravel(), grid_z.ravel(), heights.ravel()])
    return section(Mesh(surface, _lattice(*heights.shape)), 0.0)


def _lattice(rows: int, columns: int) -> NDArray[np.int32]:
    """(2 (rows - 1) (columns - 1), 3) faces that look up over a grid of points."""
    index = np.arange(rows * columns, dtype=np.int32).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    return np.vstack([np.stack(three, axis=-1).reshape(-1, 3) for three in ((a, b, c), (a, c, d))])
