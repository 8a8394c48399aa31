"""All files of a plan, as bytes by name."""

from __future__ import annotations

import re

from ..planning import Plan
from .meshes import stl_bytes
from .paper import sheet_pdf
from .record import record_json


def plan_files(plan: Plan) -> dict[str, bytes]:
    """sheet.pdf, plan.json, master.stl (in the casting pose, with its spare) and pieces/NAME.stl."""
    files = {
        "sheet.pdf": sheet_pdf(plan),
        "plan.json": record_json(plan),
        "master.stl": stl_bytes(plan.stand.mesh, plan.name),
    }
    for piece in plan.pieces.pieces:
        name = re.sub(r"[^a-z0-9]+", "-", piece.name.lower())
        files[f"pieces/{piece.letter}-{name}.stl"] = stl_bytes(piece.mesh, f"{plan.name} {piece.name}")
    return files
