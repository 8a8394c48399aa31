"""One of a few words, chosen by the browser's own radio buttons: Tab comes to the group, arrows go through it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

from .asking.entry import text
from .asking.fields import CHOICE
from .asking.ways import radio


class Pick:
    """says: what is chosen, for those who do not see the group; words: of each value. on_change: hears what the maker
    chooses, not what is put here."""

    def __init__(
        self,
        says: str,
        words: Mapping[str, str],
        value: str,
        on_change: Callable[[str], Awaitable[None] | None],
    ) -> None:
        self._on_change = on_change
        with ui.element("fieldset").classes("page-pick") as self.element:
            text("legend", says, "mp-unseen")
            self._radios = {
                name: radio(shown, name, f"pick-{self.element.id}", ()) for name, shown in words.items()
            }
        for one in self._radios.values():
            one.on("change", self._chosen, js_handler=CHOICE)
        self.put(value)

    def put(self, value: str) -> None:
        """Choose this one."""
        for name, one in self._radios.items():
            one.props["checked"] = name == value

    def _chosen(self, event: GenericEventArguments) -> Any:
        value = str(event.args)
        if value not in self._radios:
            return None
        self.put(value)
        return self._on_change(value)
