"""Stage 11: what the cottle of each pour must be: how high, how long, how many straps, what to seal."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import shapely
from scipy.spatial.distance import pdist

from .cottle import Block
from .formulas.hydrostatics import GRAVITY_M_S2, hoop_force_n, hoop_tension_n_m, pressure_pa
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
STRAP_RESERVE = 3.0
"""A strap shall hold so many times what it bears: tape creeps, and a bucket falls in (our judgement)."""
STEP_MM = 5.0
"""Heights and lengths are rounded up to this: nobody saws a board to the millimetre for clay to seal."""


@dataclass(frozen=True)
class CottleNeed:
    """The cottle of one pour. height_mm: with freeboard, and grip where it stands on set plaster.

    sheet_mm: length of the sheet or the ring's strip with its overlap, 0 between boards. boards: inner
    lengths of the boards, pairs facing each other. straps: round it. seal_mm: length of the line
    between cottle and what it stands on, and of the seams of plates; all to be sealed with clay.
    head_mm: depth of the plaster; radius_mm: half the greatest width inside, of a ring its radius.
    """

    letter: str
    kind: str
    height_mm: float
    sheet_mm: float
    boards: tuple[float, ...]
    straps: int
    seal_mm: float
    head_mm: float
    radius_mm: float


@dataclass(frozen=True)
class CottleLoad:
    """What liquid plaster does to a cottle. tension_n_m: of a band at its foot, for each metre of height;
    force_n: over all its height; strap_n: of the lowest strap, which bears most; strap_kg: weight that a strap
    must be able to carry, with `STRAP_RESERVE`.
    """

    pressure_kpa: float
    tension_n_m: float
    force_n: float
    strap_n: float
    strap_kg: float


def cottle_load(need: CottleNeed, density_kg_m3: float) -> CottleLoad:
    """Pressure on a cottle and pull in the bands round it (`formulas.hydrostatics`).

    Half the greatest width stands for the radius: whatever the outline, each band bears half of what
    pushes the two sides apart. Straps share the height evenly, so that of n the lowest bears
    (2n - 1)/n² of the whole.
    """
    pressure = pressure_pa(density_kg_m3, need.head_mm)
    force = hoop_force_n(density_kg_m3, need.head_mm, need.radius_mm)
    strap = force * (2 * need.straps - 1) / need.straps**2
    return CottleLoad(
        pressure_kpa=pressure / 1000,
        tension_n_m=hoop_tension_n_m(pressure, need.radius_mm),
        force_n=force,
        strap_n=strap,
        strap_kg=STRAP_RESERVE * strap / GRAVITY_M_S2,
    )


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
        around = 2 * (wide + high - low)
        half = max(wide, high - low) / 2
        return CottleNeed(pose.letter, "box", height, 0.0, (wide, high - low), straps, around, deep, half)
    girth = float(shapely.LinearRing(block.outline).length)
    seal = girth + (2 * deep if pose.stance == "standing" and not pose.against else 0.0)
    if block.kind == "box":
        half = max(block.inner_mm) / 2
        return CottleNeed(pose.letter, "box", height, 0.0, block.inner_mm, straps, seal, deep, half)
    half = float(pdist(block.outline).max()) / 2
    sheet = _up(girth + OVERLAP_MM)
    return CottleNeed(pose.letter, block.kind, height, sheet, (), straps, seal, deep, half)


def _between(piece: Piece, ends: list[float]) -> tuple[float, float]:
    """The level faces between which the piece lies; its knobs stand out beyond them."""
    middle = float(piece.mesh.bounds[:, 2].mean())
    return max(end for end in ends if end < middle), min(end for end in ends if end > middle)


def _up(length: float) -> float:
    return STEP_MM * ceil(length / STEP_MM - 1e-9)
