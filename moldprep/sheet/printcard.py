"""The print card: the master's sections as they lie on the printer's bed, and what to do with them."""

from __future__ import annotations

from typing import Any

import numpy as np
import trimesh

from ..geometry.columns.shading import picture
from ..geometry.mesh import Mesh
from ..planning import Plan
from ..printing import WORTH_MM2, OneGo, laid_out
from .drawings import FONT, INK, TINTS
from .pictures import embedded, png, svg, three_quarters
from .words import grams

PLATE_MM = 2.0
"""The bed is drawn as a plate of this thickness."""
PLATE_TINT = "#e9e3d8"
APART = 1.12
"""Beds stand this many widths from one another."""
_LINES = 560
_NO_SAVING_G = 5.0
"""Less is not worth a word."""


def print_card(plan: Plan, pictures: dict[str, bytes]) -> dict[str, Any]:
    """What the sheet says of the print; its picture goes into `pictures`."""
    made = plan.printing
    drawn, width = beds_svg(plan, width=480, height=230)
    pictures["beds.svg"] = drawn.encode()
    count = len(made.sections)
    says = (
        f"{'One piece' if count == 1 else f'{count} sections'}, {_filament(made.filament_g, made.filament_m)}"
    )
    if made.support_g >= 0.5:
        says += f", {made.support_g:.0f} g of it support"
    if made.saved_g >= _NO_SAVING_G:
        says += f"; {made.saved_g:.0f} g less than in one go"
    elif count > 1 and not made.one_go.fits_bed:
        says += "; in one go it would not fit the bed"
    return {
        "says": says + ".",
        "picture": "beds.svg",
        "alt": "The sections of the master as they lie on the printer's bed",
        "width": width,
        "sections": [
            [
                str(number),
                f"{section.bottom_mm:.1f} to {section.top_mm:.1f} mm",
                section.joint or "plain",
                section.attitude,
                " × ".join(f"{side:.0f}" for side in section.size_mm) + " mm",
                f"{section.filament_g:.0f} g",
                f"{section.support_g:.0f} g",
            ]
            for number, section in enumerate(made.sections, 1)
        ],
        "whole": [_way(way) for way in made.attitudes],
        "surfaces": [
            [
                surface.name,
                f"{surface.area_mm2 / 100:.0f} cm²",
                f"{surface.cusp_mm:.2f} mm",
                f"{surface.bead_mm:.2f} mm",
                surface.means,
            ]
            for surface in made.surfaces
            if surface.area_mm2 >= WORTH_MM2
        ],
        "steps": list(made.steps),
        "asked": f"Layers {plan.job.printer.layer_mm:g} mm, shell {plan.job.printer.shell_mm:g} mm, infill "
        f"{plan.job.printer.infill_percent:g} %, overhangs to {plan.job.printer.overhang_deg:g}° without support. "
        "Files: sections, one by one as they lie here; master.stl and master.3mf whole.",
    }


def beds_svg(plan: Plan, *, width: float, height: float) -> tuple[str, float]:
    """The beds side by side with the sections on them, numbered; SVG within a box of points, and its width."""
    bed = plan.job.printer.bed_mm
    laid = laid_out(plan.printing, bed)
    meshes, tints, tops = [], [], []
    for number in range(1, max(one.bed for one in laid) + 1):
        corner = np.array([(number - 1) * APART * bed[0], 0.0, 0.0])
        plate = trimesh.creation.box(bounds=corner + np.array([[0, 0, -PLATE_MM], [bed[0], bed[1], 0]]))
        meshes.append(Mesh(np.asarray(plate.vertices), np.asarray(plate.faces)))
        tints.append(PLATE_TINT)
        for k, one in enumerate(laid):
            if one.bed == number:
                meshes.append(Mesh(one.mesh.vertices + corner, one.mesh.faces))
                tints.append(TINTS[k % len(TINTS)])
                low, high = meshes[-1].bounds
                tops.append((k + 1, np.array([*(low + high)[:2] / 2, high[2]])))
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    whole = Mesh(
        np.vstack([mesh.vertices for mesh in meshes]),
        np.vstack([mesh.faces + start for mesh, start in zip(meshes, starts, strict=False)]),
    )
    colour = np.repeat(
        np.array([[int(tint[k : k + 2], 16) for k in (1, 3, 5)] for tint in tints], np.uint8),
        [len(mesh.faces) for mesh in meshes],
        axis=0,
    )
    shown = picture(whole, three_quarters(-70.0, 32.0), lines=_LINES, face_colour=colour)
    tall, wide = shown.pixels.shape[:2]
    scale = min(width / wide, (height - 26) / tall)
    body = [f'<g transform="translate(0 26)">{embedded(png(shown), wide * scale, tall * scale)}</g>']
    for number, top in tops:
        x, y = shown.pixel([top])[0] * scale + (0, 26)
        y = max(y - 14, 12.0)
        body.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="10.5" fill="white" stroke="{INK}" stroke-width="0.9"/>'
            f'<text x="{x:.1f}" y="{y + 4.4:.1f}" font-family="{FONT}" font-size="13" font-weight="bold" '
            f'text-anchor="middle" fill="{INK}">{number}</text>'
        )
    return svg(body, wide * scale, tall * scale + 26), wide * scale


def _way(way: OneGo) -> list[str]:
    fits = "" if way.fits_bed else ", does not fit the bed"
    return [way.attitude + fits, grams(way.filament_g), f"{way.support_g:.0f} g"]


def _filament(weight_g: float, length_m: float) -> str:
    return f"{weight_g:.0f} g of filament ({length_m:.0f} m)"
