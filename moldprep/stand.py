"""Stage 3: how the form stands in its mold: opening up, a spare above it, a floor beneath."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from .findings import Finding
from .geometry.mesh import Floats, Mesh
from .job import OpeningKind, StandJob
from .working import SILENT, Watch

if TYPE_CHECKING:
    from .sizing import Sizing


@dataclass(frozen=True, eq=False)
class Stand:
    """The form in the casting pose, with its spare.

    turn: (4, 4), sizing.mesh -> casting pose. form: the sized master, opening up, lowest point on
    z = 0, without spare; mesh: form united with its spare, which is what the plaster is poured
    around. opening_outlines: closed outlines (k, 2) without repeated last point, counter-clockwise,
    of the opening at `rim_mm`, where the waste trims off. top_mm: the opening plane, top of the
    spare and of the block. The block's bottom is z = -floor_mm. foot_recess_mm: depth of a recess
    under the foot, 0 when there is none.
    """

    opening: OpeningKind
    chosen_by_form: bool
    reason: str
    turn: Floats = field(repr=False)
    form: Mesh = field(repr=False)
    mesh: Mesh = field(repr=False)
    opening_outlines: tuple[Floats, ...] = field(repr=False)
    rim_mm: float
    top_mm: float
    spare_mm: float
    floor_mm: float
    foot_recess_mm: float
    findings: tuple[Finding, ...] = ()


def stand_master(sizing: Sizing, job: StandJob, *, wall_mm: float, watch: Watch = SILENT) -> Stand:
    """Turn the master opening up, put its spare on it and a floor of plaster beneath."""
    raise NotImplementedError
