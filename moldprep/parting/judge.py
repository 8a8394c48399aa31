"""Reach of a parting: how deep plaster stays locked, read at a fine pitch, piece by piece."""

from __future__ import annotations

import numpy as np
import shapely

from ..cottle import Block
from ..geometry.columns import rotation_for
from ..geometry.mesh import Mesh
from ..geometry.reach import LockedSpot, Way, locked_spots
from .layers import Candidate

UPRIGHT = np.cos(np.radians(10.0))
"""Stack axes nearer to upright than this are the upright one."""


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
