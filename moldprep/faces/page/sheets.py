"""The bench sheet on the page: its pages as they will print, and everything to take away."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial

from nicegui import ui

from ...errors import Cancelled, RequestError
from ...files.jobs import job_text
from .asking.entry import text
from .state import Tab
from .uploads import Landing

DOTS_PER_INCH = 110
"""Of the pages' pictures: 11 point text can be read on a screen that is 390 points wide when it is drawn larger."""
FILES = (
    ("sheet.pdf", "The sheet, to print", "sheet.pdf"),
    ("master.stl", "The master", "master.stl"),
    ("pieces.3mf", "The pieces", "pieces.3mf"),
    ("boards.3mf", "Boards to print", "boards.3mf"),
    ("plan.json", "The record", "plan.json"),
)
"""Single files: name in the bundle, what the button says, ending of the file's name."""


class SheetPart:
    """The sheet's pages and the downloads of one tab."""

    def __init__(self, tab: Tab, landing: Landing) -> None:
        self._tab, self._landing = tab, landing
        self._pages: list[str] = []
        self._busy = False

    def build(self) -> None:
        self._part()

    def refresh(self) -> None:
        """Another plan has another sheet."""
        self._pages = []
        self._part.refresh()

    @ui.refreshable_method
    def _part(self) -> None:
        planned = self._tab.planned
        if planned is None:
            ui.label("Comes with the plan: every page as it will print, and all files in one.").classes(
                "page-hint"
            )
            return
        if self._tab.stale:
            text(
                "p",
                "This sheet would be of the job as it was before. It comes again with the new plan.",
                "page-hint",
            )
            return
        ui.label(f"Record {planned.hash}, at the foot of every page.").classes("page-hint")
        with ui.element("div").classes("page-row page-downloads"):
            ui.button("Everything, as one zip", on_click=self._run(self._zip)).props("unelevated no-caps")
            ui.button("Show the pages", on_click=self._run(self._show)).props("outline no-caps")
        with ui.element("div").classes("page-row page-downloads"):
            for name, says, ending in FILES:
                ui.button(says, on_click=self._run(partial(self._single, name, ending))).props(
                    "flat no-caps dense"
                )
            ui.button("The job", on_click=self._job).props("flat no-caps dense")
        self._note = ui.label().props('role="status"').classes("page-hint")
        with ui.element("div").classes("page-pages"):
            for number, url in enumerate(self._pages, 1):
                ui.html(
                    f'<img src="{url}" alt="Page {number} of {len(self._pages)} of the bench sheet" loading="lazy">',
                    sanitize=False,
                )

    def download(self, name: str) -> Callable[[], Awaitable[None]]:
        """What gives one of the plan's files, when it is called."""
        return self._run(partial(self._single, name, name.replace("/", "-")))

    def _run(self, work: Callable[[], Awaitable[None]]) -> Callable[[], Awaitable[None]]:
        """One at a time, with a word while it lasts; what goes wrong is said in its place."""

        async def run() -> None:
            if self._busy:
                return
            self._busy = True
            self._note.set_text(
                "Setting the sheet; a form of a million triangles takes a quarter of a minute."
            )
            try:
                await work()
                self._note.set_text("")
            except Cancelled:
                self._note.set_text("Stopped.")
            except RequestError as error:
                self._note.set_text(str(error))
            finally:
                self._busy = False

        return run

    async def _zip(self) -> None:
        path = self._landing.place("plan.zip")
        await self._tab.workshop.bundle(path)
        ui.download.file(path, f"{self._stem}.plan.zip")

    async def _single(self, name: str, ending: str) -> None:
        data = await (self._tab.workshop.sheet() if name == "sheet.pdf" else self._tab.workshop.file(name))
        ui.download.content(data, f"{self._stem}-{ending}")

    async def _show(self) -> None:
        pages = await self._tab.workshop.pages(DOTS_PER_INCH)
        self._pages = [self._tab.keep(f"page{number}", "png", data) for number, data in enumerate(pages, 1)]
        self._part.refresh()

    def _job(self) -> None:
        ui.download.content(job_text(self._tab.job).encode(), f"{self._stem}.toml")

    @property
    def _stem(self) -> str:
        return str(self._tab.record["name"]) if self._tab.record else "mold"
