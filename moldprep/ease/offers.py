"""The stage itself: what is offered, what it costs the form, and what cannot be offered."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ..cottle import Block
from ..errors import at
from ..findings import Finding
from ..geometry.deviation import distances, samples, surface_of, vertex_distances
from ..geometry.mesh import Floats, Mesh, read_only
from ..job import EaseJob, PullJob
from ..parting import Parting, locked_in
from ..pieces import Pieces
from ..pull import LOCKED
from ..sizing import Sizing
from ..stand import Stand
from ..working import SILENT, Watch
from .fill import filled
from .ground import Ground, Verdict, ground_of, verdict_of
from .taper import narrowed, still_place, tapered, within_reach

SAME_MM = 1e-6
"""Vertices nearer than this to the changed surface are on it."""


@dataclass(frozen=True, eq=False)
class Offer:
    """A changed form that leaves its mold, to compare with the form as it is.

    mesh: the changed master without spare, sized, in the casting pose, to lay over `Stand.form`; turn:
    (4, 4) as `Stand.turn`. deviation: (n,) distance of each vertex of `Stand.form` from the changed
    surface, mm; greatest_mm: of any place of the form. volume_mm3: what the change adds to the form,
    negative for what it takes. taper_deg: a hair more than is said; 0 for a fill. Locked and tight areas are those of the faces'
    classes before and after; faces within reach of the tolerance may count as locked and let go.
    """

    kind: Literal["taper", "fill"]
    says: str
    taper_deg: float
    greatest_mm: float
    volume_mm3: float
    locked_before_mm2: float
    locked_after_mm2: float
    tight_before_mm2: float
    tight_after_mm2: float
    mesh: Mesh = field(repr=False)
    turn: Floats = field(repr=False)
    deviation: Floats = field(repr=False)


@dataclass(frozen=True)
class Ease:
    """What is offered, the least deviation first, and why there is no more."""

    offers: tuple[Offer, ...] = ()
    findings: tuple[Finding, ...] = ()


def offer_ease(
    stand: Stand,
    block: Block,
    parting: Parting,
    pieces: Pieces,
    job: EaseJob,
    *,
    pull: PullJob,
    watch: Watch = SILENT,
) -> Ease:
    """The smallest taper, and the smallest fill, with which the chosen pieces let go of the form.

    Nothing is offered where nothing is locked beyond the tolerance and no piece drags: where more than
    a hundredth of what a piece touches has less draft than asked. Each offer was judged as the form
    was: free at the same tolerance under the same pulls, and where the form dragged a taper cures that too.
    """
    held = (pieces.face_class == LOCKED).any() or not parting.chosen.reach_mm <= pull.tolerance_mm
    ground = ground_of(stand, block, parting, pieces, pull)
    spots = locked_in(stand.mesh, parting.chosen, pull.tolerance_mm, block=block) if held else ()
    before = verdict_of(ground, stand.mesh, pieces.face_piece, pieces.face_class, spots)
    if not before.spots and not before.drags.any():
        return Ease()
    offers, findings = [], []
    for offer, finding in (_taper(ground, before, job, watch), _fill(ground, before, job, watch)):
        offers += [offer] if offer else []
        findings += [finding] if finding else []
    return Ease(tuple(sorted(offers, key=lambda one: one.greatest_mm)), tuple(findings))


def as_drawn(offer: Offer, sizing: Sizing) -> Mesh:
    """The changed form upright on its foot at the size that the file shows it, mm, to be planned again.

    It undoes the turn into the casting pose and the scale from drawn to master. A stretch stays in: take
    it out of the job that plans it again, and give that job mm and z up.
    """
    master = offer.mesh.transformed(np.asarray(np.linalg.inv(offer.turn), np.float64))
    return Mesh(master.vertices / (np.array(sizing.factor) * sizing.scale), master.faces)


def _taper(
    ground: Ground, before: Verdict, job: EaseJob, watch: Watch
) -> tuple[Offer | None, Finding | None]:
    if job.most_taper_deg <= 0:
        return None, None
    found = tapered(ground, before, job.most_taper_deg, watch)
    if found is None and before.spots and not within_reach(ground, before, job.most_taper_deg):
        return None, None  # nobody would think of a taper there
    if found is None:
        cures = "lets the form go" if before.spots else "gives the form the draft that was asked for"
        return None, Finding(
            "note",
            "no-taper",
            f"No taper of up to {job.most_taper_deg:g}° {cures}.",
            remedy="Fill or re-model what holds, or allow more: ease.most_taper_deg.",
        )
    angle, narrowings, after = found
    form = narrowed(ground.stand.form, narrowings, angle)
    still = " and ".join(dict.fromkeys(still_place(ground, one) for one in narrowings))
    about = "the vertical" if all(abs(one.direction[2]) > 0.999 for one in narrowings) else "the pull"
    offer = _offer(ground, "taper", angle, form, before, after)
    says = f"Taper of {angle:.1f}° about {about}, {offer.greatest_mm:.1f} mm at the most; the {still} stays as it is."
    return replace(offer, says=says), None


def _fill(ground: Ground, before: Verdict, job: EaseJob, watch: Watch) -> tuple[Offer | None, Finding | None]:
    if job.most_fill_mm <= 0 or not before.spots:
        return None, None
    deepest = before.spots[0]
    if deepest.reach_mm > job.most_fill_mm:
        return None, Finding(
            "note",
            "fill-too-deep",
            f"The undercut at {at(deepest.where)} is {deepest.reach_mm:.1f} mm deep; "
            f"fills of up to {job.most_fill_mm:g} mm are offered.",
            (deepest.where,),
            "Part the mold otherwise, re-model it there, or allow more: ease.most_fill_mm.",
        )
    found = filled(ground, before, watch)
    if found is None:
        return None, Finding(
            "note",
            "no-fill",
            f"Filling along the pull does not free the undercut at {at(deepest.where)}.",
            (deepest.where,),
            "Re-model the form there.",
        )
    offer = _offer(ground, "fill", 0.0, found.form, before, found.after)
    if offer.greatest_mm > job.most_fill_mm:
        return None, Finding(
            "note",
            "fill-too-deep",
            f"Filling the undercuts would change the form by {offer.greatest_mm:.1f} mm; "
            f"fills of up to {job.most_fill_mm:g} mm are offered.",
            (deepest.where,),
            "Re-model it there, or allow more: ease.most_fill_mm.",
        )
    gone = ground.stand.form.vertices[offer.deviation > SAME_MM, 2]
    low, high = min([found.low_mm, *gone]), max([found.high_mm, *gone])
    places = "the undercut" if len(before.spots) == 1 else f"{len(before.spots)} undercuts"
    says = (
        f"Fill {places} {low:.0f} to {high:.0f} mm above the foot: "
        f"{offer.volume_mm3:.0f} mm³, at most {offer.greatest_mm:.1f} mm."
    )
    return replace(offer, says=says), None


def _offer(
    ground: Ground,
    kind: Literal["taper", "fill"],
    angle: float,
    form: Mesh,
    before: Verdict,
    after: Verdict,
) -> Offer:
    """The offer with its figures, measured on what is offered; its words are still to come."""
    surface, own = surface_of(form), ground.stand.form
    deviation = vertex_distances(own, form, surface)
    between = distances(samples(own), surface)
    return Offer(
        kind=kind,
        says="",
        taper_deg=angle,
        greatest_mm=float(max(deviation[np.unique(own.faces)].max(), between.max(initial=0.0))),
        volume_mm3=form.volume - own.volume,
        locked_before_mm2=before.locked_mm2,
        locked_after_mm2=after.locked_mm2,
        tight_before_mm2=before.tight_mm2,
        tight_after_mm2=after.tight_mm2,
        mesh=form,
        turn=ground.stand.turn,
        deviation=np.asarray(read_only(deviation)),
    )
