"""What the page and its planning process say to each other: plain values that cross a process boundary.

Places and heights are mm in the casting pose (opening up, the foot on z = 0) unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ...errors import Point
from ...findings import Finding


@dataclass(frozen=True)
class Read:
    """A form that was read: what the file held. size_mm: as drawn, in mm, z up. digest: SHA-256 of the file."""

    name: str
    triangles: int
    units: str
    size_mm: Point
    digest: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Looked:
    """A form that was checked. record: as `sheet.record.check_record`; classes: GLB of `Stand.mesh`, one node
    a class ("free", "tight", "locked"), thinned out where it is very fine, its draft judged for the study's
    first pull; bounds: least and greatest corner of what is shown."""

    record: dict[str, Any]
    classes: bytes = field(repr=False)
    bounds: tuple[Point, Point]


@dataclass(frozen=True)
class PartView:
    """One solid of the mold to look at. letter: "" for the master; glb: one node, where it stands in the mold;
    apart: how far it is drawn out of the closed mold when everything is apart."""

    letter: str
    name: str
    tint: str
    apart: Point
    glb: bytes = field(repr=False)


@dataclass(frozen=True)
class Planned:
    """A mold that was planned. record: the bytes of plan.json; classes: as in `Looked`, every face judged for the
    piece that touches it; highest_mm: upper end of the heights a level seam may take (the rim), above 0."""

    record: bytes = field(repr=False)
    hash: str
    stop: bool
    parts: tuple[PartView, ...]
    classes: bytes = field(repr=False)
    bounds: tuple[Point, Point]
    highest_mm: float


@dataclass(frozen=True)
class SeamPrice:
    """What a moved stack of seams would cost, from the parting tables alone; nothing is cut for it.

    planes_mm: heights of the level seams, as priced. locked_mm3: all plaster that stays locked; excess_mm3: what
    of it counts. level_mm, upright_mm: lengths of the seams on the form; level_crease, upright_crease: share of
    those lengths on creases. names: what the form has at each level plane ("equator", "crease", "smooth wall").
    price: in mm of smooth level seam, as a plan's.
    """

    planes_mm: tuple[float, ...]
    azimuth_deg: float | None
    pieces: int
    locked_mm3: float
    excess_mm3: float
    level_mm: float
    level_crease: float
    upright_mm: float
    upright_crease: float
    names: tuple[str, ...]
    price: float
