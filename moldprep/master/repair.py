"""The repair ladder: named steps from raw triangles to one closed, outward solid.

A step runs only when the rung before did not suffice, returns a new value, and is told in a Finding.
Nothing larger than a crack is closed without the maker's consent.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, TypeAlias, cast

import numpy as np

from ..errors import FormError, Point
from ..findings import Finding, Level
from ..geometry.mesh import Floats, Mesh
from ..geometry.solids import difference, to_manifold, union
from .parse import RawMesh, earcut
from .topology import (
    Faces,
    bodies,
    edge_balance,
    is_closed,
    loops_of,
    open_edges,
    repeated_corner,
    weld,
    weld_near,
)

NEAR_SHARE = 1e-5
"""Corners nearer than this share of the form's size are one: 1 micrometre on a 100 mm form."""
CRACK_SHARE = 0.02
"""Openings no wider than this share of the form's size are export faults and are closed unasked."""
MOST_SPLIT = 20_000
"""Corners on open edges up to which T-shaped joints are looked for (each is held against all)."""
CAVITY_SHARE = 1e-6
"""A surface turned inward is a cavity when no more than this share of what it encloses lies outside the form."""
SPECK_SHARE = 1e-4
"""Bodies below this share of the largest one's volume are specks and are dropped."""

_MEND = "Close the surface in a modelling program and export it again"


@dataclass
class _Work:
    """What the steps hand on while the ladder is climbed."""

    vertices: Floats
    faces: Faces
    findings: list[Finding] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)
    cavities: list[Mesh] = field(default_factory=list)

    @property
    def size(self) -> float:
        return float(np.ptp(self.vertices, axis=0).max())

    def tell(self, step: str, says: str, *, where: tuple[Point, ...] = (), level: Level = "note") -> None:
        self.steps.append(step)
        remedy = "Look at the form's picture before you print." if level == "warn" else ""
        self.findings.append(Finding(level, f"repair-{step}", says, where, remedy))


Repaired: TypeAlias = tuple[Mesh, tuple[Finding, ...], tuple[str, ...], tuple[Mesh, ...]]


def repaired(raw: RawMesh, *, close_openings: bool, fill_hollow: bool = False) -> Repaired:
    """One closed, outward, welded solid; what was done to get there; the names of the steps; filled cavities.

    The last are the closed surfaces inside the form, as drawn, that were dropped with consent.
    Raises FormError with the places of the defects when the steps do not suffice.
    """
    work = _Work(*(weld(raw.vertices, raw.faces) if not raw.welded else _used(raw.vertices, raw.faces)))
    for step, says in raw.notes:
        work.tell(step, says)
    if not np.all(np.ptp(work.vertices, axis=0) > 0):
        raise FormError(
            "The form is flat: it has no thickness along one axis.",
            code="form-flat",
            remedy="Export a solid.",
        )
    if repeated_corner(work.faces).any():
        _drop_degenerate(work)
    rungs: list[Callable[[_Work], None]] = [
        *([_weld_shared] if raw.welded else []),
        _join_near,
        _drop_duplicates,
        _split_edges,
        _wind_alike,
        lambda open_work: _close_loops(open_work, consent=close_openings),
    ]
    closed = _closed(work)
    for rung in rungs:
        if closed:
            break
        rung(work)
        closed = _closed(work)
    if not closed:
        raise _still_open(work)
    mesh = _one_outward_body(work, fill_hollow=fill_hollow)
    return mesh, tuple(work.findings), tuple(work.steps), tuple(work.cavities)


def _used(vertices: Floats, faces: Faces) -> tuple[Floats, Faces]:
    """Only the vertices that faces use."""
    mask = np.zeros(len(vertices), bool)
    mask[faces.ravel()] = True
    if mask.all():
        return vertices, faces
    return vertices[mask], (np.cumsum(mask) - 1)[faces]


def _closed(work: _Work) -> bool:
    return len(work.faces) > 0 and is_closed(work.faces, len(work.vertices))


def _drop_degenerate(work: _Work) -> None:
    bad = repeated_corner(work.faces)
    work.faces = work.faces[~bad]
    work.tell("drop-degenerate", f"{bad.sum()} triangles without area were dropped.")


def _weld_shared(work: _Work) -> None:
    before = len(work.vertices)
    work.vertices, work.faces = weld(work.vertices, work.faces)
    if len(work.vertices) < before:
        work.faces = work.faces[~repeated_corner(work.faces)]
        work.tell("weld", f"{before - len(work.vertices)} corners at the same place were made one.")


def _join_near(work: _Work) -> None:
    distance = NEAR_SHARE * work.size
    vertices, faces, joined = weld_near(work.vertices, work.faces, distance)
    if joined:
        work.vertices, work.faces = vertices, faces[~repeated_corner(faces)]
        work.tell("join-near", f"{joined} corners nearer than {distance:.2g} to another were joined to it.")


def _drop_duplicates(work: _Work) -> None:
    _, first = np.unique(np.sort(work.faces, axis=1), axis=0, return_index=True)
    dropped = len(work.faces) - len(first)
    if dropped:
        work.faces = work.faces[np.sort(first)]
        work.tell("drop-duplicates", f"{dropped} triangles stood twice in the file; one of each was kept.")


def _split_edges(work: _Work) -> None:
    """Split faces at corners of their neighbours that lie inside one of their open edges."""
    missing = open_edges(work.faces, len(work.vertices))
    rim = np.unique(missing)
    if len(rim) > MOST_SPLIT:
        return
    near = NEAR_SHARE * work.size
    added: list[list[int]] = []
    dropped: list[int] = []
    for end, begin in missing:  # the face itself runs from begin to end
        a, b = work.vertices[begin], work.vertices[end]
        along = (work.vertices[rim] - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-300)
        away = np.linalg.norm(work.vertices[rim] - a - along[:, None] * (b - a), axis=1)
        inside = (along > 0) & (along < 1) & (away < near) & (rim != begin) & (rim != end)
        if not inside.any():
            continue
        own = np.flatnonzero(((work.faces == begin) & (np.roll(work.faces, -1, axis=1) == end)).any(axis=1))[
            0
        ]
        if own in dropped:
            continue
        third = int(work.faces[own][(work.faces[own] != begin) & (work.faces[own] != end)][0])
        chain = [begin, *rim[inside][np.argsort(along[inside])], end]
        added.extend([p, q, third] for p, q in pairwise(chain))
        dropped.append(own)
    if added:
        work.faces = np.concatenate([np.delete(work.faces, dropped, axis=0), np.array(added)])
        work.faces = work.faces[~repeated_corner(work.faces)]
        work.tell(
            "split-edges", f"{len(dropped)} triangles were split where a neighbour's corner meets an edge."
        )


def _wind_alike(work: _Work) -> None:
    """Turn faces over until neighbours agree, through trimesh (only ever on a broken mesh)."""
    import trimesh

    mesh: Any = trimesh.Trimesh(work.vertices, work.faces, process=False)
    cast(Any, trimesh.repair).fix_winding(mesh)
    turned = int((np.array(mesh.faces) != work.faces).any(axis=1).sum())
    if turned:
        work.faces = np.array(mesh.faces, dtype=np.int64)
        work.tell(
            "wind-alike", f"{turned} triangles were wound against their neighbours and were turned over."
        )


def _close_loops(work: _Work, *, consent: bool) -> None:
    """Close openings flat: cracks unasked, larger ones with the maker's consent."""
    widest, added, places, sizes = CRACK_SHARE * work.size, [], [], []
    for loop in loops_of(open_edges(work.faces, len(work.vertices))):
        corners = work.vertices[loop]
        size = float(np.ptp(corners, axis=0).max())
        if size > widest and not consent:
            continue
        added.append(loop[earcut(corners)])
        places.append(_point(corners.mean(axis=0)))
        sizes.append(size)
    if not added:
        return
    work.faces = np.concatenate([work.faces, *added])
    large = [size for size in sizes if size > widest]
    if large:
        says = f"{len(large)} openings, up to {max(large):.3g} across, were closed flat, as you allowed."
        work.tell("close-openings", says, where=tuple(places), level="warn")
    if len(large) < len(sizes):
        says = f"{len(sizes) - len(large)} cracks no wider than {widest:.3g} were closed."
        work.tell("close-cracks", says, where=tuple(places), level="warn")


def _still_open(work: _Work) -> FormError:
    """The refusal: which openings, how wide, where."""
    count = len(work.vertices)
    loops = [(work.vertices[loop]) for loop in loops_of(open_edges(work.faces, count))]
    if loops:
        loops.sort(key=lambda corners: -float(np.ptp(corners, axis=0).max()))
        widest = float(np.ptp(loops[0], axis=0).max())
        openings = "1 opening" if len(loops) == 1 else f"{len(loops)} openings"
        return FormError(
            f"The surface is not closed: {openings}, the widest {widest:.3g} across.",
            code="form-open",
            remedy=f"{_MEND}, or allow openings to be closed flat with --close-openings.",
            where=tuple(_point(corners.mean(axis=0)) for corners in loops),
        )
    keys, uses, signed = edge_balance(work.faces, count)
    bad = keys[signed != 0]
    middles = (work.vertices[bad // count] + work.vertices[bad % count]) / 2
    many = int((uses[signed != 0] > 2).sum())
    return FormError(
        f"The surface is not closed: {len(bad)} edges lack a neighbour, {many} have more than two.",
        code="form-edges",
        remedy=f"{_MEND}.",
        where=tuple(_point(middle) for middle in middles[:20]),
    )


def _one_outward_body(work: _Work, *, fill_hollow: bool) -> Mesh:
    """Outward bodies; specks dropped; what overlaps united; more than one left is refused."""
    body, count = bodies(work.faces, len(work.vertices))
    split = (_used(work.vertices, work.faces[body == k] if count > 1 else work.faces) for k in range(count))
    meshes = [Mesh(vertices, faces.astype(np.int32)) for vertices, faces in split]
    largest = max(abs(mesh.volume) for mesh in meshes)
    if largest <= 1e-9 * work.size**3:
        raise FormError("The surface encloses no volume.", code="form-no-volume", remedy="Export a solid.")
    solid = [mesh for mesh in meshes if abs(mesh.volume) >= SPECK_SHARE * largest]
    if len(solid) < len(meshes):
        specks = [mesh for mesh in meshes if abs(mesh.volume) < SPECK_SHARE * largest]
        places = tuple(_point(mesh.bounds.mean(axis=0)) for mesh in specks)
        work.tell("drop-specks", f"{len(specks)} stray specks were dropped.", where=places)
    if len(solid) == 1 and solid[0].volume < 0:
        work.tell("turn-outward", "The surface was inside out and was turned.")
        solid = [Mesh(solid[0].vertices, solid[0].faces[:, ::-1])]
    if len(solid) > 1 and fill_hollow:
        solid = _without_cavities(solid, work)
    if len(solid) > 1:
        solid = [_united(solid, work)]
    return solid[0]


def _without_cavities(meshes: list[Mesh], work: _Work) -> list[Mesh]:
    """The bodies without the closed surfaces that look inward and lie wholly within another."""
    whole = to_manifold(union([mesh for mesh in meshes if mesh.volume > 0]))
    kept = []
    for mesh in meshes:
        held = None if mesh.volume > 0 else to_manifold(Mesh(mesh.vertices, mesh.faces[:, ::-1]))
        if held is None or difference(held, whole).volume() > CAVITY_SHARE * held.volume():
            kept.append(mesh)
        else:
            work.cavities.append(mesh)
    if work.cavities:
        places = tuple(_point(mesh.bounds.mean(axis=0)) for mesh in work.cavities)
        widest = max(float(mesh.extents.max()) for mesh in work.cavities)
        many = "1 closed cavity" if len(places) == 1 else f"{len(places)} closed cavities"
        says = f"{many} inside the form, up to {widest:.3g} across, filled, as you allowed: slip never reaches there."
        work.tell("fill-cavity", says, where=places, level="warn")
    return kept


def _united(meshes: list[Mesh], work: _Work) -> Mesh:
    """Several bodies made one, or refused: a mold is made from one piece."""
    hollow = [mesh for mesh in meshes if mesh.volume < 0]
    if hollow:
        places = tuple(_point(mesh.bounds.mean(axis=0)) for mesh in hollow)
        raise FormError(
            f"The form has {len(hollow)} closed surface(s) turned inward: a cavity, or a body inside out.",
            code="form-cavity",
            remedy="Delete the inner surface, since the plaster meets only the outside, or allow a cavity to be filled "
            "with --fill-hollow (form.fill_hollow in a job file).",
            where=places,
        )
    for mesh in meshes:
        to_manifold(mesh)  # refuses, by name, a body that is not a solid by itself
    whole = union(meshes)
    body, left = bodies(np.asarray(whole.faces, dtype=np.int64), len(whole.vertices))
    if left > 1:
        places = tuple(
            _point(whole.vertices[np.unique(whole.faces[body == number])].mean(axis=0))
            for number in range(left)
        )
        raise FormError(
            f"The file holds {left} separate bodies; a mold is made from one.",
            code="form-bodies",
            remedy="Export one body, or unite them.",
            where=places,
        )
    work.tell("unite", f"{len(meshes)} overlapping bodies were united.")
    return whole


def _point(vector: Floats) -> Point:
    return float(vector[0]), float(vector[1]), float(vector[2])
