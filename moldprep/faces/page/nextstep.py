"""What to do next, in one sentence that stays in sight, with the one press that it takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from nicegui import ui

from .asking.entry import text
from .cures import place_of
from .state import Tab

BUSY = {
    "read": "The form is being read.",
    "look": "The form is being looked at: how it stands, and how plaster lets go of it.",
    "plan": "The mold is being planned.",
}
STALE = " What is shown is of the job as it was before."


@dataclass(frozen=True)
class Next:
    """says: what to do; act: what the button says, "" for none; goes: where to read on, as a section's name and words."""

    says: str
    act: str = ""
    goes: tuple[str, str] | None = None


class NextStep:
    """The sentence of one tab. It is also what tells those who do not see the page that work has ended."""

    def __init__(self, tab: Tab, titles: dict[str, str], *, on_act: Callable[[], None]) -> None:
        self._tab, self._titles, self._on_act = tab, titles, on_act

    def build(self) -> None:
        with ui.element("div").classes("page-next") as self._root:
            with ui.element("p").props("role=status").classes("page-next-says"):
                self._says = text("span", "")
            self._link = text("a", "", "page-next-link")
            self._button = (
                ui.button("", on_click=self._on_act).props("unelevated no-caps").classes("page-plan")
            )
        self.refresh()

    def refresh(self) -> None:
        """Say what is next now."""
        now = next_step(self._tab, self._titles)
        self._says.set_text(now.says)
        self._button.set_text(now.act)
        self._button.set_visibility(bool(now.act))
        self._link.set_visibility(now.goes is not None)
        if now.goes is not None:
            place, words = now.goes
            self._link.props["href"] = f"#{place}"
            self._link.set_text(words)
        self._root.classes(**{"add" if now.act else "remove": "page-acting"})


def next_step(tab: Tab, titles: dict[str, str]) -> Next:
    """What the maker does next."""
    if tab.trouble is not None:
        place = place_of(tab.trouble.code, tab.trouble.step)
        return Next("Something is in the way.", goes=(place, f"See “{titles[place]}”"))
    if tab.progress is not None:
        stale = STALE if tab.stale and tab.record is not None else ""
        return Next(BUSY[tab.progress.step] + stale)
    if tab.path is None:
        return Next("Put your form down, or take a sample to try it.")
    if tab.looked is None:
        return Next("The work was stopped.", act="Look at the form again")
    if tab.record is None:
        return Next("Say what you know of the clay and the size, then plan.", act="Plan the mold")
    if tab.stale:
        return Next("Stopped. What is shown is of the job as it was before.", act="Plan it again")
    if tab.planned is not None and tab.planned.stop:
        return Next(
            "This mold would fail as it is: read why, and change what holds.", goes=_stop_of(tab, titles)
        )
    return Next(
        "The mold is planned. Look it through, then take the sheet to the bench.",
        goes=("sheet", "To the sheet"),
    )


def _stop_of(tab: Tab, titles: dict[str, str]) -> tuple[str, str]:
    from .results import place_of as finding_place

    assert tab.record is not None
    place = next(finding_place(one["code"]) for one in tab.record["findings"] if one["level"] == "stop")
    return place, f"See “{titles[place]}”"
