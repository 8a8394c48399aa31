"""Heights at which a form may be cut into sections, and what makes one better than another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.mesh import Floats, read_only
from ..parting import Parting
from ..stand import Stand

STEPS = 96
"""Evenly spaced heights along the form."""
DRAWN_MM = 2.0
"""A cut is drawn to a seam plane or crease that lies so near: the joint does not show there."""
SAME_MM = 0.2
"""Lines nearer than this are one; the first named counts."""
WHOLE_LINE = 0.5
"""Share of the outline on a crease from which a joint there does not show."""
FLUSH_MM = 0.01
"""What lies so near to a cut lies in it: far less than a printer resolves."""
UPRIGHT = 1 - 1e-9


@dataclass(frozen=True, eq=False)
class Heights:
    """Heights for cuts, ascending, the form's two ends included. names: what the form has there, "" for
    nothing. hidden: (n,) whether a joint there does not show."""

    heights: Floats
    names: tuple[str, ...]
    hidden: tuple[bool, ...]

    def __post_init__(self) -> None:
        read_only(self.heights)


def cut_heights(stand: Stand, parting: Parting, *, steps: int = STEPS) -> Heights:
    """Seam planes, the rim where the spare is trimmed off, creases, equators and necks, and an even grid.

    The joint hides on the first three: the mold's seam or a line of the form runs there. Grid heights
    nearer than `DRAWN_MM` to those give way to them.
    """
    low, high = (float(value) for value in stand.mesh.bounds[:, 2])
    lines = parting.lines
    natural = list(zip(lines.heights, lines.names, lines.crease_share, strict=True))
    found: list[tuple[float, str, bool]] = [(low, "", False), (high, "", False)]
    if parting.chosen.axis[2] > UPRIGHT:
        found += [(height, "seam plane", True) for height in parting.chosen.planes_mm]
    if stand.spare_mm > 0:
        found.append((stand.rim_mm, "rim", True))
    found += [(float(height), "crease", True) for height, _, share in natural if share >= WHOLE_LINE]
    hides = np.array([height for height, _, hidden in found if hidden])
    found += [(float(height), name, False) for height, name, share in natural if share < WHOLE_LINE]
    grid = np.linspace(low, high, steps + 1)[1:-1]
    drawn = np.abs(grid[:, None] - hides).min(axis=1, initial=np.inf) < DRAWN_MM
    found += [(float(height), "", False) for height in grid[~drawn]]
    kept: list[tuple[float, str, bool]] = []
    for entry in found:
        if low <= entry[0] <= high and all(abs(entry[0] - other[0]) > SAME_MM for other in kept):
            kept.append(entry)
    kept.sort()
    return Heights(
        np.array([low, *(round(height, 6) for height, _, _ in kept[1:-1]), high]),
        tuple(name for _, name, _ in kept),
        tuple(hidden for _, _, hidden in kept),
    )
