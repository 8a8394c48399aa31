"""Whether a smaller copy of a form stands in a larger one's hollow."""

from __future__ import annotations

import numpy as np

from .distance import DistanceField
from .mesh import Floats

AZIMUTHS = 72
LEVELS = 128


def nesting_gap(
    distances: DistanceField,
    axis: tuple[float, float],
    *,
    large: float,
    small: float,
    level: float,
    rim: float,
) -> float:
    """Least level gap between the outside of a copy scaled by `small` and the hollow of one scaled by `large`, mm.

    Both stand on the same upright axis (x, y), the small one with its foot on the large one's floor there.
    level: inward offset that makes the large one's hollow, mm at its own scale 1, as is the rim's height.
    Compared on `LEVELS` heights that both reach and `AZIMUTHS` directions; negative when the
    small one does not go in, -inf where the large one is not hollow on the axis.
    """
    upright = distances.at(np.column_stack([np.tile(axis, (len(distances.heights), 1)), distances.heights]))
    k = int(np.argmax(upright >= level))
    if k == 0 or upright[k] < level:
        return -np.inf
    share = (level - upright[k - 1]) / (upright[k] - upright[k - 1])
    floor = large * float(distances.heights[k - 1] + share * distances.pitch)
    first, last = floor + large * distances.pitch, min(large * rim, floor + small * rim)
    if last <= first:
        return -np.inf
    heights = np.linspace(first, last, LEVELS)
    hollow = large * _radii(distances, axis, heights / large, level, outermost=False)
    outside = small * _radii(distances, axis, (heights - floor) / small, 0.0, outermost=True)
    return float((hollow - outside).min())


def _radii(
    distances: DistanceField, axis: tuple[float, float], heights: Floats, level: float, *, outermost: bool
) -> Floats:
    """(levels, azimuths) how far from the axis {field >= level} first ends, or where it ends for good."""
    step = distances.pitch / 2
    reach = distances.pitch * float(np.hypot(*distances.values.shape[:2]))
    radius = np.arange(0, reach, step)
    angle = 2 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS
    found = []
    for height in heights:
        x = axis[0] + radius * np.cos(angle)[:, None]
        y = axis[1] + radius * np.sin(angle)[:, None]
        over = distances.at(np.stack([x, y, np.full_like(x, height)], axis=-1)) - level
        ends = (over[:, :-1] >= 0) & (over[:, 1:] < 0)
        at = ends.shape[1] - 1 - np.argmax(ends[:, ::-1], axis=1) if outermost else np.argmax(ends, axis=1)
        row = np.arange(AZIMUTHS)
        a, b = over[row, at], over[row, at + 1]
        met = ends.any(axis=1) if outermost else ends.any(axis=1) & (over[:, 0] >= 0)
        found.append(np.where(met, step * (at + a / np.where(met, a - b, 1.0)), 0.0))
    return np.array(found)
