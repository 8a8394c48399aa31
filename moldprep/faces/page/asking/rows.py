"""Answers of several numbers that belong together: a bar's lengths, a trial, the printer's bed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, get_origin

import msgspec
from nicegui import ui

from ....errors import RequestError
from ....job import Part
from .answers import Answers
from .entry import FigureEntry, Line, button, helped, text
from .figures import Wrong, figure_at
from .keys import item_type, type_at, usual
from .questions import Ask

Figures = dict[str, float | None]
"""The numbers of a row, by the place of each below the row's key."""


class Missing(ValueError):
    """A row that is not complete yet; its text says what is missing."""


@dataclass(frozen=True, eq=False)
class Row:
    """The fields of one row. line: under it; empty: what empty fields mean, by place."""

    element: ui.element
    entries: dict[str, FigureEntry]
    line: Line
    missing: Line
    empty: Figures

    def show(self, figures: Figures, answers: Answers) -> None:
        """Show the figures, None as empty fields."""
        for place, entry in self.entries.items():
            default = self.empty.get(place)
            entry.rename(answers.units, "" if default is None else entry.figure.text(default, answers.units))
            entry.show_value(figures.get(place), answers.units)
        self.line.say("")
        self.missing.say("")

    def figures(self, answers: Answers) -> Figures | None:
        """What the maker says, what is empty by its default; None where a number is wrong."""
        found: Figures = {}
        for place, entry in self.entries.items():
            try:
                value = entry.value(answers.units)
            except Wrong:
                return None
            found[place] = self.empty.get(place) if value is None else value
        return found

    def settle(self, place: str, answers: Answers) -> None:
        """Show the number at one place as it was read, or what is wrong with it; leave the others being typed."""
        self.entries[place].settle(answers.units, stays="what was there before stays")

    def value(self, answers: Answers, ask: Ask) -> Any:
        """The row's value, None for an empty or incomplete one. Raises Wrong for one that cannot stand, and says so."""
        self.line.say("")
        self.missing.say("")
        figures = self.figures(answers)
        if figures is None:
            raise Wrong("A number in the row is wrong")
        try:
            made = together(figures, ask)
            if made is not None and ask.check is not None:
                ask.check(made)
        except Missing as missing:
            self.missing.say(str(missing))
            return None
        except RequestError as error:
            self.line.say(error.remedy)
            raise Wrong(error.remedy) from error
        return made


def cells_field(answers: Answers, ask: Ask) -> ui.element:
    """One row of numbers. Empty fields of a row that has a default mean the default's own numbers."""
    default = usual(ask.key)

    def show() -> None:
        value = answers.at(ask.key)
        row.show({} if value == default else apart(value, ask), answers)

    def commit(place: str) -> None:
        row.settle(place, answers)
        try:
            value = row.value(answers, ask)
        except Wrong:
            return
        answers.put({ask.key: default if value is None else value})

    with _grouped(ask) as made:
        ids = helped(ask.help_text)
        row = _row(ask, commit, ids)
    answers.shows(made, show)
    return made


def rows_field(answers: Answers, ask: Ask) -> ui.element:
    """A list of rows, each of which can be taken away. Rows that are not complete do not count yet."""
    rows: list[Row] = []

    def show() -> None:
        listed.clear()
        rows.clear()
        for value in answers.at(ask.key) or (None,):
            append({} if value is None else apart(value, ask))

    def append(figures: Figures) -> None:
        with listed, ui.element("div").classes("mp-row") as element:
            element.props["role"] = "group"
            row = _row(ask, lambda place: commit(row, place), ids)
            with row.element:
                away = button("×", lambda: remove(row, element), "mp-remove", says=f"Remove this {ask.row}")
        away.mark(f"{'.'.join(ask.key)}.remove")
        rows.append(row)
        row.show(figures, answers)
        for k, one in enumerate(listed):
            one.props["aria-label"] = f"{ask.row} {k + 1}"

    def commit(row: Row, place: str) -> None:
        row.settle(place, answers)
        take()

    def take() -> None:
        try:
            values = [row.value(answers, ask) for row in rows]
        except Wrong:
            return
        answers.put({ask.key: tuple(value for value in values if value is not None)})

    def add() -> None:
        append({})
        next(iter(rows[-1].entries.values())).input.run_method("focus")

    def remove(row: Row, element: ui.element) -> None:
        rows.remove(row)
        element.delete()
        if not rows:
            append({})
        take()
        more.run_method("focus")

    with _grouped(ask) as made:
        ids = helped(ask.help_text)
        listed = ui.element("div").classes("mp-rows")
        more = button(f"Add a {ask.row}", add, "mp-add").mark(f"{'.'.join(ask.key)}.add")
    answers.shows(made, show)
    return made


def apart(value: Any, ask: Ask) -> Figures:
    """The numbers of a value, by the places of the row."""
    return {place: _at(value, place.split(".")) for place in ask.columns}


def together(figures: Figures, ask: Ask) -> Any:
    """The value of a row, None for an empty one. Raises Missing where a number lacks that the value needs."""
    if all(figure is None for figure in figures.values()):
        return None
    declared = type_at(ask.key)
    kind = item_type(declared) or declared
    raw: dict[str, Any] = {}
    for place, figure in figures.items():
        top, _, inner = place.partition(".")
        if inner:
            raw.setdefault(top, []).append(figure)
        else:
            raw[top] = figure
    pairs = {
        top: one
        for top, one in raw.items()
        if isinstance(one, list) and any(part is not None for part in one)
    }
    lacking = [
        place
        for place, figure in figures.items()
        if figure is None and (_needed(kind, place) or place.partition(".")[0] in pairs)
    ]
    if lacking:
        names = " and ".join(f"“{ask.columns[place]}”" for place in lacking)
        raise Missing(f"It counts as soon as you give {names} too.")
    if not issubclass(get_origin(kind) or kind, Part):
        return msgspec.convert(tuple(raw.values()), kind)
    return msgspec.convert(
        {
            top: one
            for top, one in raw.items()
            if one is not None and (top in pairs or not isinstance(one, list))
        },
        kind,
    )


def _needed(kind: Any, place: str) -> bool:
    """Whether a row of that type is nothing without the number there."""
    if not (isinstance(kind, type) and issubclass(kind, Part)):
        return True
    return next((field.required for field in msgspec.structs.fields(kind) if field.name == place), False)


def _at(value: Any, steps: list[str]) -> float | None:
    for step in steps:
        if value is None:
            return None
        value = value[int(step)] if step.isdigit() else getattr(value, step)
    found: float | None = value
    return found


def _grouped(ask: Ask) -> ui.element:
    """A group of fields under one name."""
    made = ui.element("fieldset").classes("mp-field mp-group")
    with made:
        text("legend", ask.label, "mp-label")
    return made


def _row(ask: Ask, commit: Callable[[str], None], described: tuple[str, ...]) -> Row:
    """Fields for one row, in the current container."""
    entries = {}
    with ui.element("div").classes("mp-cells") as element:
        for place, label in ask.columns.items():
            key = (*ask.key, *place.split("."))
            entries[place] = FigureEntry(label, key, lambda place=place: commit(place), figure_at(key))  # type: ignore[misc]
    line, missing = Line("mp-wrong", alert=True), Line("mp-missing")
    for entry in entries.values():
        entry.tie((*described, missing.id), line)
    default = usual(ask.key) if not ask.row else None
    return Row(element, entries, line, missing, {} if default is None else apart(default, ask))
