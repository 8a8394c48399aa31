"""Where natches may stand on a face so that the pieces go together one way only: plane geometry."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numba
import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from ..geometry.mesh import Floats

COUNT = 3
"""Natches on a joint: three fix a face."""
MOST_CANDIDATES = 40
"""Places compared, three by three."""
GRID = 2000
"""Points of a joint's room among which the places are chosen, about."""
OUTLINE_SLACK = 2.0
"""A turned outline within this of itself lets the pieces be put together that way too, mm."""
TURN_STEP_DEG = 1.0
"""Turns of an outline that are tried for sameness."""
TOUCH = 1e-3
"""Plane figures nearer than this touch, mm."""


@dataclass(frozen=True, eq=False)
class Moves:
    """Turns and mirrorings (m, 2, 2) about a centre (2,) that lay an outline on itself; slack: how far off a
    place may be after the nearest of them, mm."""

    turns: Floats
    centre: Floats
    slack: float


def moves_of(outer: BaseGeometry) -> Moves:
    """All ways to lay the outer outline on itself within `OUTLINE_SLACK`, identity left out.

    Between two steps a turn moves the outline's farthest point by half a step; the middle may move by
    the slack too. Both are allowed for in what is tried and in what must be missed.
    """
    shape = shapely.Polygon(max(shapely.get_parts(outer), key=lambda part: part.area).exterior)
    centre = np.array(shape.centroid.coords[0])
    ring = np.array(shapely.segmentize(shape.exterior, max(1.0, shape.length / 240)).coords)[:-1] - centre
    slack = OUTLINE_SLACK + float(np.hypot(*ring.T).max()) * np.radians(TURN_STEP_DEG) / 2
    angle = np.radians(np.arange(0, 360, TURN_STEP_DEG))
    c, s = np.cos(angle), np.sin(angle)
    turns = np.array([[c, -s], [s, c]]).transpose(2, 0, 1)[1:]
    mirrors = np.array([[c, s], [s, -c]]).transpose(2, 0, 1)
    tried = np.concatenate([turns, mirrors])
    band = shapely.buffer(shapely.affinity.translate(shape.exterior, *-centre), OUTLINE_SLACK + slack)
    shapely.prepare(band)
    moved = ring @ tried.transpose(0, 2, 1)
    laid = shapely.contains_xy(band, moved[..., 0], moved[..., 1]).all(axis=1)
    return Moves(tried[laid], centre, slack)


def candidates(room: BaseGeometry, free: BaseGeometry, needed: float, *, centred: bool) -> Floats:
    """(k, 2) places for a natch's centre, at most `MOST_CANDIDATES`, spread over the room.

    centred: only the middles of the largest circles that fit: a place beside a much better one is left
    out, so natches stand in the middle of a wall; where there is plenty all round, anywhere.
    """
    if room.is_empty:
        return np.zeros((0, 2))
    low_x, low_y, high_x, high_y = room.bounds
    step = max(np.sqrt(max(room.area, 1.0) / GRID), 0.25)
    x, y = np.arange(low_x, high_x + step, step), np.arange(low_y, high_y + step, step)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    grid = grid[shapely.contains_xy(room, grid[:, 0], grid[:, 1])]
    edge = shapely.get_coordinates(shapely.segmentize(shapely.boundary(room), max(step, room.length / 300)))
    grid = np.vstack([grid, edge])
    if not centred:
        return _spread(grid, MOST_CANDIDATES)
    clear = np.minimum(shapely.distance(shapely.boundary(free), shapely.points(grid)), 1.6 * needed)
    pairs = cKDTree(grid).query_pairs(0.8 * needed, output_type="ndarray")
    best = clear.copy()
    np.maximum.at(best, pairs[:, 0], clear[pairs[:, 1]])
    np.maximum.at(best, pairs[:, 1], clear[pairs[:, 0]])
    return _spread(grid[clear >= 0.97 * best], MOST_CANDIDATES)


def one_way(places: Floats, moves: Moves, diameter: float, *, apart_mm: float) -> Floats | None:
    """(3, 2) the places farthest apart, at least `apart_mm`, that no other way of laying the outline on itself
    brings together; None when there are none."""
    if len(places) < COUNT:
        return None
    triples = np.array(list(combinations(range(len(places)), COUNT)))
    sides = np.hypot(*(places[triples] - places[np.roll(triples, 1, axis=1)]).transpose(2, 0, 1))
    spread = sides.min(axis=1)
    order = np.argsort(-spread, kind="stable")
    order = order[spread[order] >= apart_mm]
    moved = (places - moves.centre) @ moves.turns.transpose(0, 2, 1) + moves.centre
    apart = np.linalg.norm(moved[:, :, None] - places, axis=-1)
    found = _first_one_way(triples[order], apart, np.linalg.det(moves.turns) > 0, diameter / 2 + moves.slack)
    return np.asarray(places[triples[order[found]]]) if found >= 0 else None


# --- helpers ------------------------------------------------------------------------------------


def _spread(points: Floats, count: int) -> Floats:
    """At most `count` of the points, each as far from those before it as can be."""
    chosen = [int(np.argmax(np.hypot(*(points - points.mean(axis=0)).T)))]
    nearest = np.hypot(*(points - points[chosen[0]]).T)
    while len(chosen) < min(count, len(points)) and nearest.max() > TOUCH:
        chosen.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, np.hypot(*(points - points[chosen[-1]]).T))
    return points[chosen]


@numba.njit(cache=True, nogil=True)
def _first_one_way(triples, apart, proper, least):  # type: ignore[no-untyped-def]
    """Index of the first triple of places that each move takes at least `least` off some place, -1 without one.

    apart[m, i, j]: from place i, moved by m, to place j. A turn so small that no place leaves its own is
    no other way of putting them together.
    """
    for t in range(len(triples)):
        good = True
        for m in range(len(apart)):
            miss = own = 0.0
            for i in triples[t]:
                near = np.inf
                for j in triples[t]:
                    near = min(near, apart[m, i, j])
                miss, own = max(miss, near), max(own, apart[m, i, i])
            if miss < least and not (proper[m] and own < least):
                good = False
                break
        if good:
            return t
    return -1
