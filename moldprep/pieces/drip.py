"""A flat cut into the block's outer edge beside the opening, on which the emptied mold rests to drip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ..cottle import Block
from ..findings import Finding
from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import section
from ..geometry.solids import Solid, difference, from_manifold
from ..parting import Layer
from .order import point_of

STEADY_MM = 5.0
"""The centre of mass stands over the flat by this much at least, or the mold is taken to topple."""
INSIDE_MM = 0.05
"""The flat's outline is read this far inside the mold."""


def drip_plane(block: Block, form: Floats, layers: Sequence[Layer], tilt_deg: float) -> tuple[Floats, float]:
    """Normal and offset of the flat on which the emptied mold rests, its opening tilted from straight down.

    form: (n, 3) points of form and spare. The flat lies half a wall outside the form, on the side to
    which a half leaves, so that it lies on one half as far as it can.
    """
    azimuth = next((layer.azimuth_deg for layer in layers if layer.kind == "split"), None)
    around = np.radians(0.0 if azimuth is None else azimuth)
    side = np.array([np.cos(around), np.sin(around), 0.0])
    tilt = np.radians(tilt_deg)
    normal = np.sin(tilt) * side + np.cos(tilt) * np.array([0.0, 0.0, 1.0])
    return normal, float((form @ normal).max()) + block.wall_mm / 2


def drip_findings(
    mold: Mesh, form: Solid, block: Solid, normal: Floats, offset: float
) -> tuple[Finding, ...]:
    """A `warn` where the bevel cuts nothing off, or where the emptied mold would topple off its flat.

    mold: the bevelled block; the emptied mold is that less the form.
    """
    rotation = rotation_for(normal)
    flat = section(mold, offset - INSIDE_MM, rotation=rotation)
    if float((mold.vertices @ normal).max()) < offset - 1e-6:
        says = (
            "The drip bevel lies outside the block: the walls are too thin, or the tilt too small, for one."
        )
        return (Finding("warn", "drip-bevel", says, remedy="Tilt further, or prop the mold on a wedge."),)
    centre = from_manifold(difference(block, form)).centre_of_mass
    over = shapely.Point(rotation[:2] @ centre)
    if flat.buffer(-STEADY_MM).contains(over):
        return ()
    where = (
        f"only {flat.boundary.distance(over):.0f} mm within"
        if flat.contains(over)
        else f"{flat.distance(over):.0f} mm beside"
    )
    says = f"On its drip bevel the emptied mold topples: its centre of mass stands {where} the flat."
    remedy = "Lean it against a wall as well, or choose another tilt (drip_bevel_deg)."
    return (Finding("warn", "drip-bevel", says, where=(point_of(centre),), remedy=remedy),)
