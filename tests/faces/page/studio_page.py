"""Serves the studio's part alone: `python -m tests.faces.page.studio_page PORT FOLDER`, for the library
FOLDER/NAME/library.db at /NAME. Has a plan and its form at hand."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from nicegui import ui

from moldprep.faces.page.library import Library
from moldprep.faces.page.studio import Current, StudioPart
from moldprep.files.studio import SavedJob
from moldprep.job import Job
from tests.studios import DIGEST, FORM, PLAN_JOB, RECORD


class Mm:
    """Lengths in mm."""

    suffix = "mm"

    def length(self, mm: float) -> str:
        return f"{mm:g} mm"

    def number(self, mm: float) -> float:
        return mm

    def to_mm(self, value: float) -> float:
        return value


def page(library: Path) -> None:
    """What the whole page would hand to the part; what came into the job is shown under it."""
    form = library.parents[1] / "bowl.stl"  # the library's own folder is not there yet
    form.write_bytes(FORM)
    now = Current(PLAN_JOB, RECORD, "bowl.stl", DIGEST, form)

    async def use_job(job: Job, saved: SavedJob | None) -> None:
        nonlocal now
        now = replace(now, job=job)
        tell()

    async def open_form(data: bytes, name: str, job: Job) -> None:
        nonlocal now
        now = replace(now, job=job, form_name=name)
        tell(f" with {len(data)} bytes of {name}")

    def tell(more: str = "") -> None:
        shrinkage, cast = now.job.shrinkage, now.job.cast
        shown.text = f"{len(shrinkage.bars)} bars of {shrinkage.clay}, {len(cast.trials)} trials{more}"

    ui.query("body").style("background: #f7f2e8")
    with ui.element("main").style("padding: 16px; max-width: 64rem; width: 100%; box-sizing: border-box"):
        StudioPart(Library(library), Mm(), current=lambda: now, use_job=use_job, open_form=open_form).build()
        shown = ui.label("").props("id=job")
        tell()


if __name__ in ("__main__", "__mp_main__"):
    port, folder = sys.argv[1:]

    @ui.page("/{name}")
    def named(name: str) -> None:
        """One library each, so that tests need not wait for a server of their own."""
        page(Path(folder) / name / "library.db")

    ui.run(
        host="127.0.0.1",
        port=int(port),
        show=False,
        reload=False,
        show_welcome_message=False,
        reconnect_timeout=600,  # a busy machine may keep a page waiting
    )
