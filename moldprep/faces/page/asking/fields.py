"""One field for each kind of answer: numbers, lists of numbers, texts, choices, consents."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal, get_args, get_origin

from nicegui import ui
from nicegui.events import GenericEventArguments

from .answers import Answers
from .entry import Entry, FigureEntry, Line, described_by, helped, text
from .figures import Figure, Wrong, figure_at, split_list
from .keys import Key, item_type, type_at, usual
from .questions import Ask
from .rows import cells_field, rows_field

CHOICE = "(event) => emit(event.target.value)"
CONSENT = "(event) => emit(event.target.checked)"


def field(answers: Answers, ask: Ask) -> ui.element:
    """The field for a key of the job, by its type."""
    kind = type_at(ask.key)
    if ask.row:
        made = rows_field(answers, ask)
    elif ask.columns:
        made = cells_field(answers, ask)
    elif kind is bool:
        made = consent_field(answers, ask)
    elif get_origin(kind) is Literal:
        made = choice_field(answers, ask)
    elif kind is str:
        made = text_field(answers, ask)
    elif item_type(kind) is not None:
        made = list_field(answers, ask)
    else:
        made = number_field(answers, ask)
    condition = ask.when

    def mark() -> None:
        made.set_visibility(condition is None or condition(answers.job))

    if condition is not None:
        answers.marks(made, mark)
    return made


def number_field(answers: Answers, ask: Ask) -> ui.element:
    """A number, or nothing where the job may say nothing."""
    figure, default = _figure(ask), usual(ask.key)

    def show() -> None:
        value = answers.at(ask.key)
        entry.rename(answers.units, ask.empty if default is None else figure.text(default, answers.units))
        entry.show_value(None if value == default else value, answers.units)

    def commit() -> None:
        kept = answers.at(ask.key)
        stays = "it stays empty" if kept is None else f"{figure.with_unit(kept, answers.units)} stays"
        if entry.settle(answers.units, stays=stays):
            value = entry.value(answers.units)
            answers.put({ask.key: default if value is None else value})

    with ui.element("div").classes("mp-field") as made:
        entry = FigureEntry(ask.label, ask.key, commit, figure)
        _tie(entry, ask)
    answers.shows(made, show)
    return made


def list_field(answers: Answers, ask: Ask) -> ui.element:
    """Several numbers in one field."""
    figure, default = _figure(ask), usual(ask.key)

    def written(values: tuple[float, ...]) -> str:
        return ", ".join(figure.text(value, answers.units) for value in values)

    def show() -> None:
        value = answers.at(ask.key)
        entry.input.props["placeholder"] = written(default) or ask.empty
        entry.input.suffix = figure.shown_unit(answers.units) or None
        entry.show("" if value == default else written(value))

    def commit() -> None:
        if entry.typed == entry.shown:
            entry.right()
            return
        try:
            values = tuple(figure.read(part, answers.units) for part in split_list(entry.typed))
        except Wrong as wrong:
            kept = written(answers.at(ask.key))
            entry.wrong(f"{wrong}; {f'{kept} stays' if kept else 'it stays empty'}.")
            return
        entry.show(written(values))
        answers.put({ask.key: values or default})

    with ui.element("div").classes("mp-field") as made:
        entry = Entry(ask.label, ask.key, commit)
        _tie(entry, ask)
    answers.shows(made, show)
    return made


def text_field(answers: Answers, ask: Ask) -> ui.element:
    """A name."""
    default = usual(ask.key)

    def show() -> None:
        value = answers.at(ask.key)
        entry.input.props["placeholder"] = default or ask.empty
        entry.show("" if value == default else value or "")

    def commit() -> None:
        if entry.typed == entry.shown:
            return
        said = entry.typed.strip()
        entry.show(said)
        answers.put({ask.key: said or default})

    with ui.element("div").classes("mp-field") as made:
        entry = Entry(ask.label, ask.key, commit)
        if ask.offers:
            _offer(entry, ask.offers)
        _tie(entry, ask)
    answers.shows(made, show)
    return made


def choice_field(answers: Answers, ask: Ask) -> ui.element:
    """One of a few words, by the browser's own list."""
    words: dict[Any, str] = dict(ask.words)
    values = {str(name or ""): name for name in words}
    assert set(words) - {None} == set(get_args(type_at(ask.key)))

    def show() -> None:
        value = str(answers.at(ask.key) or "")
        select.props["value"] = value
        for name, option in options.items():
            option.props["selected"] = name == value

    def choose(event: GenericEventArguments) -> None:
        answers.put({ask.key: values[str(event.args)], **ask.also})
        show()

    with ui.element("div").classes("mp-field") as made:
        tag = text("label", ask.label, "mp-label")
        with _marked(ui.element("select"), ask.key).classes("mp-select") as select:
            options = {name: text("option", words[value]) for name, value in values.items()}
        for name, option in options.items():
            option.props["value"] = name
        tag.props["for"] = select.html_id
        described_by(select, helped(ask.help_text))
    select.on("change", choose, js_handler=CHOICE)
    answers.shows(made, show)
    return made


def consent_field(answers: Answers, ask: Ask) -> ui.element:
    """Yes or no."""

    def show() -> None:
        box.props["checked"] = bool(answers.at(ask.key))

    def choose(event: GenericEventArguments) -> None:
        answers.put({ask.key: bool(event.args)})
        show()

    with ui.element("div").classes("mp-field mp-consent") as made:
        with ui.element("div").classes("mp-box"):
            box = _marked(ui.element("input"), ask.key)
            tag = text("label", ask.label, "mp-label")
        box.props["type"] = "checkbox"
        tag.props["for"] = box.html_id
        described_by(box, helped(ask.help_text))
    box.on("change", choose, js_handler=CONSENT)
    answers.shows(made, show)
    return made


def _figure(ask: Ask) -> Figure:
    figure = figure_at(ask.key)
    return figure if ask.unit is None else replace(figure, unit=ask.unit)


def _tie(entry: Entry, ask: Ask) -> None:
    """The lines under a field: help, and what is wrong."""
    ids = helped(ask.help_text)
    entry.tie(ids, Line("mp-wrong", alert=True))


def _offer(entry: Entry, names: tuple[str, ...]) -> None:
    """Names that the browser offers while the maker types; the field looks for them under this id."""
    with ui.element("datalist") as offered:
        for name in names:
            ui.element("option").props["value"] = name
    offered.props["id"] = f"{entry.input.html_id}-datalist"


def _marked(element: ui.element, key: Key) -> ui.element:
    """An input that can be found by its key."""
    name = ".".join(key)
    element.props["data-key"] = name
    return element.mark(name)
