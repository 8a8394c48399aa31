"""A slider that every browser knows: by finger, mouse and arrow keys, named by a visible label."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

SENT_S = 0.05
"""While it is moved, its value comes at most this often."""


class Range:
    """on_move: called with the value while it is moved; on_rest: when it is let go. The value is the browser's own:
    what is written here while the maker moves it would pull it out of his hand."""

    def __init__(
        self,
        says: str,
        *,
        low: float,
        high: float,
        step: float,
        value: float,
        on_move: Callable[[float], Any],
        on_rest: Callable[[float], Any] | None = None,
    ) -> None:
        with ui.element("label").classes("page-range"):
            with ui.element("span"):
                ui.label(says)
                self.shown = ui.label().classes("page-value")
            self._input = ui.element("input").props("type=range")
        # no value among its properties: the page would write that back at each update, under the maker's hand
        begin = f"(node) => {{ Object.assign(node.el, {self._is(low, high, step, value)}) }}"
        self._input.on("vnodeMounted", js_handler=begin)
        own = "(event) => emit(event.target.value)"
        self._input.on("input", self._handler(on_move), throttle=SENT_S, js_handler=own)
        if on_rest is not None:
            self._input.on("change", self._handler(on_rest), js_handler=own)

    def fit(self, *, low: float, high: float, step: float, value: float) -> None:
        """Other ends and another place."""
        self._input.client.run_javascript(
            f"Object.assign(getHtmlElement({self._input.id}), {self._is(low, high, step, value)})"
        )

    def put(self, value: float) -> None:
        """Move it there, unless the maker has it in hand."""
        box = f"getHtmlElement({self._input.id})"
        self._input.client.run_javascript(f"if ({box} !== document.activeElement) {box}.value = {value:.6g}")

    @staticmethod
    def _is(low: float, high: float, step: float, value: float) -> str:
        """The state as a script sets it, ends first: a value beyond them would be cut off."""
        return f"{{min: {low:.6g}, max: {high:.6g}, step: {step:.6g}, value: {value:.6g}}}"

    @staticmethod
    def _handler(call: Callable[[float], Any]) -> Callable[[GenericEventArguments], Any]:
        return lambda event: call(float(event.args))
