"""Undercuts filled along the pull: the least plaster-locked volume made part of the form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.columns import cast, frame_for, rotation_for, solid_intervals
from ..geometry.easing import patches, swept
from ..geometry.mesh import Bools, Floats, Ints, Mesh
from ..geometry.reach import LockedSpot
from ..geometry.solids import Solid, from_manifold, from_traced, split, to_manifold, to_traced, united
from ..pieces.slabs import Slab
from ..working import Watch
from .ground import Ground, Verdict, judged, owners_after, piece_at

FACING = 1e-6
"""A face looks against the pull when its normal does by more than this."""
LINES = 128
"""Columns across a patch when the depth of what it locks is read."""
PAST_SEAM = 0.01
"""Fills of two halves reach so far, mm, past the seam between them: if they only met, a crack would be left."""
ROUNDS = 3
"""Places that come to light when others are filled are filled too, so many times."""
MOST_PATCHES = 40
"""More places than this are a rough surface or another form, not an undercut to fill."""


@dataclass(frozen=True, eq=False)
class Filled:
    """A filled form without and with its spare, the verdict on it, and heights between which new surface shows."""

    form: Mesh
    mesh: Mesh
    after: Verdict
    low_mm: float
    high_mm: float


def filled(ground: Ground, before: Verdict, watch: Watch) -> Filled | None:
    """The form with every locked place swept full against the pull of its piece; None where that does not
    free it."""
    stand = ground.stand
    spots, chosen = before.spots, np.zeros((len(ground.slabs), len(stand.mesh.faces)), bool)
    numbers = [_patches(stand.mesh, slab) for slab in ground.slabs]
    solid, mark = to_traced(stand.mesh)
    for step in range(ROUNDS):
        watch.step(step, ROUNDS)
        known = chosen.copy()
        for spot in spots:
            _choose(ground, numbers, spot, chosen)
        if (chosen == known).all() or _count(numbers, chosen) > MOST_PATCHES:
            return None
        fillers = [
            filler
            for k, slab in enumerate(ground.slabs)
            for filler in _fillers(ground, slab, numbers[k], chosen[k])
        ]
        mesh, source = from_traced(united([solid, *fillers]), mark)
        after = judged(ground, mesh, owners_after(ground, mesh, source))
        if not after.spots:
            return _as_form(ground, fillers, mesh, source, after)
        spots = after.spots
    return None


def _patches(mesh: Mesh, slab: Slab) -> Ints:
    """(m,) connected patches of the faces in a piece's layer that look against its pull, -1 elsewhere."""
    within = np.ones(len(mesh.faces), bool)
    for normal, offset in slab.planes:
        within &= (mesh.vertices @ normal > offset)[mesh.faces].any(axis=1)
    return patches(mesh, within & (mesh.normals @ slab.pull < -FACING))


def _choose(ground: Ground, numbers: list[Ints], spot: LockedSpot, chosen: Bools) -> None:
    """Mark the patch that bars the way of a locked place."""
    mesh, where = ground.stand.mesh, np.array(spot.where)
    k = piece_at(ground, where)
    candidates = np.flatnonzero(numbers[k] >= 0) if k >= 0 else np.array([], int)
    if not len(candidates):
        return
    rotation = rotation_for(ground.slabs[k].pull)
    corner = mesh.vertices[mesh.faces[candidates]] @ rotation.T - rotation @ where
    ahead = corner[:, :, 2].max(axis=1) > -ground.pull.tolerance_mm
    off = np.where(ahead & _covers(corner[:, :, :2]), corner[:, :, 2].mean(axis=1), np.inf)
    if not np.isfinite(off).any():  # a hair beside the patch
        off = np.where(ahead, np.linalg.norm(corner.mean(axis=1), axis=1), np.inf)
    chosen[k] |= numbers[k] == numbers[k][candidates[np.argmin(off)]]


def _covers(corner: Floats) -> Bools:
    """(n,) whether triangles (n, 3, 2) cover the origin."""
    after = np.roll(corner, -1, axis=1)
    turn = corner[:, :, 0] * after[:, :, 1] - corner[:, :, 1] * after[:, :, 0]
    return np.asarray((turn >= 0).all(axis=1) | (turn <= 0).all(axis=1))


def _count(numbers: list[Ints], chosen: Bools) -> int:
    return sum(len(np.unique(own[mask])) for own, mask in zip(numbers, chosen, strict=True))


def _fillers(ground: Ground, slab: Slab, number: Ints, chosen: Bools) -> list[Solid]:
    """What the chosen patches of one piece sweep, cut off at the piece's seam planes."""
    mesh, found = ground.stand.mesh, []
    for one in np.unique(number[chosen]):
        faces = number == one
        filler = to_manifold(swept(mesh, faces, -slab.pull, _end(mesh, faces, slab)))
        for normal, offset in slab.planes:
            filler = split(filler, normal, offset - PAST_SEAM)[0]
        if not filler.is_empty():
            found.append(filler)
    return found


def _end(mesh: Mesh, faces: Bools, slab: Slab) -> float:
    """How far, against the pull, the plaster before a patch reaches: into the form, or to the layer's end.

    Columns read it; between two of them the surface behind goes on as steeply as where they meet it. What
    lies further back is form, or plaster that is locked as well.
    """
    rotation = rotation_for(slab.pull)
    local = mesh.vertices[mesh.faces[faces]].reshape(-1, 3) @ rotation.T
    (umin, vmin), (umax, vmax) = local[:, :2].min(axis=0), local[:, :2].max(axis=0)
    frame = frame_for(mesh, slab.pull, lines=LINES, window=(umin, umax, vmin, vmax))
    solid = solid_intervals(cast(mesh, frame))
    seams = [offset for normal, offset in slab.planes if normal @ slab.pull > 1 - 1e-9]
    last = max([solid.bottom, *(offset - PAST_SEAM for offset in seams)])
    met = np.flatnonzero(faces[solid.face_low])
    first, before = solid.start[solid.column[met]] == met, np.maximum(met - 1, 0)
    cosine = np.maximum(np.abs(mesh.normals[solid.face_high[before]] @ slab.pull), FACING)
    rear = np.where(first, last, solid.high[before] - frame.pitch * (2 + 1 / cosine))
    return -max(last, min(float(rear.min(initial=np.inf)), float(local[:, 2].min()) - 2 * frame.pitch))


def _as_form(
    ground: Ground, fillers: list[Solid], mesh: Mesh, source: NDArray[np.int64], after: Verdict
) -> Filled:
    """The form without spare, filled alike, as far as its rim."""
    stand, form = ground.stand, mesh
    if stand.form is not stand.mesh:
        below = [split(filler, (0.0, 0.0, -1.0), -stand.rim_mm)[0] for filler in fillers]
        form = from_manifold(united([to_manifold(stand.form), *below]))
    height = mesh.vertices[mesh.faces[source < 0], 2]
    low, high = float(height.min(initial=np.inf)), float(height.max(initial=-np.inf))
    return Filled(form, mesh, after, low, min(high, stand.rim_mm))
