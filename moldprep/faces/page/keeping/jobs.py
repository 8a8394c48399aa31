"""Saved jobs: save the present one, open, take away, hand out as a file."""

from __future__ import annotations

from nicegui import ui

from ....errors import JobError
from ....files.jobs import job_text
from ....files.studio import Entry, SavedJob, Studio
from ..library import Holdings
from .desk import DATE, Desk, Section
from .parts import Ask, Form, Values, row, sure, table, text
from .words import file_name, megabytes, shown_date

NOTE = "A job is all that you ask for: size, clay, plaster, seams. Saved under a name it can be opened on another day."


class Jobs:
    """The section of saved jobs."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._names: dict[str, str] = {}
        self._shown: object = None
        self._section = Section("Jobs", NOTE)
        asks = (
            Ask("name", "Name"),
            DATE,
            Ask("keep", "Keep the form's file with it", "yes", usual=lambda: True),
        )
        with self._section.inside:
            Form(asks, desk.lengths, "Save this job", self._save, name="Save this job")
            self._list = ui.element("div").classes("mp-list")

    def show(self, held: Holdings) -> None:
        """Show what is held."""
        if (held.jobs, held.forms) == self._shown:
            return
        self._shown = (held.jobs, held.forms)
        self._names = {entry.row.name: entry.row.date for entry in held.jobs}
        self._list.clear()
        with self._list:
            if not held.jobs:
                text("p", "No job is saved yet.", "mp-empty")
                return
            body = table(("Job", "Saved", "Form", ""), "Saved jobs")
            for entry in held.jobs:
                self._row(body, entry, held.forms)

    def _row(self, body: ui.element, entry: Entry[SavedJob], forms: dict[str, int]) -> None:
        saved = entry.row
        cells = (("Job", saved.name), ("Saved", shown_date(saved.date)), ("Form", _form_words(saved, forms)))
        row(
            body,
            cells,
            (
                ("Open", f"Open {saved.name}", lambda: self._open(saved)),
                ("As a file", f"{saved.name} as a file", lambda: self._hand_out(saved)),
                ("Remove", f"Remove {saved.name}", lambda: self._remove(entry)),
            ),
        )

    async def _save(self, given: Values) -> bool:
        name = given["name"]
        if name in self._names:
            with self._section.element:
                if not await sure(
                    f"Replace the job {name}?", _saved_on(self._names[name]), "Replace it", "Keep the old one"
                ):
                    return False
        current = self._desk.current()
        data, but = await self._desk.form_data(current) if given["keep"] else (None, "")

        def change(studio: Studio) -> None:
            if data is not None:
                studio.keep_form(current.form_name or "form", data)
            studio.save_job(
                name,
                current.job,
                form=current.form_name,
                digest=current.digest,
                record=current.fitting_record,
                date=given["date"],
            )

        return await self._desk.do(self._section, change, f"{name} is saved.{but}")

    async def _open(self, saved: SavedJob) -> None:
        try:
            job = saved.job
        except JobError as error:
            self._section.say(str(error), wrong=True)
            return
        await self._desk.open(self._section, job, saved.digest, saved.form or "unnamed", saved)

    async def _hand_out(self, saved: SavedJob) -> None:
        try:
            told = saved.text if saved.kind == "toml" else job_text(saved.job)
        except JobError as error:
            self._section.say(str(error), wrong=True)
            return
        ui.download.content(told, file_name(saved.name, ".toml"))
        self._section.say(f"{saved.name} is handed out as a job file.")

    async def _remove(self, entry: Entry[SavedJob]) -> None:
        about = f"{_saved_on(entry.row.date)} Its form's file goes too where nothing else needs it."
        with self._section.element:
            asked = await sure(f"Remove the job {entry.row.name}?", about, "Remove it")
        if not asked:
            return

        def change(studio: Studio) -> None:
            studio.take_back(entry)
            studio.drop_forms()

        await self._desk.do(self._section, change, f"{entry.row.name} is gone.", focus="")


def _form_words(saved: SavedJob, forms: dict[str, int]) -> str:
    if saved.form is None and saved.digest is None:
        return "none"
    kept = forms.get(saved.digest or "")
    where = "not kept here" if kept is None else f"kept here, {megabytes(kept)}"
    return f"{saved.form or 'unnamed'} ({where})" + (", with its plan" if saved.record is not None else "")


def _saved_on(date: str) -> str:
    return f"It was saved on {shown_date(date)}." if date else "It was saved without a date."
