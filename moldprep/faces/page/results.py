"""The plan's numbers as a maker reads them on the page, drawn from the record.

Figures come in the units that the maker chose; sentences of findings, and the sheet, are in mm. What the bench
needs, stage by stage, is in `numbers`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import msgspec
from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from ...findings import Finding
from ...sheet.words import grams, millilitres
from .asking.entry import button, text
from .cures import sentence
from .units import Units

Json = dict[str, Any]
Fly = Callable[[Sequence[float]], None]
"""Shows a place of the form."""
OPENINGS = {"rim": "the rim", "foot": "the foot", "made": "a made opening"}

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
_NUMBER = re.compile(r"-?\d")
_LEVELS = {"stop": "This would fail", "warn": "Look before you pour", "note": "Good to know"}


def place_of(code: str) -> str:
    """The part of the page that a finding belongs to."""
    return next((place for place, codes in PLACES.items() if code in codes), "mold")


def findings(
    found: Iterable[Json | Finding],
    place: str,
    fly: Fly | None = None,
    levels: Sequence[str] = ("stop", "warn", "note"),
) -> None:
    """The findings of one part of the page, of these levels, each with its level in words; fly: shows a place of the
    form."""
    rows = [one for one in map(_plain, found) if place_of(one["code"]) == place and one["level"] in levels]
    if not rows:
        return
    with ui.element("ul").classes("page-findings"):
        for one in rows:
            with ui.element("li").classes(f"page-finding page-{one['level']}"):
                _finding(one, fly)


def _plain(one: Json | Finding) -> Json:
    return msgspec.to_builtins(one) if isinstance(one, Finding) else one


def _finding(one: Json, fly: Fly | None) -> None:
    text("p", _LEVELS[one["level"]], "page-level")
    sentence(f"{one['says']} {one['remedy']}".strip())
    if fly is not None and one["where"]:
        more = f", the first of {len(one['where'])}" if len(one["where"]) > 1 else ""
        button(f"Show the place{more}", lambda: fly(one["where"][0]), "page-go")


def facts(rows: Sequence[tuple[str, ...]]) -> None:
    """Names and values, one under the other; a third part is a note on what the value means."""
    with ui.element("dl").classes("page-facts"):
        for name, value, *notes in rows:
            with ui.element("div"):
                text("dt", name)
                with ui.element("dd"):
                    text("span", value)
                    for note in notes:
                        text("small", note, "page-small")


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, caption: str) -> None:
    """A plain table that scrolls sideways within itself where the screen is narrow; its first column names the row,
    columns of numbers stand to the right."""
    numbers = [all(_NUMBER.match(row[k]) for row in rows) for k in range(len(heads))]
    sides = ["page-number" if number else "" for number in numbers]
    with (
        ui.element("div").classes("page-table").props('tabindex="0" role="region"') as scrolls,
        ui.element("table"),
    ):
        scrolls.props["aria-label"] = caption
        with ui.element("thead"), ui.element("tr"):
            for head, side in zip(heads, sides, strict=True):
                text("th", head, side).props("scope=col")
        with ui.element("tbody"):
            for row in rows:
                with ui.element("tr"):
                    for k, (cell, side) in enumerate(zip(row, sides, strict=True)):
                        made = text("td" if k else "th", cell, side)
                        if not k:
                            made.props("scope=row")


def big(rows: Sequence[tuple[str, str]]) -> list[TextElement]:
    """What is read with wet hands; the elements of the values."""
    values = []
    with ui.element("dl").classes("page-big"):
        for name, value in rows:
            with ui.element("div"):
                text("dt", name, "page-name")
                values.append(text("dd", value, "page-value"))
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
            _finding(worst, None)


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


def pulls(record: Json, units: Units, show: Callable[[Json], None]) -> None:
    """Where slip goes in, and what a pull would leave locked; show: goes to a numbered place."""
    stand, pull = record["stand"], record["pulls"][0]
    rows: list[tuple[str, ...]] = [
        (
            "Slip goes in at",
            OPENINGS[stand["opening"]],
            f"{stand['reason'][:1].upper()}{stand['reason'][1:]}."
            if stand["chosen_by_form"]
            else "You asked for it.",
        )
    ]
    rows += [("Or pulled" if k else "In one piece", one["verdict"]) for k, one in enumerate(record["pulls"])]
    rows += [
        ("Locked faces", area(pull["locked_mm2"]), "Plaster cannot leave them along this pull."),
        (
            "Tight faces",
            area(pull["tight_mm2"]),
            "They let go, with less draft than you ask for: they may drag.",
        ),
    ]
    facts(rows)
    if not pull["places"]:
        return
    text("h3", "Locked places")
    text(
        "p",
        "Of a mold in one piece, drawn upward. Press a number to see the place; seams free most of them.",
        "page-hint",
    )
    with ui.element("ol").classes("page-places"):
        for place in pull["places"]:
            with ui.element("li"):
                shows = button(str(place["number"]), lambda place=place: show(place), "page-mark")  # type: ignore[misc]
                shows.props["aria-label"] = f"Show locked place {place['number']}"
                text("span", place_words(place, units))


def place_words(place: Json, units: Units) -> str:
    """What a locked place is."""
    return (
        f"{units.length(place['reach_mm'])} deep, {volume(place['volume_mm3'])} of plaster, "
        f"{units.length(place['where'][2])} above the foot"
    )


def volume(mm3: float) -> str:
    """A volume of plaster."""
    return f"{mm3 / 1000:.1f} mL" if mm3 >= 100 else f"{mm3:.0f} mm³"


def area(mm2: float) -> str:
    """An area of the form."""
    return "none" if mm2 < 0.5 else f"{mm2 / 100:.1f} cm²" if mm2 >= 100 else f"{mm2:.0f} mm²"


def span(found: Sequence[float], unit: str) -> str:
    """From least to most."""
    low, high = found
    if unit == "min" and high >= 100:
        return f"{low / 60:.1f} to {high / 60:.1f} h"
    return f"{low:.0f} {unit}" if round(low) == round(high) else f"{low:.0f} to {high:.0f} {unit}"
