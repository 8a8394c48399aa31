"""Reach of a parting: how deep plaster stays locked, read at a fine pitch, piece by piece."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from ..cottle import Block
from ..errors import Point
from ..geometry.columns import rotation_for
from ..geometry.mesh import Mesh
from ..geometry.reach import LockedSpot, Way, locked_spots
from ..stand import Stand
from ..working import Watch
from .layers import Candidate, Layer

UPRIGHT = np.cos(np.radians(10.0))
"""Stack axes nearer to upright than this are the upright one."""
HOPELESS_MM3 = 50.0
"""More locked plaster than this, wide enough to count, has a reach beyond any tolerance: it is read only
for the candidate that is chosen all the same."""


class Bench:
    """Reads reaches, each candidate's once, and keeps what was found."""

    def __init__(self, stand: Stand, block: Block, tolerance_mm: float, watch: Watch) -> None:
        self._stand, self._block, self._tolerance, self._watch = stand, block, tolerance_mm, watch
        self._spots: dict[tuple[Point, tuple[Layer, ...]], tuple[LockedSpot, ...]] = {}

    def spots(self, candidate: Candidate) -> tuple[LockedSpot, ...]:
        """Where it stays locked, deepest first."""
        key = candidate.axis, candidate.layers  # leaning axes may share their heights
        if key not in self._spots:
            self._watch.step(0, 1)  # a place to stop
            self._spots[key] = locked_in(self._stand.mesh, candidate, self._tolerance, block=self._block)
        return self._spots[key]

    def read(self, candidate: Candidate) -> Candidate:
        """The candidate with its reach."""
        spots = self.spots(candidate)
        return replace(candidate, reach_mm=spots[0].reach_mm if spots else 0.0)

    def passes(self, candidate: Candidate) -> bool:
        """Whether it was read and locks no deeper than the tolerance."""
        return candidate.reach_mm <= self._tolerance  # false for nan: not read


def locked_in(
    mesh: Mesh, candidate: Candidate, tolerance_mm: float, *, block: Block
) -> tuple[LockedSpot, ...]:
    """The places where some piece's plaster stays locked, deepest first.

    Across a tilted axis only places inside the block count: beyond it there is no plaster.
    """
    rotation = rotation_for(candidate.axis)
    found: list[LockedSpot] = []
    for layer in candidate.layers:
        first, last = layer is candidate.layers[0], layer is candidate.layers[-1]
        low, high = (-np.inf if first else layer.low_mm), (np.inf if last else layer.high_mm)
        if layer.kind == "split":
            azimuth, offset = np.radians(layer.azimuth_deg or 0.0), layer.offset_mm or 0.0
            pull = np.cos(azimuth) * rotation[0] + np.sin(azimuth) * rotation[1]
            halves: tuple[tuple[Way, tuple[float, float]], ...] = (
                ("plus", (offset, np.inf)),
                ("minus", (-np.inf, offset)),
            )
            for way, span in halves:
                found += locked_spots(
                    mesh, pull, way=way, tolerance=tolerance_mm, span=span, rows=(low, high), up=rotation[2]
                )
        else:
            way = "plus" if layer.kind == "up" else "minus"
            found += locked_spots(mesh, rotation[2], way=way, tolerance=tolerance_mm, span=(low, high))
    if abs(candidate.axis[2]) < UPRIGHT:
        outline = shapely.Polygon(block.outline)
        found = [
            spot
            for spot in found
            if block.bottom_mm < spot.where[2] < block.top_mm
            and shapely.contains_xy(outline, spot.where[0], spot.where[1])
        ]
    return tuple(sorted(found, key=lambda spot: -spot.reach_mm))
