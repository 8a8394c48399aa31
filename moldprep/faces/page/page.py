"""The page itself: one long sheet, read from top to bottom in the order of the work, the form beside it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from typing import Any

import msgspec
from fastapi import Response
from nicegui import app, ui

from ...files.samples import Sample, samples
from ...files.studio import SavedJob
from ...job import Job, job_from_dict
from . import results
from .asking.entry import text
from .controls import JobControls, Section
from .library import Library
from .seams import SeamsPart
from .serve import Settings
from .sheets import SheetPart
from .state import KINDS, Tab, Trouble
from .studio import Current, StudioPart
from .units import Units
from .uploads import Landing, upload_area
from .viewing import ViewPart

CONSENTS = {
    "mesh-open": ("close_openings", "Close the openings flat"),
    "hollow-form": ("fill_hollow", "Fill it solid"),
}
"""Refusals that the maker can lift by a consent, by code: the job's key, and what the button says."""
BAR_S = 0.3
"""How often the bar follows the work: each update of a page costs its browser some ten milliseconds."""
MOST_TABS = 8
"""Pages open at once: each holds a process with its form."""


def build(settings: Settings) -> None:
    """Register the page and what it shows. Tabs live as long as their page is open."""
    tabs: dict[str, Tab] = {}

    @app.get("/made/{token}/{name}")
    def made(token: str, name: str) -> Response:
        """A view or picture that a tab made; nothing for strangers to its token."""
        data = tabs[token].made.get(name) if token in tabs else None
        if data is None:
            return Response("It is not here any more.", status_code=404)
        return Response(
            data, media_type=KINDS[name.rpartition(".")[2]], headers={"Cache-Control": "no-store"}
        )

    @ui.page("/", title="moldprep")
    async def index() -> None:
        for looks in ("looks.css", "controls.css"):
            ui.add_css(files(__package__).joinpath(looks).read_text(encoding="utf-8"))
        ui.colors(primary="#8a4526")
        await ui.context.client.connected()  # who never comes for the page costs nothing
        if len(tabs) >= MOST_TABS:
            ui.label(
                f"{MOST_TABS} pages are open already, each with a form in memory. Close one, and load this one again."
            )
            return
        page = Page(settings)
        tabs[page.tab.token] = page.tab

        async def gone() -> None:
            del tabs[page.tab.token]
            await page.close()

        ui.context.client.on_delete(gone)
        page.build()
        await page.start()


def folded(title: str, fill: Callable[[], None]) -> None:
    """What most makers leave as it is, behind its title; made when it is first opened, since a page of a thousand
    inputs answers slowly."""
    with ui.element("details").classes("mp-more") as details:
        with ui.element("summary").classes("mp-summary"):
            text("span", title)
        inside = ui.element("div")
    made: list[bool] = []

    def open_it() -> None:
        if not made:
            made.append(True)
            with inside:
                fill()

    details.on("toggle", open_it)


class Page:
    """The parts of one tab's page, and what runs between them."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._client = ui.context.client
        self._landing = Landing()
        self._units = Units(inch=False)
        self._seen: dict[str, tuple[object, ...]] = {}
        self.tab = Tab(self._changed)
        self._controls = JobControls(Job(), self._units, on_change=self.tab.ask)
        self._view = ViewPart(self.tab, on_seam=self._dragged)
        self._seams = SeamsPart(
            self.tab, on_seam=self._dragged, on_turn=self._turned, on_parting=self._parted
        )
        self._sheet = SheetPart(self.tab, self._landing)
        self._studio = StudioPart(
            Library(settings.library),
            self._units,
            current=self._current,
            use_job=self._use_job,
            open_form=self._open_kept,
        )

    async def start(self) -> None:
        """Begin with the form that the command named, if it did."""
        await self.tab.workshop.start()
        if (form := self._settings.form) is not None:
            self._take(form, form.name, self._controls.job)

    async def close(self) -> None:
        await self.tab.close()
        self._landing.close()

    def build(self) -> None:
        """Everything, in the order of the work."""
        with ui.element("header").classes("page-head"):
            ui.html("<h1>moldprep</h1>", sanitize=False)
            ui.label("from a form to its plaster mold").classes("page-motto")
            units = ui.radio(
                {False: "mm", True: "inch"}, value=False, on_change=lambda e: self._measure(e.value)
            )
            units.props('inline dense aria-label="Lengths in"').classes("page-units")
        with ui.element("main").classes("page-main"):
            with ui.element("div").classes("page-first"):
                self._section("form", "The form", self._form)
            with ui.element("div").classes("page-view"):
                self._view.build()
                self._summary_part()
            with ui.element("div").classes("page-steps"):
                self._section("clay", "The clay, and the size", self._clay)
                self._section("pulls", "Does plaster let go?", self._pulls)
                self._section("seams", "The seams", self._seams_part)
                self._section("mold", "The mold", self._mold)
                self._section("plaster", "Plaster and water", self._plaster)
                self._section("cast", "Casting in it", self._cast)
                self._section("print", "Printing the master", self._print)
                self._section("order", "Molds and costs", self._order)
                self._section("sheet", "The bench sheet", self._sheet_part)
            with ui.element("div").classes("page-studio"):
                self._section("studio", "The studio's library", self._kept)
        self._bar()

    def _section(self, name: str, title: str, fill: Callable[[], None]) -> None:
        with ui.element("section").classes("page-card").props(f'id="{name}" aria-labelledby="{name}-title"'):
            ui.html(f'<h2 id="{name}-title">{title}</h2>', sanitize=False)
            fill()

    # --- the parts, from top to bottom ----------------------------------------------------------------

    def _form(self) -> None:
        upload_area(self._landing, self._dropped, self._refused)
        found = {sample.name: sample for sample in samples()}
        with ui.element("div").classes("page-row"):
            chosen = ui.select({name: sample.title for name, sample in found.items()}, label="Or a sample")
            chosen.classes("page-grow")
            take = ui.button("Take it", on_click=lambda: self._sample(found[chosen.value])).props(
                "outline no-caps"
            )
            take.bind_enabled_from(chosen, "value", bool)
        self._read_part()
        folded("How the file is to be read", lambda: self._inputs("file"))

    @ui.refreshable_method
    def _read_part(self) -> None:
        tab = self.tab
        if tab.read is not None:
            results.facts(
                [
                    ("Form", tab.read.name),
                    ("As drawn", self._units.size(tab.read.size_mm)),
                    ("Triangles", f"{tab.read.triangles:,}".replace(",", " ")),
                ]
            )
            results.findings(tab.read.findings, "form")
        self._trouble("read")

    def _clay(self) -> None:
        self._inputs("clay")
        self._sized_part()
        self._inputs("size")

    @ui.refreshable_method
    def _sized_part(self) -> None:
        shown = self.tab.record or (self.tab.looked.record if self.tab.looked else None)
        if shown is not None:
            results.sizes(shown, self._units)
            results.findings(shown["findings"], "clay")

    def _pulls(self) -> None:
        self._pulls_part()
        folded("The opening, and what counts as locked", lambda: self._inputs("opening"))

    @ui.refreshable_method
    def _pulls_part(self) -> None:
        looked = self.tab.looked
        if looked is None:
            ui.label(
                "Put a form down, and its faces are coloured here by how plaster lets go of them."
            ).classes("page-hint")
        else:
            stand, pull = looked.record["stand"], looked.record["pulls"][0]
            results.facts(
                [
                    ("Slip goes in", f"{stand['opening']}: {stand['reason']}"),
                    *[("Pull", one["verdict"]) for one in looked.record["pulls"]],
                ]
            )
            if pull["places"]:
                ui.label(
                    "Locked in a mold of one piece that is drawn upward; press a number to see the place:"
                )
                results.places(pull["places"], self._units, lambda place: self._view.fly_to(place["where"]))
            results.findings((self.tab.record or looked.record)["findings"], "pulls")
        self._trouble("look")

    def _seams_part(self) -> None:
        self._plan_part()
        self._seams.build(self._units)
        folded("How seams are looked for", lambda: self._inputs("seams"))

    @ui.refreshable_method
    def _summary_part(self) -> None:
        if self.tab.record is not None:
            with ui.element("div").classes("page-summary"):
                ui.label(
                    f"{self.tab.record['name']}: {results.FAMILIES[self.tab.record['parting']['family']].lower()}"
                ).classes("page-verdict")
                results.summary(self.tab.record)

    @ui.refreshable_method
    def _plan_part(self) -> None:
        if self.tab.record is None:
            ui.label(
                "moldprep looks for the fewest pieces, with seams level and on lines that the form has."
            ).classes("page-hint")
            button = (
                ui.button("Plan the mold", on_click=self.tab.plan)
                .props("unelevated no-caps")
                .classes("page-plan")
            )
            button.set_enabled(self.tab.looked is not None)
        self._trouble("plan")

    def _mold(self) -> None:
        self._numbers("mold", results.pieces)
        self._controls.section("cottle")
        folded("Boards, natches and marks", lambda: self._inputs("boards"))

    def _plaster(self) -> None:
        self._numbers("plaster", results.plaster)
        self._controls.section("plaster")

    def _cast(self) -> None:
        self._numbers("cast", results.cast)
        self._controls.section("cast")

    def _print(self) -> None:
        self._numbers("print", results.printing)
        folded("Printer", lambda: self._inputs("print"))

    def _order(self) -> None:
        self._numbers("order", lambda record, _: results.order(record))
        folded("How many, by when, and your rates", lambda: self._inputs("molds", "costs"))

    def _sheet_part(self) -> None:
        self._controls.section("sheet")
        self._sheet.build()

    def _kept(self) -> None:
        ui.label(
            f"Jobs, clays, trials and molds are kept in {self._settings.library}, on this machine alone."
        ).classes("page-hint")
        folded("Open the library", self._studio.build)

    def _numbers(self, place: str, show: Callable[[results.Json, Units], None]) -> None:
        """Numbers of a plan, with the findings of their place; drawn again for each plan."""

        @ui.refreshable
        def part() -> None:
            record = self.tab.record
            if record is None:
                ui.label("Comes with the plan.").classes("page-hint")
                return
            show(record, self._units)
            results.findings(record["findings"], place)

        part()
        self._parts().append(part.refresh)

    def _inputs(self, *sections: Section) -> None:
        for section in sections:
            self._controls.section(section)

    def _parts(self) -> list[Callable[[], Any]]:
        return self.__dict__.setdefault("_refreshed", [])  # type: ignore[no-any-return]

    def _trouble(self, step: str) -> None:
        trouble = self.tab.trouble
        if trouble is None or trouble.step != step:
            return
        with ui.element("div").classes("page-finding page-stop").props('role="alert"'):
            ui.label("That does not work").classes("page-level")
            ui.label(trouble.says)
            if trouble.code in CONSENTS:
                key, says = CONSENTS[trouble.code]
                ui.button(says, on_click=lambda: self._consent(key)).props("outline no-caps")

    def _bar(self) -> None:
        with ui.element("div").classes("page-bar").props('role="status" aria-live="polite"') as bar:
            self._stage = ui.label()
            self._share = ui.linear_progress(0, show_value=False).props('aria-label="Progress"')
            ui.button("Cancel", on_click=self.tab.cancel).props("flat no-caps")
        self._working = bar
        bar.set_visibility(False)
        ui.timer(BAR_S, self._draw_bar)

    # --- what happens -----------------------------------------------------------------------------------

    async def _dropped(self, path: Path, name: str) -> None:
        self._take(path, name, self._controls.job)

    def _refused(self, says: str) -> None:
        self.tab.trouble = Trouble("read", "upload", says)
        self._changed()

    def _sample(self, sample: Sample) -> None:
        """A sample brings along the part of a job that its maker would have to say; the clay stays."""
        own: dict[str, object] = {**sample.job}
        kept = {"shrinkage": msgspec.to_builtins(self._controls.job.shrinkage)}
        self._take(sample.path, sample.path.name, job_from_dict({**kept, **own}))

    def _take(self, path: Path, name: str, job: Job) -> None:
        """Another form: seams that were placed by hand belong to the last one."""
        job = msgspec.structs.replace(
            job, parting=msgspec.structs.replace(job.parting, planes_mm=None, family=None, azimuth_deg=None)
        )
        self._controls.set_job(job)
        self.tab.take(path, name, job)

    def _consent(self, key: str) -> None:
        job = self._controls.job
        job = msgspec.structs.replace(job, form=msgspec.structs.replace(job.form, **{key: True}))
        self._controls.set_job(job)
        self.tab.ask(job)

    def _parted(
        self, family: str | None, planes_mm: tuple[float, ...] | None = None, azimuth_deg: float | None = None
    ) -> None:
        """The maker chose a way to part the mold, or where its seams run; None leaves it to moldprep."""
        job = self._controls.job
        parting = msgspec.structs.replace(
            job.parting, family=family, planes_mm=planes_mm, azimuth_deg=azimuth_deg
        )
        job = msgspec.structs.replace(job, parting=parting)
        self._controls.set_job(job)
        self.tab.ask(job)

    async def _dragged(self, number: int, height_mm: float, let_go: bool) -> None:
        """A level seam was moved, in the view or by its slider; when it is let go the mold is cut there."""
        planes = list(self._seams.planes)
        planes[number] = height_mm
        self._seams.hold(tuple(planes))
        self._view.hold(tuple(planes))
        await self._held(let_go)

    async def _turned(self, azimuth_deg: float, let_go: bool) -> None:
        """The plane between the halves was turned."""
        self._seams.turn(azimuth_deg)
        await self._held(let_go)

    async def _held(self, let_go: bool) -> None:
        planes, azimuth = self._seams.planes, self._seams.azimuth_deg
        if let_go and self.tab.record is not None:
            self._parted(self.tab.record["parting"]["family"], planes, azimuth)
        else:
            await self.tab.drag(planes, azimuth)

    async def _measure(self, inch: bool) -> None:
        self._units = Units(inch=inch)
        self._controls.set_units(self._units)
        self._seams.set_units(self._units)
        await self._studio.show_in(self._units)
        self._seen.clear()
        self._changed()

    def _current(self) -> Current:
        tab = self.tab
        return Current(
            job=self._controls.job,
            record=tab.planned.record if tab.planned and not tab.stale else None,
            form_name=tab.file_name or None,
            digest=tab.read.digest if tab.read else None,
            form_path=tab.path,
        )

    async def _use_job(self, job: Job, saved: SavedJob | None) -> None:
        self._controls.set_job(job)
        self.tab.ask(job)

    async def _open_kept(self, data: bytes, name: str, job: Job) -> None:
        self._controls.set_job(job)
        self.tab.take(self._landing.put(data, name), name, job)
        self.tab.plan()

    def _changed(self) -> None:
        """Draw again what rests on something that changed, and nothing else."""
        tab = self.tab
        with suppress(RuntimeError), self._client:  # a page that is gone cannot be drawn on
            self._draw_bar()
            basis: dict[str, tuple[tuple[object, ...], Callable[[], Any]]] = {
                "read": ((tab.read, tab.trouble), self._read_part.refresh),
                "sized": ((tab.looked, tab.record), self._sized_part.refresh),
                "pulls": ((tab.looked, tab.record, tab.trouble), self._pulls_part.refresh),
                "plan": ((tab.looked, tab.record is None, tab.trouble), self._plan_part.refresh),
                "record": ((tab.record,), lambda: [refresh() for refresh in self._parts()]),
                "summary": ((tab.record,), self._summary_part.refresh),
                "seams": ((tab.record, tab.seam), self._seams.refresh),
                "view": ((tab.looked, tab.planned), self._view.refresh),
                "sheet": ((tab.planned, tab.stale), self._sheet.refresh),
            }
            for name, (now, refresh) in basis.items():
                seen = self._seen.get(name)
                if seen is None or any(one is not other for one, other in zip(seen, now, strict=True)):
                    self._seen[name] = now
                    refresh()

    def _draw_bar(self) -> None:
        progress = self.tab.progress
        self._working.set_visibility(progress is not None)
        if progress is not None:
            units = f" ({progress.done} of {progress.of})" if progress.of > 1 else ""
            self._stage.set_text(f"{progress.stage}{units}")
            self._share.set_value(progress.share)
