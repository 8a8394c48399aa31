"""What fits the printer's bed, and how the sections lie on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..geometry.mesh import Bools, Floats, Mesh
from ..geometry.outlines import hull
from ..geometry.slices import cut_slices
from .heights import FLUSH_MM

if TYPE_CHECKING:
    from .results import PrintPlan

Bed = tuple[float, float, float]

TURNS = 90
"""Turns about the vertical in a quarter circle that are tried when something shall fit the bed."""
GAP_MM = 5.0
"""Between two sections on one bed."""
SLACK_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Laid:
    """A section as it lies on the bed, whose lower left corner is the origin and whose top is z = 0.

    bed: number of the bed, from 1. outline: (k, 2) convex hull of its plan. fits: whether it lies within
    the bed.
    """

    bed: int
    name: str
    mesh: Mesh = field(repr=False)
    outline: Floats = field(repr=False)
    fits: bool


def fits_between(mesh: Mesh, heights: Floats, bed: Bed) -> Bools:
    """(n, n) whether what lies between heights i < j fits a bed (width, depth, height), turned as need be."""
    order = np.argsort(mesh.vertices[:, 2], kind="stable")
    z = mesh.vertices[order, 2]
    # a ledge in the plane of a cut belongs to one of the two sections only
    first, last = np.searchsorted(z, heights + FLUSH_MM), np.searchsorted(z, heights - FLUSH_MM)
    cut = cut_slices(mesh, np.sort(np.concatenate([heights[:-1] + FLUSH_MM, heights[1:] - FLUSH_MM])))
    edge = [cut.begin[a:b] for a, b in zip(cut.start[:-1], cut.start[1:], strict=True)]
    n = len(heights)
    reach = np.full((n - 1, 4 * TURNS), -np.inf)
    for k in range(n - 1):
        own = mesh.vertices[order[first[k] : last[k + 1]], :2]
        reach[k] = _reach(np.vstack([own, edge[2 * k], edge[2 * k + 1]]))
    fits = np.zeros((n, n), bool)
    for i in range(n - 1):
        fits[i, i + 1 :] = _turn(np.maximum.accumulate(reach[i:]), bed)[1]
        fits[i] &= heights - heights[i] <= bed[2] + SLACK_MM
    return fits


def best_turn(points: Floats, bed: Bed) -> tuple[float, bool]:
    """Turn about the vertical, degrees, at which plan points (k, 2) lie best on the bed, and whether they fit."""
    turn, fits = _turn(_reach(points)[None], bed)
    return float(turn[0]) * 90 / TURNS, bool(fits[0])


def laid_out(plan: PrintPlan, bed_mm: Bed) -> tuple[Laid, ...]:
    """The sections as they are printed, side by side on as many beds as they need, in the plan's order.

    They stand in rows, the deepest first; a section that is larger than the bed has one to itself.
    """
    turned = [_turned(section.printed, bed_mm) for section in plan.sections]
    sizes = [mesh.extents[:2] for mesh, _ in turned]
    places = _rows(sizes, [fits for _, fits in turned], bed_mm)
    found = []
    for section, (mesh, fits), (bed, x, y) in zip(plan.sections, turned, places, strict=True):
        moved = Mesh(mesh.vertices + np.array([x, y, 0.0]), mesh.faces)
        found.append(Laid(bed, section.name, moved, hull(moved.vertices[:, :2]), fits))
    return tuple(found)


def _reach(points: Floats) -> Floats:
    """(4 TURNS,) how far plan points reach along each direction all round."""
    if not len(points):
        return np.full(4 * TURNS, -np.inf)
    try:
        around = hull(points)
    except ValueError:  # all on one line
        around = points
    angle = np.arange(4 * TURNS) * (np.pi / 2 / TURNS)
    return np.asarray((around @ np.array([np.cos(angle), np.sin(angle)])).max(axis=0))


def _turn(reach: Floats, bed: Bed) -> tuple[NDArray[np.int64], Bools]:
    """(k,) the turn at which each row's figure stands off the bed's edge most (in steps), and whether it fits.

    Turned by -a, a figure is as wide as it is along a.
    """
    across = reach[:, : 2 * TURNS] + reach[:, 2 * TURNS :]
    wide, deep = across, np.roll(across, -TURNS, axis=1)
    spare = np.minimum(bed[0] - wide, bed[1] - deep)
    return np.argmax(spare > spare.max(axis=1, keepdims=True) - SLACK_MM, axis=1), spare.max(
        axis=1
    ) >= -SLACK_MM


def _turned(mesh: Mesh, bed: Bed) -> tuple[Mesh, bool]:
    """A mesh turned about the vertical to fit the bed, its lower left corner at the origin; unturned if that fits."""
    turn, fits = best_turn(mesh.vertices[:, :2], bed)
    if (mesh.extents <= np.array(bed) + SLACK_MM).all():
        turn = 0.0
    c, s = np.cos(np.radians(-turn)), np.sin(np.radians(-turn))
    matrix = np.array([[c, -s, 0, 0], [s, c, 0, 0], [0, 0, 1.0, 0], [0, 0, 0, 1]])
    made = mesh if turn == 0 else mesh.transformed(matrix)
    return Mesh(made.vertices - made.bounds[0], made.faces), fits and bool(
        mesh.extents[2] <= bed[2] + SLACK_MM
    )


def _rows(sizes: Sequence[Floats], fits: Sequence[bool], bed: Bed) -> list[tuple[int, float, float]]:
    """Bed number and lower left corner of each rectangle, in rows from the front, the deepest first."""
    order = sorted(range(len(sizes)), key=lambda k: (not fits[k], -sizes[k][1], k))
    places: list[tuple[int, float, float]] = [(0, 0.0, 0.0)] * len(sizes)
    number, x, y, depth = 1, 0.0, 0.0, 0.0
    for k in order:
        width, deep = (float(side) for side in sizes[k])
        if x > 0 and x + width > bed[0] + SLACK_MM:
            x, y = 0.0, y + depth + GAP_MM
            depth = 0.0
        if (x > 0 or y > 0) and (not fits[k] or y + deep > bed[1] + SLACK_MM):
            number, x, y, depth = number + 1, 0.0, 0.0, 0.0
        places[k] = (number, x, y)
        x, depth = x + width + GAP_MM, max(depth, deep)
        if not fits[k]:
            number, x, y, depth = number + 1, 0.0, 0.0, 0.0
    return places
