"""Boards on the printer's bed: laid flat, turned to fit, and cut and pinned where they are larger."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, prod

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import enclosing_rectangle, hull, polygons
from ..geometry.solids import Solid, difference, from_manifold, parts, plug, split

Bed = tuple[float, float, float]
"""The printer's width, depth and height, mm."""
PIN_MM, PIN_DEPTH = 3.2, 12.0
"""Holes for 3 mm pins in the cut faces, and how deep, mm."""
PIN_CLEAR = 3.0
"""Plate left beside a pin hole, mm."""
SKIN_MM = 0.8
"""Plate left above and below a pin hole, two nozzle widths; thinner plates have no pins."""
STEP_MM = 0.5
"""Places for pins are tried so far apart along a cut, mm."""
CRUMB_MM3 = 1.0
"""Less than this is a rounding of the cut."""


@dataclass(frozen=True, eq=False)
class Printed:
    """A board's parts, each on z = 0 with its lower left corner at the origin; cuts: made to fit the bed."""

    parts: tuple[Mesh, ...]
    cuts: int


def on_bed(solid: Solid, rotation: Floats, offset: float, thickness: float, bed: Bed) -> Printed:
    """The plate as it is printed, face up, cut and pinned where the bed is too small.

    rotation, offset: of the plate's face; what stands out of the face is no part of `thickness`.
    """
    flat = solid.transform(np.column_stack([rotation, np.array([0.0, 0.0, thickness - offset])]))
    turn = enclosing_rectangle(hull(from_manifold(flat).vertices[:, :2]))[2]
    flat = flat.rotate((0.0, 0.0, -turn))
    low, high = np.array(flat.bounding_box()).reshape(2, 3)
    size = high - low
    ways = (bed[0], bed[1]), (bed[1], bed[0])
    counts = [
        [ceil(side / room - 1e-9) for side, room in zip(size[:2].tolist(), way, strict=True)] for way in ways
    ]
    pieces = [flat]
    for axis, count in enumerate(min(counts, key=prod)):
        for edge in low[axis] + size[axis] * np.arange(1, count) / count:
            pieces = [half for piece in pieces for half in _pinned(piece, axis, float(edge), thickness)]
    bodies = [body for piece in pieces for body in parts(piece) if body.volume() > CRUMB_MM3]
    return Printed(tuple(_at_origin(from_manifold(body)) for body in bodies), len(pieces) - 1)


def _pinned(solid: Solid, axis: int, edge: float, thickness: float) -> list[Solid]:
    """A plate cut across, with holes for pins in both faces; as it is where the cut misses it."""
    normal = np.eye(3)[axis]
    ahead, behind = split(solid, normal, edge)
    if min(ahead.volume(), behind.volume()) < CRUMB_MM3:
        return [solid]
    for along in _pin_places(solid, axis, edge, thickness):
        foot = np.array([along, along, thickness / 2])
        foot[axis] = edge
        for way in (1, -1):
            hole = plug(foot, way * normal, radius=PIN_MM / 2, tip_radius=PIN_MM / 2, length=PIN_DEPTH)
            ahead, behind = difference(ahead, hole), difference(behind, hole)
    return [ahead, behind]


def _pin_places(solid: Solid, axis: int, edge: float, thickness: float) -> list[float]:
    """Where pins fit along the cut: two in each stretch of plate, so that no part fits turned over."""
    if thickness < PIN_MM + 2 * SKIN_MM:
        return []
    reach = PIN_MM / 2 + SKIN_MM
    levels = [
        _plan(solid, level) for level in np.linspace(thickness / 2 - reach, thickness / 2 + reach, 5)[1:-1]
    ]
    plate = shapely.intersection_all(levels)
    low, high = plate.bounds[1 - axis], plate.bounds[3 - axis]
    along = np.arange(low, high, STEP_MM)
    centre, half = np.empty((2, len(along))), np.empty(2)
    centre[axis], centre[1 - axis] = edge, along
    half[axis], half[1 - axis] = PIN_DEPTH + PIN_CLEAR, PIN_MM / 2 + PIN_CLEAR
    (x, y), (wide, deep) = centre, half
    shapely.prepare(plate)
    fits = np.flatnonzero(shapely.contains(plate, shapely.box(x - wide, y - deep, x + wide, y + deep)))
    stretches = [run for run in np.split(along[fits], np.flatnonzero(np.diff(fits) > 1) + 1) if len(run)]
    for shift in (2 * PIN_MM, PIN_MM, 3 * PIN_MM, 0.0):
        places = sorted({place for run in stretches for place in (run[0], max(run[0], run[-1] - shift))})
        places = [place for k, place in enumerate(places) if not k or place - places[k - 1] > 2 * PIN_MM]
        over = low + high - np.array(places)
        if places and np.abs(over[:, None] - places).min(axis=1).max() >= PIN_MM:
            break
    return [float(place) for place in places]


def _plan(solid: Solid, height: float) -> BaseGeometry:
    """What a level plane cuts from a plate."""
    return polygons(np.array(ring) for ring in solid.slice(height).to_polygons())


def _at_origin(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices - mesh.bounds[0], mesh.faces)
