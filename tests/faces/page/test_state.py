"""One tab's state: what is asked again after a change, what is stopped, and what is shown meanwhile."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from moldprep.errors import Cancelled, JobError
from moldprep.faces.page import state
from moldprep.faces.page.messages import Looked, Planned, Read, SeamPrice
from moldprep.faces.page.state import Tab
from moldprep.job import CastJob, FormJob, Job, PlasterJob, ShrinkageJob

FORM = Path("form.stl")
NOWHERE = ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))


class Slow:
    """Stands for the workshop: each answer takes a few turns of the loop, and can be stopped like the real one's."""

    def __init__(self, heard: Callable[[str, int, int], None]) -> None:
        self.asked: list[tuple[str, Any]] = []
        self.stopped = 0
        self.refuses: str | None = None
        self._stop = False
        self._runs = 0

    async def read(self, path: Path, name: str, form: FormJob) -> Read:
        await self._work("read", form)
        return Read(name, 4, "mm", (1.0, 1.0, 1.0), "0" * 64, ())

    async def look(self, job: Job) -> Looked:
        await self._work("look", job)
        return Looked({}, b"", NOWHERE)

    async def plan(self, job: Job) -> Planned:
        await self._work("plan", job)
        record = json.dumps({"wall": job.cast.wall_mm, "consistency": job.plaster.consistency}).encode()
        return Planned(record, "0" * 8, False, (), b"", NOWHERE, 100.0)

    async def seam(self, planes_mm: tuple[float, ...], azimuth_deg: float | None = None) -> SeamPrice:
        await self._work("seam", planes_mm)
        return SeamPrice(planes_mm, azimuth_deg, 2, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, (), 1.0)

    def cancel(self) -> None:
        self._stop = self._runs > 0

    async def close(self) -> None:
        pass

    async def _work(self, what: str, given: Any) -> None:
        self.asked.append((what, given))
        self._runs += 1
        try:
            for _ in range(5):
                await asyncio.sleep(0)
                if self._stop:
                    self.stopped += 1
                    raise Cancelled(what)
            if what == self.refuses:
                raise JobError("It cannot be.", code="never", remedy="Leave it.")
        finally:
            self._runs -= 1
            self._stop = False


def with_a_tab(work: Callable[[Tab, Slow], Awaitable[None]], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "Workshop", Slow)

    async def run() -> None:
        tab = Tab(lambda: None)
        workshop: Any = tab.workshop
        await work(tab, workshop)

    asyncio.run(run())


async def rest(tab: Tab) -> None:
    """Until nothing is being worked on."""
    while tab.busy:
        await asyncio.sleep(0)


def steps(workshop: Slow) -> list[str]:
    return [what for what, _ in workshop.asked]


def test_a_form_is_read_and_looked_at_and_planned_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        await rest(tab)
        assert steps(workshop) == ["read", "look"]
        assert tab.record is None
        tab.plan()
        await rest(tab)
        assert steps(workshop) == ["read", "look", "plan"]
        assert tab.record == {"wall": 4.0, "consistency": 70.0}
        assert not tab.stale

    with_a_tab(work, monkeypatch)


@pytest.mark.parametrize(
    ("job", "again"),
    [
        (Job(plaster=PlasterJob(consistency=75.0)), ["plan"]),
        (Job(shrinkage=ShrinkageJob(total_percent=12.0)), ["look", "plan"]),
        (Job(form=FormJob(units="cm")), ["read", "look", "plan"]),
    ],
    ids=["consistency", "clay", "file"],
)
def test_a_change_repeats_no_step_before_the_first_that_it_touches(
    job: Job, again: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        tab.plan()
        await rest(tab)
        workshop.asked.clear()
        tab.ask(job)
        assert tab.stale
        await rest(tab)
        assert steps(workshop) == again
        assert not tab.stale

    with_a_tab(work, monkeypatch)


def test_of_many_changes_the_last_is_answered_and_the_others_are_stopped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        tab.plan()
        await rest(tab)
        workshop.asked.clear()
        for wall in (3.0, 3.5, 5.0):
            tab.ask(Job(plaster=PlasterJob(consistency=60.0 + wall)))
            await asyncio.sleep(0)
            await asyncio.sleep(0)
        await rest(tab)
        assert tab.record is not None
        assert tab.record["consistency"] == 65.0
        planned = [given.plaster.consistency for what, given in workshop.asked if what == "plan"]
        assert planned[-1] == 65.0
        assert workshop.stopped == len(planned) - 1

    with_a_tab(work, monkeypatch)


def test_what_cannot_be_planned_is_told_and_the_form_stays_in_sight(monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        workshop.refuses = "plan"
        tab.plan()
        await rest(tab)
        assert tab.trouble is not None
        assert (tab.trouble.step, tab.trouble.code, tab.trouble.says) == (
            "plan",
            "never",
            "It cannot be. Leave it.",
        )
        assert tab.looked is not None
        assert tab.record is None
        workshop.refuses = None
        tab.ask(Job(cast=CastJob(wall_mm=5.0)))
        await rest(tab)
        assert tab.trouble is None
        assert tab.record is not None

    with_a_tab(work, monkeypatch)


def test_a_stopped_plan_leaves_what_was_there_and_says_that_it_is_old(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        tab.plan()
        await rest(tab)
        tab.ask(Job(plaster=PlasterJob(consistency=80.0)))
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        tab.cancel()
        await rest(tab)
        assert tab.record is not None
        assert tab.record["consistency"] == 70.0
        assert tab.stale
        assert tab.progress is None

    with_a_tab(work, monkeypatch)


def test_of_seams_dragged_faster_than_they_are_priced_the_latest_counts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        tab.plan()
        await rest(tab)
        workshop.asked.clear()
        await asyncio.gather(*(tab.drag((float(height),)) for height in range(10, 60)))
        assert tab.seam is not None
        assert tab.seam.planes_mm == (59.0,)
        assert len(workshop.asked) == 2  # the first, and the last

    with_a_tab(work, monkeypatch)


def test_a_dragged_seam_stops_the_plan_that_is_being_made(monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        tab.take(FORM, "form.stl", Job())
        tab.plan()
        await rest(tab)
        workshop.asked.clear()
        tab.ask(Job(plaster=PlasterJob(consistency=80.0)))
        while "plan" not in steps(workshop):
            await asyncio.sleep(0)
        await tab.drag((20.0,))
        assert workshop.stopped == 1
        assert tab.seam is not None
        assert tab.seam.planes_mm == (20.0,)

    with_a_tab(work, monkeypatch)


def test_only_what_was_made_last_is_given_to_the_browser(monkeypatch: pytest.MonkeyPatch) -> None:
    async def work(tab: Tab, workshop: Slow) -> None:
        first = tab.keep("part", "glb", b"one")
        other = tab.keep("partA", "glb", b"other")
        second = tab.keep("part", "glb", b"two")
        assert first != second
        assert {address.rpartition("/")[2] for address in (second, other)} == set(tab.made)
        assert tab.made[second.rpartition("/")[2]] == b"two"

    with_a_tab(work, monkeypatch)
