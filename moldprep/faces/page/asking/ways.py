"""Either-or: several ways to say the same, of which one is chosen."""

from __future__ import annotations

from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

from .answers import Answers
from .entry import described_by, helped, text
from .fields import CHOICE, field
from .keys import Key, usual, value_at
from .questions import Way, Ways


def ways_field(answers: Answers, ways: Ways) -> ui.element:
    """Radio buttons, and the fields of the way that is chosen."""
    chosen = ways.ways[0]
    radios: list[ui.element] = []
    panels: list[ui.element] = []

    def choose(event: GenericEventArguments) -> None:
        nonlocal chosen
        left, chosen = chosen, ways.ways[int(event.args)]
        mark()
        if left is not chosen:
            answers.put(changed(answers, ways, left, chosen))

    def show() -> None:
        nonlocal chosen
        chosen = way_of(answers, ways)
        mark()

    def mark() -> None:
        for way, radio, panel in zip(ways.ways, radios, panels, strict=True):
            radio.props["checked"] = way is chosen
            panel.set_visibility(way is chosen and bool(way.asks))

    with ui.element("fieldset").classes("mp-ways") as made:
        text("legend", ways.label, "mp-label")
        ids = helped(ways.help)
        with ui.element("div").classes("mp-radios"):
            for k, way in enumerate(ways.ways):
                radios.append(radio(way.name, str(k), f"ways-{made.id}", ids))
                radios[-1].mark(f"{ways.label}: {way.name}").on("change", choose, js_handler=CHOICE)
        for way in ways.ways:
            with ui.element("div").classes("mp-fields") as panel:
                for ask in way.asks:
                    field(answers, ask)
            panels.append(panel)
    answers.shows(made, show)
    return made


def way_of(answers: Answers, ways: Ways) -> Way:
    """The way in which the job says it; the first where it says nothing."""
    for way in ways.ways:
        if way.sets and all(value_at(answers.job, key) == value for key, value in way.sets.items()):
            return way
    said = (way for way in ways.ways if any(value_at(answers.job, key) != usual(key) for key in way.keys))
    return next(said, ways.ways[0])


def changed(answers: Answers, ways: Ways, left: Way, chosen: Way) -> dict[Key, Any]:
    """What changes in the job when another way is chosen: that way's own keys come back, all others go aside."""
    for ask in left.asks:
        answers.aside[ask.key] = value_at(answers.job, ask.key)
    changes = {key: usual(key) for key in ways.keys}
    for ask in chosen.asks:
        stands = usual(ask.key) if ask.key in left.sets else value_at(answers.job, ask.key)
        changes[ask.key] = answers.aside.pop(ask.key, stands)
    return changes | dict(chosen.sets)


def radio(name: str, value: str, group: str, described: tuple[str, ...]) -> ui.element:
    """One radio button in its label."""
    with ui.element("label").classes("mp-radio"):
        made = ui.element("input")
        text("span", name)
    made.props["type"] = "radio"
    made.props["name"] = group
    made.props["value"] = value
    if described:
        described_by(made, described)
    return made
