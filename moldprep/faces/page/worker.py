"""The planning process: it keeps the form, what the stages found, and the last plan.

One thread takes the requests, so that a cancel is heard while the other works.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields
from functools import cached_property
from multiprocessing.connection import Connection
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from time import monotonic
from typing import IO, Any

from ...errors import Cancelled, FileError, Point, RequestError
from ...findings import any_stop, worst_first
from ...geometry.mesh import Mesh
from ...job import Job
from ...master import Master
from ...parting.steering import Steering
from ...planning import Plan, check, memo_for, plan
from ...sheet.bundle import plan_files
from ...sheet.paper import sheet_inputs, sheet_pdf, sheet_pngs
from ...sheet.record import check_record, record_hash, record_json
from ...sheet.views import class_view, part_views
from ...working import Memo, Watch
from .crossing import Answer, Ask, Cancel, Parcel, Refused, Stage, refusal_of
from .messages import Looked, PartView, Planned, SeamPrice

SPACING_S = 0.05
"""Between two steps that are told: twenty a second are enough for a bar."""
_FIRST_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold; the same plan gives the same bytes."""


class Desk:
    """What the page may ask for, request by request."""

    def __init__(self) -> None:
        self._master: Master | None = None
        self._memo = Memo()
        self._made: _Made | None = None

    def take(self, parcel: Parcel, *, watch: Watch) -> None:
        """A form that was read takes the place of the last one, and of all that was found about it."""
        self._master = parcel.master()
        self._memo = memo_for(self._master)
        self._keep(None)

    def look(self, job: Job, *, watch: Watch) -> Looked:
        """The form checked, and coloured for the study's first pull."""
        master = self._form()
        sizing, stand, study = check(master, job, watch=watch, memo=self._memo)
        watch.stage("draw it")
        findings = worst_first(master.findings + sizing.findings + stand.findings + study.findings)
        return Looked(
            record=check_record(master, sizing, stand, study, findings),
            classes=class_view(stand.mesh, study.pulls[0].face_class),
            bounds=_bounds(stand.mesh),
        )

    def plan(self, job: Job, *, watch: Watch) -> Planned:
        """The form's mold; it takes the place of the last plan once it is whole. The same again is not made again."""
        if self._made is not None and self._made.plan.job == job:
            return self._made.shown
        made = _Made(plan(self._form(), job, watch=watch, memo=self._memo))
        watch.stage("draw it")
        shown = made.shown
        self._keep(made)
        return shown

    def seam(self, planes_mm: tuple[float, ...], azimuth_deg: float | None, *, watch: Watch) -> SeamPrice:
        """What the plan's seams would cost elsewhere."""
        steered = self._plan().steering.price(planes_mm, azimuth_deg)
        return SeamPrice(**{one.name: getattr(steered, one.name) for one in fields(SeamPrice)})

    def pages(self, dots_per_inch: int, *, watch: Watch) -> list[bytes]:
        """The sheet's pages as PNG pictures."""
        watch.stage("set the sheet")
        return self._plan().pages(dots_per_inch)

    def sheet(self, *, watch: Watch) -> bytes:
        """The sheet as PDF."""
        watch.stage("set the sheet")
        return self._plan().sheet

    def names(self, *, watch: Watch) -> tuple[str, ...]:
        """The names of all files."""
        return tuple(self._plan().packed(watch).namelist())

    def file(self, name: str, *, watch: Watch) -> bytes:
        """One file."""
        made = self._plan()
        ready = {"sheet.pdf": lambda: made.sheet, "plan.json": lambda: made.record}
        if name in ready:
            return ready[name]()
        archive = made.packed(watch)
        if name not in archive.namelist():
            raise FileError(
                f"The plan has no file {name!r}.",
                code="file-unknown",
                remedy=f"It has {', '.join(archive.namelist())}.",
            )
        return archive.read(name)

    def bundle(self, path: Path, *, watch: Watch) -> None:
        """All files as one zip at `path`, whole or not at all."""
        self._plan().packed(watch)
        beside = path.with_name(f"{path.name}.part")
        try:
            with beside.open("wb") as out:
                self._plan().copy_to(out)
            os.replace(beside, path)
        except OSError as error:
            with suppress(OSError):
                beside.unlink()
            raise FileError(
                f"The files cannot be put together: {error.strerror or error}.",
                code="bundle-unwritable",
                remedy="Make room on the disk.",
            ) from error

    def _keep(self, made: _Made | None) -> None:
        if self._made is not None:
            self._made.close()
        self._made = made

    def _form(self) -> Master:
        if self._master is None:
            raise RequestError(
                "There is no form yet.", code="no-form", remedy="Hand in a file, or take a sample."
            )
        return self._master

    def _plan(self) -> _Made:
        if self._made is None:
            raise RequestError("There is no plan yet.", code="no-plan", remedy="Plan the mold first.")
        return self._made


class _Made:
    """A plan and what was made from it, each once."""

    def __init__(self, made: Plan) -> None:
        self.plan = made
        self._pages: dict[int, list[bytes]] = {}
        self._packed: tuple[zipfile.ZipFile, IO[bytes]] | None = None

    @cached_property
    def shown(self) -> Planned:
        return Planned(
            record=self.record,
            hash=record_hash(self.record),
            stop=any_stop(self.plan.findings),
            parts=tuple(
                PartView(part.letter, part.name, part.tint, part.apart, part.glb)
                for part in part_views(self.plan)
            ),
            classes=class_view(self.plan.stand.mesh, self.plan.pieces.face_class),
            bounds=_bounds(self.plan.stand.mesh),
            highest_mm=self.plan.stand.rim_mm,
        )

    @cached_property
    def _inputs(self) -> dict[str, bytes]:
        """The sheet's pictures and words, shaded and drawn once for its pages, its PDF and the zip."""
        return sheet_inputs(self.plan, paper=self.plan.job.sheet.paper)

    @cached_property
    def record(self) -> bytes:
        return record_json(self.plan)

    @cached_property
    def steering(self) -> Steering:
        return Steering(self.plan.stand, self.plan.parting, self.plan.job.parting)

    @cached_property
    def sheet(self) -> bytes:
        return sheet_pdf(self.plan, inputs=self._inputs)

    def pages(self, dots_per_inch: int) -> list[bytes]:
        if dots_per_inch not in self._pages:
            self._pages[dots_per_inch] = sheet_pngs(
                self.plan, dots_per_inch=dots_per_inch, inputs=self._inputs
            )
        return self._pages[dots_per_inch]

    def packed(self, watch: Watch) -> zipfile.ZipFile:
        """All files, in a zip on a temporary file that has no name and goes with this process."""
        if self._packed is None:
            watch.stage("write the files")
            files = plan_files(self.plan, inputs=self._inputs)
            place = tempfile.TemporaryFile()  # noqa: SIM115 it stays open as long as the plan does
            try:
                with zipfile.ZipFile(place, "w") as archive:
                    for done, (name, data) in enumerate(files.items()):
                        watch.step(done, len(files))
                        archive.writestr(_entry(name), data, compresslevel=1)
                self._packed = zipfile.ZipFile(place), place
            except BaseException:
                place.close()
                raise
        return self._packed[0]

    def close(self) -> None:
        """The temporary file goes."""
        if self._packed is not None:
            for held in self._packed:
                held.close()

    def copy_to(self, out: IO[bytes]) -> None:
        """The whole zip, when it is packed."""
        assert self._packed is not None
        self._packed[1].seek(0)
        shutil.copyfileobj(self._packed[1], out, 1 << 20)


class _Told(Watch):
    """Tells stages and steps of a request, and raises Cancelled once it is no longer wanted."""

    def __init__(self, tell: Callable[[Stage], None], number: int, cancelled: set[int]) -> None:
        self._tell, self._number, self._cancelled = tell, number, cancelled
        self._name, self._told = "", 0.0

    def stage(self, name: str) -> None:
        self._check()
        self._name, self._told = name, 0.0  # the first step is always told
        self._tell(Stage(self._number, name))

    def step(self, done: int, of: int) -> None:
        self._check()
        now = monotonic()
        if now - self._told >= SPACING_S:
            self._told = now
            self._tell(Stage(self._number, self._name, done, of))

    def _check(self) -> None:
        if self._number in self._cancelled:
            raise Cancelled


def work(pipe: Connection) -> None:
    """Answer requests until the page is gone."""
    inbox: SimpleQueue[tuple[Ask, tuple[Any, ...]] | None] = SimpleQueue()
    cancelled: set[int] = set()
    Thread(target=_receive, args=(pipe, inbox, cancelled), daemon=True, name="requests").start()
    desk = Desk()
    while (asked := inbox.get()) is not None:
        ask, given = asked
        try:
            value = getattr(desk, ask.what)(*given, watch=_Told(pipe.send, ask.number, cancelled))
            answer: Answer | Refused = Answer(ask.number, value)
        except Exception as error:
            answer = Refused(ask.number, refusal_of(error))
        try:
            pipe.send(answer)
        except OSError:
            return  # nobody is left to hear it


def _receive(
    pipe: Connection, inbox: SimpleQueue[tuple[Ask, tuple[Any, ...]] | None], cancelled: set[int]
) -> None:
    """Take requests, a master's blocks with them, and cancels."""
    with suppress(EOFError, OSError):
        while True:
            asked: Ask | Cancel = pipe.recv()
            if isinstance(asked, Cancel):
                cancelled.add(asked.number)
                continue
            given = asked.given
            if asked.header is not None:
                blocks = tuple(pipe.recv_bytes() for _ in range(asked.header.blocks))
                given = (Parcel(asked.header, blocks), *given)
            inbox.put((asked, given))
    inbox.put(None)


def _entry(name: str) -> zipfile.ZipInfo:
    """An entry whose bytes depend on nothing but its name."""
    entry = zipfile.ZipInfo(name, date_time=_FIRST_DATE)
    entry.create_system = 3  # else the system that it was written on
    entry.external_attr = 0o644 << 16
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


def _bounds(mesh: Mesh) -> tuple[Point, Point]:
    low, high = ((float(x), float(y), float(z)) for x, y, z in mesh.bounds)
    return low, high
