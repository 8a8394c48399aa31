"""What the sections are made of: forms that read numbers, tables that become cards, and questions before what is final."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement
from nicegui.events import GenericEventArguments

from .words import Lengths

Values = dict[str, Any]
Act = Callable[[], Awaitable[None]]
Kind = Literal["text", "number", "whole", "length", "yes", "choice"]

_NUMBER = re.compile(r"-?(\d+([.,]\d*)?|[.,]\d+)")
_THOUSANDS = re.compile(r"-?[1-9]\d{0,2},\d{3}")
MODES = {"number": "decimal", "length": "decimal", "whole": "numeric"}
"""Keypads that a phone offers."""


FEW = 8
"""Rows that stand open; more are folded away until they are asked for."""


class Wrong(ValueError):
    """What stands in a field cannot be; its text is one sentence for the maker."""


@dataclass(frozen=True)
class Ask:
    """One field of a form.

    unit: behind a number; least: the least that a number may be (above 0 where it is None), most: the most, in mm
    for a length; needed: it may not stay empty; choices: value and words of a choice, asked anew each time the form is shown.
    """

    key: str
    label: str
    kind: Kind = "text"
    unit: str = ""
    least: float | None = None
    most: float = 1e6
    needed: bool = True
    help: str = ""
    usual: Callable[[], Any] = lambda: ""
    choices: Callable[[], Mapping[str, str]] = dict


def text(tag: str, content: str = "", *classes: str) -> TextElement:
    """A plain element with a text."""
    return TextElement(tag=tag, text=content).classes(" ".join(classes))


def button(label: str, act: Act, *classes: str, says: str = "") -> TextElement:
    """A plain button; says: its whole name, for those who do not see what it stands beside."""
    made = text("button", label, "mp-button", *classes)
    made.props["type"] = "button"
    made.props["data-act"] = says or label
    if says:
        made.props["aria-label"] = says
    made.on("click", act)
    return made


def number_in(typed: str, label: str, *, whole: bool = False) -> float:
    """The number that a maker typed, a decimal comma as a point; Wrong for what is none, or reads in two ways."""
    bare = typed.strip().replace("−", "-")
    if not _NUMBER.fullmatch(bare):
        raise Wrong(f"{label} wants a number.")
    if _THOUSANDS.fullmatch(bare):
        point = bare.replace(",", ".")
        raise Wrong(f"{bare} reads in two ways: write {bare.replace(',', '')} or {point}.")
    number = float(bare.replace(",", "."))
    if whole and not number.is_integer():
        raise Wrong(f"{label} wants a whole number.")
    return number


class Choice(ui.element):
    """One of a few values, by the browser's own list."""

    def __init__(self, choices: Mapping[str, str]) -> None:
        super().__init__("select")
        self.classes("mp-select")
        self._choices: dict[str, str] = {}
        self._value = ""
        self.offer(choices)
        self.on("change", self._chosen, js_handler="(event) => emit(event.target.value)")

    @property
    def value(self) -> str:
        """What is chosen."""
        return self._value

    @value.setter
    def value(self, value: str) -> None:
        self._value = value if value in self._choices else next(iter(self._choices), "")
        self.props["value"] = self._value

    def offer(self, choices: Mapping[str, str]) -> None:
        """Offer these values, by their words; what is chosen stays where it is among them."""
        if dict(choices) != self._choices:
            self._choices = dict(choices)
            self.clear()
            with self:
                for value, words in self._choices.items():
                    text("option", words).props["value"] = value
        self.value = self._value

    def _chosen(self, event: GenericEventArguments) -> None:
        self.value = str(event.args)


class Tick(ui.element):
    """Yes or no, by the browser's own box."""

    def __init__(self, label: str) -> None:
        with ui.element("div").classes("mp-box") as box:
            super().__init__("input")
            self.props["type"] = "checkbox"
            text("label", label, "mp-label").props["for"] = self.html_id
        self.box = box
        self.value = False
        self.on("change", self._ticked, js_handler="(event) => emit(event.target.checked)")

    @property
    def value(self) -> bool:
        """Whether it is ticked."""
        return bool(self.props.get("checked"))

    @value.setter
    def value(self, value: bool) -> None:
        self.props["checked"] = value

    def _ticked(self, event: GenericEventArguments) -> None:
        self.value = bool(event.args)


class Form:
    """Fields and a button that enters them. On Enter, too; wrong fields say so and the first gets the focus."""

    def __init__(
        self,
        asks: Sequence[Ask],
        lengths: Lengths,
        enter: str,
        on_enter: Callable[[Values], Awaitable[bool]],
        *,
        name: str,
    ) -> None:
        """on_enter: awaited with the values by key, empty ones None; whether the form is to be emptied."""
        self._asks, self._lengths, self._on_enter = asks, lengths, on_enter
        self._fields: dict[str, Any] = {}
        self._wrongs: dict[str, TextElement] = {}
        with ui.element("form").classes("mp-form").props("novalidate") as self.element:
            self.element.props["aria-label"] = name
            for ask in asks:
                self._field(ask)
            made = text("button", enter, "mp-button", "mp-enter")
            made.props["type"] = "submit"
        self.element.on("submit.prevent", self._enter)
        self.empty()

    def show(self, values: Mapping[str, Any]) -> None:
        """Put values into their fields."""
        for ask in self._asks:
            if ask.key in values:
                self._put(ask, values[ask.key])

    def empty(self) -> None:
        """Show what is usual in each field."""
        for ask in self._asks:
            self._put(ask, ask.usual())
            self._say(ask, "")

    def follow(self) -> None:
        """Offer choices as they are now."""
        for ask in self._asks:
            if ask.kind == "choice":
                self._fields[ask.key].offer(ask.choices())

    def say(self, key: str, sentence: str) -> None:
        """Tell what is wrong with a field."""
        self._say(next(ask for ask in self._asks if ask.key == key), sentence)

    def focus(self, key: str) -> None:
        """Put the keyboard into a field."""
        self._fields[key].run_method("focus")

    def _field(self, ask: Ask) -> None:
        with ui.element("div").classes("mp-field" + (" mp-consent" if ask.kind == "yes" else "")):
            field: Any
            if ask.kind == "yes":
                field = Tick(ask.label)
            else:
                label = text("label", ask.label, "mp-label")
                if ask.kind == "choice":
                    field = Choice(ask.choices())
                else:
                    field = ui.input().props("dense outlined no-error-icon autocomplete=off spellcheck=false")
                    field.props["inputmode"] = MODES.get(ask.kind, "text")
                    field.suffix = (self._lengths.suffix if ask.kind == "length" else ask.unit) or None
                    field.classes("mp-input")
                label.props["for"] = field.html_id
            told = ask.help or ("" if ask.needed else "If known.")
            described = [text("p", told, "mp-help").html_id] if told else []
            wrong = text("p", "", "mp-wrong")
            wrong.props["role"] = "alert"
            field.props["aria-describedby"] = " ".join((*described, wrong.html_id))
            field.props["data-key"] = ask.key
        self._fields[ask.key], self._wrongs[ask.key] = field, wrong

    def _put(self, ask: Ask, value: Any) -> None:
        field = self._fields[ask.key]
        if ask.kind == "yes":
            field.value = bool(value)
        elif ask.kind == "choice" or value is None or isinstance(value, str):
            field.value = value or ""
        else:
            field.value = f"{self._lengths.number(value) if ask.kind == 'length' else value:.12g}"

    def _value(self, ask: Ask) -> Any:
        given = self._fields[ask.key].value
        if ask.kind == "yes":
            return bool(given)
        typed = str(given or "").strip()
        if not typed:
            if ask.needed:
                raise Wrong(f"{ask.label} is missing.")
            return None
        if ask.kind in ("text", "choice"):
            return typed
        number = number_in(typed, ask.label, whole=ask.kind == "whole")
        if ask.least is None and number <= 0:
            raise Wrong(f"{ask.label} is more than nothing.")
        if ask.least is not None and number < ask.least:
            raise Wrong(f"{ask.label} is {ask.least:g} or more.")
        value = self._lengths.to_mm(number) if ask.kind == "length" else number
        if value > ask.most:
            most = self._lengths.length(ask.most) if ask.kind == "length" else f"{ask.most:.12g} {ask.unit}"
            raise Wrong(f"{ask.label} is {most.strip()} or less.")
        return int(value) if ask.kind == "whole" else value

    async def _enter(self) -> None:
        values, first = {}, ""
        for ask in self._asks:
            self._say(ask, "")
            try:
                values[ask.key] = self._value(ask)
            except Wrong as wrong:
                self._say(ask, str(wrong))
                first = first or ask.key
        if first:
            self.focus(first)
        elif await self._on_enter(values) and not self.element.is_deleted:
            self.empty()
            self.focus(self._asks[0].key)

    def _say(self, ask: Ask, sentence: str) -> None:
        wrong, field = self._wrongs[ask.key], self._fields[ask.key]
        wrong.text = sentence
        wrong.set_visibility(bool(sentence))
        field.classes(add="mp-invalid" if sentence else "", remove="" if sentence else "mp-invalid")
        if sentence:
            field.props["aria-invalid"] = "true"
        else:
            field.props.pop("aria-invalid", None)


def table(heads: Sequence[str], caption: str) -> ui.element:
    """The body of a table, to be filled with `row`; on a narrow screen each row is a card, so roles are said."""
    with ui.element("table").classes("mp-table").props("role=table") as made:
        made.props["aria-label"] = caption
        with ui.element("thead").props("role=rowgroup"), ui.element("tr").props("role=row"):
            for head in heads:
                text("th", head).props("role=columnheader scope=col")
        return ui.element("tbody").props("role=rowgroup")


def row(body: ui.element, cells: Iterable[tuple[str, str]], acts: Iterable[tuple[str, str, Act]]) -> None:
    """A row of a table: heads and words, then buttons by label, whole name and what they do."""
    with body, ui.element("tr").props("role=row"):
        for head, words in cells:
            text("td", words or "–").props("role=cell").props["data-head"] = head
        with ui.element("td").props("role=cell").classes("mp-acts"):
            for label, says, act in acts:
                button(label, act, "mp-small", says=says)


def folded(words: str, count: int, build: Callable[[], None], opened: set[str]) -> None:
    """What `build` makes, open where it is few rows, else under these words and made when it is asked for.

    opened: words of what stands open, kept while lists are drawn anew.
    """
    if count <= FEW:
        build()
        return
    with ui.element("details").classes("mp-more") as made:
        text("summary", words, "mp-summary")
        inside = ui.element("div")

    def show() -> None:
        if not inside.default_slot.children:
            with inside:
                build()

    def toggled(event: GenericEventArguments) -> None:
        if event.args:
            opened.add(words)
            show()
        else:
            opened.discard(words)

    made.on("toggle", toggled, js_handler="(event) => emit(event.target.open)")
    if words in opened:
        made.props["open"] = True
        show()


async def sure(question: str, about: str, yes: str, no: str = "Keep it") -> bool:
    """Ask before what cannot be undone. The keyboard is in the dialog, on the harmless answer, and then back."""
    with _dialog(question) as dialog, ui.element("div").classes("mp-dialog"):
        text("h2", question, "mp-dialog-head")
        if about:
            text("p", about)
        with ui.element("div").classes("mp-acts"):
            button(yes, _closing(dialog, True), "mp-final")
            button(no, _closing(dialog, False)).props("data-autofocus")
    return await dialog is True


async def corrected(
    title: str,
    asks: Sequence[Ask],
    lengths: Lengths,
    values: Mapping[str, Any],
    put: Callable[[Values], Awaitable[str]],
) -> bool:
    """Ask for the fields of an entry anew. put: takes them, and says what is wrong with them or nothing."""
    with _dialog(title) as dialog, ui.element("div").classes("mp-dialog"):
        text("h2", title, "mp-dialog-head")

        async def enter(given: Values) -> bool:
            says = await put(given)
            wrong.text = says
            if not says:
                dialog.submit(True)
            return False

        form = Form(asks, lengths, "Correct it", enter, name=title)
        form.show(values)
        wrong = text("p", "", "mp-wrong")
        wrong.props["role"] = "alert"
        with ui.element("div").classes("mp-acts"):
            button("Leave it as it is", _closing(dialog, False))
    dialog.on("show", lambda: form.focus(asks[0].key))
    return await dialog is True


def _dialog(title: str) -> ui.dialog:
    dialog = ui.dialog()
    dialog.props["aria-label"] = title
    dialog.classes("mp-over")
    dialog.on("hide", dialog.delete)  # not before: it gives the keyboard back to where it was
    return dialog


def _closing(dialog: ui.dialog, answer: bool) -> Act:
    async def close() -> None:
        dialog.submit(answer)

    return close
