"""Natural lines: heights at which a form already has a line, so that a seam there does not show."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..geometry.creases import CreaseField, crease_edges, level_creases
from ..geometry.mesh import Floats, Mesh
from ..geometry.profile import slice_profile

SAME_HEIGHT_MM = 0.2
"""Creases nearer in height than this are one line; a seam this near to a crease runs on it."""
WHOLE_LINE = 0.5
"""Share of the outline that must lie on creases for them to count as a line round the form."""
NATURAL_DISCOUNT = 0.8
"""Price of a seam at an equator, neck or foot, relative to the same seam elsewhere on a smooth wall."""


@dataclass(frozen=True, eq=False)
class NaturalLines:
    """The lines that a form has along one axis.

    heights: (k,) ascending; names: "crease", "equator", "neck", "foot"; crease_share: (k,) share of
    the outline there that lies on creases. profile_*: heights, areas and outline lengths of slices.
    creases: answers which points lie on a crease.
    """

    heights: Floats
    names: tuple[str, ...]
    crease_share: Floats
    creases: CreaseField = field(repr=False)
    profile_heights: Floats = field(repr=False)
    profile_lengths: Floats = field(repr=False)

    def outline_mm(self, heights: Floats) -> Floats:
        """(k,) length of the form's outline at (k,) heights, interpolated."""
        return np.asarray(np.interp(heights, self.profile_heights, self.profile_lengths))

    def at(self, height: float) -> tuple[str, float]:
        """Name and crease share of the natural line at a height; ("", 0) where there is none."""
        if not len(self.heights):
            return "", 0.0
        k = int(np.argmin(np.abs(self.heights - height)))
        if abs(self.heights[k] - height) > SAME_HEIGHT_MM:
            return "", 0.0
        return self.names[k], float(self.crease_share[k])


def natural_lines(mesh: Mesh, rotation: Floats, *, low: float, high: float, angle_deg: float) -> NaturalLines:
    """The natural lines of a form between two heights along the third row of `rotation`.

    Creases of more than `angle_deg` that run level along at least half of the outline; the equators
    (slices of greatest area), necks (least) and the foot's edge.
    """
    edges = crease_edges(mesh, angle_deg=angle_deg)
    crease_heights, lengths = level_creases(mesh, edges, rotation[2], within=SAME_HEIGHT_MM)
    inside = (crease_heights >= low - SAME_HEIGHT_MM) & (crease_heights <= high + SAME_HEIGHT_MM)
    crease_heights, lengths = np.clip(crease_heights[inside], low, high), lengths[inside]
    around = _outline_at(mesh, rotation, crease_heights, low, high)
    share = np.minimum(1.0, lengths / np.maximum(around, 1e-9))
    whole = share >= WHOLE_LINE
    heights = np.linspace(low, high, 257)
    area, length = slice_profile(mesh, heights[1:-1], rotation=rotation)
    found: list[tuple[float, str, float]] = [
        (float(height), "crease", float(part))
        for height, part in zip(crease_heights[whole], share[whole], strict=True)
    ]
    for k, name in _extremes(area):
        height = _exact_extreme(
            mesh, rotation, heights[1:-1][k], heights[1] - heights[0], sign=1 if name == "equator" else -1
        )
        if all(abs(height - other) > SAME_HEIGHT_MM for other, _, _ in found):
            found.append((height, name, 0.0))
    if all(abs(low - other) > SAME_HEIGHT_MM for other, _, _ in found):
        found.append((low, "foot", 0.0))
    found.sort()
    return NaturalLines(
        heights=np.array([height for height, _, _ in found]),
        names=tuple(name for _, name, _ in found),
        crease_share=np.array([part for _, _, part in found]),
        creases=CreaseField(mesh, edges),
        profile_heights=np.concatenate([[low], heights[1:-1], [high]]),
        profile_lengths=np.concatenate([[length[0]], length, [length[-1]]]),
    )


def _outline_at(mesh: Mesh, rotation: Floats, heights: Floats, low: float, high: float) -> Floats:
    """(k,) length of the outline at heights of creases: the longer of just below and just above."""
    hair = 1e-4 * (high - low)
    both = np.unique(np.concatenate([heights - hair, heights + hair]))
    _, length = slice_profile(mesh, both, rotation=rotation)
    index = np.searchsorted(both, heights - hair), np.searchsorted(both, heights + hair)
    return np.maximum(length[index[0]], length[index[1]])


def _extremes(area: Floats) -> list[tuple[int, str]]:
    """Indices of the inner maxima and minima of a profile, flat stretches and ripples left out."""
    ripple = 1e-3 * float(area.max())
    found: list[tuple[int, str]] = []
    rising, anchor = True, 0  # anchor: the extreme so far of the stretch under way
    for k in range(1, len(area)):
        further = area[k] > area[anchor] if rising else area[k] < area[anchor]
        if further:
            anchor = k
        elif abs(area[k] - area[anchor]) > ripple:
            if anchor > 0:
                found.append((anchor, "equator" if rising else "neck"))
            rising, anchor = not rising, k
    return found


def _exact_extreme(mesh: Mesh, rotation: Floats, near: float, within: float, *, sign: int) -> float:
    """The height of greatest (or least) area near a sampled one, tried at the mesh's own vertices."""
    height = mesh.vertices @ rotation[2]
    own = np.unique(np.round(height[np.abs(height - near) <= within], 6))
    tried = np.unique(np.concatenate([[near], own[:: max(1, len(own) // 64)]]))
    area, _ = slice_profile(mesh, tried, rotation=rotation)
    before, _ = slice_profile(mesh, tried - 1e-6, rotation=rotation)
    return float(tried[int(np.argmax(sign * (np.maximum if sign > 0 else np.minimum)(area, before)))])


def spread(levels: Floats, natural: NDArray[np.float64]) -> Floats:
    """Ascending `levels` with each natural height put in place of the level nearest to it."""
    kept = levels.copy()
    for height in natural:
        inner = np.arange(1, len(kept) - 1)
        free = inner[~np.isin(kept[inner], natural)]
        if len(free) and not np.isclose(kept, height, atol=1e-9).any():
            kept[free[int(np.argmin(np.abs(kept[free] - height)))]] = height
    return np.unique(kept)
