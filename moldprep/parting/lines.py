"""Natural lines: heights at which a form already has a line, so that a seam there does not show."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..geometry.axis import Revolution, axis_of_revolution
from ..geometry.creases import CreaseField, CreaseLoop, crease_edges, crease_loops, level_creases
from ..geometry.mesh import Floats, Mesh
from ..geometry.slices import cut_slices

SAME_HEIGHT_MM = 0.2
"""Creases nearer in height than this are one line; a seam this near to a crease runs on it."""
STEP = 0.1
"""Share from which level creases bound a slice, so that a step of the form is not cut across."""
WHOLE_LINE = 0.5
"""Share of the outline that must lie on creases for them to count as a line round the form."""
NATURAL_DISCOUNT = 0.8
"""Price of a seam at an equator, neck or foot, relative to the same seam elsewhere on a smooth wall."""
_PROFILE = 256
"""Slices in which equators and necks are looked for."""
_TRIED = 64
"""Vertex heights tried round each of them."""
_RIPPLE = 1e-3
"""Swings of the profile below this share of its greatest area are facets and texture."""


@dataclass(frozen=True, eq=False)
class NaturalLines:
    """The lines that a form has along one axis.

    heights: (k,) ascending; names: "crease", "equator", "neck", "foot"; crease_share: (k,) share of
    the outline there that lies on creases. steps: heights of creases that are level on a lesser share of
    the outline: the ceiling of a recess, the shoulder of a lug. creases: answers which points lie on a
    crease. loops: the creases that wind once round the axis, level or not. revolution: the form's axis of
    revolution.
    """

    heights: Floats
    names: tuple[str, ...]
    crease_share: Floats
    steps: Floats
    creases: CreaseField = field(repr=False)
    loops: tuple[CreaseLoop, ...]
    revolution: Revolution

    def at(self, height: float) -> tuple[str, float]:
        """Name and crease share of the natural line at a height; ("", 0) where there is none."""
        if not len(self.heights):
            return "", 0.0
        k = int(np.argmin(np.abs(self.heights - height)))
        if abs(self.heights[k] - height) > SAME_HEIGHT_MM:
            return "", 0.0
        return self.names[k], float(self.crease_share[k])


def natural_lines(
    mesh: Mesh,
    rotation: Floats,
    *,
    low: float,
    high: float,
    angle_deg: float,
    revolution: Revolution | None = None,
) -> NaturalLines:
    """The natural lines of a form between two heights along the third row of `rotation`.

    Creases of more than `angle_deg` that run level along at least half of the outline; the equators
    (slices of greatest area), necks (least) and the foot's edge.
    """
    turned = revolution or axis_of_revolution(mesh)
    edges = crease_edges(mesh, angle_deg=angle_deg)
    loops = crease_loops(mesh, edges, rotation[2], through=turned.point)
    level = _level_lines(mesh, edges, rotation, low, high)
    found = [(height, "crease", share) for height, share in level if share >= WHOLE_LINE]
    for height, name in [*_extremes(mesh, rotation, low, high), (low, "foot")]:
        if all(abs(height - other) > SAME_HEIGHT_MM for other, _, _ in found):
            found.append((height, name, 0.0))
    found.sort()
    return NaturalLines(
        heights=np.array([height for height, _, _ in found]),
        names=tuple(name for _, name, _ in found),
        crease_share=np.array([part for _, _, part in found]),
        steps=np.array([height for height, share in level if STEP <= share < WHOLE_LINE]),
        creases=CreaseField(mesh, edges),
        loops=tuple(loop for loop in loops if loop.turns == 1),
        revolution=turned,
    )


def _level_lines(
    mesh: Mesh, edges: NDArray[np.int64], rotation: Floats, low: float, high: float
) -> list[tuple[float, float]]:
    """Height of the level creases, and their share of the outline there."""
    heights, lengths = level_creases(mesh, edges, rotation[2], within=SAME_HEIGHT_MM)
    inside = (heights >= low - SAME_HEIGHT_MM) & (heights <= high + SAME_HEIGHT_MM)
    heights, lengths = np.clip(heights[inside], low, high), lengths[inside]
    hair = 1e-4 * (high - low)
    both = np.unique(np.concatenate([heights - hair, heights + hair]))
    around = cut_slices(mesh, both, rotation=rotation).lengths
    longer = np.maximum(
        around[np.searchsorted(both, heights - hair)], around[np.searchsorted(both, heights + hair)]
    )
    share = np.minimum(1.0, lengths / np.maximum(longer, 1e-9))
    return [(float(height), float(part)) for height, part in zip(heights, share, strict=True)]


def _extremes(mesh: Mesh, rotation: Floats, low: float, high: float) -> list[tuple[float, str]]:
    """Heights of the inner maxima and minima of the profile, each at the vertex height where it is most so."""
    heights = np.linspace(low, high, _PROFILE + 1)[1:-1]
    turns = _turning_points(cut_slices(mesh, heights, rotation=rotation).areas)
    own = mesh.vertices @ rotation[2]
    within = float(heights[1] - heights[0])
    tried = []
    for k, _ in turns:
        near = np.unique(np.round(own[np.abs(own - heights[k]) <= within], 6))
        tried.append(np.unique(np.append(near[:: max(1, len(near) // _TRIED)], heights[k])))
    if not turns:
        return []
    hair = 1e-6  # a jump of the profile lies between just below and just above a vertex
    every = np.unique(np.concatenate([*tried, *[part - hair for part in tried]]))
    area = cut_slices(mesh, every, rotation=rotation).areas
    found = []
    for (_, name), part in zip(turns, tried, strict=True):
        below, above = area[np.searchsorted(every, part - hair)], area[np.searchsorted(every, part)]
        best = (
            np.argmax(np.maximum(below, above)) if name == "equator" else np.argmin(np.minimum(below, above))
        )
        found.append((float(part[best]), name))
    return found


def _turning_points(area: Floats) -> list[tuple[int, str]]:
    """Indices of the inner maxima and minima of a profile, flat stretches and ripples left out.

    A swing counts once it is deeper than a ripple; what comes before the first one is an end, no extreme.
    """
    ripple = _RIPPLE * float(area.max())
    found: list[tuple[int, str]] = []
    highest = lowest = 0  # of the stretch under way
    swing = 0  # 1 rising, -1 falling, 0 not yet known
    for k, here in enumerate(area):
        highest = k if here > area[highest] else highest
        lowest = k if here < area[lowest] else lowest
        if swing >= 0 and area[highest] - here > ripple:
            if swing > 0:
                found.append((highest, "equator"))
            swing, lowest = -1, k
        elif swing <= 0 and here - area[lowest] > ripple:
            if swing < 0:
                found.append((lowest, "neck"))
            swing, highest = 1, k
    return found


def spread(levels: Floats, natural: NDArray[np.float64]) -> Floats:
    """Ascending `levels` with each natural height put in place of the level nearest to it."""
    kept = levels.copy()
    for height in natural:
        inner = np.arange(1, len(kept) - 1)
        free = inner[~np.isin(kept[inner], natural)]
        if len(free) and not np.isclose(kept, height, atol=1e-9).any():
            kept[free[int(np.argmin(np.abs(kept[free] - height)))]] = height
    return np.unique(kept)
