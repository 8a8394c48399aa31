"""Stage 9: the order of the pours, and how piece, master and cottle stand in each.

Between straight boards a half lies on its seam face and is filled from its back. In a ring or a bent
sheet it stands: on the face towards the foot piece where there is one, else on its opening end, with
a flange or a wall of clay up the middle. Plaster runs level, so the open side must be flat.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .cottle import Block
from .errors import Point
from .job import BoardsJob
from .pieces import SAME_WAY, Piece, Pieces, pouring_ranks, sideways
from .stand import Stand

Stance = Literal["upside down", "right way up", "lying", "standing"]
SQUARE = 1 - 1e-6
"""A pull whose cosine with a side of the boards is at least this leads straight at it."""
SOAP = "three thin coats of mold soap, each wiped off, on the master, the cottle and every joint face"
"""Separator (common practice)."""


@dataclass(frozen=True)
class Pose:
    """How one piece is poured.

    up: the direction of the casting pose that points up. stance: of the piece. base_mm, open_mm: levels
    along `up` of the face that it stands on and of its open side. against: letters of the set pieces
    that it is poured against. bedding_mm: height of the clay from the master's lowest point to the
    seam where the master is bedded in clay, None where nothing is bedded. says: all that in a
    maker's words. separator: what is soaped.
    """

    letter: str
    name: str
    up: Point
    stance: Stance
    base_mm: float
    open_mm: float
    against: tuple[str, ...]
    bedding_mm: float | None
    says: str
    separator: str


def plan_poses(pieces: Pieces, stand: Stand, block: Block, job: BoardsJob) -> tuple[Pose, ...]:
    """The poses in pouring order: halves first, those of one side before the other's, then the foot piece
    on the assembled halves, a top piece last. Halves that stand are poured layer by layer instead."""
    found: list[Pose] = []
    before: list[Piece] = []
    for piece in pouring_order(pieces, block):
        up = _up(piece, pieces, block)
        stance = _stance(piece, up)
        base, top, on_joint = _levels(piece, pieces, up)
        bedding = None
        if job.way == "bedded" and on_joint and not _set_below(piece, pieces, up, before):
            bedding = base - float((stand.mesh.vertices @ np.array(up)).min())
        found.append(
            Pose(
                letter=piece.letter,
                name=piece.name,
                up=up,
                stance=stance,
                base_mm=base,
                open_mm=top,
                against=tuple(sorted(one.letter for one in before if _meet(pieces, piece, one))),
                bedding_mm=bedding,
                says=_words(piece, before, pieces, stand, stance, up, job, bedding, on_joint=on_joint),
                separator=SOAP
                if before
                else SOAP.replace(" and every joint face", "").replace("master, ", "master and "),
            )
        )
        before.append(piece)
    return tuple(found)


def pouring_order(pieces: Pieces, block: Block) -> list[Piece]:
    """The pieces as they are poured."""
    ranks = dict(zip(pieces.pieces, pouring_ranks([piece.pull for piece in pieces.pieces]), strict=True))

    def key(piece: Piece) -> tuple[int, float, int, str]:
        turn, side = ranks[piece]
        stacked = turn == 0 and not _lies(piece, block)
        level = piece.mesh.bounds[0, 2] * _up(piece, pieces, block)[2] if stacked else 0.0
        return turn, float(round(level, 3)), side, piece.letter

    return sorted(pieces.pieces, key=key)


def _lies(piece: Piece, block: Block) -> bool:
    """Whether the piece's back is a flat side of the cottle, so that it can lie on its seam face."""
    if block.kind != "box" or not sideways(piece.pull):
        return False
    turn = np.radians(block.turn_deg)
    side = np.array([np.cos(turn), np.sin(turn), 0.0])
    along = abs(float(np.dot(piece.pull, side)))
    level = abs(piece.pull[2]) < np.sqrt(1 - SQUARE**2)
    return bool(level and (along > SQUARE or along < np.sqrt(1 - SQUARE**2)))


def _up(piece: Piece, pieces: Pieces, block: Block) -> Point:
    if len(pieces.pieces) == 1:
        return 0.0, 0.0, -1.0
    if not sideways(piece.pull):
        return 0.0, 0.0, 1.0 if piece.pull[2] > 0 else -1.0
    if _lies(piece, block):
        return piece.pull
    # all layers of standing halves stand the same way: on the foot's face where only a foot piece is
    ways = [one.pull[2] for one in pieces.pieces if not sideways(one.pull)]
    return 0.0, 0.0, 1.0 if ways and max(ways) < 0 else -1.0


def _levels(piece: Piece, pieces: Pieces, up: Point) -> tuple[float, float, bool]:
    """Levels of the face below and above the piece, knobs left out, and whether the one below is a joint."""
    level = piece.mesh.vertices @ np.array(up)
    below, above = float(level.min()), float(level.max())
    on_joint = False
    for normal, offset in joint_planes(piece, pieces):
        cosine = float(np.dot(normal, up))
        if cosine > SAME_WAY:
            below, on_joint = offset, True
        elif cosine < -SAME_WAY:
            above = -offset
    return below, above, on_joint


def _set_below(piece: Piece, pieces: Pieces, up: Point, before: list[Piece]) -> bool:
    """Whether set plaster lies under the joint face that the piece stands on."""
    letters = {one.letter for one in before}
    for joint in pieces.joints:
        if piece.letter in (joint.socket, joint.knob) and {joint.socket, joint.knob} & letters:
            sign = 1.0 if piece.letter == joint.knob else -1.0
            if sign * float(np.dot(joint.normal, up)) > SAME_WAY:
                return True
    return False


def joint_planes(piece: Piece, pieces: Pieces) -> list[tuple[Point, float]]:
    """Unit normals into the piece, and offsets, of the planes on which it meets others."""
    found: list[tuple[Point, float]] = []
    for joint in pieces.joints:
        if piece.letter in (joint.socket, joint.knob):
            sign = 1.0 if piece.letter == joint.knob else -1.0
            x, y, z = (sign * value for value in joint.normal)
            if not any(np.dot(normal, (x, y, z)) > SAME_WAY for normal, _ in found):
                found.append(((x, y, z), sign * joint.offset_mm))
    return found


def _stance(piece: Piece, up: Point) -> Stance:
    if sideways(piece.pull):
        return "lying" if abs(up[2]) < SAME_WAY else "standing"
    return "upside down" if up[2] < 0 else "right way up"


def _meet(pieces: Pieces, one: Piece, other: Piece) -> bool:
    """Whether two pieces have a joint, or a level face in common."""
    pair = {one.letter, other.letter}
    if any({joint.socket, joint.knob} == pair for joint in pieces.joints):
        return True
    gap = max(one.mesh.bounds[0, 2], other.mesh.bounds[0, 2]) - min(
        one.mesh.bounds[1, 2], other.mesh.bounds[1, 2]
    )
    return bool(abs(gap) < 1e-6)


# --- words --------------------------------------------------------------------------------------


def _words(
    piece: Piece,
    before: list[Piece],
    pieces: Pieces,
    stand: Stand,
    stance: Stance,
    up: Point,
    job: BoardsJob,
    bedding: float | None,
    *,
    on_joint: bool,
) -> str:
    """How master and cottle stand for this pour."""
    end = "spare" if stand.spare_mm > 0 else "opening"
    if len(pieces.pieces) == 1:
        return f"upside down: the master's {end} sealed to the board, plaster over its closed end; turn over when set"
    if not before:
        ends = _ends(piece, pieces, up, before, job)
        return ", ".join([_first_words(stance, up, end, job, bedding, on_joint=on_joint), *ends])
    if job.each_piece and job.way == "boards":
        return f"{stance}: on boards of its own, the master in them"
    if not sideways(piece.pull):
        banded = f"the soaped {_letters(before)}{' banded together' if len(before) > 1 else ''}"
        if piece.pull[2] < 0:
            return f"upside down: on {banded}, the master left in, plaster over its closed end"
        return f"right way up: on {banded}, the master left in, plaster level with its {end}"
    opposite = [other for other in before if np.dot(other.pull, piece.pull) < -SAME_WAY]
    beside = [other for other in before if other not in opposite]
    if stance == "standing":
        against = f"against the soaped {_letters(before)}"
        wall = "wall of clay" if job.way == "bedded" else "flange"
        return f"standing as before, {against}, the {wall} taken away, the master left in"
    words = [f"on the soaped seam face of {_letters(opposite)}"] if opposite else ["seam face on the board"]
    words += [f"against {_letters(beside)}, soaped"] if beside else []
    words += _ends(piece, pieces, up, before, job)
    return f"lying{', turned over' if opposite else ''}: {', '.join(words)}, the master left in"


def _ends(piece: Piece, pieces: Pieces, up: Point, before: list[Piece], job: BoardsJob) -> list[str]:
    """What stands at the level seams of a piece that lies on its side, where the next piece is still missing."""
    poured = {one.letter for one in before}
    missing = sorted(
        (pair - {piece.letter}).pop()
        for pair in ({joint.socket, joint.knob} for joint in pieces.joints if abs(joint.normal[2]) > SAME_WAY)
        if piece.letter in pair and not pair & poured
    )
    if not missing or abs(up[2]) > SAME_WAY:
        return []
    wall = "a smooth wall of clay" if job.way == "bedded" else "an end plate"
    return [f"{wall} at the level seam to {' and to '.join(missing)}"]


def _first_words(
    stance: Stance, up: Point, end: str, job: BoardsJob, bedding: float | None, *, on_joint: bool
) -> str:
    """The first pour of a mold of several pieces."""
    if stance == "standing":
        wall = (
            "a smooth wall of clay up the middle, its face in the seam plane"
            if job.way == "bedded"
            else "the flange up the middle"
        )
        through = "foot" if up[2] > 0 else "upper end"
        stood = (
            f"on the end plate, the master's {through} through it"
            if on_joint
            else f"the master's {end} on the board"
        )
        if job.way == "bedded" and on_joint:
            stood = f"the master's {through} bedded in clay up to the level seam"
        return f"standing: {stood}, {wall}"
    how = "lying on its seam face" if stance == "lying" else f"{stance} on its seam face"
    if bedding is not None:
        return f"{how}: the master bedded in clay {bedding:.0f} mm deep, the clay smooth and square to it at the seam"
    return f"{how}: on the flange, the master through its hole and held from below"


def _letters(pieces: list[Piece]) -> str:
    """A, B and C."""
    letters = sorted(piece.letter for piece in pieces)
    return " and ".join([", ".join(letters[:-1]), letters[-1]] if len(letters) > 1 else letters)
