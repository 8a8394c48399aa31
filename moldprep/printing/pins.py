"""Aligning pins: where two sections are glued, holes in both that go together one way only."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..errors import Point
from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import sections

DEPTH_SHARE = 2.0
"""A hole is so many pins deep (common practice)."""
HOLE_FIT_MM = 0.2
"""A hole is so much wider than its pin: printed holes come out narrow (common practice)."""
CLEAR_MM = 2.0
"""Print left between a hole and the surface, at least."""
APART_SHARE = 1.5
"""Middles of two holes stand at least so many pins apart."""
SLACK_MM = 2.0
"""A joint's outline turned to within this of itself lets it be glued that way too."""
COARSE_MM = 0.2
"""Outlines are compared this coarsely."""
TURN_STEP_DEG = 1.0
"""Turns of an outline that are tried for sameness."""
PLACES = 150
"""Places for a pin that are compared, two by two."""
HAIR = 1e-3
"""mm beside a cut at which its two faces are read."""


@dataclass(frozen=True)
class Pin:
    """A pin across a joint: its middle in the joint, casting pose; its holes, one up and one down, mm."""

    where: Point
    diameter_mm: float
    hole_mm: float
    depth_mm: float


def pins_at(
    mesh: Mesh, height: float, *, low: float, high: float, pin_mm: float
) -> tuple[tuple[Pin, ...], int]:
    """Pins in the joint at a height between sections that reach from `low` and to `high`; and the number of
    patches of the joint that none fit in.

    Each patch of the joint has two, at the middles of the two largest equal circles that fit into it side by
    side, clear of the surface over the whole depth of the holes; of those pairs the first that fits one way
    only: every turn that lays the patch's outline on itself within `SLACK_MM`, but those too small to leave
    the holes, takes a hole off its pin by at least the pin's radius.
    """
    depth = min(DEPTH_SHARE * pin_mm, (height - low) / 2, (high - height) / 2)
    reach = np.array([HAIR, (depth + CLEAR_MM) / 2, depth + CLEAR_MM])
    inside = [h for h in sorted([*(height - reach), *(height + reach)]) if low < h < high]
    cuts = dict(zip(inside, sections(mesh, inside), strict=True))
    joint = shapely.intersection(cuts[height - HAIR], cuts[height + HAIR])
    free = shapely.intersection_all([joint, *cuts.values()])
    found: list[Pin] = []
    bare = 0
    for patch in sorted(shapely.get_parts(joint), key=lambda part: (-part.area, part.bounds)):
        if not isinstance(patch, shapely.Polygon) or patch.area < 1:
            continue
        places = pair_in(patch, shapely.intersection(patch, free), pin_mm)
        bare += places is None
        for x, y in () if places is None else places:
            found.append(Pin((float(x), float(y), height), pin_mm, pin_mm + HOLE_FIT_MM, depth))
    return tuple(found), bare


def pair_in(patch: BaseGeometry, free: BaseGeometry, pin_mm: float) -> Floats | None:
    """(2, 2) middles of two pins in a patch of a joint, whose holes may lie in `free`; None where none fit."""
    room = free.buffer(-((pin_mm + HOLE_FIT_MM) / 2 + CLEAR_MM))
    if room.is_empty:
        return None
    points = _spread(room)
    if len(points) < 2:
        return None
    clear = shapely.distance(shapely.boundary(free), shapely.points(points))
    pairs = np.array(list(combinations(range(len(points)), 2)))
    apart = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T)
    size = np.minimum(apart / 2, clear[pairs].min(axis=1))
    order = np.argsort(-size, kind="stable")
    order = order[apart[order] >= APART_SHARE * pin_mm]
    turns, centre = outline_turns(patch)
    for chunk in np.array_split(order, max(1, len(order) // 500)):
        good = _one_way(points[pairs[chunk]], turns, centre, pin_mm / 2)
        if good.any():
            return np.asarray(points[pairs[chunk[np.argmax(good)]]])
    return None


def outline_turns(patch: BaseGeometry) -> tuple[Floats, Floats]:
    """(k, 2, 2) turns about the centroid (2,) that lay a patch's outer outline on itself, identity left out.

    Mirror images are none of them: two faces are only ever glued face to face.
    """
    shape = shapely.simplify(shapely.Polygon(patch.exterior), COARSE_MM)
    centre = np.array(shape.centroid.coords[0])
    line = shapely.affinity.translate(shape.exterior, *-centre)
    ring = shapely.get_coordinates(shapely.segmentize(line, max(1.0, line.length / 240)))[:-1]
    shapely.prepare(line)
    found = []
    for angle in np.radians(np.arange(TURN_STEP_DEG, 360, TURN_STEP_DEG)):
        c, s = np.cos(angle), np.sin(angle)
        turn = np.array([[c, -s], [s, c]])
        if shapely.distance(line, shapely.points(ring @ turn.T)).max() <= SLACK_MM:
            found.append(turn)
    return np.array(found).reshape(-1, 2, 2), centre


def _one_way(pairs: Floats, turns: Floats, centre: Floats, radius: float) -> Floats:
    """(n,) whether each (n, 2, 2) pair of pins keeps its joint from being glued turned."""
    turned = np.einsum("tij,npj->tnpi", turns, pairs - centre) + centre
    own = np.linalg.norm(turned - pairs, axis=-1).max(axis=-1)
    miss = np.linalg.norm(turned[:, :, :, None] - pairs[:, None], axis=-1).min(axis=-1).max(axis=-1)
    return np.asarray(((miss >= radius) | (own < radius)).all(axis=0))


def _spread(room: BaseGeometry) -> Floats:
    """About `PLACES` points of an area: a grid, and points on its edge."""
    low_x, low_y, high_x, high_y = room.bounds
    step = max(float(np.sqrt(room.area / PLACES)), 0.25)
    x, y = np.arange(low_x, high_x + step, step), np.arange(low_y, high_y + step, step)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    grid = grid[shapely.contains_xy(room, grid[:, 0], grid[:, 1])]
    edge = shapely.boundary(room)
    rim = (
        shapely.get_coordinates(shapely.line_interpolate_point(edge, np.arange(32) / 32, normalized=True))
        if isinstance(edge, shapely.LineString)
        else np.zeros((0, 2))
    )
    return np.vstack([grid, rim])
