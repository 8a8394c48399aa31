"""All files of a plan, as bytes by name."""

from __future__ import annotations

import re

from ..ease import as_drawn
from ..geometry.coarse import coarse
from ..geometry.mesh import Mesh
from ..planning import Plan
from .apart import Part, drawn_apart
from .drawings import TINTS
from .meshes import glb_bytes, stl_bytes, threemf_bytes
from .paper import sheet_inputs, sheet_pdf
from .record import record_json
from .strokes import template_dxf, template_svg
from .truescale import templates

CELLS_SHOWN = 192
"""Cells along a part of `view.glb`: enough for a screen; finer parts are shown by a stand-in."""
VIEW_GAP = 0.12
"""Pieces stand a little apart in `view.glb`, as a share of the block."""


def plan_files(plan: Plan, *, inputs: dict[str, bytes] | None = None) -> dict[str, bytes]:
    """sheet.pdf, plan.json, the master (in the casting pose, with its spare) and its sections as they print,
    eased forms at the size of the file, pieces, boards to print (STL, and 3MF in mm), templates at true scale (SVG, DXF), view.glb with the mold a little apart.

    inputs: `sheet_inputs` of this plan on the job's paper, where they have been made already.
    """
    drawn = templates(plan)
    inputs = inputs or sheet_inputs(plan, paper=plan.job.sheet.paper, drawn=drawn)
    files = {
        "sheet.pdf": sheet_pdf(plan, inputs=inputs),
        "plan.json": record_json(plan),
        "master.stl": stl_bytes(plan.stand.mesh, plan.name),
        "master.3mf": threemf_bytes({plan.name: plan.stand.mesh}),
    }
    for section in plan.printing.sections:
        files[f"sections/{section.name}.stl"] = stl_bytes(section.printed, f"{plan.name} {section.name}")
    for offer in plan.ease.offers:
        files[f"ease/{offer.kind}.stl"] = stl_bytes(as_drawn(offer, plan.sizing), f"{plan.name} {offer.kind}")
    pieces = {f"{piece.letter}-{_plain(piece.name)}": piece.mesh for piece in plan.pieces.pieces}
    for name, mesh in pieces.items():
        files[f"pieces/{name}.stl"] = stl_bytes(mesh, f"{plan.name} {name}")
    files["pieces.3mf"] = threemf_bytes(pieces, colours=dict(zip(pieces, TINTS, strict=False)))
    boards = {}
    for board in plan.boards.boards:
        for number, mesh in enumerate(board.prints, 1):
            boards[board.name + (f"-part-{number}" if len(board.prints) > 1 else "")] = mesh
    for name, mesh in boards.items():
        files[f"boards/{name}.stl"] = stl_bytes(mesh, f"{plan.name} {name}")
    if boards:
        files["boards.3mf"] = threemf_bytes(boards)
    for template in drawn:
        files[f"templates/{template.name}.svg"] = template_svg(template)
        files[f"templates/{template.name}.dxf"] = template_dxf(template)
    files["view.glb"] = glb_bytes(
        {
            f"{part.letter} {part.name}".strip(): (_shown(part), part.tint, 1.0)
            for part in drawn_apart(plan, VIEW_GAP)
        }
    )
    return files


def _shown(part: Part) -> Mesh:
    """The part in its place, drawn coarser where it is very fine."""
    mesh = coarse(part.mesh, cells=CELLS_SHOWN)
    return Mesh(mesh.vertices + part.moved, mesh.faces)


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower())
