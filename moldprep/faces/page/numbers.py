"""A plan's numbers for the bench, part by part of the page: mold, plaster, cast, print, order."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nicegui import ui

from ...pieces import leaves
from ...sheet.cautions import CAUTIONS
from ...sheet.words import grams, millilitres
from .asking.entry import button, text
from .results import Fly, Json, area, big, facts, span, table
from .units import Units

WEAK = {"wall": "thin wall", "tongue": "slender tongue", "feather": "sharp edge"}
EASES = {"taper": "With a taper", "fill": "With undercuts filled"}
STANCE = {"ring": "ring", "box": "boards", "sheet": "sheet round the form"}


def mold(record: Json, units: Units, fly: Fly) -> None:
    """The cottle, each piece with how it leaves, what is weak, and what each pour stands in."""
    cottle = record["cottle"]
    inner = " × ".join(units.length(side) for side in cottle["inner_mm"])
    opens = record["release"]["opens"]
    facts(
        [
            ("Cottle", f"{STANCE[cottle['kind']]}, {inner} inside"),
            ("Plaster stands", f"{units.length(cottle['fill_mm'])} high in it"),
            (
                "Walls",
                f"{units.length(cottle['least_wall_mm'])} to {units.length(cottle['greatest_wall_mm'])}",
                "The more even they are, the more evenly the mold drinks.",
            ),
            (
                "It opens",
                "yes" if opens else "NO",
                "Tried on the pieces' solids, one after the other.",
            ),
        ]
    )
    dry = {pour["piece"]: pour["dry_g"] for pour in record["pours"]}
    table(
        ("Piece", "Leaves", "Least draft", "Weighs dry"),
        [
            (
                f"{piece['letter']} {piece['name']}",
                way(piece["pull"]),
                f"{piece['least_draft_deg']:.1f}°",
                grams(dry[piece["letter"]]),
            )
            for piece in record["pieces"]
        ],
        caption="The pieces of the mold",
    )
    _thin(record["thin"], units, fly)
    _cottling(record, units)


def ease(record: Json, units: Units, download: Callable[[str], object]) -> None:
    """Forms changed a little that come away more easily; download: gives one of the plan's files by its name."""
    if not record["ease"]:
        return
    text("h3", "An easier form")
    text(
        "p",
        "The same form, changed as little as lets this mold go. Take one, look it over, and put it down above as a new form.",
        "page-hint",
    )
    for offer in record["ease"]:
        kind = offer["kind"]
        facts(
            [
                (EASES[kind], offer["says"]),
                ("Moves by", f"{units.length(offer['greatest_mm'])} at the most, on the master"),
                (
                    "Locked faces",
                    f"{area(offer['locked_before_mm2'])} before, {area(offer['locked_after_mm2'])} after",
                ),
                (
                    "Tight faces",
                    f"{area(offer['tight_before_mm2'])} before, {area(offer['tight_after_mm2'])} after",
                ),
            ]
        )
        name = f"ease/{kind}.stl"
        button(f"Take this form ({kind}, STL)", lambda name=name: download(name))  # type: ignore[misc]


def plaster(record: Json, units: Units) -> None:
    """What to weigh for each pour, the clock, and the usual cautions."""
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
                + (f", {pour['batches']} batches, each" if pour["batches"] > 1 else ""),
                grams(pour["batch_plaster_g"]),
                grams(pour["batch_water_g"]),
                millilitres(pour["slurry_ml"] / pour["batches"]),
                units.length(pour["fill_mm"]),
            )
            for pour in record["pours"]
        ],
        caption="What to weigh for each pour, in pouring order",
    )
    timing, drying = record["timing"], record["drying"]
    facts(
        [
            ("Soak, then mix", f"{span(timing['soak'], 'min')}, then {span(timing['mix'], 'min')}"),
            (
                "Gloss gone",
                f"{span(timing['gloss'], 'min')} after strewing",
                "Pour before; after it, leave it alone.",
            ),
            ("Set", f"{span(timing['set'], 'min')} after strewing"),
            ("Demold", f"{span(timing['demold_plain'], 'min')} after the pour, a plain form"),
            ("Heaviest lift", f"{record['heaviest_lift']}, {grams(record['heaviest_lift_g'])}"),
        ]
    )
    text("h3", "Drying")
    facts(
        [
            (
                "Ready to cast at",
                f"{grams(drying['ready_low_g'])} to {grams(drying['ready_high_g'])}, all of it",
                "Weigh it: only the scale tells when it is dry.",
            ),
            *[(f"Dry {one['name']}", hours(one["hours"])) for one in drying["ways"]],
        ]
    )
    _cautions()


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
            (grown, span((low, high), "min")),
            ("Casts, then dry", f"{few}" if few == many else f"{few} to {many}"),
        ]
    )
    rows: list[tuple[str, ...]] = [
        (
            "Most likely",
            f"{middle:.0f} min, "
            + (f"by {counted(made['trials'], 'trial')}" if made["trials"] else "without a trial"),
        ),
        (
            "The slip weighs",
            f"{grams(made['slip']['weight_g'])}; an imperial pint {made['slip']['pint_oz']:.1f} oz",
        ),
        (
            "The level sinks",
            f"{units.length(made['level']['last_mm'])}; top up {counted(made['level']['top_ups'], 'time')}",
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
    facts(
        [
            ("Molds", str(stock["molds"])),
            ("Plaster", f"{grams(stock['plaster_g'])}: {counted(stock['bags'], 'bag')}"),
            ("Bench", f"{span(stock['bench_hours'], 'h')} to the last demolding"),
            ("Drying shelf", f"{stock['shelf_m2']:.2f} m²"),
        ]
    )
    if costs is None:
        text("p", "With your hour's rate, below, this also tells what it costs.", "page-hint")
        return
    money = costs["currency"] or "your currency"
    table(
        ("Step", "Hours", "Labour", "Material"),
        [
            (line["step"], f"{line['hours']:.2g}", f"{line['labour']:,.2f}", f"{line['material']:,.2f}")
            for line in costs["mold"]
        ]
        + [("in all", f"{costs['hours']:.3g}", "", f"{costs['mold_total']:,.2f}")],
        caption=f"The master and the first mold, in {money}",
    )
    table(
        ("Good pieces", "Casts", "Molds", "In all", "Each"),
        [
            (
                str(price["pieces"]),
                str(price["casts"] + price["discarded"]),
                str(price["molds"]),
                f"{price['total']:,.2f}",
                f"{price['each']:,.2f}",
            )
            for price in costs["prices"]
        ],
        caption=f"What good pieces cost, in {money}",
    )


def way(pull: Sequence[float]) -> str:
    """Where a piece leaves to."""
    x, y, z = pull
    return leaves((x, y, z))


def hours(found: Sequence[float]) -> str:
    """A span of hours, in days where it is long."""
    low, high = found
    return f"{low:.0f} to {high:.0f} h" if high < 72 else f"{low / 24:.0f} to {high / 24:.0f} days"


def counted(number: int, thing: str) -> str:
    """A number of things."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _thin(found: Sequence[Json], units: Units, fly: Fly) -> None:
    """Where plaster is thin or sharp, each with a way to see it."""
    if not found:
        return
    text("h3", "Weak places of the plaster")
    with ui.element("ul").classes("page-places"):
        for place in found:
            figure = (
                f"{place['figure']:.0f}°" if place["kind"] == "feather" else units.length(place["figure"])
            )
            words = (
                f"{place['piece']}: {WEAK[place['kind']]}, {figure}, {units.length(place['extent_mm'])} long"
            )
            with ui.element("li"):
                shows = button("Show", lambda place=place: fly(place["where"]), "page-go")  # type: ignore[misc]
                shows.props["aria-label"] = f"Show {words}"
                text("span", words)


def _cottling(record: Json, units: Units) -> None:
    """What each pour stands in, and the boards to print for it."""
    text("h3", "What to pour in")
    text(
        "p",
        "How high the cottle is, how long its strip or boards, and the line to seal with clay.",
        "page-hint",
    )
    table(
        ("Pour", "Cottle", "Strip, boards", "Straps", "To seal"),
        [
            (
                need["letter"],
                units.length(need["height_mm"]),
                ", ".join(map(units.length, need["boards"])) or units.length(need["sheet_mm"]),
                str(need["straps"]),
                units.length(need["seal_mm"]),
            )
            for need in record["cottle_needs"]
        ],
        caption="Cottle for each pour: its height, its strip or boards, straps, and the line to seal with clay",
    )
    if record["boards"]:
        table(
            ("Board to print", "What it is for"),
            [
                (", ".join(one["name"] for one in record["boards"] if one["says"] == says), says)
                for says in dict.fromkeys(one["says"] for one in record["boards"])
            ],
            caption="Boards to print",
        )


def _cautions() -> None:
    """Beside what is weighed, as on the sheet."""
    with ui.element("aside").classes("page-cautions").props('aria-label="Cautions"'):
        text("h3", "Before you mix")
        with ui.element("ul"):
            for line in CAUTIONS:
                text("li", line)
