"""The bench sheet as PDF, set by typst; this module only puts the plan's numbers into words."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from typing import Any, cast

import typst

from ..cottling import FREEBOARD_MM, GRIP_MM, OVERLAP_MM, CottleNeed
from ..errors import at
from ..findings import Finding
from ..materials import ASSUMED, Figure, plaster_named
from ..parting import Candidate
from ..pieces import leaves
from ..planning import Plan
from ..pull import Pull, direction_name
from .apart import apart_svg
from .benchcards import dry_card, estimate_card, stock_card
from .castcard import cast_card
from .castingcard import casting_card, drain_card
from .cautions import CAUTIONS
from .drawings import TINTS, Drawing, cut, seam_list, view
from .easecard import ease_card
from .pictures import MOST_MARKS, board_picture, form_picture, pull_svg, svg_of
from .printcard import print_card
from .record import record_hash, record_json
from .tiling import tiles
from .truescale import Template, templates
from .words import cottle_words, fired_words, grams, holds_words, lengths, seam_words, shrinkage_words

PAPERS = {"a4": "a4", "letter": "us-letter"}
MOST_RUNNERS_UP = 6
MOST_PLACES = 14
MOST_PRINTS = 4

RESPONSIBILITY = (
    "moldprep computes; the maker decides. It reads the mesh at the stated pitch and tolerance and knows nothing "
    "of what it was not told. Whoever pours the mold remains responsible for it."
)


def sheet_pdf(plan: Plan, *, paper: str | None = None, inputs: dict[str, bytes] | None = None) -> bytes:
    """The whole sheet as a tagged PDF, `paper` "a4" or "letter" (the job's when left out).

    The same plan gives the same bytes: no date, no clock. inputs: `sheet_inputs` of this plan and paper, where
    they have been made already.
    """
    inputs = inputs or sheet_inputs(plan, paper=paper or plan.job.sheet.paper)
    made = cast(Any, typst.compile)(inputs, ignore_system_fonts=True, pdf_standards="ua-1")
    assert isinstance(made, bytes)
    return made


def sheet_pngs(
    plan: Plan,
    *,
    paper: str | None = None,
    dots_per_inch: float = 96,
    inputs: dict[str, bytes] | None = None,
) -> list[bytes]:
    """The sheet's pages as PNG pictures, for a screen; inputs as in `sheet_pdf`."""
    inputs = inputs or sheet_inputs(plan, paper=paper or plan.job.sheet.paper)
    made = cast(Any, typst.compile)(inputs, ignore_system_fonts=True, format="png", ppi=dots_per_inch)
    return [made] if isinstance(made, bytes) else list(made)


def sheet_inputs(plan: Plan, *, paper: str, drawn: tuple[Template, ...] | None = None) -> dict[str, bytes]:
    """The page template, its data and its pictures, by name; drawn: the plan's own true-scale templates."""
    pictures: dict[str, bytes] = {"form.svg": svg_of(form_picture(plan)).encode()}
    data = _data(plan, paper, pictures, drawn or templates(plan))
    template = files(__package__).joinpath("templates", "sheet.typ").read_bytes()
    return {"main.typ": template, "data.json": json.dumps(data, ensure_ascii=False).encode(), **pictures}


def _data(plan: Plan, paper: str, pictures: dict[str, bytes], drawn: tuple[Template, ...]) -> dict[str, Any]:
    pours = {pour.piece: pour for pour in plan.pours.pours}
    tints = {piece.letter: TINTS[k % len(TINTS)] for k, piece in enumerate(plan.pieces.pieces)}
    chosen = plan.parting.chosen
    return {
        "title": f"Bench sheet: {plan.name}",
        "name": plan.name + (f" · {plan.job.sheet.studio}" if plan.job.sheet.studio else ""),
        "paper": PAPERS[paper],
        "hash": record_hash(record_json(plan)),
        "verdict": verdict(chosen),
        "form_alt": f"The form {plan.name}, shaded",
        "key": [
            ["Fired", fired_words(plan)],
            ["Master", lengths(plan.sizing.master_size_mm)],
            ["Holds", holds_words(plan)],
            ["Clay", shrinkage_words(plan)],
            [
                "Opening",
                f"{plan.stand.opening}; spare {plan.stand.spare_mm:.0f} mm, floor {plan.stand.floor_mm:.0f} mm",
            ],
            ["Cottle", cottle_words(plan.block)],
        ],
        "totals": [
            ["Plaster in all", grams(plan.pours.plaster_total_g)],
            ["Water in all", grams(plan.pours.water_total_g)],
        ],
        "worst": _finding(
            plan.findings[0] if plan.findings else Finding("note", "clear", "Nothing to warn of.")
        ),
        "pieces": [
            {
                "letter": piece.letter,
                "tint": tints[piece.letter],
                "name": piece.name,
                "leaves": leaves(piece.pull),
                "plaster": grams(pours[piece.letter].plaster_g),
                "water": grams(pours[piece.letter].water_g),
                "wet": grams(pours[piece.letter].wet_g),
                "dry": grams(pours[piece.letter].dry_g),
            }
            for piece in plan.pieces.pieces
        ],
        "lift": f"Heaviest lift: {plan.pours.heaviest_lift}, about {grams(plan.pours.heaviest_lift_g)}. "
        f"The whole mold weighs {grams(plan.pours.wet_total_g)} just set and {grams(plan.pours.dry_total_g)} dry.",
        "apart": _apart(plan, pictures),
        "order": _order(plan, tints),
        "poses": [
            {
                "letter": pose.letter,
                "tint": tints[pose.letter],
                "name": pose.name,
                "says": pose.says[0].upper() + pose.says[1:] + ".",
            }
            for pose in plan.poses
        ],
        "needs": [
            {
                "letter": need.letter,
                "tint": tints[need.letter],
                "name": _need_words(need),
                "height": f"{need.height_mm:.0f} mm",
                "straps": f"{need.straps}, for {load.strap_kg:.0f} kg",
                "pressure": f"{load.pressure_kpa:.1f} kPa",
                "seal": f"{need.seal_mm / 1000:.2f} m",
            }
            for need, load in zip(plan.needs, plan.loads, strict=True)
        ],
        "boards": _boards(plan, pictures),
        "print": print_card(plan, pictures),
        "cast": cast_card(plan, pictures),
        "ease": ease_card(plan, pictures),
        "casting": casting_card(plan, pictures),
        "drain": drain_card(plan, pictures),
        "dry": dry_card(plan, tints),
        "stock": stock_card(plan),
        "estimate": estimate_card(plan),
        "seams": [seam_words(seam) for seam in seam_list(plan)],
        "pulls": [_pull(plan, pull, number, pictures) for number, pull in enumerate(plan.study.pulls)],
        "axes": [
            [direction_name(row.direction), _ml(row.gap_mm3), _ml(row.parted_mm3), _ml(row.one_way_mm3)]
            for row in plan.study.table
        ],
        "why": chosen.why,
        "views": [
            _drawn(
                view(plan, name, width=238, height=240), f"{name}.svg", f"{name.capitalize()} view", pictures
            )
            for name in ("front", "side", "top")
        ],
        "section": _section(plan, pictures),
        "runners_up": [_runner_up(candidate) for candidate in plan.parting.runners_up[:MOST_RUNNERS_UP]],
        "needs_note": f"Heights with {FREEBOARD_MM:.0f} mm above the plaster, and {GRIP_MM:.0f} mm down over set plaster "
        f"where it stands on some; lengths with {OVERLAP_MM:.0f} mm of overlap; seal with clay along the foot and "
        "every plate.",
        "cottle": f"{cottle_words(plan.block)[0].upper()}{cottle_words(plan.block)[1:]}; "
        f"evenness {plan.block.evenness:.2f} (1 is even all round).",
        "cottles": [
            [
                f"{option.kind}, " + " × ".join(f"{side:.0f}" for side in option.inner_mm) + " mm",
                f"{option.plaster_mm3 / 1e6:.2f} L",
                f"{option.least_wall_mm:.0f}–{option.greatest_wall_mm:.0f} mm",
            ]
            for option in plan.block.options
        ],
        "pour_intro": f"Ten parts of plaster to {plan.pours.consistency / 10:g} of water by weight, the same for every "
        f"piece; {plan.job.plaster.allowance_percent:g} % more than the mold holds, for what stays in the bucket.",
        "cards": [_card(plan, number, tints) for number in range(len(plan.pours.pours))],
        "cautions": list(CAUTIONS),
        "findings": [_finding(finding) for finding in plan.findings],
        "figures": [
            [
                figure.name,
                f"{figure.value:g} {figure.unit}" + (f" ({figure.range})" if figure.range else ""),
                figure.source,
            ]
            for figure in _figures(plan)
        ],
        "responsibility": RESPONSIBILITY,
        "tiles": _tiles(drawn, paper, pictures),
    }


def _figures(plan: Plan) -> list[Figure]:
    """The figures of the trade with the values that this plan used."""
    job = plan.job
    used = {
        "consistency": job.plaster.consistency,
        "allowance for the bucket": job.plaster.allowance_percent,
        "setting expansion": job.shrinkage.plaster_expansion_percent,
        "least draft, outside": job.pull.least_draft_deg,
        "least draft, inside": job.pull.least_draft_inside_deg,
        "least reach that locks": job.pull.tolerance_mm,
        "spare depth": plan.stand.spare_mm,
        "wall of plaster": plan.block.wall_mm,
        "wall of the cast, wet": job.cast.wall_mm,
        "density of the clay's grains": job.cast.solids_g_ml,
        "water in the demolded cast": job.cast.water_percent,
        "loss on ignition": job.cast.loss_on_ignition_percent,
        "casting slip": job.cast.slip_g_ml,
    }
    plaster = plaster_named(job.plaster.plaster)
    if plaster is not None:
        used["hemihydrate density"] = plaster.hemihydrate_density_kg_m3
    return [replace(figure, value=round(used.get(figure.name, figure.value), 4)) for figure in ASSUMED]


def verdict(chosen: Candidate) -> str:
    """The mold in a line."""
    words = {
        "one-piece": "One piece: the master comes out upward.",
        "two-piece": "Two pieces, parted across.",
        "halves": "Two halves; they carry the floor between them.",
        "halves+foot": "Two halves on a foot piece: three pieces.",
        "halves+top": "Two halves and a top piece: three pieces.",
        "halves+foot+top": "Two halves between a foot and a top piece: four pieces.",
        "split-layers": f"Halves on halves: {chosen.piece_count} pieces.",
    }
    return words[chosen.family]


def _finding(finding: Finding) -> dict[str, str]:
    return {"level": finding.level, "says": finding.says, "remedy": finding.remedy}


def _pull(plan: Plan, pull: Pull, number: int, pictures: dict[str, bytes]) -> dict[str, Any]:
    svg, _, _ = pull_svg(plan.stand.mesh, pull)
    pictures[f"pull{number}.svg"] = svg.encode()
    places = [
        [
            str(p.number),
            at(p.where),
            f"{p.reach_mm:.1f} mm",
            _ml(p.volume_mm3),
        ]
        for p in pull.places[:MOST_PLACES]
    ]
    left = len(pull.places) - len(places)
    marked = min(len(pull.places), MOST_MARKS)
    return {
        "name": pull.name[0].upper() + pull.name[1:],
        "verdict": pull.verdict,
        "picture": f"pull{number}.svg",
        "alt": f"Classes of the form's faces for the pull {pull.name}; {marked} locked places numbered",
        "places": places,
        "more": f"And {left} more in the record." if left else "",
    }


def _apart(plan: Plan, pictures: dict[str, bytes]) -> dict[str, Any]:
    drawn, width = apart_svg(plan, width=490, height=335)
    pictures["apart.svg"] = drawn.encode()
    alt = "The pieces drawn apart along their pulls, the master between them"
    return {"picture": "apart.svg", "alt": alt, "width": width}


def _order(plan: Plan, tints: dict[str, str]) -> list[dict[str, str]]:
    """Taking the mold apart, step by step, in the casting pose."""
    pieces = plan.pieces.pieces
    if len(pieces) == 1:
        says = "Tap the rim with a mallet of wood or rubber and draw the master upward, straight."
        return [{"letter": "A", "tint": tints["A"], "says": says}]
    found = []
    for k, (piece, proof) in enumerate(zip(pieces, plan.release.proofs, strict=True)):
        says = f"{piece.name.capitalize()}: straight {leaves(piece.pull)}"
        if k == len(pieces) - 1:
            says += ", away from the master"
        if not proof.released:
            says += f"; held {max(proof.lateral_mm, *(one.lateral_mm for one in proof.slid)):.1f} mm deep"
        found.append({"letter": piece.letter, "tint": tints[piece.letter], "says": says + "."})
    return found


def _need_words(need: CottleNeed) -> str:
    """What to cut or find for a cottle."""
    if need.boards:
        wide, deep = need.boards
        return f"boards, {wide:.0f} × {deep:.0f} mm inside"
    sort = "ring, or a strip" if need.kind == "ring" else "sheet"
    return f"{sort} {need.sheet_mm:.0f} mm long"


def _boards(plan: Plan, pictures: dict[str, bytes]) -> list[dict[str, Any]]:
    """Each board with its picture; tags, which differ by a letter only, as one."""
    found = []
    tags = [board for board in plan.boards.boards if board.kind == "tag"]
    for number, board in enumerate(plan.boards.boards):
        if board in tags[1:]:
            continue
        sizes = [" × ".join(f"{side:.0f}" for side in mesh.extents) for mesh in board.prints]
        shown = [
            f"{sizes.count(size)} of {size}" if sizes.count(size) > 1 else size
            for size in dict.fromkeys(sizes)
        ]
        name = f"board{number}.svg"
        pictures[name] = svg_of(board_picture(board.prints[0])).encode()
        letters = ", ".join(letter for tag in tags for letter in tag.serves)
        found.append(
            {
                "name": f"Tags for {letters}" if board in tags else board.name,
                "picture": name,
                "alt": f"Board {board.name} as it is printed",
                "says": board.says,
                "size": f"{'; '.join(shown[:MOST_PRINTS])} mm",
            }
        )
    return found


def _tiles(drawn: tuple[Template, ...], paper: str, pictures: dict[str, bytes]) -> list[dict[str, Any]]:
    """The true-scale templates, page by page."""
    found = []
    for template in drawn:
        for tile in tiles(template, paper="a4" if paper == "a4" else "letter"):
            name = f"template-{template.name}-{tile.name}.svg"
            pictures[name] = tile.svg.encode()
            found.append(
                {
                    "picture": name,
                    "alt": f"{template.title}, at true scale, page {tile.name}",
                    "flipped": tile.orientation == "landscape",
                    "width": tile.width,
                    "height": tile.height,
                }
            )
    return found


def _section(plan: Plan, pictures: dict[str, bytes]) -> dict[str, Any]:
    drawn = _drawn(
        cut(plan, width=470, height=365), "section.svg", "Section through mold and master", pictures
    )
    return {**drawn, "note": "plaster hatched, master white, walls in mm where they are thinnest"}


def _drawn(drawing: Drawing, name: str, title: str, pictures: dict[str, bytes]) -> dict[str, Any]:
    pictures[name] = drawing.svg.encode()
    scale = drawing.mm_per_point / (25.4 / 72)
    return {
        "picture": name,
        "alt": title,
        "name": title,
        "width": drawing.width,
        "scale": f"scale 1 : {scale:.2f}",
    }


def _runner_up(candidate: Candidate) -> list[str]:
    tilted = abs(candidate.axis[2]) < 0.99
    planes = ", ".join(f"{height:.0f}" for height in candidate.planes_mm) or "–"
    locked = "not judged" if candidate.reach_mm != candidate.reach_mm else f"{candidate.reach_mm:.1f} mm"
    family = candidate.family + (f", {direction_name(candidate.axis)}" if tilted else "")
    return [family, str(candidate.piece_count), planes, locked, f"{candidate.price:.0f}"]


def _card(plan: Plan, number: int, tints: dict[str, str]) -> dict[str, Any]:
    pour = plan.pours.pours[number]
    uplift = f", uplift on the master at most {pour.uplift_n:.0f} N ({pour.hold_kg:.1f} kg on top hold it)"
    return {
        "number": number + 1,
        "letter": pour.piece,
        "tint": tints[pour.piece],
        "name": pour.name,
        "pose": pour.pose,
        "volume": f"{pour.solid_ml:.0f} mL of plaster, {pour.slurry_ml:.0f} mL of slurry",
        "each": f", each of {pour.batches} batches" if pour.batches > 1 else "",
        "plaster": grams(pour.batch_plaster_g),
        "water": grams(pour.batch_water_g),
        "steps": list(pour.steps),
        "facts": f"Plaster {pour.fill_mm:.0f} mm deep: {pour.pressure_kpa:.1f} kPa at its foot"
        + (uplift if pour.uplift_n > 0 else "")
        + f". The piece weighs {grams(pour.wet_g)} wet, {grams(pour.dry_g)} dry. 100 g of plaster more or less are "
        f"{pour.slab_100g_mm:.1f} mm of height.",
    }


def _ml(volume_mm3: float) -> str:
    return f"{volume_mm3 / 1000:.1f} mL" if volume_mm3 >= 100 else f"{volume_mm3:.0f} mm³"
