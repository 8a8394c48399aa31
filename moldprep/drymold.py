"""Stage 13a: how the mold dries: what each piece weighs on the way, and how long it takes where.

Pieces dry banded together as a mold, so that they keep their shape: air meets the outside alone. What the
opening adds is left out. Hours are for the whole mold, whose pieces then dry alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from .drying import CRITICAL_WATER, READY_WATER
from .findings import Finding
from .formulas import drying, gypsum
from .geometry.mesh import Bools
from .job import PlasterJob, StudioJob
from .materials import AIR_DRYING, KILN_DRYING, SHELF_DRYING, Range
from .mixing import plaster_of
from .pieces import SAME_WAY, Piece, Pieces
from .poses import joint_planes
from .pour import PourPlan
from .working import Memo

ON_FACE_SHARE = 1e-5
"""Of the size of a piece: a face this near to a plane lies in it."""
WAYS: tuple[tuple[str, Range], ...] = (
    ("in still air", AIR_DRYING),
    ("on a warm shelf, air moving", SHELF_DRYING),
    ("in the rest heat of a kiln", KILN_DRYING),
)


@dataclass(frozen=True)
class DryPiece:
    """One piece on its way. poured_g: plaster and water in the mold; set_g: demolded, its edges eased; dry_g:
    bone dry. ready_low_g to ready_high_g: ready to cast, 5 to 15 % water on dry weight. outer_mm2: of its
    surface, what air meets while the mold is banded together.
    """

    letter: str
    name: str
    poured_g: float
    set_g: float
    dry_g: float
    ready_low_g: float
    ready_high_g: float
    outer_mm2: float


@dataclass(frozen=True)
class DryWay:
    """One way to dry. hours: from demolding to ready (10 % water), least and most. rate: what evaporates."""

    name: str
    hours: tuple[float, float]
    rate: Range


@dataclass(frozen=True)
class DryPlan:
    """Weights of the pieces, and times of the whole mold; steps: what to do, in order."""

    pieces: tuple[DryPiece, ...]
    set_g: float
    dry_g: float
    ready_low_g: float
    ready_high_g: float
    outer_mm2: float
    ways: tuple[DryWay, ...]
    steps: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


def plan_dry(
    pieces: Pieces, pours: PourPlan, plaster: PlasterJob, studio: StudioJob, *, memo: Memo | None = None
) -> DryPlan:
    """How the pieces of a mold dry, in the order in which they were poured. `memo` keeps their outsides, whatever
    plaster they are of."""
    kept = memo or Memo()
    outsides = kept.get("outsides", (pieces,), None, lambda: _outsides(pieces))
    by_letter = {piece.letter: piece for piece in pieces.pieces}
    consistency, density = plaster.consistency / 100, plaster_of(plaster).hemihydrate_density_kg_m3
    wet = gypsum.wet_density_kg_m3(consistency, hemihydrate_density=density) / 1e6
    dry = gypsum.dry_density_kg_m3(consistency, purity=plaster.purity, hemihydrate_density=density) / 1e6
    found = []
    for pour in pours.pours:
        piece = by_letter[pour.piece]
        dry_g = dry * piece.volume_mm3
        found.append(
            DryPiece(
                letter=piece.letter,
                name=piece.name,
                poured_g=pour.wet_g,
                set_g=wet * piece.volume_mm3,
                dry_g=dry_g,
                ready_low_g=drying.weight_at(drying.READY_LOW, dry_g),
                ready_high_g=drying.weight_at(drying.READY_HIGH, dry_g),
                outer_mm2=outsides[piece.letter],
            )
        )
    set_g, dry_g = sum(one.set_g for one in found), sum(one.dry_g for one in found)
    outer = sum(one.outer_mm2 for one in found)
    ways = tuple(DryWay(name, drying_hours(set_g, dry_g, outer, rate), rate) for name, rate in WAYS)
    return DryPlan(
        pieces=tuple(found),
        set_g=set_g,
        dry_g=dry_g,
        ready_low_g=drying.weight_at(drying.READY_LOW, dry_g),
        ready_high_g=drying.weight_at(drying.READY_HIGH, dry_g),
        outer_mm2=outer,
        ways=ways,
        steps=_steps(len(found)),
        findings=_heat_findings(studio),
    )


def drying_hours(set_g: float, dry_g: float, outer_mm2: float, rate: Range) -> tuple[float, float]:
    """Hours from set to ready by drying theory, least and most (`formulas.drying`).

    The least with the greatest rate, constant almost to the end; the most with the least rate, falling
    from as early as is usual (`drying.CRITICAL_WATER`).
    """
    begin, area_m2 = drying.water_left(set_g, dry_g), outer_mm2 / 1e6
    low, high = (
        float(
            drying.hours_to(
                READY_WATER, np.array(begin), np.array(speed * area_m2 / (dry_g / 1000)), np.array(critical)
            )
        )
        for speed, critical in zip((rate.high, rate.low), CRITICAL_WATER, strict=True)
    )
    return low, high


def _outsides(pieces: Pieces) -> dict[str, float]:
    """Area of each piece that air meets on the banded mold, by its letter, mm2."""
    return {
        piece.letter: float(piece.mesh.areas[outer_faces(piece, pieces)].sum()) for piece in pieces.pieces
    }


def outer_faces(piece: Piece, pieces: Pieces) -> Bools:
    """(t,) the faces of a piece that air meets when the mold is banded together.

    The cottle is convex, and so is what it leaves outside: on its flats and eased edges all of the piece
    lies behind the face. Form, sockets and the sides of knobs are not; joint faces and the tops of knobs
    are, and look towards the neighbour.
    """
    mesh = piece.mesh
    near = ON_FACE_SHARE * float(mesh.extents.max())
    outer: Bools = (piece.form_face < 0) & (mesh.areas > 0)
    for normal, offset in joint_planes(piece, pieces):
        towards = mesh.normals @ np.array(normal) < -SAME_WAY
        outer &= ~(towards & (mesh.centroids @ np.array(normal) < offset + near))
    picked = np.flatnonzero(outer)
    corners = mesh.vertices[np.unique(mesh.faces[piece.form_face < 0])]
    corners = corners[ConvexHull(corners).vertices]
    own = np.ones(len(corners), bool)
    for normal, offset in joint_planes(piece, pieces):
        own &= corners @ np.array(normal) > offset - near  # without the knobs, which stand out
    reach = (mesh.normals[picked] @ corners[own].T).max(axis=1)
    level = np.einsum("fk,fk->f", mesh.normals[picked], mesh.centroids[picked])
    outer[picked[reach > level + near]] = False
    return outer


def _steps(count: int) -> tuple[str, ...]:
    bound = (
        f"Put the {count} pieces together again while they are damp, and band them: apart they warp."
        if count > 1
        else "Turn it over once a day."
    )
    return (
        "Ease the outer edges 1–2 mm and sand while it is damp; break a sharp rim with fine paper only.",
        bound,
        "Stand it on slats, a hand's width from the next, so that air reaches all sides, the underside too.",
        f"Warm it, never hot: {drying.WARN_C:.0f} °C is warm enough, and from {drying.STOP_C:.0f} °C (120 °F) dry gypsum loses its "
        "own water and crumbles. In a kiln wait until it has cooled below that, and leave the lid ajar.",
        "Weigh it: it is ready by weight, not by time.",
    )


def _heat_findings(studio: StudioJob) -> tuple[Finding, ...]:
    if studio.shelf_c < drying.WARN_C:
        return ()
    remedy = f"Keep it below {drying.WARN_C:.0f} °C, with moving air instead of heat."
    says = f"A drying place of {studio.shelf_c:g} °C"
    if studio.shelf_c >= drying.STOP_C:
        says += f" spoils molds: dry gypsum loses its own water from {drying.STOP_C:.0f} °C (120 °F) and crumbles."
        return (Finding("stop", "dry-hot", says, remedy=remedy),)
    says += f" is close to the {drying.STOP_C:.0f} °C (120 °F) at which dry gypsum loses its own water."
    return (Finding("warn", "dry-warm", says, remedy=remedy),)
