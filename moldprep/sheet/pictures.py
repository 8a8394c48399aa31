"""Shaded pictures for the sheet: the form as it stands, and its classes under a pull."""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..geometry.columns.shading import Picture, picture
from ..geometry.mesh import Floats, Mesh
from ..planning import Plan
from ..pull import Pull
from .drawings import FONT, INK, TINTS, spread_labels

CLASS_COLOURS = np.array([(0x8F, 0xB8, 0xA4), (0xD9, 0xA4, 0x41), (0x7B, 0x2D, 0x5B)], np.uint8)
"""Free celadon, tight ochre, locked plum; tight is dotted and locked striped besides."""
MOST_MARKS = 12
"""Locked places that get a number on the picture; the list names them all."""
_LINES = 460
_BOARD_LINES = 320


def form_picture(plan: Plan) -> Picture:
    """The form without its spare, seen from the front, a little from above and to one side."""
    return picture(plan.stand.form, three_quarters(-60.0), lines=_LINES)


def board_picture(mesh: Mesh) -> Picture:
    """A board as it lies on the printer's bed, seen from the front and high above."""
    return picture(mesh, three_quarters(-75.0, 55.0), lines=_BOARD_LINES)


def pieces_picture(plan: Plan) -> Picture:
    """The form with its spare in the tints of the pieces that it touches."""
    tints = np.array([[int(tint[k : k + 2], 16) for k in (1, 3, 5)] for tint in TINTS], np.uint8)
    colour = tints[np.maximum(plan.pieces.face_piece, 0) % len(tints)]
    return picture(plan.stand.mesh, three_quarters(-60.0), lines=_LINES, face_colour=colour)


def pull_svg(mesh: Mesh, pull: Pull) -> tuple[str, float, float]:
    """The form's classes under a pull, locked places numbered at the side; SVG, width, height in points."""
    shown = picture(
        mesh,
        three_quarters(_facing(mesh, pull)),
        lines=_LINES,
        face_colour=CLASS_COLOURS[pull.face_class],
        face_texture=pull.face_class,
    )
    scale = 0.55  # points per pixel
    height, width = shown.pixels.shape[0] * scale, shown.pixels.shape[1] * scale
    body = [embedded(png(shown), width, height)]
    places = pull.places[:MOST_MARKS]
    if places:
        body.append(_marks(shown.pixel([place.where for place in places]) * scale, width))
    full = width + (36 if places else 4)
    return svg(body, full, height), full, height


def svg_of(shown: Picture, *, points_per_pixel: float = 0.55) -> str:
    """The picture wrapped in SVG, which is text and so can be handed to the typesetter in memory."""
    height, width = shown.pixels.shape[0] * points_per_pixel, shown.pixels.shape[1] * points_per_pixel
    return svg([embedded(png(shown), width, height)], width, height)


def embedded(data: bytes, width: float, height: float) -> str:
    source = base64.b64encode(data).decode()
    return f'<image x="0" y="0" width="{width:.2f}" height="{height:.2f}" href="data:image/png;base64,{source}"/>'


def svg(body: list[str], width: float, height: float) -> str:
    size = f'width="{width:.2f}pt" height="{height:.2f}pt" viewBox="0 0 {width:.2f} {height:.2f}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(body)}</svg>'


def png(shown: Picture) -> bytes:
    """The picture as PNG; the same bytes for the same picture."""
    out = io.BytesIO()
    Image.fromarray(np.array(shown.pixels)).save(out, "PNG", optimize=False)
    return out.getvalue()


def three_quarters(azimuth_deg: float, elevation_deg: float = 20.0) -> Floats:
    """Looking direction of an eye that stands at an azimuth, a little above."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    level = np.cos(elevation)
    return -np.array([level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation)])


def _facing(mesh: Mesh, pull: Pull) -> float:
    """The azimuth from which the deepest locked place is seen; the usual one where nothing is locked."""
    if not pull.places:
        return -60.0
    x, y = np.array(pull.places[0].where[:2]) - mesh.bounds.mean(axis=0)[:2]
    return float(np.degrees(np.arctan2(y, x))) if np.hypot(x, y) > 1e-6 else -60.0


def _marks(points: NDArray[np.float64], width: float) -> str:
    """Numbers in circles beside the picture, each with a line to its place."""
    at = spread_labels([float(y) for _, y in points], gap=25)
    shift = max(0.0, 12 - min(at))
    found = []
    for number, ((x, y), label) in enumerate(zip(points, at, strict=True), 1):
        end = label + shift
        found.append(
            f'<path d="M{x:.2f} {y:.2f}L{width + 8:.2f} {end:.2f}" stroke="white" stroke-width="2.2"/>'
            f'<path d="M{x:.2f} {y:.2f}L{width + 8:.2f} {end:.2f}" stroke="{INK}" stroke-width="0.8"/>'
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.4" fill="white" stroke="{INK}" stroke-width="0.8"/>'
            f'<circle cx="{width + 18:.2f}" cy="{end:.2f}" r="11" fill="white" stroke="{INK}" stroke-width="0.9"/>'
            f'<text x="{width + 18:.2f}" y="{end + 4.8:.2f}" font-family="{FONT}" font-size="14" '
            f'font-weight="bold" text-anchor="middle" fill="{INK}">{number}</text>'
        )
    return "".join(found)
