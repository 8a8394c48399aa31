"""The page itself: one long sheet, read from top to bottom in the order of the work, the form beside it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import msgspec
from fastapi import Response
from nicegui import app, ui

from ...files.samples import Sample, samples
from ...files.studio import SavedJob
from ...job import Job, job_from_dict
from . import numbers, results
from .asking.entry import text
from .controls import JobControls, Section
from .cures import Cure, cured, cures, place_of, sentence
from .keeping.parts import Choice
from .library import Library
from .nextstep import NextStep
from .picking import Pick
from .seams import SeamsPart
from .serve import Settings
from .sheets import SheetPart
from .state import KINDS, Tab, Trouble
from .studio import Current, StudioPart
from .units import Units
from .uploads import Landing, upload_area
from .viewing import ViewPart

TITLES = {
    "form": "The form",
    "clay": "The clay, and the size",
    "pulls": "Does plaster let go?",
    "seams": "The seams",
    "mold": "The mold",
    "plaster": "Plaster and water",
    "cast": "Casting in it",
    "print": "Printing the master",
    "order": "Molds and costs",
    "sheet": "The bench sheet",
    "studio": "The studio's library",
}
"""The parts of the page, in the order of the work."""
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


def folded(title: str, fill: Callable[[], None], *sections: Section) -> None:
    """What most makers leave as it is, behind its title; made when it is first opened, since a page of a thousand
    inputs answers slowly. sections: of the questions in it, for who looks for one of their fields."""
    with ui.element("details").classes("mp-more") as details:
        details.props["data-sections"] = " ".join(sections)
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
        self._parts: list[Callable[[], Any]] = []
        self._troubles: list[Callable[[], Any]] = []
        self.tab = Tab(self._changed)
        self._controls = JobControls(Job(), self._units, on_change=self.tab.ask)
        self._next = NextStep(self.tab, TITLES, on_act=self._go_on)
        self._view = ViewPart(self.tab, self._units, on_seam=self._dragged)
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
            text("h1", "moldprep")
            ui.label("from a form to its plaster mold").classes("page-motto")
            units = Pick("Lengths in", {"mm": "mm", "inch": "inch"}, "mm", self._measure)
            units.element.classes("page-units")
        with ui.element("div").classes("page-main"):
            with ui.element("div").classes("page-first"):
                self._section("form", self._form)
            with (
                ui.element("section")
                .classes("page-view")
                .props('aria-label="The picture, and what is next"'),
                ui.element("div").classes("page-stays"),
            ):
                self._next.build()
                self._view.build()
                self._summary_part()
            with ui.element("div").classes("page-steps"):
                self._section("clay", self._clay)
                self._section("pulls", self._pulls)
                self._section("seams", self._seams_part)
                self._section("mold", self._mold)
                self._section("plaster", self._plaster)
                self._section("cast", self._cast)
                self._section("print", self._print)
                self._section("order", self._order)
                self._section("sheet", self._sheet_part)
            with ui.element("div").classes("page-studio"):
                self._section("studio", self._kept)
        self._bar()

    def _section(self, name: str, fill: Callable[[], None]) -> None:
        with ui.element("section").classes("page-card").props(f'id="{name}" aria-labelledby="{name}-title"'):
            text("h2", TITLES[name]).props(f'id="{name}-title" tabindex="-1"')
            fill()

    # --- the parts, from top to bottom ----------------------------------------------------------------

    def _form(self) -> None:
        upload_area(self._landing, self._dropped, self._refused)
        found = {sample.name: sample for sample in samples()}
        if found:
            with ui.element("div").classes("page-samples"):
                label = text("label", "Or a sample", "mp-label")
                chosen = Choice({name: sample.title for name, sample in found.items()})
                label.props["for"] = chosen.html_id
                take = ui.button("Take it", on_click=lambda: self._sample(found[chosen.value]))
                take.props("outline no-caps")
        self._read_part()
        self._trouble("form")
        self._inputs("How the file is to be read", "file")

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

    def _clay(self) -> None:
        self._controls.section("clay")
        self._trouble("clay")
        self._controls.section("size")
        self._sized_part()

    @ui.refreshable_method
    def _sized_part(self) -> None:
        shown = self.tab.record or (self.tab.looked.record if self.tab.looked else None)
        if shown is not None:
            results.sizes(shown, self._units)
            results.findings(shown["findings"], "clay")

    def _pulls(self) -> None:
        self._pulls_part()
        self._trouble("pulls")
        self._inputs("The opening, and what counts as locked", "opening")

    @ui.refreshable_method
    def _pulls_part(self) -> None:
        looked = self.tab.looked
        if looked is None:
            ui.label(
                "Put a form down, and its faces are coloured here by how plaster lets go of them."
            ).classes("page-hint")
        else:
            results.pulls(looked.record, self._units, self._view.show_place)
            results.findings((self.tab.record or looked.record)["findings"], "pulls", self._view.fly_to)

    def _seams_part(self) -> None:
        self._plan_part()
        self._trouble("seams")
        self._seams.build(self._units)
        self._ease_part()
        self._inputs("How seams are looked for", "seams")

    @ui.refreshable_method
    def _ease_part(self) -> None:
        if self.tab.record is not None:
            numbers.ease(self.tab.record, self._units, lambda name: self._sheet.download(name)())

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

    def _mold(self) -> None:
        self._numbers("mold", lambda record, units: numbers.mold(record, units, self._view.fly_to))
        self._controls.section("cottle")
        self._inputs("Boards, natches and marks", "boards")

    def _plaster(self) -> None:
        self._numbers("plaster", numbers.plaster)
        self._controls.section("plaster")

    def _cast(self) -> None:
        self._numbers("cast", numbers.cast)
        self._controls.section("cast")

    def _print(self) -> None:
        self._numbers("print", numbers.printing)
        self._inputs("Printer", "print")

    def _order(self) -> None:
        self._numbers("order", lambda record, _: numbers.order(record))
        self._inputs("How many, by when, and your rates", "molds", "costs")

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
            results.findings(record["findings"], place, self._view.fly_to, ("stop",))
            show(record, self._units)
            results.findings(record["findings"], place, self._view.fly_to, ("warn", "note"))

        self._trouble(place)
        part()
        self._parts.append(part.refresh)

    def _inputs(self, title: str, *sections: Section) -> None:
        """A fold with the inputs of some sections."""

        def fill() -> None:
            for section in sections:
                self._controls.section(section)

        folded(title, fill, *sections)

    def _trouble(self, place: str) -> None:
        """Room for what cannot be done, in the part of the page where it is mended."""

        @ui.refreshable
        def part() -> None:
            trouble = self.tab.trouble
            if trouble is None or place_of(trouble.code, trouble.step) != place:
                return
            with ui.element("div").classes("page-finding page-stop page-trouble").props('role="alert"'):
                text("p", "That does not work", "page-level")
                sentence(
                    trouble.says,
                    [(cure.says, partial(self._cure, cure)) for cure in cures(trouble.code, trouble.says)],
                )

        part()
        self._troubles.append(part.refresh)

    def _bar(self) -> None:
        with (
            ui.element("div")
            .classes("page-bar")
            .props('role="region" aria-label="Work that is being done"') as bar
        ):
            self._stage = ui.label()
            self._share = ui.linear_progress(0, show_value=False, color=None).props('aria-label="Progress"')
            ui.button("Cancel", on_click=self.tab.cancel, color=None).props("flat no-caps")
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

    def _cure(self, cure: Cure) -> None:
        job = cured(self._controls.job, cure)
        self._controls.set_job(job)
        self.tab.ask(job)

    def _go_on(self) -> None:
        """The press that comes next: look at the form again after a stop, or plan."""
        if self.tab.looked is None:
            self.tab.ask(self._controls.job)
        else:
            self.tab.plan()

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

    async def _measure(self, unit: str) -> None:
        self._units = Units(inch=unit == "inch")
        self._controls.set_units(self._units)
        self._seams.set_units(self._units)
        self._view.set_units(self._units)
        self._seen.clear()
        self._changed()
        await self._studio.show_in(self._units)

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
                "read": ((tab.read,), self._read_part.refresh),
                "sized": ((tab.looked, tab.record), self._sized_part.refresh),
                "pulls": ((tab.looked, tab.record), self._pulls_part.refresh),
                "plan": ((tab.record is None,), self._plan_part.refresh),
                "record": ((tab.record,), lambda: [refresh() for refresh in self._parts]),
                "trouble": ((tab.trouble,), lambda: [refresh() for refresh in self._troubles]),
                "next": (
                    (
                        tab.progress and tab.progress.step,
                        tab.stale,
                        tab.path,
                        tab.looked,
                        tab.record,
                        tab.trouble,
                    ),
                    self._next.refresh,
                ),
                "ease": ((tab.record,), self._ease_part.refresh),
                "summary": ((tab.record,), self._summary_part.refresh),
                "seams": ((tab.record, tab.seam), self._seams.refresh),
                "price": ((tab.seam,), self._view.tell_price),
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
