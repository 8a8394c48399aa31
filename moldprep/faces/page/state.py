"""One tab: which form lies on it, what was asked, what came back, and what is being worked on.

Work goes read, look, plan. A change starts it again from the first step that it touches; what runs by then is
stopped. Answers of an older question are never shown for a newer one.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from ...errors import Cancelled, RequestError
from ...job import Job
from .messages import Looked, Planned, Read, SeamPrice
from .workshop import Workshop

Step = Literal["read", "look", "plan"]
STEPS: tuple[Step, ...] = ("read", "look", "plan")
STAGES = (
    *(
        "read the form",
        "size the master",
        "stand it in its mold",
        "find the cast's inside",
        "study the pulls",
    ),
    *(
        "choose the cottle",
        "find the seams",
        "cut the pieces",
        "look for an easier form",
        "prove that it opens",
    ),
    *("look for thin plaster", "make the boards", "weigh the pours", "plan the cast", "hold it to drain"),
    "plan the print",
)
"""What a plan goes through, as its watch hears it."""
KINDS = {"glb": "model/gltf-binary", "png": "image/png"}
"""Media types of what a tab shows, by suffix."""


@dataclass(frozen=True)
class Trouble:
    """A request that could not be met: at which step, and the sentence that the command line has for it."""

    step: Step
    code: str
    says: str


@dataclass(frozen=True)
class Progress:
    """What is being worked on: the stage's name, and units done of units to do where they are known."""

    step: Step
    stage: str
    done: int = 0
    of: int = 0

    @property
    def share(self) -> float:
        """How much of the way is behind, 0 to 1, stages counted alike."""
        if self.stage not in STAGES:
            return 0.0
        return (STAGES.index(self.stage) + (self.done / self.of if self.of else 0.0)) / len(STAGES)


class Tab:
    """The state behind one open page. `changed` is called, in the event loop, whenever something of it did.

    read, looked, planned: answers to the questions asked last, None before there is one. record: of `planned`, parsed.
    stale: what is shown belongs to an earlier question. wanted: the last step to be done. seam: the price of the
    seams as they are dragged, None when they lie where they were planned. made: bytes that the browser may fetch, by
    name.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self.token = secrets.token_urlsafe(16)
        self.job = Job()
        self.path: Path | None = None
        self.file_name = ""
        self.read: Read | None = None
        self.looked: Looked | None = None
        self.planned: Planned | None = None
        self.record: dict[str, Any] | None = None
        self.trouble: Trouble | None = None
        self.progress: Progress | None = None
        self.seam: SeamPrice | None = None
        self.stale = False
        self.wanted: Step = "look"
        self.made: dict[str, bytes] = {}
        self.workshop = Workshop(self._heard)
        self._changed = changed
        self._work: asyncio.Task[None] | None = None
        self._stopped: asyncio.Task[None] | None = None
        self._next_seam: tuple[tuple[float, ...], float | None] | None = None
        self._pricing = False
        self._count = 0
        self._answered: dict[Step, object] = {}

    async def close(self) -> None:
        """End the work and its process."""
        self.workshop.cancel()
        await self.workshop.close()

    def take(self, path: Path, name: str, job: Job) -> None:
        """A form was put down: look at it."""
        self.path, self.file_name, self.job = path, name, job
        self.read = self.looked = self.planned = self.record = self.seam = None
        self._answered.clear()
        self.wanted = "look"
        self._again()

    def ask(self, job: Job) -> None:
        """The job was changed; the work is done again as far as it had been asked for."""
        self.job = job
        self.seam = None
        if self.path is not None:
            self._again()

    def plan(self) -> None:
        """The maker wants the whole mold."""
        self.wanted = "plan"
        if self.path is not None:
            self._again()

    def cancel(self) -> None:
        """Stop what runs; what was there before stays."""
        if self.planned is None:
            self.wanted = "look"
        self._stop()

    @property
    def busy(self) -> bool:
        return self._work is not None and not self._work.done()

    async def drag(self, planes_mm: tuple[float, ...], azimuth_deg: float | None = None) -> None:
        """Price the seams where they are held now, the halves' plane turned to an azimuth when one is given; of prices asked for faster than they come, the latest counts.

        A plan that is being made for where they were let go before is stopped.
        """
        self._next_seam = planes_mm, azimuth_deg
        if self._pricing or self.planned is None:
            return
        self._pricing = True
        try:
            if self.busy and self._work is not None:
                self._stop()
                await asyncio.wait([self._work])
            while self._next_seam is not None:
                held, self._next_seam = self._next_seam, None
                self.seam = await self.workshop.seam(*held)
                self._changed()
        except (Cancelled, RequestError):
            self.seam = None
        finally:
            self._pricing = False

    def keep(self, stem: str, suffix: str, data: bytes) -> str:
        """Bytes for the browser; their address. An earlier one of that stem is dropped."""
        for name in [name for name in self.made if name.rpartition("-")[0] == stem]:
            del self.made[name]
        self._count += 1
        name = f"{stem}-{self._count}.{suffix}"
        self.made[name] = data
        return f"/made/{self.token}/{name}"

    def _stop(self) -> None:
        """What is asked of the workshop ends, and what is about to be asked is not."""
        self._stopped = self._work
        self.workshop.cancel()

    def _again(self) -> None:
        """Start the work anew, after what runs has stopped."""
        before = self._work
        if self.busy:
            self._stop()
        self.stale = self.planned is not None or self.looked is not None
        self.trouble = None
        self._work = asyncio.create_task(self._run(before))

    async def _run(self, before: asyncio.Task[None] | None) -> None:
        own, job = asyncio.current_task(), self.job
        if before is not None:
            await asyncio.wait([before])
        if self._work is not own:
            return  # something newer waits already
        step: Step = "read"
        try:
            for step in STEPS[: STEPS.index(self.wanted) + 1]:
                self.progress = Progress(
                    step, {"read": "read the form", "look": "look at it", "plan": "plan"}[step]
                )
                self._changed()
                if self._stopped is own:
                    raise Cancelled(step)
                await self._do(step, job)
                if self._work is not own:
                    return
            self.stale = False
        except Cancelled:
            pass
        except RequestError as error:
            self.trouble = Trouble(step, error.code, str(error))
            self._forget_from(step)
        finally:
            if self._work is own:
                self.progress = None
                self._changed()

    async def _do(self, step: Step, job: Job) -> None:
        """One step, unless its answer is there for the same question."""
        question = _question(step, job)
        if self._answered.get(step) == question:
            return
        assert self.path is not None
        if step == "read":
            self.read = await self.workshop.read(self.path, self.file_name, job.form)
        elif step == "look":
            self.looked = await self.workshop.look(job)
        else:
            self.planned = await self.workshop.plan(job)
            self.record = json.loads(self.planned.record)
            self.seam = None
        self._answered[step] = question

    def _forget_from(self, step: Step) -> None:
        """An answer that could not be had takes later ones along: they were about something else."""
        for later in STEPS[STEPS.index(step) :]:
            self._answered.pop(later, None)
        if step == "read":
            self.read = None
        if step in ("read", "look"):
            self.looked = None
        self.planned = self.record = self.seam = None

    def _heard(self, stage: str, done: int, of: int) -> None:
        if self.progress is not None:
            self.progress = Progress(self.progress.step, stage, done, of)


def _question(step: Step, job: Job) -> object:
    """The part of the job that a step's answer rests on; the parts before it are asked first."""
    if step == "read":
        return job.form
    if step == "look":
        return job.form, job.shrinkage, job.target, job.stand, job.pull, job.cottle.wall_mm, job.cast
    return job
