"""How a changed form would leave the pieces that were chosen for the form as it is."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..cottle import Block
from ..geometry.columns import rotation_for
from ..geometry.enclosed import enclosed_faces
from ..geometry.mesh import Bools, Floats, Mesh
from ..geometry.reach import LockedSpot
from ..job import PullJob
from ..parting import Parting, locked_in
from ..pieces import SAME_WAY, Pieces
from ..pieces.met import LEAST_DRAFT_QUANTILE, classes, owners
from ..pieces.order import removal_rank
from ..pieces.slabs import Slab, bare_block, cut_slabs
from ..pull import LOCKED, TIGHT
from ..stand import Stand

LEVEL = 0.7071
"""A face whose normal leans less than this, as a cosine, along what a sideways taper moves keeps its place:
level faces slide on the plaster of a half, and a foot stays flat."""


@dataclass(frozen=True, eq=False)
class Ground:
    """What every change is judged on: the stand, its pieces as slabs in their order, the pulls asked for."""

    stand: Stand
    block: Block
    parting: Parting
    slabs: tuple[Slab, ...]
    face_piece: NDArray[np.int8] = field(repr=False)
    pull: PullJob

    @property
    def axis(self) -> Floats:
        """(3,) the stack axis."""
        return np.array(self.parting.chosen.axis)


@dataclass(frozen=True, eq=False)
class Verdict:
    """How a form leaves its pieces.

    spots: where it is locked deeper than the tolerance. face_class: (m,) as `Pieces.face_class`.
    locked_mm2, tight_mm2: area of those faces. curable: (m,) tight faces that a taper can draw in.
    drags: (pieces,) whether more than a hundredth of what a piece touches is tight and curable.
    """

    spots: tuple[LockedSpot, ...]
    face_class: NDArray[np.uint8] = field(repr=False)
    locked_mm2: float
    tight_mm2: float
    curable: Bools = field(repr=False)
    drags: Bools


def ground_of(stand: Stand, block: Block, parting: Parting, pieces: Pieces, pull: PullJob) -> Ground:
    """The pieces' layers and seam planes, found again from the bare block."""
    whole = bare_block(block)
    rotation = rotation_for(parting.chosen.axis)
    slabs = sorted(cut_slabs(whole, whole, parting.chosen.layers, rotation, 0.0), key=removal_rank)
    own = []
    for piece in pieces.pieces:  # a slab that the form fills whole is no piece
        slab = next(slab for slab in slabs if slab.pull @ piece.pull > SAME_WAY)
        slabs.remove(slab)
        own.append(slab)
    return Ground(stand, block, parting, tuple(own), pieces.face_piece, pull)


def judged(ground: Ground, mesh: Mesh, owner: NDArray[np.int8]) -> Verdict:
    """The verdict on a form, spare on; owner: (m,) the piece that each face meets."""
    tolerance = ground.pull.tolerance_mm
    spots = locked_in(mesh, ground.parting.chosen, tolerance, block=ground.block)
    kind, _, _ = classes(mesh, list(ground.slabs), owner, ground.pull)
    return verdict_of(ground, mesh, owner, kind, spots)


def verdict_of(
    ground: Ground,
    mesh: Mesh,
    owner: NDArray[np.int8],
    kind: NDArray[np.uint8],
    spots: tuple[LockedSpot, ...],
) -> Verdict:
    """The verdict that face classes and locked places amount to."""
    curable = (kind == TIGHT) & movable(ground, mesh, owner)
    return Verdict(
        spots,
        kind,
        float(mesh.areas[kind == LOCKED].sum()),
        float(mesh.areas[kind == TIGHT].sum()),
        np.asarray(curable),
        dragging(mesh, owner, np.asarray(curable), touched_areas(ground, mesh, owner)),
    )


def touched_areas(ground: Ground, mesh: Mesh, owner: NDArray[np.int8]) -> Floats:
    """(pieces,) area of the form that each piece touches, mm2."""
    met = owner >= 0
    return np.asarray(
        np.bincount(owner[met], weights=mesh.areas[met], minlength=len(ground.slabs)), np.float64
    )


def dragging(mesh: Mesh, owner: NDArray[np.int8], tight: Bools, touched: Floats) -> Bools:
    """(pieces,) whether the tight faces of a piece are more of what it touches than lone slivers make up."""
    held = np.bincount(owner[tight], weights=mesh.areas[tight], minlength=len(touched))
    return np.asarray(held > LEAST_DRAFT_QUANTILE * touched)


def movable(ground: Ground, mesh: Mesh, owner: NDArray[np.int8]) -> Bools:
    """(m,) faces below the rim that a taper about their own piece's pull would draw in."""
    found = (owner >= 0) & (mesh.centroids[:, 2] < ground.stand.rim_mm)
    for k, slab in enumerate(ground.slabs):
        if slab.kind == "half":
            found &= (owner != k) | (np.abs(mesh.normals @ np.cross(ground.axis, slab.pull)) > LEVEL)
    return np.asarray(found)


def drafts(ground: Ground, mesh: Mesh, owner: NDArray[np.int8]) -> Floats:
    """(m,) draft in degrees of each face under the pull of its own piece; 90 where no plaster touches."""
    pulls = np.array([slab.pull for slab in ground.slabs])
    sine = np.einsum("ij,ij->i", mesh.normals, pulls[np.maximum(owner, 0)])
    return np.asarray(np.where(owner >= 0, np.degrees(np.arcsin(np.clip(sine, -1, 1))), 90.0))


def least_drafts(ground: Ground, mesh: Mesh) -> Floats:
    """(m,) least draft asked of each face, degrees."""
    inside = enclosed_faces(mesh)
    return np.where(inside, ground.pull.least_draft_inside_deg, ground.pull.least_draft_deg)


def owners_after(ground: Ground, mesh: Mesh, source: NDArray[np.int64]) -> NDArray[np.int8]:
    """(m,) the piece that each face of a changed form meets: its source face's, for new faces by their place."""
    owner = owners(mesh, list(ground.slabs), [], ground.block)
    kept = source >= 0
    owner[kept] = ground.face_piece[source[kept]]
    return owner


def piece_at(ground: Ground, point: Floats) -> int:
    """The piece in whose layer a point lies; -1 for none."""
    for k, slab in enumerate(ground.slabs):
        if all(normal @ point >= offset - 1e-9 for normal, offset in slab.planes):
            return k
    return -1
