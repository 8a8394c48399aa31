"""The mold drawn apart: each piece moved along its own pull, the master where it was."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.columns.shading import picture
from ..geometry.mesh import Floats, Mesh
from ..pieces import sideways
from ..planning import Plan
from .drawings import FONT, INK, TINTS, spread_labels
from .pictures import embedded, png, svg

GAP = 0.42
"""Pieces stand apart by this share of the block's size along their pull."""
MASTER_TINT = "#f7f1e6"
TURN_DEG = 32.0
"""The eye looks along the seam of the halves, turned by this, so that one half shows its inside."""
ELEVATION_DEG = 18.0
_LINES = 620
_PAD = 92.0
"""Room for names at both sides, points."""


@dataclass(frozen=True, eq=False)
class Part:
    """One part of the drawing: the letter ("" for the master), its name, its tint, and how far it is moved:
    along its pull, and up to clear what is stacked below."""

    letter: str
    name: str
    mesh: Mesh
    along: Floats
    lift: Floats
    tint: str

    @property
    def moved(self) -> Floats:
        """In all."""
        return self.along + self.lift


def drawn_apart(plan: Plan, gap: float = GAP) -> list[Part]:
    """Master and pieces, each piece moved along its pull by `gap` of the block's extent that way.

    A mold of one piece stays, and the master is drawn up out of it.
    """
    low, high = plan.block.outline.min(axis=0), plan.block.outline.max(axis=0)
    size = np.array([*(high - low), plan.block.top_mm - plan.block.bottom_mm])
    alone = len(plan.pieces.pieces) == 1
    levels = sorted({round(float(p.mesh.bounds[0, 2])) for p in plan.pieces.pieces if sideways(p.pull)})
    found = []
    for k, piece in enumerate(plan.pieces.pieces):
        pull = np.array(piece.pull)
        away = np.zeros(3) if alone else gap * float(np.abs(pull) @ size) * pull
        stacked = (
            sum(level < round(float(piece.mesh.bounds[0, 2])) for level in levels) if len(levels) > 1 else 0
        )
        lift = np.array([0.0, 0.0, gap * size[2] * stacked]) if pull[2] > -0.5 else np.zeros(3)
        found.append(Part(piece.letter, piece.name, piece.mesh, away, lift, TINTS[k % len(TINTS)]))
    out = -np.array(plan.pieces.pieces[0].pull) if alone else np.zeros(3)
    drawn = (float(np.ptp(plan.stand.mesh.vertices[:, 2])) + 0.1 * size[2]) * out
    return [Part("", "master", plan.stand.mesh, drawn, np.zeros(3), MASTER_TINT), *found]


def apart_svg(plan: Plan, *, width: float, height: float) -> tuple[str, float]:
    """The drawing with names and an arrow along each pull, as SVG within a box of points; its width."""
    parts = drawn_apart(plan)
    whole, tint = _together(parts)
    shown = picture(whole, _looking(plan), lines=_LINES, face_colour=tint)
    tall, wide = shown.pixels.shape[:2]
    scale, pad = min((width - 2 * _PAD) / wide, height / tall), _PAD
    height, width = tall * scale, wide * scale
    body = [f'<g transform="translate({pad} 0)">{embedded(png(shown), width, height)}</g>']
    anchors = [(part.mesh.bounds.mean(axis=0) + part.moved) for part in parts if part.letter]
    at = shown.pixel(anchors) * scale + (pad, 0)
    letters = [part for part in parts if part.letter]
    left = [k for k, (x, _) in enumerate(at) if x < pad + width / 2]
    right = [k for k in range(len(at)) if k not in left]
    for side, edge, anchor in ((left, pad - 14, "end"), (right, pad + width + 14, "start")):
        ys = spread_labels([float(at[k][1]) for k in side], gap=34)
        for k, y in zip(side, ys, strict=True):
            y = min(max(y, 18.0), height - 18.0)
            body.append(_label(letters[k], at[k], edge, y, anchor))
    for part in parts:
        if part.along.any():
            body.append(_arrow(part, shown.pixel, scale, pad))
    return svg(body, width + 2 * pad, height), width + 2 * pad


def _together(parts: list[Part]) -> tuple[Mesh, NDArray[np.uint8]]:
    """One mesh of all parts in their places, and the tint of each face."""
    vertices, faces, tints, count = [], [], [], 0
    for part in parts:
        vertices.append(part.mesh.vertices + part.moved)
        faces.append(part.mesh.faces + count)
        rgb = [int(part.tint[k : k + 2], 16) for k in (1, 3, 5)]
        tints.append(np.tile(np.array(rgb, np.uint8), (len(part.mesh.faces), 1)))
        count += len(part.mesh.vertices)
    return Mesh(np.vstack(vertices), np.vstack(faces)), np.vstack(tints)


def _looking(plan: Plan) -> Floats:
    """Along the seam of the halves, a little from above and to one side."""
    pull = next((np.array(piece.pull) for piece in plan.pieces.pieces if sideways(piece.pull)), None)
    azimuth = -60.0 if pull is None else np.degrees(np.arctan2(pull[1], pull[0])) + 90 - TURN_DEG
    # from the front half of the room, as the other pictures are seen
    azimuth = azimuth if np.sin(np.radians(azimuth)) <= 0 else azimuth + 180
    turn, tilt = np.radians(azimuth), np.radians(ELEVATION_DEG)
    return -np.array([np.cos(tilt) * np.cos(turn), np.cos(tilt) * np.sin(turn), np.sin(tilt)])


def _label(part: Part, at: Floats, edge: float, y: float, anchor: str) -> str:
    """The letter in its circle and the name, joined to the piece by a line."""
    x = edge - 12 if anchor == "end" else edge + 12
    name_x = x - 16 if anchor == "end" else x + 16
    return (
        f'<path d="M{at[0]:.1f} {at[1]:.1f}L{x:.1f} {y:.1f}" stroke="white" stroke-width="2.4"/>'
        f'<path d="M{at[0]:.1f} {at[1]:.1f}L{x:.1f} {y:.1f}" stroke="{INK}" stroke-width="0.7"/>'
        f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="2" fill="{INK}"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="11" fill="{part.tint}" stroke="{INK}" stroke-width="0.9"/>'
        f'<text x="{x:.1f}" y="{y + 4.6:.1f}" font-family="{FONT}" font-size="13" font-weight="bold" '
        f'text-anchor="middle" fill="{INK}">{part.letter}</text>'
        f'<text x="{name_x:.1f}" y="{y + 4.4:.1f}" font-family="{FONT}" font-size="13" text-anchor="{anchor}" '
        f'fill="{INK}">{part.name}</text>'
    )


def _arrow(part: Part, pixel: Callable[[Floats], Floats], scale: float, pad: float) -> str:
    """An arrow in the gap that the piece leaves behind, along its pull."""
    pull = part.along / np.linalg.norm(part.along)
    middle = part.mesh.bounds.mean(axis=0)
    inner = middle + pull * float((part.mesh.vertices @ pull).min() - middle @ pull) + part.lift
    ends = np.array([inner + 0.15 * part.along, inner + 0.85 * part.along])
    (x0, y0), (x1, y1) = np.asarray(pixel(ends)) * scale + (pad, 0)
    length = float(np.hypot(x1 - x0, y1 - y0))
    if length < 8:
        return ""
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    head = f"M{x1:.1f} {y1:.1f}L{x1 - 9 * ux - 4 * uy:.1f} {y1 - 9 * uy + 4 * ux:.1f}L{x1 - 9 * ux + 4 * uy:.1f} {y1 - 9 * uy - 4 * ux:.1f}Z"
    line = f"M{x0:.1f} {y0:.1f}L{x1 - 6 * ux:.1f} {y1 - 6 * uy:.1f}"
    return (
        f'<path d="{line}" stroke="white" stroke-width="4.4"/><path d="{line}" stroke="{INK}" stroke-width="2"/>'
        f'<path d="{head}" fill="{INK}" stroke="white" stroke-width="0.8"/>'
    )
