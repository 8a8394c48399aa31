"""On what the emptied mold stands, opening down, and whether it topples."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..formulas.gypsum import wet_density_kg_m3
from ..geometry.columns import rotation_for
from ..geometry.distance import layer_volumes
from ..geometry.mesh import Bools, Floats
from ..geometry.outlines import section
from ..inside import Inside
from ..pieces import Pieces
from ..pieces.drip import INSIDE_MM
from ..stand import Stand
from .results import Hold, Tilt
from .search import gravity

SLAT_MM = 10.0
"""The mold stands on two slats, so far in from its edges (our judgement)."""


def centre_of_mass(
    pieces: Pieces, stand: Stand, inside: Inside, kept: Bools, level: float, consistency: float
) -> Floats:
    """(3,) of the emptied mold: all pieces wet, and the clay on them."""
    plaster = wet_density_kg_m3(consistency) / 1000
    clay = inside.weights.wet_g / inside.clay_ml
    volumes = layer_volumes(inside.distances, level, kept=kept)
    hollow = float(volumes.sum())
    middle = inside.distances.place(np.argwhere(kept).mean(axis=0))
    parts = [(plaster * piece.volume_mm3, piece.mesh.centre_of_mass) for piece in pieces.pieces]
    parts += [(clay * stand.mesh.volume, stand.mesh.centre_of_mass), (-clay * hollow, middle)]
    mass = sum(weight for weight, _ in parts)
    return np.asarray(sum(weight * centre for weight, centre in parts) / mass)


def on_slats(tilt: Tilt, pieces: Pieces, stand: Stand, centre: Floats) -> Hold:
    """On the face round the opening, which lies on two slats across the azimuth."""
    along = gravity(90.0, tilt.azimuth_deg)
    across = np.array([-along[1], along[0], 0.0])
    turn = np.array([along, across, [0.0, 0.0, 1.0]])
    face = _cut(pieces, stand.top_mm - INSIDE_MM, turn).convex_hull
    low, _, high, _ = face.bounds
    lines = [_chord(face, u) for u in (low + SLAT_MM, high - SLAT_MM)]
    lean = np.radians(tilt.tilt_deg)

    def seen(u: float, v: float, z: float) -> tuple[float, float]:
        """In plan, when it stands so."""
        return float(u * np.cos(lean) - z * np.sin(lean)), v

    rest = shapely.MultiPoint([seen(u, v, stand.top_mm) for line in lines for u, v in line])
    margin = _margin(rest.convex_hull, seen(*(turn @ centre)))
    return Hold("slats", tilt, float((high - low) * np.sin(lean)), margin)


def on_bevel(tilt: Tilt, pieces: Pieces, normal: Floats, offset: float, centre: Floats) -> Hold:
    """How the mold stands on the flat cut into its outer edge, which lies at normal . p = offset, mm.

    centre: (3,) centre of mass, casting pose.
    """
    turn = rotation_for(normal)
    flat = _cut(pieces, offset - INSIDE_MM, turn).convex_hull
    x, y, _ = turn @ centre
    return Hold("bevel", tilt, 0.0, _margin(flat, (float(x), float(y))))


def _cut(pieces: Pieces, height: float, turn: Floats) -> BaseGeometry:
    """What a plane cuts from all pieces."""
    return shapely.union_all([section(piece.mesh, height, rotation=turn) for piece in pieces.pieces])


def _chord(face: BaseGeometry, u: float) -> list[tuple[float, float]]:
    _, low, _, high = face.bounds
    line = shapely.LineString([(u, low - 1), (u, high + 1)]).intersection(face)
    return [(x, y) for x, y in line.coords]


def _margin(rest: BaseGeometry, over: tuple[float, float]) -> float:
    """How far a point lies within an area; negative outside."""
    point = shapely.Point(over)
    if rest.is_empty:
        return -np.inf
    away = float(rest.boundary.distance(point))
    return away if rest.contains(point) else -float(rest.distance(point))
