"""Natches: what keeps the pieces of a mold in register, on each face where two of them meet.

A natch is a knob of one piece in a socket of the other. The piece that is poured first has the
sockets and the next fills them, so knob and socket are the same shape. Their axis is the way in
which the joint opens and their sides taper along it. They stand in the free part of the joint face,
clear of cavity and edges, and so that the pieces go together one way only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..cottle import Block
from ..errors import Point
from ..findings import Finding
from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh, read_only
from ..geometry.outlines import section, sections
from ..geometry.solids import Solid, difference, from_manifold, plug, united
from ..job import PiecesJob
from .order import point_of, pouring_ranks, removal_rank
from .slabs import Slab

WALL_SHARE = 1 / 3
LEAST_DIAMETER, MOST_DIAMETER = 8.0, 20.0
"""Natches are a third of the wall across, 8 to 20 mm (common practice)."""
LEAST_CLEAR = 6.0
"""Plaster between a natch and cavity or edge: this, and at least half its diameter (common practice)."""
LEAST_DEPTH, MOST_DEPTH = 5.0, 8.0
"""How far a knob stands out (common practice)."""
DIAMETER_STEPS = 5
"""Smaller natches are tried before a joint goes without."""
COUNT = 3
"""Natches on a joint: three fix a face."""
MOST_CANDIDATES = 40
"""Places compared, three by three."""
OUTLINE_SLACK = 2.0
"""A turned outline within this of itself lets the pieces be put together that way too, mm."""
TURN_STEP_DEG = 1.0
"""Turns of an outline that are tried for sameness."""
STACKED = "stacked halves slide past each other"
TOUCH = 1e-3
"""Plane figures nearer than this touch, mm."""


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


def natched(
    slabs: list[Slab], form: Mesh, block: Block, eased: Solid, axis: Floats, job: PiecesJob
) -> tuple[list[Slab], tuple[Joint, ...], tuple[Finding, ...]]:
    """The slabs with their natches, the joints between them, and what to know about them.

    slabs: in the order in which the pieces come off; their letters are A, B, ... in that order. eased:
    the block that they make up. axis: the stack axis.
    """
    joints: list[Joint] = []
    solids = [slab.solid for slab in slabs]
    for face in _faces(slabs, from_manifold(eased), form, axis):
        natches, reason = _placed(face, slabs, form, block, job)
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
        if outer.is_empty or outer.area < TOUCH:
            continue
        area = shapely.difference(outer, section(form, offset, rotation=rotation))
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
    """The part of a plane figure that lies on the slab's side of its other seam planes."""
    for normal, least in slab.planes:
        flat = rotation[:2] @ normal
        if np.linalg.norm(flat) < 1e-9:
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
        area = shapely.intersection(area, shapely.Polygon(corners))
    return area


# --- placing ------------------------------------------------------------------------------------


def _placed(
    face: _Face, slabs: list[Slab], form: Mesh, block: Block, job: PiecesJob
) -> tuple[tuple[Natch, ...], str]:
    """The natches of a joint, as large as fit; none and the reason where the rule does not fit."""
    if job.natches == "none":
        return (), "none were asked for"
    one, other = slabs[face.socket], slabs[face.knob]
    if one.layer != other.layer and one.kind == other.kind == "half":
        return (), STACKED
    free = _free_face(face, form, both=job.natches == "insert")
    wanted = job.natch_diameter_mm or float(
        np.clip(WALL_SHARE * block.wall_mm, LEAST_DIAMETER, MOST_DIAMETER)
    )
    least = min(wanted, LEAST_DIAMETER)
    for diameter in np.linspace(wanted, least, DIAMETER_STEPS if wanted > least else 1):
        clear = max(LEAST_CLEAR, diameter / 2)
        room = free.buffer(-(diameter / 2 + clear) + TOUCH)
        for centred in (True, False):
            places = _candidates(room, free, diameter / 2 + clear, centred=centred)
            chosen = _one_way(places, face.outer, diameter)
            if chosen is not None:
                return _natches(chosen, face, float(diameter), job), ""
    need = least + 2 * max(LEAST_CLEAR, least / 2)
    return (), f"three of {least:.0f} mm need a face {need:.0f} mm wide all along"


def _natches(places: Floats, face: _Face, diameter: float, job: PiecesJob) -> tuple[Natch, ...]:
    depth = depth_of(diameter)
    tip = diameter - 2 * depth * float(np.tan(np.radians(job.natch_taper_deg)))
    axis = point_of(-face.rotation[2])
    return tuple(
        Natch(
            point_of(np.array([*place, face.offset]) @ face.rotation),
            axis,
            diameter,
            max(tip, diameter / 3),
            depth,
        )
        for place in places
    )


def depth_of(diameter: float) -> float:
    """How far a knob stands out: half as far as it is across, 5 to 8 mm (common practice)."""
    return float(np.clip(diameter / 2, LEAST_DEPTH, MOST_DEPTH))


def _free_face(face: _Face, form: Mesh, *, both: bool) -> BaseGeometry:
    """The face without what the form takes at the plane or within a socket's depth behind it.

    Plaster inside the form's outline (a boss in a recess) is left out: it carries nothing.
    """
    behind = np.linspace(0, MOST_DEPTH + LEAST_CLEAR, 4)
    ways = (-1.0, 1.0) if both else (-1.0,)
    heights = sorted({face.offset + way * float(depth) for way in ways for depth in behind})
    area = face.outer
    for taken in sections(form, heights, rotation=face.rotation):
        area = shapely.difference(area, taken)
    rim = shapely.boundary(face.outer)
    parts = [part for part in shapely.get_parts(area) if shapely.distance(part, rim) < TOUCH]
    return shapely.union_all(parts)


def _candidates(room: BaseGeometry, free: BaseGeometry, needed: float, *, centred: bool) -> Floats:
    """(k, 2) places for a natch's centre, at most `MOST_CANDIDATES`, spread over the room.

    centred: only the middles of the largest circles that fit: a place beside a much better one is left
    out, so natches stand in the middle of a wall; where there is plenty all round, anywhere.
    """
    if room.is_empty:
        return np.zeros((0, 2))
    low_x, low_y, high_x, high_y = room.bounds
    step = max(np.sqrt(max(room.area, 1.0) / 3000), 0.25)
    x, y = np.arange(low_x, high_x + step, step), np.arange(low_y, high_y + step, step)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    grid = grid[shapely.contains_xy(room, grid[:, 0], grid[:, 1])]
    edge = shapely.get_coordinates(shapely.segmentize(shapely.boundary(room), max(step, room.length / 300)))
    grid = np.vstack([grid, edge])
    if not centred:
        return _spread(grid, MOST_CANDIDATES)
    clear = np.minimum(shapely.distance(shapely.boundary(free), shapely.points(grid)), 1.6 * needed)
    best = np.array([clear[np.hypot(*(grid - point).T) <= 0.8 * needed].max() for point in grid])
    return _spread(grid[clear >= 0.97 * best], MOST_CANDIDATES)


def _spread(points: Floats, count: int) -> Floats:
    """At most `count` of the points, each as far from those before it as can be."""
    chosen = [int(np.argmax(np.hypot(*(points - points.mean(axis=0)).T)))]
    nearest = np.hypot(*(points - points[chosen[0]]).T)
    while len(chosen) < min(count, len(points)) and nearest.max() > TOUCH:
        chosen.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, np.hypot(*(points - points[chosen[-1]]).T))
    return points[chosen]


def _one_way(places: Floats, outer: BaseGeometry, diameter: float) -> Floats | None:
    """(3, 2) the places farthest apart that no other way of laying the outline on itself brings together."""
    if len(places) < COUNT:
        return None
    triples = np.array(list(combinations(range(len(places)), COUNT)))
    sides = np.hypot(*(places[triples] - places[np.roll(triples, 1, axis=1)]).transpose(2, 0, 1))
    spread = sides.min(axis=1)
    order = np.argsort(-spread, kind="stable")
    order = order[spread[order] >= diameter + LEAST_CLEAR]
    moves = _moves(outer)
    least = diameter / 2 + OUTLINE_SLACK
    for chunk in np.array_split(order, max(1, len(order) // 500)):
        good = _misses(places[triples[chunk]], moves, diameter) >= least
        if good.any():
            return np.asarray(places[triples[chunk[np.argmax(good)]]])
    return None


def _misses(points: Floats, moves: list[tuple[Floats, Floats]], diameter: float) -> Floats:
    """(n,) the least of the moves' greatest misses for each of (n, 3, 2) natches, mm; inf without a move.

    A turn so small that no natch leaves its socket is no other way of putting them together.
    """
    worst = np.full(len(points), np.inf)
    for turn, centre in moves:
        moved = (points - centre) @ turn.T + centre
        miss = np.linalg.norm(moved[:, :, None] - points[:, None], axis=-1).min(axis=2).max(axis=1)
        own = np.linalg.norm(moved - points, axis=-1).max(axis=1)
        proper = np.linalg.det(turn) > 0
        same = proper & (own < diameter / 2 + OUTLINE_SLACK)
        worst = np.where(same, worst, np.minimum(worst, miss))
    return worst


def _moves(outer: BaseGeometry) -> list[tuple[Floats, Floats]]:
    """Turns and mirrorings (2, 2) about a centre that lay the outer outline on itself, identity left out."""
    shape = shapely.Polygon(max(shapely.get_parts(outer), key=lambda part: part.area).exterior)
    centre = np.array(shape.centroid.coords[0])
    ring = np.array(shapely.segmentize(shape.exterior, max(1.0, shape.length / 240)).coords)[:-1] - centre
    line = shapely.affinity.translate(shape.exterior, *-centre)
    shapely.prepare(line)
    angles = np.radians(np.arange(0, 360, TURN_STEP_DEG))
    found = []
    for angle in angles:
        c, s = np.cos(angle), np.sin(angle)
        for turn in (np.array([[c, -s], [s, c]]), np.array([[c, s], [s, -c]])):
            if np.allclose(turn, np.eye(2)):
                continue
            if shapely.distance(line, shapely.points(ring @ turn.T)).max() <= 2 * OUTLINE_SLACK:
                found.append((turn, centre))
    return found


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
