"""Plates to print: for each side that wants one, a board that shapes it.

A plate lies on the far side of its face. It has the form's section cut out, so that the master stands
through it, and carries the opposite of what the pieces shall have: a knob for each socket. Plates print
flat on their backs, knobs up, without support.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..cottle import Block
from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import section, silhouette
from ..geometry.solids import Solid, difference, from_manifold, placed, prism, split, united
from ..job import BoardsJob, PiecesJob
from ..pieces import SAME_WAY, Natch, Piece, plug_for, turned_over
from .bed import Bed
from .sides import Side, into

LINE_WIDTH, LINE_DEPTH = 0.8, 0.6
"""The cottle's line: a scratch under its wall, two nozzle widths wide, so that no plaster fills it, mm."""
LEAST_LIP = 5.0
"""A lip narrower than this holds no clay, mm."""
BACK_MM = 2.0
"""Plate left under a socket of a board."""
OVERSHOOT = 1.0
"""Cutters reach this far beyond what they cut, mm."""
JUST_MM = 1e-3
"""A section so far from a face tells what stands on that side of it."""
EDGE_MM = 2.0
"""Outside faces are looked at this deep, beyond eased edges, for where a mark may stand."""


@dataclass(frozen=True, eq=False)
class Plate:
    """One plate in the place where it is used. rotation: (3, 3) rows u, v and the face's normal, into the
    pieces. rooms: for each piece served, where its mark may stand, in (u, v); empty on joints.
    """

    side: Side
    rotation: Floats = field(repr=False)
    thickness_mm: float
    solid: Solid = field(repr=False)
    rooms: tuple[BaseGeometry, ...] = field(repr=False)


def plate_for(
    side: Side,
    pieces: Sequence[Piece],
    form: Solid,
    block: Block,
    job: BoardsJob,
    finish: PiecesJob,
    *,
    bed_mm: Bed,
    clear_of: Sequence[Natch] = (),
) -> Plate:
    """The plate of a side. pieces: those that it serves; clear_of: knobs of the plate that it stands on.

    Its hole is all that the form covers beyond the face, seen along the way off: so it comes off, also past
    a recess that its lip would reach into.
    """
    up = np.array(side.pose.up)
    rotation = _frame(side)
    knobs, sockets = opposites(side)
    thickness = max([job.thickness_mm, *(natch.depth_mm + BACK_MM for natch in sockets)])
    beyond = from_manifold(split(form, side.normal, side.offset_mm - JUST_MM)[1])
    taken = silhouette(beyond, rotation=rotation)
    outline, line = _outline(side, rotation, up, block, job, bed_mm)
    area = _facing(shapely.difference(outline, taken.buffer(job.fit_mm)), pieces, side, rotation)
    solid = _plate(area, rotation, side.offset_mm, thickness, line)
    if side.rise < SAME_WAY:  # a slanting plate ends at the level that the pieces stand on
        solid = split(solid, up, side.pose.base_mm)[0]
    clearance = finish.natch_clearance_mm if finish.natches == "insert" else 0.0
    solid = united([solid, *(plug_for(natch, clearance=clearance) for natch in knobs)])
    for natch in sockets:
        solid = difference(solid, plug_for(natch))
    for natch in clear_of:
        solid = difference(solid, plug_for(natch, clearance=job.fit_mm))
    rooms = tuple(_room(piece, side, rotation, from_manifold(form)) for piece in pieces)
    return Plate(side, rotation, thickness, solid, rooms)


def _frame(side: Side) -> Floats:
    if side.joints:
        return rotation_for(side.normal, up=side.joints[0].rotation[1])
    return rotation_for(side.normal, up=(0.0, 1.0, 0.0))


def _outline(
    side: Side, rotation: Floats, up: Floats, block: Block, job: BoardsJob, bed_mm: Bed
) -> tuple[BaseGeometry, BaseGeometry]:
    """The plate's outer outline, and the scratch that the cottle stands on, in (u, v).

    Underneath, a plate reaches beyond the cottle; beside the piece it fills the cottle from side to
    side and stands out at the open side; on top it covers the piece.
    """
    room = _cottle_at(side, rotation, up, block)
    if abs(side.rise) < SAME_WAY:
        x, y = job.lip_mm * (rotation[:2] @ up)
        return shapely.union_all(
            [room, shapely.affinity.translate(room, x, y)]
        ).convex_hull, shapely.Polygon()
    if side.rise < 0:
        return shapely.union_all(
            [_seen(side, k, rotation) for k in range(len(side.joints))]
        ), shapely.Polygon()
    outline = room.convex_hull.buffer(_lip(room, job, bed_mm), join_style="mitre")
    return outline, room.buffer(LINE_WIDTH, join_style="mitre").difference(room)


def _cottle_at(side: Side, rotation: Floats, up: Floats, block: Block) -> BaseGeometry:
    """What the plane cuts from the room in the cottle: from the level stood on up to the open side."""
    level = abs(side.normal[2]) > SAME_WAY
    if level:
        whole: BaseGeometry = shapely.Polygon(block.outline @ rotation[:2, :2].T)
    else:
        prismatic = from_manifold(prism(block.outline, block.bottom_mm, block.top_mm))
        whole = section(prismatic, side.offset_mm, rotation=rotation)
    if side.rise > SAME_WAY:
        return whole if level else _seen_together(side, rotation, whole)
    for way, least in ((up, side.pose.base_mm), (-up, -side.pose.open_mm)):
        whole = _ahead(whole, rotation, side.offset_mm, way, least)
    return whole


def _seen_together(side: Side, rotation: Floats, whole: BaseGeometry) -> BaseGeometry:
    """Between the end plates of pieces that lie on the plane: as far as their joints reach along it."""
    if not side.joints:
        return whole
    joints = shapely.union_all([_seen(side, k, rotation) for k in range(len(side.joints))])
    return shapely.intersection(whole, shapely.box(*joints.bounds))


def _ahead(area: BaseGeometry, rotation: Floats, offset: float, way: Floats, least: float) -> BaseGeometry:
    """The part of a figure in the plane rotation[2] . p = offset where way . p > least."""
    flat, rest = rotation[:2] @ way, least - offset * float(rotation[2] @ way)
    length = float(np.linalg.norm(flat))
    if length < JUST_MM:
        return area
    ahead, far = flat / length, 1e4
    start, along = rest / length * ahead, np.array([-ahead[1], ahead[0]])
    corners = [start - far * along, start + far * along]
    corners += [start + far * (along + ahead), start + far * (ahead - along)]
    return shapely.intersection(area, shapely.Polygon(corners))


def _facing(area: BaseGeometry, pieces: Sequence[Piece], side: Side, rotation: Floats) -> BaseGeometry:
    """The parts of a plate that plaster stands on: a disc in a foot recess shapes nothing."""
    plaster = shapely.union_all(
        [section(piece.mesh, side.offset_mm + JUST_MM, rotation=rotation) for piece in pieces]
    )
    touched = [part for part in shapely.get_parts(area) if shapely.intersection(part, plaster).area > JUST_MM]
    return shapely.union_all(touched)


def _room(piece: Piece, side: Side, rotation: Floats, form: Mesh) -> BaseGeometry:
    """Where the piece's mark may stand on the plate: clear of its edges and of the form's end."""
    if side.joints:
        return shapely.Polygon()
    face = section(piece.mesh, side.offset_mm + EDGE_MM, rotation=rotation)
    return shapely.difference(
        face, section(form, side.offset_mm + JUST_MM, rotation=rotation).buffer(EDGE_MM)
    )


def opposites(side: Side) -> tuple[list[Natch], list[Natch]]:
    """The knobs and the sockets that the plate carries for its pieces' natches."""
    knobs: list[Natch] = []
    sockets: list[Natch] = []
    for joint in side.joints:
        from_socket = bool(into(joint.socket, joint)[0] @ side.normal > 0)
        if joint.kind == "insert":
            knobs += joint.natches if from_socket else map(turned_over, joint.natches)
        elif from_socket:
            knobs += joint.natches
        else:
            sockets += joint.natches
    return knobs, sockets


def _seen(side: Side, number: int, rotation: Floats) -> BaseGeometry:
    """A joint's outline in the axes of another frame of the same plane."""
    joint = side.joints[number]
    turn = rotation[:2] @ joint.rotation[:2].T
    shift = rotation[:2] @ (joint.offset_mm * joint.rotation[2])
    (a, b), (c, d) = turn
    return shapely.affinity.affine_transform(joint.outline, [a, b, c, d, *shift])


def _lip(outline: BaseGeometry, job: BoardsJob, bed_mm: Bed) -> float:
    """How far the board reaches beyond the cottle: less, where it then fits the bed in one."""
    low_x, low_y, high_x, high_y = outline.bounds
    room = min((bed - side) / 2 for bed, side in zip(bed_mm, (high_x - low_x, high_y - low_y), strict=False))
    return room if LEAST_LIP <= room < job.lip_mm else job.lip_mm


def _plate(
    area: BaseGeometry, rotation: Floats, offset: float, thickness: float, line: BaseGeometry
) -> Solid:
    solid = upright(area, offset - thickness, offset)
    scratch = shapely.intersection(line, area)
    if not scratch.is_empty and scratch.area > LINE_WIDTH:
        solid = difference(solid, upright(scratch, offset - LINE_DEPTH, offset + OVERSHOOT))
    return placed(solid, rotation)


def upright(area: BaseGeometry, low: float, high: float) -> Solid:
    """The prism over a plane figure, holes and several parts included."""
    return united([prism(contours(part), low, high) for part in shapely.get_parts(area) if part.area > 1e-6])


def contours(part: shapely.Polygon) -> Sequence[Floats]:
    """Outer outline counter-clockwise and holes clockwise, without repeated last points."""
    turned = shapely.orient_polygons(part)
    return [np.array(ring.coords)[:-1] for ring in (turned.exterior, *turned.interiors)]
