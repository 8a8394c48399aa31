"""Text fields, and the labels, helps and sentences around them.

Labels, helps and buttons are plain elements of HTML; the text field is Quasar's, which keeps what is being typed
while other parts of the page change.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from ..units import Units
from .figures import Figure, Wrong
from .keys import Key


class Line:
    """A sentence that comes and goes: what is wrong, or what is missing."""

    def __init__(self, *classes: str, alert: bool = False) -> None:
        self.element = text("p", "", *classes)
        if alert:
            self.element.props["role"] = "alert"
        self._said: dict[object, str] = {}
        self.say("")

    @property
    def id(self) -> str:
        """For `aria-describedby`."""
        return self.element.html_id

    def say(self, sentence: str, *, of: object = None) -> None:
        """Say a sentence of one of those who share the line, or nothing; the first who has one is heard."""
        self._said[of] = sentence
        heard = next((one for one in self._said.values() if one), "")
        self.element.text = heard
        self.element.set_visibility(bool(heard))


class Entry:
    """A labelled text field that remembers what it showed. `tie` it before it is used."""

    def __init__(self, label: str, key: Key, commit: Callable[[], None], *, mode: str = "text") -> None:
        self.shown = ""
        self._line: Line | None = None
        name = ".".join(key)
        with ui.element("div").classes("mp-entry"):
            tag = text("label", label, "mp-label")
            self.input = ui.input().classes("mp-input").mark(name)
            self.input.props("dense outlined no-error-icon autocomplete=off spellcheck=false")
        self.input.props["inputmode"] = mode
        self.input.props["data-key"] = name
        tag.props["for"] = self.input.html_id
        self.input.on("blur", commit).on("keydown.enter", commit)

    def tie(self, described: Iterable[str], line: Line) -> None:
        """The ids of what describes the field, and the line where wrong entries are told."""
        self._line = line
        described_by(self.input, (*described, line.id))

    @property
    def typed(self) -> str:
        """What stands in the field."""
        return self.input.value or ""

    def show(self, shown: str) -> None:
        """Put a text into the field, for a right one."""
        self.shown = shown
        self.input.value = shown
        self.right()

    def wrong(self, sentence: str) -> None:
        """Say under the field what is wrong with it."""
        self.input.props["aria-invalid"] = "true"
        self.input.classes("mp-invalid")
        self._say(sentence)

    def right(self) -> None:
        """Nothing is wrong with it."""
        self.input.props.pop("aria-invalid", None)
        self.input.classes(remove="mp-invalid")
        self._say("")

    def _say(self, sentence: str) -> None:
        if self._line is not None:
            self._line.say(sentence, of=self.input.html_id)


class FigureEntry(Entry):
    """A field for one number, which keeps the exact value behind the shown one."""

    def __init__(self, label: str, key: Key, commit: Callable[[], None], figure: Figure) -> None:
        super().__init__(label, key, commit, mode=figure.input_mode)
        self.figure = figure
        self._exact: float | None = None

    def rename(self, units: Units, empty: str) -> None:
        """The unit beside the field, and what it means when it is empty."""
        self.input.props["placeholder"] = empty
        self.input.suffix = self.figure.shown_unit(units) or None

    def show_value(self, value: float | None, units: Units) -> None:
        """Show a value; None as an empty field."""
        self._exact = value
        self.show("" if value is None else self.figure.text(value, units))

    def value(self, units: Units) -> float | None:
        """What the maker says: exactly what was there where nothing was typed. Raises Wrong as `Figure.read`."""
        if self.typed == self.shown:
            return self._exact
        return self.figure.read(self.typed, units) if self.typed.strip() else None

    def settle(self, units: Units, *, stays: str) -> bool:
        """Show what was typed as it was read; else say what is wrong, and what stays. Whether it was right."""
        try:
            value = self.value(units)
        except Wrong as wrong:
            self.wrong(f"{wrong}; {stays}.")
            return False
        self.show_value(value, units)
        return True


def text(tag: str, content: str, *classes: str) -> TextElement:
    """A plain element with a text."""
    return TextElement(tag=tag, text=content).classes(" ".join(classes))


def button(label: str, on_click: Callable[[], Any], *classes: str, says: str = "") -> TextElement:
    """A plain button; says: its name for those who do not see it, where the label is a sign."""
    made = text("button", label, "mp-button", *classes)
    made.props["type"] = "button"
    if says:
        made.props["aria-label"] = says
    made.on("click", on_click)
    return made


def described_by(element: ui.element, ids: Iterable[str]) -> None:
    """Tie an input to the lines that describe it."""
    element.props["aria-describedby"] = " ".join(ids)


def helped(help_text: str) -> tuple[str, ...]:
    """A line of help, where there is one, and its id for `aria-describedby`."""
    return (text("p", help_text, "mp-help").html_id,) if help_text else ()
