"""The job's inputs on the page, section by section in the order of the work."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from nicegui import ui

from ...job import Job
from .asking.answers import Answers
from .asking.entry import text
from .asking.fields import field
from .asking.keys import usual, value_at
from .asking.questions import Ask, Ways
from .asking.sections import SECTIONS, Section
from .asking.ways import ways_field
from .units import Units

__all__ = ["JobControls", "Section", "title"]


class JobControls:
    """Inputs bound to one job.

    on_change is called with the new job once for each change that the maker commits: at once for choices, on
    leaving a field or Enter for what is typed. A wrong entry is told under its field, and the job stays.
    """

    def __init__(self, job: Job, units: Units, *, on_change: Callable[[Job], None]) -> None:
        self._answers = Answers(job, units, on_change)

    @property
    def job(self) -> Job:
        """The last good job."""
        return self._answers.job

    def section(self, name: Section) -> None:
        """The inputs of a section, without its title, into the current container."""
        questions = SECTIONS[name]
        self._fields(questions.front)
        if questions.more:
            self._more(name)

    def set_job(self, job: Job) -> None:
        """Another job, from the library or the picture: all fields follow, and on_change is not called.

        What was put aside, and entries that were wrong, are dropped.
        """
        self._answers.job = job
        self._answers.aside.clear()
        self._answers.follow()

    def set_units(self, units: Units) -> None:
        """Show lengths in other units; the job stays."""
        self._answers.units = units
        self._answers.follow()

    def _more(self, name: Section) -> None:
        """What few makers change. Its fields are made when it is first opened: each element on a page is looked
        at again whenever anything on it changes."""
        questions = SECTIONS[name]

        def count() -> None:
            number = sum(
                any(value_at(self.job, key) != usual(key) for key in ask.keys) for ask in questions.more
            )
            changed.text = f", {number} changed" if number else ""

        def fill() -> None:
            if not inside.default_slot.children:
                with inside:
                    self._fields(questions.more)

        with ui.element("details").classes("mp-more").mark(f"More: {name}") as more:
            more.props["data-sections"] = name
            with ui.element("summary").classes("mp-summary"):
                text("span", "More")
                text("span", f" for {questions.title.lower()}", "mp-unseen")
                changed = text("span", "")
            inside = ui.element("div")
        more.on("toggle", fill)
        self._answers.marks(more, count)

    def _fields(self, asks: Iterable[Ask | Ways]) -> None:
        """Fields side by side where they fit."""
        with ui.element("div").classes("mp-fields"):
            for ask in asks:
                if isinstance(ask, Ways):
                    ways_field(self._answers, ask)
                else:
                    field(self._answers, ask)


def title(name: Section) -> str:
    """What a section is called."""
    return SECTIONS[name].title
