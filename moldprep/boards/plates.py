"""Plates to print: for each face of a piece that is neither cottle nor open, a board that shapes it.

A plate lies on the far side of its face. It has the form's section cut out, so that the master stands
through it, and carries the opposite of what the piece shall have: a knob for each socket. Plates print
flat on their backs, knobs up, without support.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..cottle import Block
from ..errors import Point
from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import section, sections
from ..geometry.solids import Solid, difference, placed, prism, united
from ..job import BoardsJob, PiecesJob
from ..pieces import SAME_WAY, Joint, Natch, Piece, Pieces, plug_for, turned_over
from ..poses import Pose
from ..stand import Stand

PlateKind = Literal["flange", "end plate", "base", "lid"]
LINE_WIDTH, LINE_DEPTH = 0.8, 0.6
"""The cottle's line: a scratch under its wall, two nozzle widths wide, so that no plaster fills it, mm."""
LEAST_LIP = 5.0
"""A lip narrower than this holds no clay, mm."""
BACK_MM = 2.0
"""Plate left under a socket of a board."""
OVERSHOOT = 1.0
"""Cutters reach this far beyond what they cut, mm."""


@dataclass(frozen=True, eq=False)
class Plate:
    """One plate in the place where it is used. rotation: (3, 3) rows u, v and the face's normal, into the
    piece; offset_mm of the face along it. room: where a mark may stand, in (u, v); empty on joints.
    """

    kind: PlateKind
    rotation: Floats = field(repr=False)
    offset_mm: float
    thickness_mm: float
    solid: Solid = field(repr=False)
    room: BaseGeometry = field(repr=False)


def plates_for(
    piece: Piece, pose: Pose, pieces: Pieces, stand: Stand, block: Block, job: BoardsJob, finish: PiecesJob
) -> list[Plate]:
    """All plates that a piece is poured in, the one below it first."""
    up = np.array(pose.up)
    found = [
        _joint_plate(faces, piece, up, stand.mesh, block, job, finish) for faces in _by_plane(piece, pieces)
    ]
    if not any(float(plate.rotation[2] @ up) > SAME_WAY for plate in found):
        found.append(_outer_plate("base", up, pose.base_mm, up, stand, block, piece, pose.base_mm, job))
    if pose.stance == "lying" and not any(plate.rotation[2][2] < -SAME_WAY for plate in found):
        down = np.array([0.0, 0.0, -1.0])
        found.append(
            _outer_plate("end plate", down, -block.top_mm, up, stand, block, piece, pose.base_mm, job)
        )
    return sorted(found, key=lambda plate: -float(plate.rotation[2] @ up))


def _by_plane(piece: Piece, pieces: Pieces) -> list[list[Joint]]:
    """The piece's joints, those in one plane together."""
    groups: list[list[Joint]] = []
    for joint in pieces.joints:
        if piece.letter not in (joint.socket, joint.knob):
            continue
        normal, offset = _into(piece, joint)
        for group in groups:
            other, level = _into(piece, group[0])
            if normal @ other > SAME_WAY and abs(level - offset) < 1e-6:
                group.append(joint)
                break
        else:
            groups.append([joint])
    return groups


def _into(piece: Piece, joint: Joint) -> tuple[Floats, float]:
    """Unit normal of the joint into the piece, and its offset."""
    sign = 1.0 if piece.letter == joint.knob else -1.0
    return sign * joint.rotation[2], sign * joint.offset_mm


def _joint_plate(
    joints: list[Joint],
    piece: Piece,
    up: Floats,
    form: Mesh,
    block: Block,
    job: BoardsJob,
    finish: PiecesJob,
) -> Plate:
    """The plate for one joint face, with the form's section cut out and its natches' opposites on it."""
    normal, offset = _into(piece, joints[0])
    rotation = rotation_for(normal, up=joints[0].rotation[1])
    face = shapely.union_all([_seen(joint, rotation) for joint in joints])
    rise = float(normal @ up)
    knobs, sockets = _opposites(piece, joints)
    thickness = max([job.thickness_mm, *(natch.depth_mm + BACK_MM for natch in sockets)])
    depths = offset - np.linspace(0, thickness, 3)
    taken = shapely.union_all(
        [section(form, offset, rotation=rotation), *sections(form, depths, rotation=rotation)]
    )
    line: BaseGeometry = shapely.Polygon()
    if rise > SAME_WAY:
        whole = shapely.Polygon(block.outline @ rotation[:2, :2].T) if abs(normal[2]) > SAME_WAY else face
        outline = shapely.union_all([whole, taken]).convex_hull
        outline = outline.buffer(_lip(outline, job), join_style="mitre")
        line = whole.buffer(LINE_WIDTH, join_style="mitre").difference(whole)
        kind: PlateKind = "flange" if np.dot(normal, piece.pull) > SAME_WAY else "end plate"
    elif rise < -SAME_WAY:
        outline, kind = face, "lid"
    else:
        outline = _raised(face, rotation[:2] @ up, job.lip_mm)
        kind = "flange" if np.dot(normal, piece.pull) > SAME_WAY else "end plate"
    area = shapely.difference(outline, taken.buffer(job.fit_mm))
    solid = _plate(area, rotation, offset, thickness, line)
    clearance = finish.natch_clearance_mm if finish.natches == "insert" else 0.0
    for natch in knobs:
        solid = united([solid, plug_for(natch, clearance=clearance)])
    for natch in sockets:
        solid = difference(solid, plug_for(natch))
    return Plate(kind, rotation, offset, thickness, solid, shapely.Polygon())


def _outer_plate(
    kind: PlateKind,
    normal: Floats,
    offset: float,
    up: Floats,
    stand: Stand,
    block: Block,
    piece: Piece,
    base_mm: float,
    job: BoardsJob,
) -> Plate:
    """A plain plate under or beside an outside face, which the mark may be cast into."""
    rotation = rotation_for(normal, up=(0.0, 1.0, 0.0) if abs(normal[2]) > SAME_WAY else None)
    whole = shapely.Polygon(block.outline @ rotation[:2, :2].T)
    opening = section(stand.mesh, offset + 1e-6, rotation=rotation)
    face = shapely.difference(section(piece.mesh, offset + 2.0, rotation=rotation), opening.buffer(2.0))
    if kind == "base":
        outline = whole.convex_hull.buffer(_lip(whole, job), join_style="mitre")
        line = whole.buffer(LINE_WIDTH, join_style="mitre").difference(whole)
    else:
        own = _half_plane(rotation[:2] @ up, base_mm)
        outline = _raised(shapely.intersection(whole, own), rotation[:2] @ up, job.lip_mm)
        line = shapely.Polygon()
    return Plate(
        kind,
        rotation,
        offset,
        job.thickness_mm,
        _plate(outline, rotation, offset, job.thickness_mm, line),
        face,
    )


def _half_plane(flat: Floats, least: float) -> BaseGeometry:
    """Where flat . (u, v) > least."""
    along, far = np.array([-flat[1], flat[0]]), 1e4
    start = least * flat
    return shapely.Polygon(
        [start - far * along, start + far * along, start + far * (along + flat), start + far * (flat - along)]
    )


def _opposites(piece: Piece, joints: list[Joint]) -> tuple[list[Natch], list[Natch]]:
    """The knobs and the sockets that the board carries for a piece's natches."""
    knobs: list[Natch] = []
    sockets: list[Natch] = []
    for joint in joints:
        if joint.kind == "insert":
            knobs += joint.natches if piece.letter == joint.socket else map(turned_over, joint.natches)
        elif piece.letter == joint.socket:
            knobs += joint.natches
        else:
            sockets += joint.natches
    return knobs, sockets


def _seen(joint: Joint, rotation: Floats) -> BaseGeometry:
    """The joint's outline in the axes of another frame of the same plane."""
    turn = rotation[:2] @ joint.rotation[:2].T
    shift = rotation[:2] @ (joint.offset_mm * joint.rotation[2])
    (a, b), (c, d) = turn
    return shapely.affinity.affine_transform(joint.outline, [a, b, c, d, *shift])


def _raised(face: BaseGeometry, up: Floats, lip: float) -> BaseGeometry:
    """A face, carried on by `lip` beyond its open side."""
    x, y = lip * up / max(float(np.linalg.norm(up)), 1e-9)
    return shapely.union_all([face, shapely.affinity.translate(face, x, y)]).convex_hull


def _lip(outline: BaseGeometry, job: BoardsJob) -> float:
    """How far the board reaches beyond the cottle: less, where it then fits the bed in one."""
    low_x, low_y, high_x, high_y = outline.bounds
    room = min(
        (bed - side) / 2 for bed, side in zip(job.bed_mm, (high_x - low_x, high_y - low_y), strict=False)
    )
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


def facing(plate: Plate) -> Point:
    """The way the plate comes off: away from the piece."""
    x, y, z = (-float(value) + 0.0 for value in plate.rotation[2])
    return x, y, z
