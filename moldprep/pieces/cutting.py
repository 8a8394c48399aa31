"""Stage 7: the pieces of the mold as solids, named, in the order in which they come off.

The block's outer edges are eased, it is cut along the planes of the chosen layers, natches are set
into the joints, and the form is taken out of each piece. Each piece is one connected solid: plaster
that a plane cuts off from its piece (the boss in a foot recess) goes to the neighbour that touches
it and whose pull frees it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..cottle import Block
from ..errors import Point
from ..findings import Finding
from ..geometry.columns import rotation_for
from ..geometry.mesh import Mesh, read_only, without_cracks
from ..geometry.solids import Solid, difference, from_manifold, from_traced, intersection, split, to_traced
from ..job import PiecesJob, PullJob
from ..parting import Parting
from ..stand import Stand
from ..working import SILENT, Watch
from .drip import drip_findings, drip_plane
from .islands import one_solid_each
from .met import classes, least_draft, owners
from .natches import Joint, natched
from .order import bench_names, point_of, removal_rank
from .slabs import Slab, bare_block, cut_slabs, eased_block

MOST_IMBALANCE = 1e-6
"""Pieces and form together are the block within this share of it."""
CRUMB = 1e-8
"""Plaster below this share of the block is the rounding of a boolean, not a piece."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of the mold: one connected solid of plaster.

    pull: unit direction in which the piece leaves, casting pose. mesh: as it is used, outer edges eased;
    form_face: (t,) for each of its triangles the face of `Stand.mesh` that it is part of, -1 outside and
    on joints. volume_mm3: of the mesh; poured_mm3: with what is taken off the edges afterwards.
    least_draft_deg: area-weighted 1 % quantile of the draft of the faces it touches, beyond 3 mm from
    the seams.
    """

    letter: str
    name: str
    pull: Point
    mesh: Mesh = field(repr=False)
    form_face: NDArray[np.int64] = field(repr=False)
    volume_mm3: float
    poured_mm3: float
    displaced_mm3: float
    least_draft_deg: float


@dataclass(frozen=True, eq=False)
class Pieces:
    """The pieces in the order in which they come off, their joints, and what each face of the form meets.

    removed_mm3: plaster of the block that is in no piece: eased edges, clearance of inserts. balance:
    |pieces + removed + master - block| / block. face_piece: (m,) int8, index of the piece that each
    face of `Stand.mesh` touches (most of, when it crosses a seam), -1 on the opening. face_class:
    (m,) uint8, `pull.FREE`, `TIGHT` or `LOCKED` for each face under the pull of its own piece.
    """

    pieces: tuple[Piece, ...]
    joints: tuple[Joint, ...]
    block_volume_mm3: float
    removed_mm3: float
    balance: float
    face_piece: NDArray[np.int8] = field(repr=False)
    face_class: NDArray[np.uint8] = field(repr=False)
    findings: tuple[Finding, ...] = ()


def cut_pieces(
    stand: Stand,
    block: Block,
    parting: Parting,
    pull: PullJob,
    job: PiecesJob,
    *,
    watch: Watch = SILENT,
) -> Pieces:
    """The block less the form, cut along the chosen parting, with natches and eased edges.

    The order is that of the bench, the mold turned over: top piece, foot piece, then the halves,
    upper layers first. A piece that falls apart, or volumes that do not add up, are `stop` findings.
    """
    form, mark = to_traced(stand.mesh)
    whole = bare_block(block)
    crumb = CRUMB * whole.volume()
    layers, rotation = parting.chosen.layers, rotation_for(parting.chosen.axis)
    watch.step(1, 5)
    eased = eased_block(block, job.chamfer_mm)
    about_drip: tuple[Finding, ...] = ()
    if job.drip_bevel_deg > 0:
        normal, offset = drip_plane(block, stand.mesh.vertices, layers, job.drip_bevel_deg)
        eased = split(eased, normal, offset)[1]
        about_drip = drip_findings(from_manifold(eased), form, eased, normal, offset)
    slabs = cut_slabs(whole, eased, layers, rotation, crumb)
    slabs.sort(key=removal_rank)
    slabs, joints, about_natches = natched(slabs, stand.mesh, block, eased, rotation[2], job)
    removed = whole.volume() - sum(slab.solid.volume() for slab in slabs)
    watch.step(2, 5)
    slabs = _less_form(slabs, form, crumb)
    watch.step(3, 5)
    before = slabs
    slabs, about_islands = one_solid_each(slabs, stand.mesh, pull.tolerance_mm, crumb)
    watch.step(4, 5)
    surfaces = [from_traced(slab.solid, mark) for slab in slabs]
    for k, (slab, bare) in enumerate(zip(slabs, before, strict=True)):
        if slab.solid is not bare.solid:  # joined along a seam plane
            surfaces[k] = without_cracks(*surfaces[k])
    owner = owners(stand.mesh, slabs, surfaces, block)
    kind, draft, near_seam = classes(stand.mesh, slabs, owner, pull)
    pieces = tuple(
        Piece(
            letter=chr(ord("A") + k),
            name=name,
            pull=point_of(slab.pull),
            mesh=mesh,
            form_face=np.asarray(read_only(form_face)),
            volume_mm3=mesh.volume,
            poured_mm3=mesh.volume + slab.eased_mm3,
            displaced_mm3=slab.displaced_mm3,
            least_draft_deg=least_draft(draft, stand.mesh.areas, owner == k, near_seam),
        )
        for k, (slab, name, (mesh, form_face)) in enumerate(
            zip(slabs, bench_names(slabs, stand), surfaces, strict=True)
        )
    )
    inside = _inside(stand.mesh, form, whole, block)
    balance = (
        abs(sum(piece.volume_mm3 for piece in pieces) + removed + inside - whole.volume()) / whole.volume()
    )
    watch.step(5, 5)
    return Pieces(
        pieces=pieces,
        joints=joints,
        block_volume_mm3=whole.volume(),
        removed_mm3=removed,
        balance=balance,
        face_piece=np.asarray(read_only(owner)),
        face_class=np.asarray(read_only(kind)),
        findings=(*about_islands, *about_natches, *about_drip, *_balance_finding(balance)),
    )


def _less_form(slabs: list[Slab], form: Solid, crumb: float) -> list[Slab]:
    """The slabs without the form; one that the form fills whole is no piece."""
    kept = []
    for slab in slabs:
        solid = difference(slab.solid, form)
        if solid.volume() > crumb:
            kept.append(replace(slab, solid=solid, displaced_mm3=slab.solid.volume() - solid.volume()))
    return kept


def _inside(mesh: Mesh, form: Solid, whole: Solid, block: Block) -> float:
    """Volume of the form within the block: an uneven rim without a spare stands out of it."""
    return intersection(whole, form).volume() if mesh.bounds[1, 2] > block.top_mm else mesh.volume


def _balance_finding(balance: float) -> tuple[Finding, ...]:
    if balance <= MOST_IMBALANCE:
        return ()
    return (
        Finding(
            "stop",
            "volume-balance",
            f"Pieces and form do not fill the block: {100 * balance:.2g} % of it is missing or counted twice.",
            remedy="Mend the mesh: overlapping or inside-out surfaces are the usual cause.",
        ),
    )
