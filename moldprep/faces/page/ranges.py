"""A slider that every browser knows: by finger, mouse and arrow keys, named by a visible label."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

from .asking.entry import text

SENT_S = 0.05
"""While it is moved, its value comes at most this often."""
_PERCENT = "event.target.ariaValueText = `${Math.round(100 * event.target.value)} %`;"
"""A slider is read aloud by its plain value otherwise."""


_FOCUS = """
(async () => {
  for (let tries = 0; tries < 40; tries++) {
    const element = getHtmlElement(%d);
    if (element && document.activeElement === document.body) return element.focus({ preventScroll: true });
    await new Promise((done) => setTimeout(done, 50));
  }
})()
"""
"""What was there before may stand a moment longer, and hold the keyboard."""


def focus_again(element: ui.element) -> None:
    """Give the keyboard to an element that took the place of one that had it."""
    element.client.run_javascript(_FOCUS % element.id)


class Range:
    """shown: the value in words, beside the label; a share is read aloud in percent instead. on_move: called with
    the value while it is moved; on_rest: when it is let go.

    The value is the browser's own. It is no property of the element: the page would write that back at each
    update, under the maker's hand.
    """

    def __init__(
        self,
        says: str,
        *,
        low: float,
        high: float,
        step: float,
        value: float,
        shown: str | None = None,
        on_move: Callable[[float], Any],
        on_rest: Callable[[float], Any] | None = None,
    ) -> None:
        with ui.element("label").classes("page-range"):
            with ui.element("span"):
                text("span", says)
                self._shown = text("span", shown or "", "page-value").props("aria-hidden=true")
            self._input = ui.element("input").props("type=range")
        spoken = f"{100 * value:.0f} %" if shown is None else shown
        begin = _state(low, high, step, value, spoken)
        self._input.on("vnodeMounted", js_handler=f"(node) => {{ Object.assign(node.el, {begin}) }}")
        own = "emit(event.target.value);"
        told = own if shown is not None else _PERCENT + own
        self._input.on("input", _handler(on_move), throttle=SENT_S, js_handler=f"(event) => {{ {told} }}")
        if on_rest is not None:
            self._input.on("change", _handler(on_rest), js_handler=f"(event) => {{ {own} }}")

    def fit(self, *, low: float, high: float, step: float, value: float, shown: str) -> None:
        """Other ends and another place."""
        self._shown.set_text(shown)
        self._script(f"Object.assign(box, {_state(low, high, step, value, shown)})")

    def put(self, value: float, shown: str) -> None:
        """Move it there, unless the maker has it in hand, and say the value so."""
        self._shown.set_text(shown)
        self._script(
            f"box.ariaValueText = {json.dumps(shown)}; if (box !== document.activeElement) box.value = {value:.6g}"
        )

    def _script(self, does: str) -> None:
        self._input.client.run_javascript(
            f"const box = getHtmlElement({self._input.id}); if (box) {{ {does} }}"
        )


def _handler(call: Callable[[float], Any]) -> Callable[[GenericEventArguments], Any]:
    return lambda event: call(float(event.args))


def _state(low: float, high: float, step: float, value: float, spoken: str) -> str:
    """The input's state as a script sets it, ends first: a value beyond them would be cut off."""
    words = json.dumps(spoken)
    return (
        f"{{min: {low:.6g}, max: {high:.6g}, step: {step:.6g}, value: {value:.6g}, ariaValueText: {words}}}"
    )
