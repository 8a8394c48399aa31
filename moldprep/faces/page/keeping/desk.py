"""What all sections of the studio work with: the library, the page's present job, and how to say what was done."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from nicegui import ui

from ....errors import FileError, RequestError
from ....files.studio import MOST_FORM_BYTES, Entry, SavedJob, Studio, digest_of_record, job_of_record
from ....job import Job
from ..library import Holdings, Library
from .parts import Ask, Values, corrected, sure, text
from .words import Lengths, megabytes

T = TypeVar("T")

UseJob = Callable[[Job, SavedJob | None], Awaitable[None]]
OpenForm = Callable[[bytes, str, Job], Awaitable[None]]

SAID_S = 10.0
"""How long a sentence about what went well stays."""
_FOCUS = """setTimeout(() => {
  const named = [...document.querySelectorAll("[data-act]")].find((one) => one.dataset.act === %s);
  (named || document.getElementById(%s))?.focus();
}, 60);"""
"""After what had the keyboard was drawn anew: the same button again, or else the section's head."""


@dataclass(frozen=True)
class Current:
    """What the page shows now. record: plan.json of the plan of this job, where there is one; form_name: the
    maker's; digest: SHA-256 of the form's file; form_path: where that file lies."""

    job: Job
    record: bytes | None = field(default=None, repr=False)
    form_name: str | None = None
    digest: str | None = None
    form_path: Path | None = None

    @property
    def fitting_record(self) -> bytes | None:
        """The record, where it is of this job and this form and no older plan's."""
        if self.record is None:
            return None
        fits = job_of_record(self.record) == self.job and digest_of_record(self.record) == self.digest
        return self.record if fits else None


class Section:
    """One section: its head, and a sentence that says what was done or why not."""

    def __init__(self, title: str, note: str) -> None:
        with ui.element("section").classes("mp-section") as self.element:
            head = text("h3", title, "mp-head")
            head.props["tabindex"] = -1
            self.element.props["aria-labelledby"] = self.head = head.html_id
            text("p", note, "mp-note")
            self.inside = ui.element("div")
            self._said = text("p", "", "mp-said")
            self._said.props["role"] = "status"
        self._count = 0

    def say(self, sentence: str, *, wrong: bool = False) -> None:
        """Say it to those who see and those who hear; what went well is not said for long, for it may hide a line."""
        self._said.text = sentence
        self._said.classes(add="mp-wrong" if wrong else "", remove="" if wrong else "mp-wrong")
        self._count += 1
        if not wrong:
            said = self._count
            with self.element:
                ui.timer(SAID_S, lambda: self._hush(said), once=True)

    def _hush(self, said: int) -> None:
        if said == self._count:
            self._said.text = ""


class Desk:
    """The library and the page's present job, as all sections use them. shown: called with what is held now."""

    def __init__(
        self,
        library: Library,
        lengths: Lengths,
        current: Callable[[], Current],
        use_job: UseJob,
        open_form: OpenForm,
        show: Callable[[Holdings], None],
    ) -> None:
        self.library, self.lengths, self.current = library, lengths, current
        self._use_job, self._open_form, self._show = use_job, open_form, show

    async def refresh(self) -> None:
        """Show what the library holds now."""
        self._show(await self.library.holdings())

    async def do(
        self,
        section: Section,
        change: Callable[[Studio], T],
        says: str | Callable[[T], str],
        *,
        focus: str | None = None,
    ) -> bool:
        """Make a change, show what is held then, and say so; or say why not. Whether it was made.

        focus: name of the button that had the keyboard; where it is gone the section's head gets it.
        """
        try:
            done = await self.library.ask(change)
        except RequestError as error:
            await self._again(section)
            section.say(str(error), wrong=True)
            return False
        await self._finish(section, says if isinstance(says, str) else says(done), focus)
        return True

    async def take_back(
        self, section: Section, entry: Entry[Any], question: str, about: str, *, yes: str = "Take it back"
    ) -> None:
        """Ask, and remove an entry with all that hangs on it."""
        with section.element:
            asked = await sure(question, about, yes)
        if asked:
            await self.do(
                section, lambda studio: studio.take_back(entry, along=True), "It is gone.", focus=""
            )

    async def correct(
        self,
        section: Section,
        entry: Entry[Any],
        title: str,
        asks: list[Ask],
        values: Values,
        make: Callable[[Values], Any],
        *,
        focus: str,
    ) -> None:
        """Ask for an entry's fields anew and put what `make` gives in its place. make may raise RequestError."""

        async def put(given: Values) -> str:
            try:
                row = make(given)
                await self.library.ask(lambda studio: studio.correct(entry, row, along=True))
            except RequestError as error:
                return str(error)
            return ""

        with section.element:
            done = await corrected(title, asks, self.lengths, values, put)
        if done:
            await self._finish(section, "Corrected.", focus)

    async def use(self, section: Section, job: Job, says: str) -> None:
        """Put a job into the page."""
        await self._told(section, self._use_job(job, None), says)

    async def open(
        self, section: Section, job: Job, digest: str | None, form: str, saved: SavedJob | None
    ) -> None:
        """Put a job into the page with its form, where that is kept and not there already."""
        kept = None
        if digest is not None and digest != self.current().digest:
            try:
                kept = await self.library.ask(lambda studio: studio.form(digest))
            except FileError as error:
                section.say(str(error), wrong=True)
                return
        if kept is not None:
            name, data = kept
            await self._told(section, self._open_form(data, name, job), f"Opened with its form, {name}.")
        elif digest == self.current().digest:
            await self._told(section, self._use_job(job, saved), "Opened.")
        else:
            says = f"Opened. The file of its form ({form}) is not kept here: drop it on the page."
            await self._told(section, self._use_job(job, saved), says)

    async def form_data(self, current: Current) -> tuple[bytes | None, str]:
        """The present form's file, to be kept; None and why not, where it cannot be."""
        if current.form_path is None:
            return None, ""
        try:
            size = (await asyncio.to_thread(current.form_path.stat)).st_size
            if size > MOST_FORM_BYTES:
                return (
                    None,
                    f" Its form is not kept: {megabytes(size)} are more than {megabytes(MOST_FORM_BYTES)}.",
                )
            return await asyncio.to_thread(current.form_path.read_bytes), ""
        except OSError as error:
            return None, f" Its form is not kept: {error.strerror or error}."

    async def _told(self, section: Section, work: Awaitable[None], says: str) -> None:
        try:
            await work
        except RequestError as error:
            section.say(str(error), wrong=True)
        else:
            section.say(says)

    async def _finish(self, section: Section, says: str, focus: str | None) -> None:
        await self._again(section)
        section.say(says)
        if focus is not None:
            with section.element:
                ui.run_javascript(_FOCUS % (json.dumps(focus), json.dumps(section.head)))

    async def _again(self, section: Section) -> None:
        try:
            await self.refresh()
        except RequestError as error:
            section.say(str(error), wrong=True)


def today() -> str:
    """Today's date, as ISO text."""
    return date.today().isoformat()


DATE = Ask("date", "Date", usual=today)
