"""Stage 7: the pieces of the mold as solids, named, in the order in which they come off.

The block less the form, cut by the planes of the chosen layers. Each piece is one connected solid:
plaster that a plane cuts off from its piece (the boss in a foot recess) goes to the neighbour that
touches it and whose pull frees it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .cottle import Block
from .errors import Point
from .findings import Finding
from .geometry.columns import Intervals, cast, frame_for, rotation_for, solid_intervals
from .geometry.columns.occlusion import face_blocked
from .geometry.enclosed import enclosed_faces
from .geometry.mesh import Floats, Mesh, read_only
from .geometry.solids import (
    Solid,
    difference,
    from_manifold,
    from_traced,
    intersection,
    parts,
    prism,
    split,
    to_traced,
    united,
)
from .job import PullJob
from .parting import Layer, Parting
from .pull import FREE, LOCKED, SEAM_BAND_MM, TIGHT, WORKERS
from .stand import Stand
from .working import SILENT, Watch

MOST_IMBALANCE = 1e-6
"""Pieces and form together are the block within this share of it."""
CRUMB = 1e-8
"""Plaster below this share of the block is the rounding of a boolean, not a piece."""
LEAST_DRAFT_QUANTILE = 0.01
"""Share of the area that may have less draft than the least draft named: lone slivers say nothing."""
BEFORE_MM = 1e-3
"""A point this far before a face lies in the plaster that touches it."""
ISLAND_LINES = 96
"""Columns across an island when it is asked whether a pull frees it."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of the mold: one connected solid of plaster.

    pull: unit direction in which the piece leaves, casting pose. least_draft_deg: area-weighted 1 %
    quantile of the draft of the faces it touches, beyond 3 mm from the seams. released: None until a
    release check has proved it, which says so by True or False.
    """

    letter: str
    name: str
    pull: Point
    mesh: Mesh = field(repr=False)
    volume_mm3: float
    least_draft_deg: float
    released: bool | None = None


@dataclass(frozen=True, eq=False)
class Pieces:
    """The pieces in the order in which they come off, and what each face of the form meets.

    balance: |pieces + master - block| / block. face_piece: (m,) int8, index of the piece that each
    face of `Stand.mesh` touches (most of, when it crosses a seam), -1 on the opening. face_class:
    (m,) uint8, `pull.FREE`, `TIGHT` or `LOCKED` for each face under the pull of its own piece.
    """

    pieces: tuple[Piece, ...]
    block_volume_mm3: float
    balance: float
    face_piece: NDArray[np.int8] = field(repr=False)
    face_class: NDArray[np.uint8] = field(repr=False)
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class _Cut:
    """A piece to be: its layer, its pull, its seam planes (it lies at normal . p > offset), its solid."""

    layer: int
    kind: str
    pull: Floats
    planes: tuple[tuple[Floats, float], ...]
    solid: Solid


def cut_pieces(
    stand: Stand, block: Block, parting: Parting, job: PullJob, *, watch: Watch = SILENT
) -> Pieces:
    """The block less the form, cut along the chosen parting.

    The order is that of the bench, the mold turned over: top piece, foot piece, then the halves,
    upper layers first. A piece that falls apart, or volumes that do not add up, are `stop` findings.
    """
    form, mark = to_traced(stand.mesh)
    whole = prism(block.outline, block.bottom_mm, block.top_mm)
    crumb = CRUMB * whole.volume()
    watch.step(1, 4)
    cuts = _cut(whole, form, parting.chosen.layers, rotation_for(parting.chosen.axis), crumb)
    watch.step(2, 4)
    cuts, findings = _one_solid_each(cuts, stand.mesh, job.tolerance_mm, crumb)
    cuts.sort(key=_removal)
    watch.step(3, 4)
    surfaces = [from_traced(cut.solid, mark) for cut in cuts]
    owner = _owners(stand.mesh, cuts, surfaces, block)
    kind, draft, near_seam = _classes(stand.mesh, cuts, owner, job)
    pieces = tuple(
        Piece(
            letter=chr(ord("A") + k),
            name=name,
            pull=_point(cut.pull),
            mesh=mesh,
            volume_mm3=mesh.volume,
            least_draft_deg=_least_draft(draft, stand.mesh.areas, owner == k, near_seam),
        )
        for k, (cut, name, (mesh, _)) in enumerate(zip(cuts, _names(cuts, stand), surfaces, strict=True))
    )
    inside = stand.mesh.volume
    if stand.mesh.bounds[1, 2] > block.top_mm:  # an uneven rim without a spare stands out of the block
        inside = intersection(whole, form).volume()
    balance = abs(sum(piece.volume_mm3 for piece in pieces) + inside - whole.volume()) / whole.volume()
    watch.step(4, 4)
    return Pieces(
        pieces=pieces,
        block_volume_mm3=whole.volume(),
        balance=balance,
        face_piece=np.asarray(read_only(owner)),
        face_class=np.asarray(read_only(kind)),
        findings=(*findings, *_balance_finding(balance)),
    )


# --- cutting ------------------------------------------------------------------------------------


def _cut(block: Solid, form: Solid, layers: Sequence[Layer], rotation: Floats, crumb: float) -> list[_Cut]:
    """The block cut into layers along rotation[2] and halves, each less the form.

    The bare block is cut first: planes through a million triangles take longer. The lowest and highest
    layers take all that lies beyond them, so only the planes between layers cut. What has no volume is
    left out.
    """
    u, v, axis = rotation
    cuts, rest = [], block
    for k, layer in enumerate(layers):
        slab, last = rest, k == len(layers) - 1
        if not last:
            rest, slab = split(rest, axis, layer.high_mm)
        planes = [(axis, layer.low_mm)] if k else []
        planes += [] if last else [(-axis, -layer.high_mm)]
        if layer.kind != "split":
            cuts.append(_Cut(k, layer.kind, axis if layer.kind == "up" else -axis, tuple(planes), slab))
            continue
        azimuth = np.radians(layer.azimuth_deg or 0.0)
        across, offset = np.cos(azimuth) * u + np.sin(azimuth) * v, layer.offset_mm or 0.0
        ahead, behind = split(slab, across, offset)
        cuts.append(_Cut(k, "half", across, (*planes, (across, offset)), ahead))
        cuts.append(_Cut(k, "half", -across, (*planes, (-across, -offset)), behind))
    poured = [replace(cut, solid=difference(cut.solid, form)) for cut in cuts if cut.solid.volume() > crumb]
    return [cut for cut in poured if cut.solid.volume() > crumb]


def _one_solid_each(
    cuts: list[_Cut], form: Mesh, tolerance: float, crumb: float
) -> tuple[list[_Cut], list[Finding]]:
    """Cuts of one connected solid each: islands are handed to the neighbour that can carry them."""
    bodies = [_bodies(cut.solid, crumb) for cut in cuts]
    solids, findings = [own[0] for own in bodies], []
    for k, own in enumerate(bodies):
        for island in own[1:]:
            carrier, carried = _carried(island, k, cuts, solids, form, tolerance, crumb)
            solids[carrier] = carried
            if carrier == k:
                findings.append(_island_finding(island))
    return [replace(cut, solid=solid) for cut, solid in zip(cuts, solids, strict=True)], findings


def _carried(
    island: Solid,
    home: int,
    cuts: list[_Cut],
    solids: list[Solid],
    form: Mesh,
    tolerance: float,
    crumb: float,
) -> tuple[int, Solid]:
    """The cut that touches the island and whose pull frees it, and both as one solid.

    The one of most volume is asked first; where none can carry it, the island stays with its home.
    """
    others = sorted((k for k in range(len(cuts)) if k != home), key=lambda k: -solids[k].volume())
    surface = from_manifold(island)
    for k in others:
        if _boxes_touch(island, solids[k]) and _frees(form, surface, cuts[k].pull, tolerance):
            together = _bodies(united([solids[k], island]), crumb)
            if len(together) == 1:
                return k, together[0]
    return home, united([solids[home], island])


def _bodies(solid: Solid, crumb: float) -> list[Solid]:
    """The connected solids in a solid, without the flat crumbs that joining along a seam plane leaves."""
    return [part for part in parts(solid) if part.volume() > crumb]


def _boxes_touch(one: Solid, other: Solid) -> bool:
    a, b = np.array(one.bounding_box()), np.array(other.bounding_box())
    slack = 1e-6 * float((a[3:] - a[:3]).max())
    return bool((a[:3] <= b[3:] + slack).all() and (b[:3] <= a[3:] + slack).all())


def _frees(form: Mesh, island: Mesh, pull: Floats, tolerance: float) -> bool:
    """Whether the island, moved along its pull, passes the form; a graze within the tolerance is let go."""
    island_frame = frame_for(island, pull, lines=ISLAND_LINES)
    own = solid_intervals(cast(island, island_frame))
    stood = solid_intervals(cast(form, island_frame))
    lowest = _first(own, own.low, np.inf, np.minimum)
    highest = _first(stood, stood.high, -np.inf, np.maximum)
    struck = (highest > lowest + tolerance).reshape(island_frame.shape)
    graze = max(1, int(np.ceil(tolerance / island_frame.pitch)))
    return not ndimage.binary_erosion(struck, iterations=graze).any()


def _first(intervals: Intervals, value: Floats, empty: float, least: np.ufunc) -> Floats:
    """(count,) least (or greatest) value over the intervals of each column."""
    found = np.full(intervals.frame.count, empty)
    least.at(found, intervals.column, value)
    return found


# --- names and order ----------------------------------------------------------------------------


def _removal(cut: _Cut) -> tuple[int, int, int]:
    """Top piece, foot piece, then halves from the top layer down, left and front before right and back."""
    rank = {"up": 0, "down": 1, "half": 2}[cut.kind]
    return rank, -cut.layer, int(_leading(cut.pull) > 0)


def _names(cuts: list[_Cut], stand: Stand) -> list[str]:
    """What the maker calls the pieces: by where they go; by layer too, where two go the same way."""
    if len(cuts) == 1:
        return ["mold"]
    names, named = [_side(cut.pull, stand) for cut in cuts], []
    for cut, name in zip(cuts, names, strict=True):
        layers = sorted({other.layer for other, same in zip(cuts, names, strict=True) if same == name})
        floors = {1: [""], 2: ["lower ", "upper "], 3: ["lower ", "middle ", "upper "]}
        words = floors.get(len(layers), [f"layer {k + 1} " for k in range(len(layers))])
        named.append(words[layers.index(cut.layer)] + name)
    return named


def _side(pull: Floats, stand: Stand) -> str:
    """top, foot, left, right, front or back; seen from the front (-y), in the casting pose."""
    if abs(pull[2]) > np.cos(np.radians(45)):
        below = "bottom" if stand.opening == "foot" else "foot"
        return "top" if pull[2] > 0 else below
    if abs(pull[0]) >= abs(pull[1]) - 1e-9:
        return "right" if pull[0] > 0 else "left"
    return "back" if pull[1] > 0 else "front"


def _leading(pull: Floats) -> float:
    return float(pull[0] if abs(pull[0]) >= abs(pull[1]) - 1e-9 else pull[1])


# --- faces --------------------------------------------------------------------------------------


def _owners(
    form: Mesh, cuts: list[_Cut], surfaces: list[tuple[Mesh, NDArray[np.int64]]], block: Block
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


def _classes(
    mesh: Mesh, cuts: list[_Cut], owner: NDArray[np.int8], job: PullJob
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
        if _point(axis) not in blocked:
            blocked[_point(axis)] = face_blocked(mesh, axis, offset=job.tolerance_mm, workers=WORKERS)
        own = np.flatnonzero(owner == k)
        centre = mesh.centroids[own]
        draft[own] = np.degrees(np.arcsin(np.clip(mesh.normals[own] @ cut.pull, -1, 1)))
        for normal, offset in cut.planes:
            near[own] |= np.abs(centre @ normal - offset) < SEAM_BAND_MM
        tight = (draft[own] < least[own] - 1e-6) & ~near[own] & (mesh.areas[own] > 0)
        kind[own[tight]] = TIGHT
        kind[own[blocked[_point(axis)][own, 0 if _positive(cut.pull) else 1]]] = LOCKED
    return kind, draft, near


def _positive(pull: Floats) -> bool:
    """One of the two ways along an axis, the same for both."""
    return bool(pull[np.flatnonzero(np.abs(pull) > 1e-9)[-1]] > 0)


def _least_draft(draft: Floats, areas: Floats, own: NDArray[np.bool_], near: NDArray[np.bool_]) -> float:
    """Area-weighted low quantile of the draft beyond the seam bands; 90 for a piece that touches no wall."""
    judged = own & ~near if (own & ~near).any() else own
    if not judged.any():
        return 90.0
    order = np.argsort(draft[judged], kind="stable")
    reached = np.cumsum(areas[judged][order])
    return float(draft[judged][order][np.searchsorted(reached, LEAST_DRAFT_QUANTILE * reached[-1])]) + 0.0


# --- findings -----------------------------------------------------------------------------------


def _island_finding(island: Solid) -> Finding:
    low, high = np.array(island.bounding_box()).reshape(2, 3)
    return Finding(
        "stop",
        "island",
        f"The seams cut {island.volume() / 1000:.1f} mL of plaster off from its piece, and no neighbour can carry it.",
        where=(_point((low + high) / 2),),
        remedy="Move a seam plane so that it does not pass through that hollow.",
    )


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


def _point(vector: Floats) -> Point:
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
