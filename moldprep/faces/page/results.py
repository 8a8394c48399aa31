"""The plan's numbers as a maker reads them on the page, drawn from the record.

Figures come in the units that the maker chose; sentences of findings, and the sheet, are in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from nicegui import ui

from ...findings import Finding
from ...sheet.words import grams, millilitres
from .units import Units

Json = dict[str, Any]

PLACES: dict[str, tuple[str, ...]] = {
    "form": ("size-implausible", "hollow-filled", "lip-cut", "lip-rises", "pierced-closed", "spout-dammed"),
    "clay": (
        *("bar-outlier", "bars-from-cast", "no-shrinkage", "scaled", "shrinkage-fraction"),
        *("shrinkage-of-clay", "shrinkage-unusual", "size-uncertain"),
    ),
    "pulls": ("tight-draft", "narrow-opening", "recess-filled", "rises-above-rim", "spare-flare"),
    "seams": (
        "nearly-free",
        "parting-locked",
        "upright-seam",
        "island",
        "fill-too-deep",
        "no-fill",
        "no-taper",
    ),
    "plaster": (
        *(
            "consistency-unusual",
            "gloss-lost",
            "gloss-tight",
            "plaster-old",
            "plaster-unknown",
            "heavy-piece",
        ),
        *("scale-coarse", "dry-hot", "dry-warm"),
    ),
    "cast": (
        *("plaster-between", "plaster-soaked", "plaster-uneven", "spare-shallow", "no-trial", "trials-loose"),
        *("air-pocket", "bevel-puddle", "drain-never", "drain-slides", "drain-tilt", "drain-topples"),
        *(
            "neck-gulps",
            "closes-solid",
            "hollow-severed",
            "inside-differs",
            "opening-closes",
            "throat-narrow",
        ),
    ),
    "print": ("no-pins", "print-softens", "print-whole", "section-bed", "section-bodies", "section-low"),
}
"""Where on the page each finding belongs, by its code; what is not named belongs to the mold."""
FAMILIES = {
    "one-piece": "One piece",
    "two-piece": "Two pieces, one on the other",
    "halves": "Two halves",
    "halves+foot": "Two halves on a foot piece",
    "halves+top": "Two halves under a top piece",
    "halves+foot+top": "Two halves between foot and top",
    "split-layers": "Halves on halves",
}
_LEVELS = {"stop": "This would fail", "warn": "Look before you pour", "note": "Good to know"}


def place_of(code: str) -> str:
    """The part of the page that a finding belongs to."""
    return next((place for place, codes in PLACES.items() if code in codes), "mold")


def finding_rows(found: Iterable[Json | Finding], place: str) -> list[tuple[str, str]]:
    """(level, sentence with its cure) of the findings that belong to a part of the page."""
    rows = []
    for one in found:
        level, code, says, remedy = (
            (one.level, one.code, one.says, one.remedy)
            if isinstance(one, Finding)
            else (one["level"], one["code"], one["says"], one["remedy"])
        )
        if place_of(code) == place:
            rows.append((level, f"{says} {remedy}".strip()))
    return rows


def findings(found: Iterable[Json | Finding], place: str) -> None:
    """The findings of one part of the page, each with its level in words."""
    rows = finding_rows(found, place)
    if not rows:
        return
    with ui.element("ul").classes("page-findings"):
        for level, says in rows:
            with ui.element("li").classes(f"page-finding page-{level}"):
                ui.label(_LEVELS[level]).classes("page-level")
                ui.label(says)


def facts(rows: Sequence[tuple[str, str]]) -> None:
    """Names and values, one under the other."""
    with ui.element("dl").classes("page-facts"):
        for name, value in rows:
            with ui.element("div"):
                with ui.element("dt"):
                    ui.label(name)
                with ui.element("dd"):
                    ui.label(value)


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, caption: str) -> None:
    """A plain table that scrolls sideways within itself where the screen is narrow."""
    with (
        ui.element("div")
        .classes("page-table")
        .props('tabindex="0" role="region"')
        .props(f'aria-label="{caption}"'),
        ui.element("table"),
    ):
        with ui.element("thead"), ui.element("tr"):
            for head in heads:
                with ui.element("th").props("scope=col"):
                    ui.label(head)
        with ui.element("tbody"):
            for row in rows:
                with ui.element("tr"):
                    for cell in row:
                        with ui.element("td"):
                            ui.label(cell)


def big(rows: Sequence[tuple[str, str]]) -> list[ui.label]:
    """What is read with wet hands; the labels of the values."""
    values = []
    with ui.element("div").classes("page-big"):
        for name, value in rows:
            with ui.element("div"):
                ui.label(name).classes("page-name")
                values.append(ui.label(value).classes("page-value"))
    return values


def count(value: float) -> str:
    """A large number in groups of three."""
    return f"{value:,.0f}".replace(",", "\u202f")


def summary(record: Json) -> None:
    """The answer in ten seconds: pieces, plaster and water, whether it opens, and the one finding that matters."""
    parting = record["parting"]
    number = parting["piece_count"]
    big(
        [
            ("The mold", f"{number} piece{'s' if number != 1 else ''}"),
            ("Plaster", grams(record["plaster_total_g"])),
            ("Water", grams(record["water_total_g"])),
            ("It opens", "yes" if record["release"]["opens"] else "no"),
        ]
    )
    worst = next(iter(record["findings"]), None)
    if worst is not None and worst["level"] != "note":
        with ui.element("div").classes(f"page-finding page-{worst['level']}"):
            ui.label(_LEVELS[worst["level"]]).classes("page-level")
            ui.label(f"{worst['says']} {worst['remedy']}".strip())


def sizes(record: Json, units: Units) -> None:
    """Fired and master size, and what it holds."""
    fired = record["sizing"]["fired_size_mm"]
    rows = [
        ("Fired", "not known: say the clay's shrinkage" if fired is None else units.size(fired)),
        ("Master", units.size(record["master"]["size_mm"])),
        ("Factor", " / ".join(dict.fromkeys(f"{value:.4f}" for value in record["sizing"]["factor"]))),
    ]
    if (cast := record.get("cast")) is not None:
        if cast["capacity_fired_ml"] is not None and cast["vessel"]:
            rows.append(("Holds, fired", millilitres(cast["capacity_fired_ml"])))
        rows.append(("Weighs, fired", grams(cast["weights"]["fired_g"])))
    for one in record.get("sizes", [])[1:]:
        holds = "" if one["brim_ml"] is None else f", holds {millilitres(one['brim_ml']['value'])}"
        rows.append((f"Size {one['share']:g}", f"{units.length(one['height_mm']['value'])} high{holds}"))
    facts(rows)


def pieces(record: Json, units: Units) -> None:
    """The cottle, and each piece with how it leaves."""
    cottle = record["cottle"]
    inner = " × ".join(units.length(side) for side in cottle["inner_mm"])
    kind = {"ring": "ring", "box": "boards", "sheet": "sheet round the form"}[cottle["kind"]]
    facts(
        [
            ("Cottle", f"{kind}, {inner} inside"),
            ("Plaster stands", units.length(cottle["fill_mm"])),
            (
                "Walls",
                f"{units.length(cottle['least_wall_mm'])} to {units.length(cottle['greatest_wall_mm'])}",
            ),
            ("It opens", "proved, piece by piece" if record["release"]["opens"] else "NO: see below"),
        ]
    )
    table(
        ("Piece", "Leaves", "Least draft", "Weighs dry"),
        [
            (
                f"{piece['letter']} {piece['name']}",
                _way(piece["pull"]),
                f"{piece['least_draft_deg']:.1f}°",
                grams(pour["dry_g"]),
            )
            for piece in record["pieces"]
            for pour in record["pours"]
            if pour["piece"] == piece["letter"]
        ],
        caption="The pieces of the mold",
    )


def plaster(record: Json, units: Units) -> None:
    """What to weigh for each pour, and the clock."""
    big(
        [
            ("Plaster in all", grams(record["plaster_total_g"])),
            ("Water in all", grams(record["water_total_g"])),
        ]
    )
    table(
        ("Pour", "Plaster", "Water", "Slurry", "Depth"),
        [
            (
                f"{pour['piece']} {pour['name']}"
                + (f", {pour['batches']} batches of" if pour["batches"] > 1 else ""),
                grams(pour["batch_plaster_g"]),
                grams(pour["batch_water_g"]),
                millilitres(pour["slurry_ml"] / pour["batches"]),
                units.length(pour["fill_mm"]),
            )
            for pour in record["pours"]
        ],
        caption="What to weigh for each pour",
    )
    timing, drying = record["timing"], record["drying"]
    facts(
        [
            ("Soak, then mix", f"{_span(timing['soak'], 'min')}, then {_span(timing['mix'], 'min')}"),
            ("Gloss gone", f"{_span(timing['gloss'], 'min')} after strewing"),
            ("Set", f"{_span(timing['set'], 'min')} after strewing"),
            ("Demold", f"{_span(timing['demold_plain'], 'min')} after the pour, a plain form"),
            ("Heaviest lift", f"{record['heaviest_lift']}, {grams(record['heaviest_lift_g'])}"),
            (
                "Ready to cast at",
                f"{grams(drying['ready_low_g'])} to {grams(drying['ready_high_g'])}, all of it",
            ),
            *[(f"Dry {way['name']}", _hours(way["hours"])) for way in drying["ways"]],
        ]
    )


def cast(record: Json, units: Units) -> None:
    """Slip, time, and how to hold the mold to drain."""
    made, drain = record["casting"], record["drain"]
    middle, low, high = made["minutes"]
    few, many = made["casts_between"]
    grown = (
        "Solid after"
        if record["cast"]["mode"] == "solid"
        else f"Wall of {units.length(made['wall_mm'])} after"
    )
    big(
        [
            ("Slip in the jug", millilitres(made["slip"]["volume_ml"])),
            (grown, _span((low, high), "min")),
            ("Casts, then dry", f"{few}" if few == many else f"{few} to {many}"),
        ]
    )
    rows = [
        (
            "Most likely",
            f"{middle:.0f} min, " + (f"by {made['trials']} trials" if made["trials"] else "without a trial"),
        ),
        (
            "The slip weighs",
            f"{grams(made['slip']['weight_g'])}; an imperial pint {made['slip']['pint_oz']:.1f} oz",
        ),
        (
            "The level sinks",
            f"{units.length(made['level']['last_mm'])}; top up {made['level']['top_ups']} times",
        ),
    ]
    if drain is not None:
        best = drain["best"]
        how = "opening straight down" if best["tilt_deg"] == 0 else f"tilted by {best['tilt_deg']:.0f}°"
        rows.append(("Hold it to drain", f"{how}: {best['left_ml']:.1f} mL stay in it"))
        if drain["holds"] and drain["holds"][0]["prop_mm"]:
            rows.append(("Prop one edge up", units.length(drain["holds"][0]["prop_mm"])))
    facts(rows)


def printing(record: Json, units: Units) -> None:
    """How the master prints with least filament."""
    made = record["printing"]
    facts(
        [
            ("Filament", f"{grams(made['filament_g'])}, {made['filament_m']:.0f} m"),
            ("Of it supports", grams(made["support_g"])),
        ]
    )
    table(
        ("Section", "Printed", "Size", "Filament"),
        [
            (
                section["name"],
                section["attitude"],
                units.size(section["size_mm"]),
                grams(section["filament_g"]),
            )
            for section in made["sections"]
        ],
        caption="Sections of the master as they print",
    )


def order(record: Json) -> None:
    """What the studio needs for all molds, and what they cost where rates are given."""
    stock, costs = record["stock"], record["estimate"]
    rows = [
        ("Molds", str(stock["molds"])),
        ("Plaster", f"{grams(stock['plaster_g'])}: {stock['bags']} bag{'s' if stock['bags'] != 1 else ''}"),
        ("Bench", f"{_span(stock['bench_hours'], 'h')} to the last demolding"),
    ]
    if costs is not None:
        rows.append(("Master and first mold", f"{costs['mold_total']:,.2f} {costs['currency']}".strip()))
        rows += [
            (f"{price['pieces']} pieces", f"{price['each']:,.2f} {costs['currency']} each".strip())
            for price in costs["prices"]
        ]
    facts(rows)


def places(found: Sequence[Json], units: Units, fly: Callable[[Json], None]) -> None:
    """The locked places of a pull, each a button that shows it."""
    with ui.element("ol").classes("page-places"):
        for place in found:
            with ui.element("li"):
                ui.button(f"{place['number']}", on_click=lambda _, place=place: fly(place)).props(
                    f'flat dense no-caps aria-label="Show locked place {place["number"]}"'
                ).classes("page-mark")
                ui.label(f"{units.length(place['reach_mm'])} deep, {_volume(place['volume_mm3'])} of plaster")


def _volume(mm3: float) -> str:
    return f"{mm3 / 1000:.1f} mL" if mm3 >= 100 else f"{mm3:.0f} mm³"


def _way(pull: Sequence[float]) -> str:
    """Where a piece leaves to."""
    from ...pieces import leaves

    x, y, z = pull
    return leaves((x, y, z))


def _span(span: Sequence[float], unit: str) -> str:
    low, high = span
    if unit == "min" and high >= 100:
        return f"{low / 60:.1f} to {high / 60:.1f} h"
    return f"{low:.0f} {unit}" if round(low) == round(high) else f"{low:.0f} to {high:.0f} {unit}"


def _hours(hours: Sequence[float]) -> str:
    low, high = hours
    return f"{low:.0f} to {high:.0f} h" if high < 72 else f"{low / 24:.0f} to {high / 24:.0f} days"
