"""Boards on the printer's bed: laid flat, turned to fit, and cut and pinned where they are larger."""

from __future__ import annotations

from math import ceil

import numpy as np
import shapely

from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import enclosing_rectangle, hull
from ..geometry.solids import Solid, difference, from_manifold, parts, plug, split

PIN_MM, PIN_DEPTH = 3.2, 12.0
"""Holes for 3 mm pins in the cut faces, and how deep, mm."""
PIN_CLEAR = 3.0
"""Plate left beside a pin hole, mm."""
CRUMB_MM3 = 1.0
"""Less than this is a rounding of the cut."""


def on_bed(
    solid: Solid, rotation: Floats, offset: float, thickness: float, bed: tuple[float, float, float]
) -> tuple[list[Mesh], int]:
    """The plate as it is printed, face up, and the number of cuts; several meshes where the bed is too small.

    rotation, offset: of the plate's face. Each mesh lies on z = 0, its lower left corner at the origin.
    """
    flat = solid.transform(np.column_stack([rotation, np.array([0.0, 0.0, thickness - offset])]))
    points = hull(from_manifold(flat).vertices[:, :2])
    turn = np.radians(enclosing_rectangle(points)[2])
    c, s = np.cos(-turn), np.sin(-turn)
    flat = flat.transform(np.array([[c, -s, 0, 0], [s, c, 0, 0], [0, 0, 1.0, 0]]))
    low, high = np.array(flat.bounding_box()).reshape(2, 3)
    size = high - low
    counts = [
        [ceil(side / room - 1e-9) for side, room in zip(size[:2], way, strict=True)]
        for way in (bed[:2], bed[1::-1])
    ]
    across = min(counts, key=lambda pair: pair[0] * pair[1])
    pieces = [flat]
    for axis, count in enumerate(across):
        edges = low[axis] + size[axis] * np.arange(1, count) / count
        for edge in edges:
            pieces = [half for piece in pieces for half in _pinned(piece, axis, float(edge), thickness)]
    bodies = [body for piece in pieces for body in parts(piece) if body.volume() > CRUMB_MM3]
    return [_at_origin(from_manifold(body)) for body in bodies], len(pieces) - 1


def _pinned(solid: Solid, axis: int, edge: float, thickness: float) -> list[Solid]:
    """A plate cut across, with holes for pins in both faces; as it is where the cut misses it."""
    normal = np.eye(3)[axis]
    ahead, behind = split(solid, normal, edge)
    if min(ahead.volume(), behind.volume()) < CRUMB_MM3:
        return [solid]
    face = _cut_lengths(solid, axis, edge, thickness / 2)
    for low, high in face:
        if high - low < 2 * (PIN_MM / 2 + PIN_CLEAR):
            continue
        inset = PIN_MM / 2 + PIN_CLEAR
        places = [low + inset, high - inset] if high - low > 6 * inset else [(low + high) / 2]
        for along in places:
            foot = np.array([along, along, thickness / 2])
            foot[axis] = edge
            hole = [
                plug(foot, way * normal, radius=PIN_MM / 2, tip_radius=PIN_MM / 2, length=PIN_DEPTH)
                for way in (1, -1)
            ]
            ahead, behind = difference(ahead, hole[0]), difference(behind, hole[1])
    return [ahead, behind]


def _cut_lengths(solid: Solid, axis: int, edge: float, height: float) -> list[tuple[float, float]]:
    """Where the cut's middle line runs through plate, along it, mm."""
    section = solid.slice(height).to_polygons()
    area = shapely.union_all([shapely.Polygon()])
    for ring in sorted(
        (np.array(ring) for ring in section), key=lambda ring: -abs(shapely.Polygon(ring).area)
    ):
        area = shapely.symmetric_difference(area, shapely.Polygon(ring))
    low, high = -1e4, 1e4
    ends = [(edge, low), (edge, high)] if axis == 0 else [(low, edge), (high, edge)]
    found = []
    for line in shapely.get_parts(shapely.intersection(shapely.LineString(ends), area)):
        if isinstance(line, shapely.LineString) and not line.is_empty:
            values = sorted(point[1 - axis] for point in line.coords)
            found.append((values[0], values[-1]))
    return found


def _at_origin(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices - mesh.bounds[0], mesh.faces)
