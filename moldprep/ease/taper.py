"""The smallest taper about the pulls that lets the form go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.columns import rotation_for
from ..geometry.easing import Narrowing, half_widths, split_across
from ..geometry.mesh import Floats, Mesh
from ..parting import locked_in
from ..pieces.met import classes
from ..pull import LOCKED
from ..working import Watch
from .ground import (
    Ground,
    Verdict,
    drafts,
    dragging,
    judged,
    least_drafts,
    movable,
    owners_after,
    touched_areas,
    verdict_of,
)

STEP_DEG = 0.1
"""Tapers are offered in steps of this."""
HAIR_DEG = 0.002
"""Each taper is so much more than its step: an STL file's single precision would take a bare one back."""
MORE_STEPS = 5
"""Steps by which the whole study may ask for more than the quick one."""


@dataclass(frozen=True, eq=False)
class _Bench:
    """The form with its spare, its faces cut along the seams that the taper bends it at; owner: (m,) the
    piece that each meets; before: the verdict on it."""

    mesh: Mesh
    owner: NDArray[np.int8]
    before: Verdict


def tapered(
    ground: Ground, before: Verdict, most_deg: float, watch: Watch
) -> tuple[float, tuple[Narrowing, ...], Verdict] | None:
    """(angle, narrowings, verdict) of the smallest taper that frees the form; None without one."""
    narrowings = _narrowings(ground, before) if within_reach(ground, before, most_deg) else ()
    most_deg = min([most_deg, *(one.most_deg for one in narrowings)])
    most = int(np.floor(most_deg / STEP_DEG + 1e-9))
    if not narrowings or most < 1:
        return None
    bench = _bench(ground, before, narrowings)
    frees = _Quick(ground, bench, narrowings)
    if not frees(most):
        return None
    low, high = 0, most
    while high - low > 1:
        watch.step(most - (high - low), most)
        middle = (low + high) // 2
        low, high = (low, middle) if frees(middle) else (middle, high)
    for steps in range(high, min(high + MORE_STEPS, most) + 1):
        watch.step(steps, most)
        after = judged(ground, _moved(bench.mesh, narrowings, _angle(steps)), bench.owner)
        if not after.spots and not after.drags[before.drags].any():
            return _angle(steps), narrowings, after
    return None


def _angle(steps: int) -> float:
    return steps * STEP_DEG + HAIR_DEG


def narrowed(form: Mesh, narrowings: tuple[Narrowing, ...], angle_deg: float) -> Mesh:
    """A form after a taper, its faces cut along the seams that it is bent at."""
    return _moved(_cut_at_seams(form, narrowings)[0], narrowings, angle_deg)


def _moved(mesh: Mesh, narrowings: tuple[Narrowing, ...], angle_deg: float) -> Mesh:
    points = mesh.vertices
    for one in narrowings:
        points = one.moved(points, angle_deg)
    return Mesh(points, mesh.faces)


def _cut_at_seams(mesh: Mesh, narrowings: tuple[Narrowing, ...]) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh cut where narrowings begin, and for each face the one that it was, -1 for parts of cut ones."""
    source = np.arange(len(mesh.faces))
    for one in narrowings:
        mesh, step = split_across(mesh, one.direction, one.still)
        source = np.where(step >= 0, source[np.maximum(step, 0)], -1)
    return mesh, source


def _bench(ground: Ground, before: Verdict, narrowings: tuple[Narrowing, ...]) -> _Bench:
    mesh, source = _cut_at_seams(ground.stand.mesh, narrowings)
    if (source >= 0).all():
        return _Bench(mesh, ground.face_piece, before)
    owner = owners_after(ground, mesh, source)
    kind = classes(mesh, list(ground.slabs), owner, ground.pull)[0]
    return _Bench(mesh, owner, verdict_of(ground, mesh, owner, kind, before.spots))


class _Quick:
    """Whether so many steps of taper free the form: drafts of the faces that drag, reach where it is locked."""

    def __init__(self, ground: Ground, bench: _Bench, narrowings: tuple[Narrowing, ...]) -> None:
        self._ground, self._bench, self._narrowings = ground, bench, narrowings
        self._drags = bool(bench.before.drags.any())
        if self._drags:
            asked = bench.before.curable & bench.before.drags[bench.owner]
            self._faces = Mesh(bench.mesh.vertices, bench.mesh.faces[asked])
            self._owner = bench.owner[asked]
            self._least = least_drafts(ground, bench.mesh)[asked]
            self._touched = touched_areas(ground, bench.mesh, bench.owner)

    def __call__(self, steps: int) -> bool:
        return self._has_draft(_angle(steps)) and self._is_free(_angle(steps))

    def _has_draft(self, angle_deg: float) -> bool:
        if not self._drags:
            return True
        faces = _moved(self._faces, self._narrowings, angle_deg)
        tight = drafts(self._ground, faces, self._owner) < self._least - 1e-6
        return not dragging(faces, self._owner, tight, self._touched).any()

    def _is_free(self, angle_deg: float) -> bool:
        ground, bench = self._ground, self._bench
        if not bench.before.spots:
            return True
        mesh = _moved(bench.mesh, self._narrowings, angle_deg)
        return not locked_in(mesh, ground.parting.chosen, ground.pull.tolerance_mm, block=ground.block)


def within_reach(ground: Ground, before: Verdict, most_deg: float) -> bool:
    """Whether a taper over the form's height, on both its sides, could move walls as far as the deepest lock
    reaches."""
    if not before.spots:
        return True
    longest = float(ground.stand.form.extents.max())
    return before.spots[0].reach_mm <= 2 * longest * float(np.tan(np.radians(most_deg)))


def _narrowings(ground: Ground, before: Verdict) -> tuple[Narrowing, ...]:
    """One for each piece that drags or is locked."""
    mesh, owner, found = ground.stand.mesh, ground.face_piece, []
    held = (before.curable | (before.face_class == LOCKED)) & movable(ground, mesh, owner)
    for k, slab in enumerate(ground.slabs):
        faces = held & (owner == k)
        if not faces.any() or not (before.drags[k] or before.spots):
            continue
        u, v, axis = rotation_for(ground.axis)
        across = np.array([np.cross(axis, slab.pull)] if slab.kind == "half" else [u, v])
        middle, half = half_widths(mesh, faces, across)
        if np.isfinite(half).any():
            found.append(_placed(ground, slab.pull, slab.planes, across, middle, half))
    return tuple(found)


def _placed(
    ground: Ground,
    pull: Floats,
    planes: tuple[tuple[Floats, float], ...],
    across: Floats,
    middle: Floats,
    half: Floats,
) -> Narrowing:
    """The narrowing that leaves the seam behind the piece as it is; without a seam, rim or foot, whichever
    moves the form less."""
    form = ground.stand.form.vertices
    ends = form @ pull
    low, high = float(ends.min()), float(ends.max())
    if pull[2] < -1 + 1e-9:  # what rises above the rim, and the spare, go with the rim
        low = max(low, -ground.stand.rim_mm)
    elif pull[2] > 1 - 1e-9:
        high = min(high, ground.stand.rim_mm)
    seams = [offset for normal, offset in planes if normal @ pull > 1 - 1e-9]
    if seams:
        return Narrowing(pull, across, middle, half, seams[0], seams[0], max(high, seams[0]))
    choices = [Narrowing(pull, across, middle, half, still, low, high) for still in (low, high)]
    return min(choices, key=lambda one: round(one.farthest(form, 1.0), 6))


def still_place(ground: Ground, one: Narrowing) -> str:
    """Words for what stays as it is."""
    if not abs(one.direction[2]) > 1 - 1e-9:
        return "seam"
    height = one.still * float(one.direction[2])
    if abs(height - ground.stand.rim_mm) < 1e-6:
        return "rim"
    return "foot" if abs(height) < 1e-6 else f"seam at {height:.0f} mm"
