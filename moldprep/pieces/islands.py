"""Plaster that a plane cuts off from its piece: it is handed to a neighbour that can carry it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import ndimage

from ..findings import Finding
from ..geometry.columns import Intervals, cast, frame_for, solid_intervals
from ..geometry.mesh import Floats, Mesh
from ..geometry.solids import Solid, from_manifold, parts, united
from .order import point_of
from .slabs import Slab

ISLAND_LINES = 96
"""Columns across an island when it is asked whether a pull frees it."""


def one_solid_each(
    cuts: list[Slab], form: Mesh, tolerance: float, crumb: float
) -> tuple[list[Slab], list[Finding]]:
    """Cuts of one connected solid each: islands are handed to the neighbour that can carry them."""
    bodies = [_bodies(cut.solid, crumb) for cut in cuts]
    solids, findings = [own[0] for own in bodies], []
    for k, own in enumerate(bodies):
        for island in own[1:]:
            carrier, carried = _carried(island, k, cuts, solids, form, tolerance, crumb)
            solids[carrier] = carried
            if carrier == k:
                findings.append(_island_finding(island))
    return [replace(cut, solid=solid) for cut, solid in zip(cuts, solids, strict=True)], findings


def _carried(
    island: Solid,
    home: int,
    cuts: list[Slab],
    solids: list[Solid],
    form: Mesh,
    tolerance: float,
    crumb: float,
) -> tuple[int, Solid]:
    """The cut that touches the island and whose pull frees it, and both as one solid.

    The one of most volume is asked first; where none can carry it, the island stays with its home.
    """
    others = sorted((k for k in range(len(cuts)) if k != home), key=lambda k: -solids[k].volume())
    surface = from_manifold(island)
    for k in others:
        if _boxes_touch(island, solids[k]) and _frees(form, surface, cuts[k].pull, tolerance):
            together = _bodies(united([solids[k], island]), crumb)
            if len(together) == 1:
                return k, together[0]
    return home, united([solids[home], island])


def _bodies(solid: Solid, crumb: float) -> list[Solid]:
    """The connected solids in a solid, without the flat crumbs that joining along a seam plane leaves; the
    solid itself where it is one."""
    found = parts(solid)
    return [solid] if len(found) == 1 else [part for part in found if part.volume() > crumb]


def _boxes_touch(one: Solid, other: Solid) -> bool:
    a, b = np.array(one.bounding_box()), np.array(other.bounding_box())
    slack = 1e-6 * float((a[3:] - a[:3]).max())
    return bool((a[:3] <= b[3:] + slack).all() and (b[:3] <= a[3:] + slack).all())


def _frees(form: Mesh, island: Mesh, pull: Floats, tolerance: float) -> bool:
    """Whether the island, moved along its pull, passes the form; a graze within the tolerance is let go."""
    island_frame = frame_for(island, pull, lines=ISLAND_LINES)
    own = solid_intervals(cast(island, island_frame))
    stood = solid_intervals(cast(form, island_frame))
    lowest = _first(own, own.low, np.inf, np.minimum)
    highest = _first(stood, stood.high, -np.inf, np.maximum)
    struck = (highest > lowest + tolerance).reshape(island_frame.shape)
    graze = max(1, int(np.ceil(tolerance / island_frame.pitch)))
    return not ndimage.binary_erosion(struck, iterations=graze).any()


def _first(intervals: Intervals, value: Floats, empty: float, least: np.ufunc) -> Floats:
    """(count,) least (or greatest) value over the intervals of each column."""
    found = np.full(intervals.frame.count, empty)
    least.at(found, intervals.column, value)
    return found


def _island_finding(island: Solid) -> Finding:
    low, high = np.array(island.bounding_box()).reshape(2, 3)
    return Finding(
        "stop",
        "island",
        f"The seams cut {island.volume() / 1000:.1f} mL of plaster off from its piece, and no neighbour can carry it.",
        where=(point_of((low + high) / 2),),
        remedy="Move a seam plane so that it does not pass through that hollow.",
    )
