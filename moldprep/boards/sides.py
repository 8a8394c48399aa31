"""Sides: which faces of the pieces want a plate, and which pieces each plate serves.

A face of a piece is shaped by the cottle, by set plaster, by nothing (the open side) or by a plate. So
every joint face towards a piece that is not poured yet wants one; pieces that stand side by side on
one plane share theirs, since a lip leaves no room for two.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ..cottle import Block
from ..geometry.mesh import Floats
from ..job import BoardsJob
from ..pieces import SAME_WAY, Joint, Piece, Pieces
from ..poses import Pose

PlateKind = Literal["flange", "end plate", "base", "lid"]
SAME_PLANE_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Side:
    """One plane that wants a plate. normal: unit, into the pieces; the plane lies at normal . p = offset_mm.

    serves: letters of the pieces that are poured against the plate. pose: of the first of them.
    joints: those in the plane; none on an outside face.
    """

    kind: PlateKind
    normal: Floats = field(repr=False)
    offset_mm: float
    serves: tuple[str, ...]
    pose: Pose
    joints: tuple[Joint, ...] = ()

    @property
    def rise(self) -> float:
        """Cosine between the normal and up: 1 under the pieces, 0 beside them, -1 on top."""
        return float(self.normal @ np.array(self.pose.up))


def sides(poses: tuple[Pose, ...], pieces: Pieces, block: Block, job: BoardsJob) -> list[Side]:
    """All sides that want a plate, pose by pose, the one below first."""
    by_letter = {piece.letter: piece for piece in pieces.pieces}
    found: list[Side] = []
    for k, pose in enumerate(poses):
        piece = by_letter[pose.letter]
        set_already = {other.letter for other in poses[:k]} if not job.each_piece else set()
        own = _joint_sides(piece, pose, pieces, set_already)
        first = k == 0 or job.each_piece
        if not any(side.rise > SAME_WAY for side in own):
            base = Side("base", np.array(pose.up), pose.base_mm, (pose.letter,), pose)
            if first or not pose.against or any(_shared(base, side) for side in found):
                own.append(base)
        if first and pose.stance == "lying" and not any(side.normal[2] < -SAME_WAY for side in own):
            down = np.array([0.0, 0.0, -1.0])
            own.append(Side("end plate", down, -block.top_mm, (pose.letter,), pose))
        for side in sorted(own, key=lambda side: -side.rise):
            _add(side, found)
    return found


def into(letter: str, joint: Joint) -> tuple[Floats, float]:
    """Unit normal of a joint into one of its two pieces, and its offset along it."""
    sign = 1.0 if letter == joint.knob else -1.0
    return sign * joint.rotation[2], sign * joint.offset_mm


def _joint_sides(piece: Piece, pose: Pose, pieces: Pieces, set_already: set[str]) -> list[Side]:
    """A side for each plane in which the piece meets pieces that are not poured yet."""
    found: list[Side] = []
    for joint in pieces.joints:
        pair = {joint.socket, joint.knob}
        if piece.letter not in pair or pair & set_already:
            continue
        normal, offset = into(piece.letter, joint)
        side = Side("flange", normal, offset, (piece.letter,), pose, (joint,))
        if side.rise < -SAME_WAY:
            side = replace(side, kind="lid")
        elif np.dot(normal, piece.pull) <= SAME_WAY:
            side = replace(side, kind="end plate")
        same = next((k for k, other in enumerate(found) if _one_plane(side, other)), None)
        if same is None:
            found.append(side)
        else:
            found[same] = replace(found[same], joints=(*found[same].joints, joint))
    return found


def _add(side: Side, found: list[Side]) -> None:
    """Adds the side, or lets the plate that already lies under the piece serve it too."""
    for k, other in enumerate(found):
        if _shared(side, other):
            found[k] = replace(
                other, serves=(*other.serves, *side.serves), joints=(*other.joints, *side.joints)
            )
            return
    found.append(side)


def _shared(side: Side, other: Side) -> bool:
    under = min(side.rise, other.rise) > SAME_WAY
    return under and bool(side.joints) == bool(other.joints) and _one_plane(side, other)


def _one_plane(side: Side, other: Side) -> bool:
    return bool(
        side.normal @ other.normal > SAME_WAY and abs(side.offset_mm - other.offset_mm) < SAME_PLANE_MM
    )
