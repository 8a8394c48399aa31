"""The library as a whole: where it lies, everything as one file, and such a file read in."""

from __future__ import annotations

import asyncio
from pathlib import Path
from tempfile import TemporaryDirectory

from nicegui import ui
from nicegui.events import UploadEventArguments

from ....errors import RequestError
from ....files.studio import Imported, Studio
from ....files.studio.exchange import MOST_BYTES
from ..library import Holdings
from .desk import Desk, Section, today
from .parts import button, text
from .words import counted, imported_words, megabytes

NOTE = (
    "Everything can be written to one file, to keep it safe or to take it to another machine, and read in from one: "
    "what is here stays, what is new comes in."
)
_CHOOSE = "() => getElement({id}).$refs.qRef.pickFiles()"


class Sharing:
    """The section of the library's file."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._section = Section("The library's file", NOTE)
        with self._section.inside:
            text("p", f"The library lies in {desk.library.path}.", "mp-path")
            self._forms = text("p")
            with ui.element("div").classes("mp-acts"):
                button("Export everything", self._export)
                choose = text("button", "Import a file", "mp-button")
                choose.props["type"] = "button"
                self._drop = button("Drop forms that nothing needs", self._drop_forms)
            self._upload = ui.upload(
                auto_upload=True,
                max_file_size=MOST_BYTES,
                on_upload=self._import,
                on_rejected=lambda: self._section.say(
                    f"That file is larger than any export ({megabytes(MOST_BYTES)}).", wrong=True
                ),
            ).classes("mp-upload")
            self._upload.props("accept=.json aria-hidden=true")
            choose.on("click", js_handler=_CHOOSE.format(id=self._upload.id))
            self._left = ui.element("ul").classes("mp-left")

    def show(self, held: Holdings) -> None:
        """Show what is held."""
        kept = sum(held.forms.values())
        self._forms.text = (
            f"It keeps {counted(len(held.forms), 'form')} of {megabytes(kept)} beside them; an export leaves forms out."
            if held.forms
            else "Forms are kept with saved jobs and registered molds; an export leaves them out."
        )
        self._drop.set_visibility(bool(held.forms))

    async def _export(self) -> None:
        self._left.clear()
        try:
            data = await self._desk.library.ask(_exported)
        except RequestError as error:
            self._section.say(str(error), wrong=True)
            return
        ui.download.content(data, f"studio-{today()}.json")
        self._section.say("Everything but kept forms is in the file that you get.")

    async def _import(self, event: UploadEventArguments) -> None:
        self._left.clear()
        self._upload.reset()
        left: list[str] = []
        folder = await asyncio.to_thread(TemporaryDirectory, prefix="moldprep-", ignore_cleanup_errors=True)
        try:
            path = Path(folder.name) / "import.json"
            await event.file.save(path)

            def change(studio: Studio) -> Imported:
                done = studio.import_from(path)
                left.extend(done.left)
                return done

            await self._desk.do(self._section, change, imported_words)
        finally:
            await asyncio.to_thread(folder.cleanup)
        with self._left:
            for says in left:
                text("li", says)

    async def _drop_forms(self) -> None:
        says = "{} dropped; what jobs and molds need is still kept."
        await self._desk.do(
            self._section,
            lambda studio: studio.drop_forms(),
            lambda count: says.format(counted(count, "form")),
            focus="",
        )


def _exported(studio: Studio) -> bytes:
    with TemporaryDirectory(prefix="moldprep-", ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "studio.json"
        studio.export_to(path)
        return path.read_bytes()
