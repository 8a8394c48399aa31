"""Stage 11: what the cottle of each pour must be: how high, how long, how many straps, what to seal."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import shapely

from .cottle import Block
from .pieces import Piece, Pieces
from .poses import Pose, joint_planes

FREEBOARD_MM = 20.0
"""Cottle above the plaster, 15 to 20 mm (common practice): room to tap out bubbles without spilling."""
OVERLAP_MM = 50.0
"""A bent sheet overlaps itself by two fingers, so that the lap can be taped and strapped (common practice)."""
GRIP_MM = 30.0
"""Where plaster is poured on set plaster, the cottle reaches down over it by this (common practice)."""
STRAP_EVERY_MM = 100.0
"""A strap for each hand's width of height, two at the least (common practice)."""
STEP_MM = 5.0
"""Heights and lengths are rounded up to this: nobody saws a board to the millimetre for clay to seal."""


@dataclass(frozen=True)
class CottleNeed:
    """The cottle of one pour. height_mm: with freeboard, and grip where it stands on set plaster.

    sheet_mm: length of the sheet or the ring's strip with its overlap, 0 between boards. boards: inner
    lengths of the boards, pairs facing each other. straps: round it. seal_mm: length of the line
    between cottle and what it stands on, and of the seams of plates; all to be sealed with clay.
    """

    letter: str
    kind: str
    height_mm: float
    sheet_mm: float
    boards: tuple[float, ...]
    straps: int
    seal_mm: float


def cottle_needs(poses: tuple[Pose, ...], pieces: Pieces, block: Block) -> tuple[CottleNeed, ...]:
    """What each pour needs around it, in pouring order."""
    by_letter = {piece.letter: piece for piece in pieces.pieces}
    return tuple(_need(pose, by_letter[pose.letter], pieces, block) for pose in poses)


def _need(pose: Pose, piece: Piece, pieces: Pieces, block: Block) -> CottleNeed:
    deep = pose.open_mm - pose.base_mm
    grip = GRIP_MM if pose.against and pose.stance != "standing" else 0.0
    height = _up(deep + FREEBOARD_MM + grip)
    straps = max(2, ceil(height / STRAP_EVERY_MM))
    if pose.stance == "lying":
        along = np.cross(pose.up, (0.0, 0.0, 1.0))
        wide = float(np.ptp(block.outline @ along[:2]))
        levels = [
            offset * normal[2] for normal, offset in joint_planes(piece, pieces) if abs(normal[2]) > 0.5
        ]
        ends = [*levels, block.bottom_mm, block.top_mm]
        low, high = _between(piece, ends)
        return CottleNeed(
            pose.letter, "box", height, 0.0, (wide, high - low), straps, 2 * (wide + high - low)
        )
    girth = float(shapely.LinearRing(block.outline).length)
    flange = 2 * deep if pose.stance == "standing" and not pose.against else 0.0
    if block.kind == "box":
        return CottleNeed(pose.letter, "box", height, 0.0, block.inner_mm, straps, girth + flange)
    return CottleNeed(pose.letter, block.kind, height, _up(girth + OVERLAP_MM), (), straps, girth + flange)


def _between(piece: Piece, ends: list[float]) -> tuple[float, float]:
    """The level faces between which the piece lies; its knobs stand out beyond them."""
    middle = float(piece.mesh.bounds[:, 2].mean())
    return max(end for end in ends if end < middle), min(end for end in ends if end > middle)


def _up(length: float) -> float:
    return STEP_MM * ceil(length / STEP_MM - 1e-9)
