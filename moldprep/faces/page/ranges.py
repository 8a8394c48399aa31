"""A slider that every browser knows: by finger, mouse and arrow keys, named by a visible label."""

from __future__ import annotations

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
    """on_move: called with the value while it is moved; on_rest: when it is let go. percent: the value is a share, and is
    read aloud so. The value is the browser's own: what is written here while the maker moves it would pull it out of
    his hand.
    """

    def __init__(
        self,
        says: str,
        *,
        low: float,
        high: float,
        step: float,
        value: float,
        percent: bool = False,
        on_move: Callable[[float], Any],
        on_rest: Callable[[float], Any] | None = None,
    ) -> None:
        with ui.element("label").classes("page-range"):
            with ui.element("span"):
                text("span", says)
                self._shown = text("span", "", "page-value").props("aria-hidden=true")
            self._input = ui.element("input").props(
                f"type=range min={low:.6g} max={high:.6g} step={step:.6g} value={value:.6g}"
            )
        own = "(event) => emit(event.target.value)"
        told = f"(event) => {{ {_PERCENT} emit(event.target.value); }}" if percent else own
        if percent:
            self._input.props["aria-valuetext"] = f"{100 * value:.0f} %"
        self._input.on("input", self._handler(on_move), throttle=SENT_S, js_handler=told)
        if on_rest is not None:
            self._input.on("change", self._handler(on_rest), js_handler=own)

    def focus_again(self) -> None:
        """Give the keyboard back to the slider, where it went astray as the page was drawn anew."""
        focus_again(self._input)

    def put(self, value: float, shown: str) -> None:
        """Move it there, unless it is being moved by hand, and say the value so."""
        self._shown.set_text(shown)
        box = f"getHtmlElement({self._input.id})"
        self._input.client.run_javascript(
            f"if ({box} !== document.activeElement || !{box}.matches(':active')) {box}.value = {value:.6g};"
            f"{box}.ariaValueText = '{shown}'"
        )

    @staticmethod
    def _handler(call: Callable[[float], Any]) -> Callable[[GenericEventArguments], Any]:
        return lambda event: call(float(event.args))
