"""The block before the form is taken out of it: its edges eased, cut into the slabs that pieces are made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..cottle import Block
from ..geometry.mesh import Floats
from ..geometry.outlines import outlines
from ..geometry.solids import Solid, hulled, prism, split
from ..parting import Layer

CORNER_DEG = 30.0
"""An outline that turns by more than this at a point has a corner there, which is eased too."""


@dataclass(frozen=True, eq=False)
class Slab:
    """A piece to be: its layer, its pull, its seam planes (it lies at normal . p > offset), its solid.

    eased_mm3: what was taken off its outer edges, after pouring. displaced_mm3: the form's volume in it,
    once it is taken out.
    """

    layer: int
    kind: str
    pull: Floats
    planes: tuple[tuple[Floats, float], ...]
    solid: Solid
    eased_mm3: float = 0.0
    displaced_mm3: float = 0.0


def bare_block(block: Block) -> Solid:
    """The prism that the cottle holds."""
    return prism(block.outline, block.bottom_mm, block.top_mm)


def eased_block(block: Block, chamfer: float) -> Solid:
    """The block with its outer edges cut off at 45 degrees, `chamfer` mm wide on both faces.

    The edges of the opening and of the seams stay sharp: the knife trims along the one, and plaster
    is cast against the others.
    """
    if chamfer <= 0:
        return bare_block(block)
    around = _without_corners(block.outline, chamfer)
    narrow = outlines(shapely.Polygon(around).buffer(-chamfer, join_style="mitre"))[0]
    low, high = block.bottom_mm, block.top_mm
    rings = ((narrow, low), (around, low + chamfer), (around, high - chamfer), (narrow, high))
    return hulled(np.vstack([np.column_stack([ring, np.full(len(ring), z)]) for ring, z in rings]))


def cut_slabs(
    whole: Solid, eased: Solid, layers: Sequence[Layer], rotation: Floats, crumb: float
) -> list[Slab]:
    """The eased block cut into layers along rotation[2] and halves; the form is still in them.

    Cutting the bare block first is quick: planes through a million triangles take longer. The bare
    block is cut alike, to tell what easing took from each. What has no volume is left out.
    """
    made = []
    for (number, kind, pull, planes, solid), (*_, bare) in zip(
        _cuts(eased, layers, rotation), _cuts(whole, layers, rotation), strict=True
    ):
        if solid.volume() > crumb:
            made.append(Slab(number, kind, pull, planes, solid, bare.volume() - solid.volume()))
    return made


def _cuts(
    block: Solid, layers: Sequence[Layer], rotation: Floats
) -> Iterator[tuple[int, str, Floats, tuple[tuple[Floats, float], ...], Solid]]:
    """Layer, kind, pull, seam planes and solid of each part.

    The lowest and highest layers take all that lies beyond them, so only the planes between layers cut.
    """
    u, v, axis = rotation
    rest = block
    for k, layer in enumerate(layers):
        slab, last = rest, k == len(layers) - 1
        if not last:
            rest, slab = split(rest, axis, layer.high_mm)
        planes = [(axis, layer.low_mm)] if k else []
        planes += [] if last else [(-axis, -layer.high_mm)]
        if layer.kind != "split":
            yield k, layer.kind, axis if layer.kind == "up" else -axis, tuple(planes), slab
            continue
        azimuth = np.radians(layer.azimuth_deg or 0.0)
        across, offset = np.cos(azimuth) * u + np.sin(azimuth) * v, layer.offset_mm or 0.0
        across = np.where(np.abs(across) < 1e-15, 0.0, across)  # the cosine of 90 degrees
        ahead, behind = split(slab, across, offset)
        yield k, "half", across, (*planes, (across, offset)), ahead
        yield k, "half", -across, (*planes, (-across, -offset)), behind


def _without_corners(outline: Floats, chamfer: float) -> Floats:
    """A convex outline (k, 2) with each corner replaced by a short straight edge."""
    before, after = np.roll(outline, 1, axis=0) - outline, np.roll(outline, -1, axis=0) - outline
    found = []
    for point, back, ahead in zip(outline, before, after, strict=True):
        turn = np.degrees(
            np.arccos(np.clip(-back @ ahead / np.linalg.norm(back) / np.linalg.norm(ahead), -1, 1))
        )
        if turn > CORNER_DEG:
            found += [point + chamfer * side / np.linalg.norm(side) for side in (back, ahead)]
        else:
            found.append(point)
    return np.array(found)
