"""Cures that can be done on the page: fields in place of the command line's options, and buttons for refusals.

What the stages say names options (`--opening made`) and keys of a job file (`cast.trials`): right for a terminal
and a file. Here the same sentences name the page's fields, and lead to them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from nicegui import ui

from ...job import Job
from ..groups import form, mold
from .asking.entry import button, text
from .asking.keys import Key, replaced
from .asking.questions import Ask, Questions, Ways
from .asking.sections import SECTIONS, Section

USUAL_OPENING_MM = 30.0
PLACES: dict[str, str] = {
    **dict.fromkeys(
        (
            *("bar-lengths", "shrinkage-twice", "shrinkage-width", "stretch-zone", "target-alone"),
            *("target-capacity", "target-jump", "target-length", "target-several", "target-unreached"),
        ),
        "clay",
    ),
    "no-ring-fits": "mold",
    **dict.fromkeys(("bucket-small", "pour-volume"), "plaster"),
    **dict.fromkeys(("slip-density", "spill-height"), "cast"),
    **dict.fromkeys(("mold-life", "order-days"), "order"),
}
"""Where on the page a refusal belongs, by its code; others by the step that refused."""
STEP_PLACES = {"read": "form", "look": "pulls", "plan": "seams"}
_OPTION = re.compile(r"--([a-z][a-z-]*)(?: (made|rim|foot|\d+(?:\.\d+)?)\b)?")
_KEY = re.compile(r"\b(?:([a-z]+)\.)?([a-z]+(?:_[a-z]+)+|trials|family)\b(?: = (\d+))?")
_BESIDE = re.compile(r" ?\([a-z]+\.[a-z_]+ in a job file\)| \(z, -z, x, \.\.\.\)")
"""What only a terminal wants to know."""
_SHOW = """
(async (name) => {
  for (let tries = 0; tries < 60; tries++) {
    const field = document.querySelector(`[data-key="${name}"]`) ?? document.querySelector(`[data-key^="${name}."]`);
    if (field) {
      for (let one = field.closest("details"); one; one = one.parentElement.closest("details")) one.open = true;
      const box = field.matches("input, select") ? field : field.querySelector("input, select") ?? field;
      box.scrollIntoView({ block: "center" });
      box.focus({ preventScroll: true });
      return;
    }
    document.querySelectorAll(`details[data-sections~="%s"]`).forEach((one) => (one.open = true));
    await new Promise((done) => setTimeout(done, 50));
  }
})("%s")
"""
"""Folds are filled when they are first opened: the field is there a moment later."""


@dataclass(frozen=True)
class Place:
    """Where the page asks for a key: the section of questions, the field's label and its choices in words."""

    section: Section
    label: str
    words: dict[str | None, str]


@dataclass(frozen=True)
class Said:
    """A sentence in the page's own words, and the keys of the fields that it names, in that order."""

    text: str
    keys: tuple[Key, ...]


@dataclass(frozen=True)
class Cure:
    """What a button does to the job, and what it says."""

    says: str
    changes: dict[Key, Any]


def said(sentence: str) -> Said:
    """A sentence of the stages as the page says it.

    >>> said("Give it: --opening made --opening-diameter 30.").text
    'Give it: “Slip goes in at”: a made opening, “Diameter of the opening”: 30.'
    """
    keys: dict[Key, None] = {}

    def named(key: Key | None, value: str | None, found: re.Match[str]) -> str:
        place = None if key is None else places().get(key)
        if key is None or place is None:
            return found[0]
        keys[key] = None
        return f"“{place.label}”" + (f": {place.words.get(value, value)}" if value else "")

    plain = _BESIDE.sub("", sentence).replace('(kind = "box")', "(“Cottle”: box of boards)")
    plain = re.sub(r"(--opening made) (?=--)", r"\1, ", plain)
    plain = _OPTION.sub(lambda found: named(options().get(found[1]), found[2], found), plain)
    plain = _KEY.sub(lambda found: named(_key(found[1], found[2]), found[3], found), plain)
    for beside in _BESIDE.findall(sentence):  # left out above, yet the field is worth leading to
        for found in _KEY.finditer(beside):
            if (key := _key(found[1], found[2])) in places():
                keys[key] = None
    return Said(plain, tuple(keys))


def cures(code: str, sentence: str) -> tuple[Cure, ...]:
    """What the maker can do about a refusal by one press."""
    if code == "form-open":
        return (Cure("Close the openings flat", {("form", "close_openings"): True}),)
    if code in ("hollow-form", "form-cavity") and "fill-hollow" in sentence:
        return (Cure("Fill it solid", {("form", "fill_hollow"): True}),)
    if code in ("no-opening", "opening-diameter"):
        found = re.search(r"--opening-diameter (\d+)", sentence)
        across = float(found[1]) if found else USUAL_OPENING_MM
        return tuple(
            Cure(
                f"Make a round opening of {across:g} mm at the {name}",
                {
                    ("stand", "opening"): "made",
                    ("stand", "opening_at"): side,
                    ("stand", "opening_diameter_mm"): across,
                },
            )
            for side, name in (("z", "top"), ("-z", "bottom"))
        )
    if code == "no-ring-fits":
        return (Cure("Use boards", {("cottle", "kind"): "box"}),)
    if code in ("parting-family", "parting-planes"):
        return (
            Cure(
                "Let moldprep choose the parting",
                dict.fromkeys((("parting", "family"), ("parting", "planes_mm"), ("parting", "azimuth_deg"))),
            ),
        )
    if code == "spare-needed":
        return (Cure("Leave the spare on", {("stand", "spare"): True}),)
    return ()


def cured(job: Job, cure: Cure) -> Job:
    """The job with that cure."""
    return replaced(job, cure.changes)


def place_of(code: str, step: str) -> str:
    """The part of the page where a refusal is said."""
    return PLACES.get(code, STEP_PLACES[step])


def sentence(words: str, do: Iterable[tuple[str, Callable[[], None]]] = ()) -> None:
    """A sentence in the page's own words, buttons with what they do, and a way to the fields that it names.

    Of fields that stand together the first is enough.
    """
    told = said(words)
    text("p", told.text, "page-says")
    for says, act in do:
        ui.button(says, on_click=act).props("unelevated no-caps")
    for key in {places()[key].section: key for key in reversed(told.keys)}.values():
        label = places()[key].label
        button(f"Go to “{label}”", lambda key=key: go_to(key), "page-go")  # type: ignore[misc]


def go_to(key: Key) -> None:
    """Bring a field into sight and the keyboard to it, whatever it is folded in."""
    ui.run_javascript(_SHOW % (places()[key].section, ".".join(key)))


@cache
def places() -> dict[Key, Place]:
    """Where the page asks for each key."""
    return {
        ask.key: Place(name, ask.label, dict(ask.words))
        for name, questions in SECTIONS.items()
        for ask in _asks(questions)
    }


@cache
def options() -> dict[str, Key]:
    """The keys that options of the command line set, by their long names without dashes."""
    found: dict[str, Key] = {}
    for group in (form, mold):
        for one in vars(group).values():
            if isinstance(one, tuple):
                found |= dict(_named(one))
    return found


def _named(group: tuple[Any, ...]) -> Iterator[tuple[str, Key]]:
    """Names and keys of a group of options: each is put on a function as it is put on a command."""

    def bare() -> None:
        """Takes options."""

    for decorate in group:
        if callable(decorate):
            decorate(bare)
    for one in getattr(bare, "__click_params__", ()):
        if getattr(one, "sets", None):
            for name in (*one.opts, *one.secondary_opts):
                yield name.lstrip("-"), one.sets


def _asks(questions: Questions) -> Iterator[Ask]:
    for one in (*questions.front, *questions.more):
        if isinstance(one, Ways):
            for way in one.ways:
                yield from way.asks
        else:
            yield one


def _key(part: str | None, name: str) -> Key | None:
    """A key by its part and name, or by its name alone where one part has it."""
    if part is not None:
        return (part, name)
    found = [key for key in places() if key[1] == name and "_" in name]
    return found[0] if len(found) == 1 else None
