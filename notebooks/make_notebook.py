"""Writes from-mesh-to-sheet.ipynb from the cells below, without outputs: python notebooks/make_notebook.py"""

from __future__ import annotations

import json
from pathlib import Path

CELLS: list[tuple[str, str]] = [
    (
        "markdown",
        "# From a mesh to a bench sheet\n\nThe bud vase of an invented studio, step by step: what each stage of `moldprep.plan` "
        "finds, with pictures. Run it from this folder.",
    ),
    (
        "code",
        "from pathlib import Path\n\nfrom IPython.display import SVG, Image, display\n\nimport moldprep\n"
        "from moldprep.sheet.drawings import cut, view\nfrom moldprep.sheet.paper import sheet_pngs\n"
        "from moldprep.sheet.pictures import form_picture, png, pull_svg\nfrom moldprep.sheet.printcard import beds_svg\n\nsamples = Path('../sample_meshes')",
    ),
    (
        "markdown",
        "## The job and the master\n\nA job is complete when it is empty; this one names the clay's shrinkage from three test bars.",
    ),
    (
        "code",
        "job = moldprep.job_from_toml('''\n[shrinkage]\nclay = \"white stoneware\"\nbars = [\n"
        "  { wet_mm = 150, dry_mm = 144, fired_mm = 133 },\n  { wet_mm = 150, dry_mm = 144.5, fired_mm = 132.5 },\n"
        "  { wet_mm = 150, dry_mm = 144, fired_mm = 133.5 },\n]\n''')\nmaster = moldprep.read_master(samples / 'bud-vase.stl', job.form)\n"
        "print(len(master.mesh.faces), 'triangles,', master.mesh.extents.round(1), 'mm, repaired:', master.steps or 'nothing')",
    ),
    ("markdown", "## The plan\n\nOne call does the whole trade in order; every stage's result stays in it."),
    (
        "code",
        "plan = moldprep.plan(master, job)\nprint('factor', round(plan.sizing.factor[0], 4), 'master', [round(v, 1) for v in plan.sizing.master_size_mm], 'mm')\n"
        "print('opening:', plan.stand.opening, '-', plan.stand.reason)\ndisplay(Image(png(form_picture(plan))))",
    ),
    (
        "markdown",
        "## The pulls\n\nPulled up, the neck is locked: plain is free, dotted tight, striped locked.",
    ),
    (
        "code",
        "for pull in plan.study.pulls:\n    print(pull.verdict)\n    display(SVG(pull_svg(plan.stand.mesh, pull)[0]))",
    ),
    ("markdown", "## Cottle and seams"),
    (
        "code",
        "chosen = plan.parting.chosen\nprint(chosen.family, chosen.piece_count, 'pieces.', chosen.why)\n"
        "for other in plan.parting.runners_up[:3]:\n    print('  instead:', other.family, other.piece_count, 'pieces at a price of', round(other.price))\n"
        "display(SVG(view(plan, 'side', width=300, height=300).svg))\ndisplay(SVG(cut(plan, width=420, height=360).svg))",
    ),
    ("markdown", "## Plaster and water"),
    (
        "code",
        "for pour in plan.pours.pours:\n    print(pour.piece, pour.name, round(pour.plaster_g), 'g of plaster,', round(pour.water_g), 'g of water;', pour.pose)\n"
        "assert abs(sum(piece.poured_mm3 for piece in plan.pieces.pieces) + plan.stand.mesh.volume - plan.block.volume_mm3) < 1",
    ),
    (
        "markdown",
        "## The cast and the print\n\nWhat the drained cast holds and weighs, and in which sections the master prints with the least filament.",
    ),
    (
        "code",
        "print(round(plan.inside.fired_capacity_ml), 'mL to the brim,', round(plan.inside.weights.fired_g), 'g fired,', round(plan.inside.slip_ml), 'mL of slip to fill')\n"
        "for section in plan.printing.sections:\n    print(section.name, section.attitude, round(section.filament_g), 'g of filament')\n"
        "print(plan.printing.steps[0])\ndisplay(SVG(beds_svg(plan, width=420, height=220)[0]))",
    ),
    ("markdown", "## The sheet"),
    (
        "code",
        "pages = sheet_pngs(plan, dots_per_inch=60)\nprint(len(pages), 'pages,', len(moldprep.sheet_pdf(plan)) // 1024, 'kB as PDF')\ndisplay(Image(pages[0]))",
    ),
]


def main() -> None:
    """Write the notebook beside this script."""
    cells = []
    for number, (kind, text) in enumerate(CELLS):
        cell = {
            "cell_type": kind,
            "id": f"cell-{number}",
            "metadata": {},
            "source": text.splitlines(keepends=True),
        }
        cells.append(cell | ({"execution_count": None, "outputs": []} if kind == "code" else {}))
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    book = {"cells": cells, "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}
    path = Path(__file__).with_name("from-mesh-to-sheet.ipynb")
    path.write_text(json.dumps(book, indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
