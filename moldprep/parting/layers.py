"""What a parting is made of: layers, seams, candidates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import Point
from ..job import Family

LayerKind = Literal["down", "split", "up"]


@dataclass(frozen=True)
class Layer:
    """One layer of the stack, between two heights along the stack axis.

    `down` leaves against the axis, `up` along it. A `split` layer's halves leave along plus and minus
    (cos azimuth, sin azimuth) across the axis and part on the plane where that direction's
    coordinate is `offset_mm`.
    """

    low_mm: float
    high_mm: float
    kind: LayerKind
    azimuth_deg: float | None = None
    offset_mm: float | None = None


@dataclass(frozen=True)
class Seam:
    """One seam line on the form below the rim.

    kind: `horizontal` across the stack axis, `vertical` along it. length_mm on the form's surface;
    crease_share: part of it that runs on creases. name: "equator", "neck", "foot", "crease", "left
    and right" ...
    """

    kind: Literal["horizontal", "vertical"]
    height_mm: float | None
    azimuth_deg: float | None
    offset_mm: float | None
    low_mm: float | None
    high_mm: float | None
    length_mm: float
    crease_share: float
    name: str


@dataclass(frozen=True)
class Candidate:
    """One way to part the mold, and what it costs.

    axis: stack axis in the casting pose. layers: bottom to top. excess_mm3: locked plaster that
    counts (see `tables`); locked_mm3: all of it. reach_mm: of the deepest place that stays locked.
    price: in mm of smooth level seam. why: why the seams lie where they do.
    """

    axis: Point
    layers: tuple[Layer, ...]
    family: Family
    piece_count: int
    excess_mm3: float
    locked_mm3: float
    reach_mm: float
    seams: tuple[Seam, ...]
    price: float
    why: str

    @property
    def planes_mm(self) -> tuple[float, ...]:
        """Heights of the level seam planes along the stack axis."""
        return tuple(layer.low_mm for layer in self.layers[1:])


def family_of(layers: tuple[Layer, ...]) -> Family:
    """The family's name."""
    kinds = [layer.kind for layer in layers]
    splits = kinds.count("split")
    if splits > 1:
        return "split-layers"
    if splits == 1:
        names: dict[tuple[bool, bool], Family] = {
            (False, False): "halves",
            (True, False): "halves+foot",
            (False, True): "halves+top",
            (True, True): "halves+foot+top",
        }
        return names[kinds[0] == "down", kinds[-1] == "up"]
    return "one-piece" if len(kinds) == 1 else "two-piece"


def piece_count(layers: tuple[Layer, ...]) -> int:
    """How many pieces the mold has."""
    return sum(2 if layer.kind == "split" else 1 for layer in layers)
