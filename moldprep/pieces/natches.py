"""Natches: what keeps the pieces of a mold in register, on each face where two of them meet.

A natch is a knob of one piece in a socket of the other. The piece that is poured first has the
sockets and the next fills them, so knob and socket are the same shape. Their axis is the way in
which the joint opens and their sides taper along it. They stand in the free part of the joint face,
clear of cavity and edges, and so that the pieces go together one way only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..cottle import Block
from ..errors import Point
from ..findings import Finding
from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh, read_only
from ..geometry.outlines import areas, section, sections
from ..geometry.solids import Solid, difference, from_manifold, plug, united
from ..job import PiecesJob
from .order import point_of, pouring_ranks, removal_rank
from .register import TOUCH, candidates, moves_of, one_way
from .slabs import Slab

WALL_SHARE = 1 / 3
LEAST_DIAMETER, MOST_DIAMETER = 8.0, 20.0
"""Natches are a third of the wall across, 8 to 20 mm (common practice)."""
LEAST_CLEAR = 6.0
"""Plaster between a natch and cavity or edge: this, and at least half its diameter (common practice)."""
LEAST_DEPTH, MOST_DEPTH = 5.0, 8.0
"""How far a knob stands out (common practice)."""
DEPTHS = (MOST_DEPTH, 6.5, LEAST_DEPTH, 4.0, 3.0)
"""Depths not to be exceeded, tried one after the other: behind a socket in a thin wall plaster must stay,
and a shallow natch still keeps register."""
BEHIND_STEP = 2.0
"""Steps in which the plaster behind a joint is looked at, mm."""
DIAMETER_STEPS = 5
"""Smaller natches are tried before a joint goes without."""
TIP_SHARE = 1 / 3
"""Least share of its diameter that a knob keeps at its tip."""
STACKED = "stacked halves slide past each other"


@dataclass(frozen=True)
class Natch:
    """One natch: the centre of its mouth in the joint plane, the way its knob points into the socket, mm."""

    where: Point
    axis: Point
    diameter_mm: float
    tip_mm: float
    depth_mm: float


@dataclass(frozen=True, eq=False)
class Joint:
    """A face where two pieces meet. socket, knob: letters of the piece poured first and of the next.

    rotation: (3, 3) rows u, v and the face's normal, which points out of the socket's piece; the face
    lies at normal . p = offset_mm. outline: of the face in (u, v), the form's section included;
    area_mm2: without it. kind: "cast" (a knob of plaster) or "insert" (sockets on both sides). reason:
    why there are no natches, "" where there are.
    """

    socket: str
    knob: str
    rotation: Floats = field(repr=False)
    offset_mm: float
    outline: BaseGeometry = field(repr=False)
    area_mm2: float
    kind: str
    natches: tuple[Natch, ...]
    reason: str = ""

    @property
    def normal(self) -> Point:
        """Out of the socket's piece."""
        return point_of(self.rotation[2])


@dataclass(frozen=True, eq=False)
class _Face:
    """A joint face to be: indices of the slabs (first poured, next), its frame, whose normal points out of the
    first, its plane, area and outer outline."""

    socket: int
    knob: int
    rotation: Floats
    offset: float
    area: BaseGeometry
    outer: BaseGeometry


@dataclass(frozen=True, eq=False)
class _Plaster:
    """What a natch has round it: the eased block, the form to be taken out, and natches set before into
    other joints of the two pieces."""

    whole: Mesh
    form: Mesh
    beside: Sequence[Natch]


def natched(
    slabs: list[Slab], form: Mesh, block: Block, eased: Solid, axis: Floats, job: PiecesJob
) -> tuple[list[Slab], tuple[Joint, ...], tuple[Finding, ...]]:
    """The slabs with their natches, the joints between them, and what to know about them.

    slabs: in the order in which the pieces come off; their letters are A, B, ... in that order. eased:
    the block that they make up. axis: the stack axis.
    """
    joints: list[Joint] = []
    solids = [slab.solid for slab in slabs]
    whole = from_manifold(eased)
    for face in _faces(slabs, whole, form, axis):
        letters = {_letter(face.socket), _letter(face.knob)}
        beside = [
            natch for joint in joints if letters & {joint.socket, joint.knob} for natch in joint.natches
        ]
        natches, reason = _placed(face, slabs, _Plaster(whole, form, beside), block, job)
        for natch in natches:
            _carve(solids, face, natch, job)
        joints.append(
            Joint(
                socket=_letter(face.socket),
                knob=_letter(face.knob),
                rotation=np.asarray(read_only(face.rotation)),
                offset_mm=face.offset,
                outline=face.outer,
                area_mm2=face.area.area,
                kind=job.natches,
                natches=natches,
                reason=reason,
            )
        )
    made = [replace(slab, solid=solid) for slab, solid in zip(slabs, solids, strict=True)]
    return made, tuple(joints), _findings(joints, job)


def plug_for(natch: Natch, *, clearance: float = 0.0, root: float = 1.0) -> Solid:
    """The knob of a natch as a solid, with a root behind its mouth; `clearance` wider all round."""
    return plug(
        natch.where,
        natch.axis,
        radius=natch.diameter_mm / 2 + clearance,
        tip_radius=natch.tip_mm / 2 + clearance,
        length=natch.depth_mm + clearance,
        root=root,
    )


def turned_over(natch: Natch) -> Natch:
    """The same natch, pointing into the other piece."""
    x, y, z = natch.axis
    return replace(natch, axis=(-x, -y, -z))


def _letter(number: int) -> str:
    return chr(ord("A") + number)


def _carve(solids: list[Solid], face: _Face, natch: Natch, job: PiecesJob) -> None:
    """Socket into the one piece, knob onto the other; with inserts, sockets into both."""
    if job.natches == "insert":
        for k, one in ((face.socket, natch), (face.knob, turned_over(natch))):
            solids[k] = difference(solids[k], plug_for(one, clearance=job.natch_clearance_mm))
        return
    solids[face.socket] = difference(solids[face.socket], plug_for(natch))
    solids[face.knob] = united([solids[face.knob], plug_for(natch)])


# --- joint faces --------------------------------------------------------------------------------


def _faces(slabs: list[Slab], whole: Mesh, form: Mesh, axis: Floats) -> list[_Face]:
    """Every face where two slabs meet."""
    ranks = pouring_ranks([slab.pull for slab in slabs])
    found = []
    for one, other in combinations(range(len(slabs)), 2):
        shared = _shared_plane(slabs[one], slabs[other])
        if shared is None:
            continue
        first, second = sorted((one, other), key=lambda k: (ranks[k], removal_rank(slabs[k])))
        normal, offset = shared if first == other else (-shared[0], -shared[1])
        rotation = rotation_for(normal, up=axis)
        outer = section(whole, offset, rotation=rotation)
        for slab in (slabs[one], slabs[other]):
            outer = _within(outer, slab, rotation, offset)
        if outer.area < TOUCH:
            continue
        area = areas(shapely.difference(outer, section(form, offset, rotation=rotation)))
        found.append(_Face(first, second, rotation, offset, area, outer))
    return found


def _shared_plane(one: Slab, other: Slab) -> tuple[Floats, float] | None:
    """The seam plane that has one slab on each side, as `one` sees it."""
    for normal, offset in one.planes:
        for facing, behind in other.planes:
            if normal @ facing < -1 + 1e-9 and abs(offset + behind) < 1e-9:
                return normal, offset
    return None


def _within(area: BaseGeometry, slab: Slab, rotation: Floats, offset: float) -> BaseGeometry:
    """The part of a figure in the plane at `offset` that lies on the slab's side of its seam planes."""
    for normal, least in slab.planes:
        flat = rotation[:2] @ normal
        if np.linalg.norm(flat) < 1e-9:
            if float(rotation[2] @ normal) * offset < least - TOUCH:
                return shapely.Polygon()
            continue
        # normal . p = flat . (u, v) + (normal . d) offset
        start = (least - float(rotation[2] @ normal) * offset) / float(flat @ flat) * flat
        along, ahead = np.array([-flat[1], flat[0]]), flat / np.linalg.norm(flat)
        far = 1e4
        corners = [
            start - far * along,
            start + far * along,
            start + far * (along + ahead),
            start + far * (ahead - along),
        ]
        area = areas(shapely.intersection(area, shapely.Polygon(corners)))
    return area


# --- placing ------------------------------------------------------------------------------------


def _placed(
    face: _Face, slabs: list[Slab], plaster: _Plaster, block: Block, job: PiecesJob
) -> tuple[tuple[Natch, ...], str]:
    """The natches of a joint, as deep and then as large as fit; none and the reason where the rule does not fit."""
    if job.natches == "none":
        return (), "none were asked for"
    one, other = slabs[face.socket], slabs[face.knob]
    if one.layer != other.layer and one.kind == other.kind == "half":
        return (), STACKED
    wanted = job.natch_diameter_mm or float(
        np.clip(WALL_SHARE * block.wall_mm, LEAST_DIAMETER, MOST_DIAMETER)
    )
    least = min(wanted, LEAST_DIAMETER)
    loose = job.natch_clearance_mm if job.natches == "insert" else 0.0
    moves = moves_of(face.outer)
    both = job.natches == "insert"

    @cache
    def free_face(behind: float) -> BaseGeometry:
        return _free_face(face, slabs, plaster, behind=behind, both=both)

    for limit in DEPTHS:
        for diameter in np.linspace(wanted, least, DIAMETER_STEPS if wanted > least else 1).tolist():
            clear = clear_of(diameter)
            free = free_face(min(limit, depth_of(diameter)) + loose + clear)
            needed = diameter / 2 + loose + clear
            room = free.buffer(-needed + TOUCH)
            for centred in (True, False):
                places = candidates(room, free, needed, centred=centred)
                chosen = one_way(places, moves, diameter, apart_mm=diameter + LEAST_CLEAR)
                if chosen is not None:
                    return _natches(chosen, face, diameter, limit, job), ""
    clear = loose + clear_of(least)
    wide, deep = least + 2 * clear, DEPTHS[-1] + clear
    return (), (
        f"three of {least:.0f} mm need a face {wide:.0f} mm wide all along and {deep:.0f} mm of plaster behind it"
    )


def _natches(places: Floats, face: _Face, diameter: float, limit: float, job: PiecesJob) -> tuple[Natch, ...]:
    """Natches at (3, 2) places; where a blunt tip leaves too little for the taper, they are shallower."""
    taper = float(np.tan(np.radians(job.natch_taper_deg)))
    depth = min(depth_of(diameter), limit, diameter * (1 - TIP_SHARE) / (2 * taper))
    axis = point_of(-face.rotation[2])
    wheres = [point_of(np.array([*place, face.offset]) @ face.rotation) for place in places]
    return tuple(Natch(where, axis, diameter, diameter - 2 * depth * taper, depth) for where in wheres)


def clear_of(diameter: float) -> float:
    """Plaster that a natch needs between it and cavity or edge, mm."""
    return float(max(LEAST_CLEAR, diameter / 2))


def depth_of(diameter: float) -> float:
    """How far a knob stands out: half as far as it is across, 5 to 8 mm (common practice)."""
    return float(np.clip(diameter / 2, LEAST_DEPTH, MOST_DEPTH))


def _free_face(
    face: _Face, slabs: list[Slab], plaster: _Plaster, *, behind: float, both: bool
) -> BaseGeometry:
    """The part of the face that has plaster behind it, as deep as a socket and what its end must be clear of.

    Plaster inside the form's outline (a boss in a recess) is left out: it carries nothing.
    """
    rim = shapely.boundary(face.outer)
    free = shapely.union_all(
        [part for part in shapely.get_parts(face.area) if shapely.distance(part, rim) < TOUCH]
    )
    steps = np.linspace(0, behind - TOUCH, int(np.ceil(behind / BEHIND_STEP)) + 1)[1:]
    for slab, way in ((slabs[face.socket], -1.0), (slabs[face.knob], 1.0))[: 2 if both else 1]:
        heights = face.offset + way * steps
        solids = (sections(mesh, heights, rotation=face.rotation) for mesh in (plaster.whole, plaster.form))
        for height, whole, form in zip(heights, *solids, strict=True):
            there = _within(whole, slab, face.rotation, float(height))
            free = areas(shapely.difference(areas(shapely.intersection(free, there)), form))
    for natch in plaster.beside:
        free = areas(shapely.difference(free, _shadow(natch, face, behind)))
    return free


def _shadow(natch: Natch, face: _Face, within: float) -> BaseGeometry:
    """What a natch of another joint takes of a face, if it comes within so many mm of it."""
    ends = np.array([natch.where, np.add(natch.where, natch.depth_mm * np.array(natch.axis))])
    local = ends @ face.rotation.T
    if np.abs(local[:, 2] - face.offset).min() - natch.diameter_mm / 2 > within:
        return shapely.Polygon()
    return shapely.LineString(local[:, :2]).buffer(natch.diameter_mm / 2)


# --- findings -----------------------------------------------------------------------------------


def _findings(joints: Sequence[Joint], job: PiecesJob) -> tuple[Finding, ...]:
    bare = [joint for joint in joints if not joint.natches and joint.reason != STACKED]
    if not bare or job.natches == "none":
        return ()
    pairs = ", ".join(f"{joint.socket}–{joint.knob}" for joint in bare)
    return (
        Finding(
            "warn",
            "no-natches",
            f"No natches fit between {pairs}: {bare[0].reason}.",
            remedy="Choose a thicker wall, or a smaller natch (natch_diameter_mm), or mark the seam and band the pieces.",
        ),
    )
