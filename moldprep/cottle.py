"""Stage 5: the block of plaster and the cottle around it, from the maker's own rings or boards."""

from __future__ import annotations

from dataclasses import dataclass, field

from .findings import Finding
from .geometry.mesh import Floats
from .job import CottleJob, CottleKind
from .stand import Stand
from .working import SILENT, Watch


@dataclass(frozen=True)
class BlockOption:
    """One cottle that was compared: its inner size, its plaster, and the wall it gives."""

    kind: CottleKind
    inner_mm: tuple[float, ...]
    plaster_mm3: float
    least_wall_mm: float
    greatest_wall_mm: float


@dataclass(frozen=True, eq=False)
class Block:
    """The prism of plaster that the cottle holds, in the casting pose.

    inner_mm: (diameter,) of a ring, (width, depth) between boards, (girth,) of a sheet. outline:
    (k, 2) inner outline of the cottle in plan, counter-clockwise. centre: (2,); turn_deg: how far
    the width's direction is turned from x. volume_mm3: of the whole prism, form included. wall_mm:
    asked; least and greatest wall: on the real form, horizontally; evenness: least / greatest.
    options: what was compared, best first.
    """

    kind: CottleKind
    inner_mm: tuple[float, ...]
    outline: Floats = field(repr=False)
    centre: tuple[float, float]
    turn_deg: float
    bottom_mm: float
    top_mm: float
    fill_mm: float
    area_mm2: float
    volume_mm3: float
    wall_mm: float
    least_wall_mm: float
    greatest_wall_mm: float
    evenness: float
    options: tuple[BlockOption, ...]
    findings: tuple[Finding, ...] = ()


def choose_block(stand: Stand, job: CottleJob, *, wall_mm: float, watch: Watch = SILENT) -> Block:
    """The cottle that wastes least plaster, or the one asked for."""
    raise NotImplementedError
