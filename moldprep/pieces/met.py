"""Which piece each face of the form meets, and how it leaves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..cottle import Block
from ..errors import Point
from ..geometry.columns.occlusion import face_blocked
from ..geometry.enclosed import enclosed_faces
from ..geometry.mesh import Floats, Mesh
from ..job import PullJob
from ..pull import FREE, LOCKED, SEAM_BAND_MM, TIGHT, WORKERS
from .order import point_of
from .slabs import Slab

LEAST_DRAFT_QUANTILE = 0.01
"""Share of the area that may have less draft than the least draft named: lone slivers say nothing."""
BEFORE_MM = 1e-3
"""A point this far before a face lies in the plaster that touches it."""


def owners(
    form: Mesh, cuts: list[Slab], surfaces: list[tuple[Mesh, NDArray[np.int64]]], block: Block
) -> NDArray[np.int8]:
    """(m,) int8: the piece that holds most of each face's area, -1 where no plaster touches.

    A face that lies in a seam plane is cut away by it; it belongs to the piece it looks into.
    """
    owner, most = np.full(len(form.faces), -1, np.int8), np.zeros(len(form.faces))
    for k, (mesh, source) in enumerate(surfaces):
        on = source >= 0
        area = np.bincount(source[on], weights=mesh.areas[on], minlength=len(owner))
        owner[area > most] = k
        most = np.maximum(most, area)
    lost = np.flatnonzero(owner < 0)
    before = form.centroids[lost] + BEFORE_MM * form.normals[lost]
    for k, cut in enumerate(cuts):
        inside = (before[:, 2] < block.top_mm) & (before[:, 2] > block.bottom_mm)
        for normal, offset in cut.planes:
            inside &= before @ normal > offset
        owner[lost[inside]] = k
    return owner


def classes(
    mesh: Mesh, cuts: list[Slab], owner: NDArray[np.int8], job: PullJob
) -> tuple[NDArray[np.uint8], Floats, NDArray[np.bool_]]:
    """(m,) class, draft in degrees and nearness to a seam of each face, under its own piece.

    draft = asin(n . pull): plaster on the face leaves along the pull. Within `SEAM_BAND_MM` of its
    piece's seam planes a face is not judged for draft, which is zero at the seam of every smooth form.
    """
    kind = np.full(len(owner), FREE, np.uint8)
    draft, near = np.zeros(len(owner)), np.zeros(len(owner), bool)
    least = np.where(enclosed_faces(mesh), job.least_draft_inside_deg, job.least_draft_deg)
    blocked: dict[Point, NDArray[np.bool_]] = {}
    for k, cut in enumerate(cuts):
        axis = cut.pull if _positive(cut.pull) else -cut.pull
        if point_of(axis) not in blocked:
            blocked[point_of(axis)] = face_blocked(mesh, axis, offset=job.tolerance_mm, workers=WORKERS)
        own = np.flatnonzero(owner == k)
        centre = mesh.centroids[own]
        draft[own] = np.degrees(np.arcsin(np.clip(mesh.normals[own] @ cut.pull, -1, 1)))
        for normal, offset in cut.planes:
            near[own] |= np.abs(centre @ normal - offset) < SEAM_BAND_MM
        tight = (draft[own] < least[own] - 1e-6) & ~near[own] & (mesh.areas[own] > 0)
        kind[own[tight]] = TIGHT
        kind[own[blocked[point_of(axis)][own, 0 if _positive(cut.pull) else 1]]] = LOCKED
    return kind, draft, near


def _positive(pull: Floats) -> bool:
    """One of the two ways along an axis, the same for both."""
    return bool(pull[np.flatnonzero(np.abs(pull) > 1e-9)[-1]] > 0)


def least_draft(draft: Floats, areas: Floats, own: NDArray[np.bool_], near: NDArray[np.bool_]) -> float:
    """Area-weighted low quantile of the draft beyond the seam bands; 90 for a piece that touches no wall."""
    judged = own & ~near if (own & ~near).any() else own
    if not judged.any():
        return 90.0
    order = np.argsort(draft[judged], kind="stable")
    reached = np.cumsum(areas[judged][order])
    return float(draft[judged][order][np.searchsorted(reached, LEAST_DRAFT_QUANTILE * reached[-1])]) + 0.0
