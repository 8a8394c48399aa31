"""The plan on a terminal, in the order in which a maker needs it."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ..errors import at
from ..findings import Finding
from ..pieces import leaves
from ..planning import Plan
from ..pull import PullStudy
from ..stand import Stand
from .words import cottle_words, fired_words, grams, holds_words, lengths, seam_words, shrinkage_words

_STYLE = {"stop": "bold red", "warn": "yellow", "note": "dim"}


def plan_text(plan: Plan) -> RenderableType:
    """Verdict, sizes, cottle, pieces and pours."""
    chosen = plan.parting.chosen
    pieces = Table(show_header=True, box=None, pad_edge=False, header_style="bold")
    for heading in ("piece", "leaves", "plaster", "water", "slurry"):
        pieces.add_column(heading, justify="left" if heading in ("piece", "leaves") else "right")
    pours = {pour.piece: pour for pour in plan.pours.pours}
    for piece in plan.pieces.pieces:
        pour = pours[piece.letter]
        pieces.add_row(
            f"{piece.letter} {piece.name}",
            leaves(piece.pull),
            grams(pour.plaster_g),
            grams(pour.water_g),
            f"{pour.slurry_ml:.0f} mL",
        )
    pieces.add_row("all", "", grams(plan.pours.plaster_total_g), grams(plan.pours.water_total_g), "")
    count = "1 piece" if chosen.piece_count == 1 else f"{chosen.piece_count} pieces"
    fired = fired_words(plan)
    rows: list[RenderableType] = [
        Text(f"{plan.name}: a {chosen.family} mold, {count}", style="bold"),
        Text(f"Size     fired {fired}, master {lengths(plan.sizing.master_size_mm)}"),
        Text(f"Holds    {holds_words(plan)}"),
        Text(f"Clay     {shrinkage_words(plan)}"),
        Text(f"Opening  {plan.stand.opening}: {plan.stand.reason}"),
        Text(f"Cottle   {cottle_words(plan.block)}"),
        *[Text(f"Seam     {seam_words(seam)}") for seam in chosen.seams],
        Text(""),
        pieces,
        Text(""),
        findings_text(plan.findings),
    ]
    return Group(*rows)


def check_text(name: str, stand: Stand, study: PullStudy, findings: tuple[Finding, ...]) -> RenderableType:
    """What the pulls say of a form."""
    rows: list[RenderableType] = [
        Text(name, style="bold"),
        Text(f"Opening  {stand.opening}: {stand.reason}"),
    ]
    for pull in study.pulls:
        rows.append(Text(f"Pull     {pull.verdict}"))
        for place in pull.places:
            rows.append(Text(f"         {place.number}: {place.reach_mm:.1f} mm deep at {at(place.where)}"))
    rows.append(findings_text(findings))
    return Group(*rows)


def findings_text(findings: tuple[Finding, ...]) -> RenderableType:
    """Each finding in one line: level, sentence, cure."""
    return Group(
        *[
            Text.assemble(
                (f"{finding.level}: ", _STYLE[finding.level]), f"{finding.says} {finding.remedy}".strip()
            )
            for finding in findings
        ]
    )
