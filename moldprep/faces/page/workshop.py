"""What one browser tab asks of its planning process and its reading child, request by request.

The page's event loop is never held up: what may last is done by the processes, and threads wait for them.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from ...errors import Cancelled, MoldprepError, RequestError
from ...job import FormJob, Job
from .crossing import Parcel, Stage, refusal_of
from .link import Link, first_of, in_thread
from .messages import Looked, Planned, Read, SeamPrice
from .reading import Intake, Limits

T = TypeVar("T")

PATIENCE_S = 10.0
"""How long a cancel may go unheeded before the process is ended: with a million triangles some stages take a step
every few seconds only. The maker does not wait for it, only the next request does."""
READING = "read the form"
"""The reading's name as a stage."""


class Workshop:
    """Reads, checks and plans one form; one request at a time, the others wait for their turn.

    Every request raises what the work raises (RequestError and its kinds); Cancelled after `cancel`, at once;
    and RequestError "planning-died" when the process broke down, which is then started anew. What it held is
    restored when next needed: the form is read again, the plan made again.
    """

    def __init__(self, on_stage: Callable[[str, int, int], None], *, limits: Limits | None = None) -> None:
        """`on_stage` hears a stage's name, done and of (0, 0 as it begins), in the event loop. `limits` are
        those of the reading, the machine's when left out."""
        self._on_stage = on_stage
        self.intake = Intake(limits)
        self._link: Link | None = None
        self._turn = asyncio.Lock()
        self._calls: set[_Call] = set()
        self._turns: set[asyncio.Task[Any]] = set()
        self._running: _Call | None = None
        self._moved: _Call | None = None  # the last seam that was asked for
        self._closed = False
        self._form: _Source | None = None  # what the page was given, ...
        self._planned: Job | None = None
        self._held: _Source | None = None  # ... and what the process holds
        self._made: Job | None = None

    async def start(self) -> None:
        """Start the processes; they go on importing after this returns."""
        await self._at_hand()
        await in_thread(self.intake.warm)

    async def read(self, path: Path, name: str, form: FormJob) -> Read:
        """Read the form in the file at `path`, which the maker calls `name`; it takes the place of the last.

        Raises all that `files.read.read_master` raises, and what `Intake.read` adds. The file must stay as
        long as the form is in use: it is read again where a job reads it otherwise.
        """
        source = _Source(path, name, form)

        async def bring(call: _Call) -> Read:
            return (await self._bring(call, source)).read()

        read = await self._in_turn(bring)
        self._form, self._planned = source, None
        return read

    async def look(self, job: Job) -> Looked:
        """Check the form."""

        async def look(call: _Call) -> Looked:
            await self._with_form(call, job)
            looked: Looked = await self._asked(call, "look", job)
            return looked

        return await self._in_turn(look)

    async def plan(self, job: Job) -> Planned:
        """Plan the form's mold; all below is of the last plan that was made to the end."""

        async def plan(call: _Call) -> Planned:
            return await self._plan(call, job)

        made = await self._in_turn(plan)
        self._planned = job
        return made

    async def seam(self, planes_mm: tuple[float, ...], azimuth_deg: float | None = None) -> SeamPrice:
        """What the plan's seams would cost elsewhere.

        Of requests that come faster than they are answered only the newest waits: one that it overtakes
        raises Cancelled.
        """

        async def seam(call: _Call) -> SeamPrice:
            price: SeamPrice = await self._of_plan(call, "seam", planes_mm, azimuth_deg)
            return price

        if self._moved is not None and self._moved is not self._running:
            self._moved.stop()
        self._moved = _Call()
        return await self._in_turn(seam, self._moved)

    async def pages(self, dots_per_inch: int) -> list[bytes]:
        """The sheet's pages as PNG pictures."""
        return await self._in_turn(lambda call: self._of_plan(call, "pages", dots_per_inch))

    async def sheet(self) -> bytes:
        """The sheet as PDF."""
        return await self._in_turn(lambda call: self._of_plan(call, "sheet"))

    async def names(self) -> tuple[str, ...]:
        """The names of the plan's files."""
        return await self._in_turn(lambda call: self._of_plan(call, "names"))

    async def file(self, name: str) -> bytes:
        """One of the plan's files; FileError "file-unknown", with their names, when it has no such file."""
        return await self._in_turn(lambda call: self._of_plan(call, "file", name))

    async def bundle(self, path: Path) -> None:
        """Write all of the plan's files as one zip to `path`; the same plan gives the same bytes."""
        await self._in_turn(lambda call: self._of_plan(call, "bundle", path))

    def cancel(self) -> None:
        """What runs, and what waits for its turn, raises Cancelled."""
        for call in tuple(self._calls):
            call.stop()

    async def close(self) -> None:
        """End all that runs; nothing is left of it. Later requests raise Cancelled."""
        self._closed = True
        self.cancel()
        await in_thread(self.intake.close)
        if self._link is not None:
            await in_thread(self._link.end)
        await asyncio.gather(*self._turns, return_exceptions=True)

    async def _in_turn(self, work: Callable[[_Call], Awaitable[T]], call: _Call | None = None) -> T:
        """What `work` returns when its turn has come.

        A cancel is answered at once, while the turn lasts until the process has heeded it.
        """
        call = call or _Call()
        self._calls.add(call)
        turn = asyncio.create_task(self._turn_of(call, work))
        self._turns.add(turn)
        turn.add_done_callback(self._over)
        try:
            await first_of(turn, call.stopped)
        finally:
            self._calls.discard(call)
            if not turn.done():
                call.stop()  # also where whoever asked is itself cancelled
        if turn.done():
            return turn.result()
        raise Cancelled

    async def _turn_of(self, call: _Call, work: Callable[[_Call], Awaitable[T]]) -> T:
        async with self._turn:
            if call.is_stopped or self._closed:
                raise Cancelled
            self._running = call
            try:
                return await work(call)
            except MoldprepError:
                raise
            except Exception as error:  # a process that cannot be started, for one
                raise refusal_of(error).error() from error
            finally:
                self._running = None

    def _over(self, turn: asyncio.Task[Any]) -> None:
        self._turns.discard(turn)
        if not turn.cancelled():
            turn.exception()  # nobody may have waited for it

    async def _asked(self, call: _Call, what: str, *given: Any, parcel: Parcel | None = None) -> Any:
        """The process's answer; where a cancel is not heeded in time, the process is ended and started anew."""
        link = await self._at_hand()
        call.number, answer = link.ask(what, given, parcel)
        await first_of(answer, call.stopped)
        if not answer.done():
            link.cancel(call.number)
            await first_of(answer, seconds=PATIENCE_S)
        if not answer.done():
            await in_thread(link.end)
            await self._at_hand()
            raise Cancelled
        return answer.result()

    async def _bring(self, call: _Call, source: _Source) -> Parcel:
        """Read a form and hand it to the process."""
        self._tell(call, READING, 0, 0)
        loop = asyncio.get_running_loop()

        def step(done: int, of: int) -> None:
            loop.call_soon_threadsafe(self._tell, call, READING, done, of)

        def read() -> Parcel:
            return self.intake.read(source.path, source.name, source.form, stop=call.flag, step=step)

        parcel = await in_thread(read)
        await self._asked(call, "take", parcel=parcel)
        self._held, self._made = source, None
        return parcel

    async def _with_form(self, call: _Call, job: Job) -> None:
        """See to it that the process holds the form, read as the job says."""
        if self._form is None:
            raise RequestError(
                "There is no form yet.", code="no-form", remedy="Hand in a file, or take a sample."
            )
        await self._at_hand()
        source = replace(self._form, form=job.form)
        if self._held != source:
            await self._bring(call, source)

    async def _plan(self, call: _Call, job: Job) -> Planned:
        await self._with_form(call, job)
        planned: Planned = await self._asked(call, "plan", job)
        self._made = job
        return planned

    async def _of_plan(self, call: _Call, what: str, *given: Any) -> Any:
        """An answer about the last plan that the page was given, which is made again where it was lost."""
        job = self._planned
        if job is None:
            raise RequestError("There is no plan yet.", code="no-plan", remedy="Plan the mold first.")
        await self._at_hand()
        if self._made != job:
            await self._plan(call, job)
        return await self._asked(call, what, *given)

    async def _at_hand(self) -> Link:
        """The process, started anew where it has gone."""
        if self._closed:
            raise Cancelled
        if self._link is None or self._link.lost:
            self._held = self._made = None
            self._link = Link(self._heard)
            await in_thread(self._link.start)
        return self._link

    def _heard(self, said: Stage) -> None:
        call = self._running
        if call is not None and call.number == said.number:
            self._tell(call, said.name, said.done, said.of)

    def _tell(self, call: _Call, name: str, done: int, of: int) -> None:
        if not call.is_stopped:
            self._on_stage(name, done, of)


@dataclass(frozen=True)
class _Source:
    """A file, its maker's name for it, and how it is read."""

    path: Path
    name: str
    form: FormJob


class _Call:
    """One request: whether it is still wanted. number: of what the process was last asked for it."""

    def __init__(self) -> None:
        self.stopped: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.flag = threading.Event()
        self.number = 0

    @property
    def is_stopped(self) -> bool:
        return self.flag.is_set()

    def stop(self) -> None:
        """It is no longer wanted; to be called in the event loop."""
        self.flag.set()
        if not self.stopped.done():
            self.stopped.set_result(None)
