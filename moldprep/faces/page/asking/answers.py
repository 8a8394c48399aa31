"""The job as the maker has answered so far, and what shows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import ui

from ....job import Job
from ..units import Units
from .keys import Key, replaced, value_at


class Answers:
    """The last good job. A change that a field commits goes in whole, and is told once."""

    def __init__(self, job: Job, units: Units, on_change: Callable[[Job], None]) -> None:
        self.job = job
        self.units = units
        self.aside: dict[Key, Any] = {}
        """What was said in a way that is not the chosen one, kept in case the maker comes back to it."""
        self._on_change = on_change
        self._fields: list[tuple[ui.element, Callable[[], None]]] = []
        self._marks: list[tuple[ui.element, Callable[[], None]]] = []

    def at(self, key: Key) -> Any:
        """What its field shows: the job's value, or what was put aside."""
        return self.aside.get(key, value_at(self.job, key))

    def put(self, changes: dict[Key, Any]) -> None:
        """Take values that were checked; nothing is told where nothing changes."""
        job = replaced(self.job, changes)
        if job == self.job:
            return
        self.job = job
        _call(self._marks)
        self._on_change(job)

    def follow(self) -> None:
        """Show everything anew, wrong entries dropped: after another job or other units."""
        _call(self._fields)
        _call(self._marks)

    def shows(self, element: ui.element, show: Callable[[], None]) -> None:
        """A field that shows its key of the job now, and whenever another job comes."""
        self._fields.append((element, show))
        show()

    def marks(self, element: ui.element, mark: Callable[[], None]) -> None:
        """Something that follows each change: what matters only sometimes, or counts changes."""
        self._marks.append((element, mark))
        mark()


def _call(shown: list[tuple[ui.element, Callable[[], None]]]) -> None:
    """Call all whose element is still on the page, and forget the others."""
    shown[:] = [(element, call) for element, call in shown if not element.is_deleted]
    for _, call in list(shown):
        call()
