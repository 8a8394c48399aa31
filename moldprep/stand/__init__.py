"""Stage 3: how the form stands in its mold: opening up, a spare above it, a floor beneath.

The casting pose has the opening on top. Where slip goes in is the rim of a vessel, the foot of a
figurine or a lid, or an opening that is made. The spare is a collar of waste that flares outward
above the rim: plaster is poured around form and spare, the cast grows on both, and the waste is
trimmed off at the rim. `opening` turns the form, `spare` puts the collar on it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..findings import Finding
from ..geometry.mesh import Floats, Mesh
from ..job import OpeningKind, StandJob
from ..sizing import Sizing
from ..working import SILENT, Memo, Watch
from .opening import LEAST_ACROSS_MM, LINES, RISES_MM, Turned, middle_of, turn_form
from .spare import top_of_spare, with_spare

__all__ = ["LEAST_ACROSS_MM", "LINES", "RISES_MM", "Stand", "stand_master"]


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


def stand_master(
    sizing: Sizing, job: StandJob, *, wall_mm: float, watch: Watch = SILENT, memo: Memo | None = None
) -> Stand:
    """Turn the master opening up, put its spare on it and a floor of plaster beneath.

    Left to the form, the opening is a flat level end on top, at least 15 mm across: the rim;
    otherwise a flat level end at the bottom: the foot. A flat neck on top goes before a larger flat
    foot, since a vase stands on more than it pours through. `wall_mm` is the plaster over anything
    that rises above the rim, and under the foot when the job gives no floor. `memo` keeps what does not
    depend on the wall: where nothing rises above the rim, that is all but the floor, meshes included.

    Raises FormError "no-opening" when the form has no end for the opening asked for, FormError
    "hollow-form" when its inside is modelled, and JobError when a made opening misses the form or a
    spare is needed and switched off; each says the cure.
    """
    kept = memo or Memo()
    turned = kept.get(
        "turn",
        (sizing.mesh,),
        (job.opening, job.opening_diameter_mm, job.opening_at, job.spare),
        lambda: turn_form(sizing.mesh, job),
    )
    top = top_of_spare(turned, job, wall_mm)
    mesh, findings = kept.get(
        "spare", (turned,), (top, job.spare_flare_deg), lambda: with_spare(turned, job, top)
    )
    return Stand(
        opening=turned.opening,
        chosen_by_form=job.opening is None,
        reason=turned.reason,
        turn=turned.turn,
        form=turned.form,
        mesh=mesh,
        opening_outlines=turned.outlines,
        rim_mm=turned.rim_mm,
        top_mm=top,
        spare_mm=top - turned.rim_mm,
        floor_mm=wall_mm if job.floor_mm is None else job.floor_mm,
        foot_recess_mm=turned.recess_mm,
        findings=(*findings, *_across_finding(turned)),
    )


def _across_finding(turned: Turned) -> tuple[Finding, ...]:
    """An opening that is too narrow to drain well."""
    if turned.end is not None:
        across, where = turned.end.across_mm, middle_of(turned.end)
    else:
        across = float(np.ptp(turned.outlines[0][:, 0]))
        x, y = turned.outlines[0].mean(axis=0)
        where = (float(x), float(y), turned.rim_mm)
    if across >= LEAST_ACROSS_MM:
        return ()
    return (
        Finding(
            "warn",
            "narrow-opening",
            f"The opening is {across:.0f} mm across; less than {LEAST_ACROSS_MM:.0f} mm drains badly and closes up.",
            where=(where,),
            remedy="Widen it, or pour and drain with a funnel and a vent, and keep the wall thin.",
        ),
    )
