"""The trade in order: what is kept, what is done again, and how it stops."""

from __future__ import annotations

import dataclasses
import importlib
from collections import Counter
from collections.abc import Callable
from functools import partial

import msgspec
import numpy as np
import pytest

from moldprep.errors import Cancelled
from moldprep.faces.page.state import STAGES as SHOWN
from moldprep.files.read import read_master
from moldprep.findings import Finding, worst_first
from moldprep.geometry.mesh import Mesh
from moldprep.job import Job, job_from_dict
from moldprep.master import Master
from moldprep.planning import LARGE_FACES, Plan, check, memo_for, plan
from moldprep.sheet.record import record_json
from moldprep.working import Memo, Watch
from tests.samples import FOLDER, planned

RESULTS = (
    "sizing",
    "stand",
    "inside",
    "study",
    "block",
    "parting",
    "pieces",
    "ease",
    "release",
    "thin",
    "boards",
    "pours",
    "casting",
    "drain",
    "printing",
)
MADE = {"pieces", "ease", "release", "thin", "boards", "pours", "casting", "drain", "printing"}
"""What follows from the pieces."""
JOB = job_from_dict({"shrinkage": {"total_percent": 10}, "parting": {"azimuths": 4, "grid": 48}})


@pytest.fixture(scope="module")
def master() -> Master:
    return read_master(FOLDER / "tumbler.stl", JOB.form)


@pytest.fixture(scope="module")
def recorder() -> Recorder:
    """It watches the first plan."""
    return Recorder()


@pytest.fixture(scope="module")
def remembered(master: Master, recorder: Recorder) -> tuple[Memo, Plan]:
    """A memo that drops nothing, and the first plan in it."""
    memo = Memo(1000)
    return memo, plan(master, JOB, watch=recorder, memo=memo)


def changed(**keys: dict[str, object]) -> Job:
    raw = msgspec.to_builtins(JOB)
    for part, values in keys.items():
        raw[part] |= values
    return job_from_dict(raw)


def kept(before: Plan, after: Plan) -> set[str]:
    """Stages whose result is the very same object."""
    return {name for name in RESULTS if getattr(before, name) is getattr(after, name)}


@pytest.mark.parametrize(
    ("keys", "again"),
    [
        ({}, set()),
        ({"sheet": {"paper": "letter"}}, set()),
        ({"plaster": {"consistency": 75}}, {"pours", "casting", "drain", "printing"}),
        ({"printer": {"infill_percent": 20}}, {"printing"}),
        ({"printer": {"bed_mm": [150, 150, 150]}}, {"boards", "printing"}),
        ({"cast": {"wall_mm": 5}}, {"inside", "casting", "drain"}),
        ({"cast": {"trials": [{"minutes": 10, "wall_mm": 4}]}}, {"casting"}),
        ({"drain": {"most_left_ml": 2}}, {"drain"}),
        ({"studio": {"molds": 2}}, set()),
        ({"ease": {"most_taper_deg": 1}}, {"ease"}),
        ({"boards": {"lip_mm": 10}}, {"boards", "pours", "casting"}),
        ({"pieces": {"chamfer_mm": 1}}, MADE),
        ({"parting": {"azimuths": 5}}, {"parting"} | MADE),
        ({"cottle": {"rings_mm": [300]}}, {"block", "parting"} | MADE),
        ({"pull": {"tolerance_mm": 0.2}}, {"study", "parting"} | MADE),
        ({"cottle": {"wall_mm": 33}}, set(RESULTS) - {"sizing", "inside", "study"}),
        ({"stand": {"floor_mm": 50}}, set(RESULTS) - {"sizing", "inside", "study"}),
        ({"stand": {"spare_depth_mm": 30}}, set(RESULTS) - {"sizing"}),
        ({"shrinkage": {"clay": "porcelain"}}, {"sizing"}),
        ({"shrinkage": {"total_percent": 11}}, set(RESULTS)),
    ],
    ids=lambda value: str(value) if isinstance(value, dict) else "",
)
def test_only_what_a_change_concerns_is_done_again(
    keys: dict[str, dict[str, object]], again: set[str], master: Master, remembered: tuple[Memo, Plan]
) -> None:
    memo, first = remembered
    second = plan(master, changed(**keys), memo=memo)
    assert kept(first, second) == set(RESULTS) - again
    assert kept(first, plan(master, JOB, memo=memo)) == set(RESULTS)


@pytest.mark.parametrize(
    "keys",
    [
        {"plaster": {"consistency": 75}},
        {"cottle": {"wall_mm": 33}},
        {"shrinkage": {"clay": "porcelain"}},
        {"shrinkage": {"total_percent": 11}},
        {"shrinkage": {"height_percent": 11}, "cast": {"wall_mm": 5}},
    ],
    ids=str,
)
def test_what_is_kept_changes_no_byte_of_an_answer(
    keys: dict[str, dict[str, object]], master: Master, remembered: tuple[Memo, Plan]
) -> None:
    memo, _ = remembered
    other = changed(**keys)
    assert record_json(plan(master, other, memo=memo)) == record_json(plan(master, other))


class Calls:
    """Counts the calls of functions of the package that it stands in for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
        self.made: Counter[str] = Counter()
        for name in names:
            monkeypatch.setattr(f"moldprep.{name}", self._counted(name))

    def _counted(self, name: str) -> Callable[..., object]:
        module, _, function = name.rpartition(".")
        own = getattr(importlib.import_module(f"moldprep.{module}"), function)

        def counted(*args: object, **keys: object) -> object:
            self.made[name] += 1
            return own(*args, **keys)

        return counted


WORK = (
    "pull.shortlisted",
    "planning.study_pulls",
    "planning.part_mold",
    "planning.cut_pieces",
    "planning.prove_release",
    "planning.plan_boards",
    "inside.distance_field",
    "printing.cut_sections",
    "parting.choice.tabulate",
)


@pytest.mark.parametrize(
    ("keys", "again"),
    [
        ({"plaster": {"consistency": 80}}, set()),
        ({"shrinkage": {"clay": "bone china"}}, set()),
        ({"cottle": {"wall_mm": 36}}, set(WORK[3:6]) | {"planning.part_mold", "printing.cut_sections"}),
        ({"shrinkage": {"total_percent": 9}}, set(WORK) - {"pull.shortlisted"}),
        ({"target": {"height_mm": 80}}, set(WORK) - {"pull.shortlisted"}),
    ],
    ids=lambda value: str(value) if isinstance(value, dict) else "",
)
def test_neither_clay_nor_wall_nor_consistency_repeats_the_search(
    keys: dict[str, dict[str, object]],
    again: set[str],
    master: Master,
    remembered: tuple[Memo, Plan],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    memo, _ = remembered
    calls = Calls(monkeypatch, *WORK)
    plan(master, changed(**keys), memo=memo)
    assert set(calls.made) == again
    calls.made.clear()
    plan(master, JOB, memo=memo)
    assert not calls.made


def test_a_plan_takes_up_what_a_check_has_found(master: Master, monkeypatch: pytest.MonkeyPatch) -> None:
    memo, calls = Memo(), Calls(monkeypatch, "planning.size_master", "planning.stand_master", *WORK)
    sizing, stand, study = check(master, JOB, memo=memo)
    made = plan(master, JOB, memo=memo)
    assert made.sizing is sizing and made.stand is stand and made.study is study
    assert calls.made == Counter(dict.fromkeys(calls.made, 1))


def test_a_memo_holds_the_answer_before_and_the_one_before_that(master: Master) -> None:
    fine = dataclasses.replace(master, mesh=Mesh(master.mesh.vertices, np.zeros((LARGE_FACES + 1, 3), int)))
    for form, answers in ((fine, 2), (master, 10)):
        memo, made = memo_for(form), Counter[int]()
        for answer in 2 * [*range(answers)]:
            for part in range(32):
                memo.get(f"part {part}", (), answer, partial(made.update, [answer]))
        assert made == Counter(dict.fromkeys(range(answers), 32))


def test_a_slip_of_another_density_does_not_fit_a_weight_again(
    master: Master, monkeypatch: pytest.MonkeyPatch
) -> None:
    memo, calls = Memo(), Calls(monkeypatch, "planning.fitted", "inside.distance_field")
    first = changed(target={"weight_g": 200})
    sizing, _, _ = check(master, first, memo=memo)
    rounds = calls.made["inside.distance_field"]
    thin = changed(target={"weight_g": 200}, cast={"slip_g_ml": 1.7})
    assert check(master, thin, memo=memo)[0] is sizing
    assert calls.made == {"planning.fitted": 1, "inside.distance_field": rounds}
    assert sizing.scale == check(master, thin)[0].scale


class Recorder(Watch):
    """Writes down the stages, and cancels at one of them or at a step of it."""

    def __init__(self, cancel_at: str = "", *, steps: bool = False) -> None:
        self.stages: list[str] = []
        self.stepped: set[str] = set()
        self._cancel_at, self._steps = cancel_at, steps

    def stage(self, name: str) -> None:
        self.stages.append(name)
        if name == self._cancel_at and not self._steps:
            raise Cancelled

    def step(self, done: int, of: int) -> None:
        assert 0 <= done <= of
        self.stepped.add(self.stages[-1])
        if self.stages[-1] == self._cancel_at and self._steps:
            raise Cancelled


STAGES = [
    "size the master",
    "stand it in its mold",
    "find the cast's inside",
    "study the pulls",
    "choose the cottle",
    "find the seams",
    "cut the pieces",
    "look for an easier form",
    "prove that it opens",
    "look for thin plaster",
    "make the boards",
    "weigh the pours",
    "plan the cast",
    "hold it to drain",
    "plan the print",
]
LONG = ["study the pulls", "find the seams", "cut the pieces", "prove that it opens"]
"""Stages that take more than a second on a large mesh step between their units of work."""


def test_the_page_s_bar_knows_the_stages() -> None:
    assert list(SHOWN[1:]) == STAGES  # the first is the reading


def test_the_watch_sees_the_stages_in_the_order_of_the_work(
    remembered: tuple[Memo, Plan], recorder: Recorder
) -> None:
    assert recorder.stages == STAGES
    assert recorder.stepped >= set(LONG)


@pytest.fixture(scope="module")
def solid(master: Master) -> tuple[Job, bytes]:
    """A job without a hollow, which no stage that can be cancelled looks at, and its record in one go."""
    job = changed(cast={"mode": "solid"})
    return job, record_json(plan(master, job))


@pytest.mark.parametrize("steps", [False, True], ids=["at its beginning", "between units of work"])
@pytest.mark.parametrize("at", LONG)
def test_a_cancelled_plan_stops_there_and_can_be_taken_up_again(
    at: str, steps: bool, master: Master, solid: tuple[Job, bytes]
) -> None:
    (job, record), memo, watch = solid, Memo(32), Recorder(at, steps=steps)
    with pytest.raises(Cancelled):
        plan(master, job, watch=watch, memo=memo)
    assert watch.stages == STAGES[: STAGES.index(at) + 1]
    assert record_json(plan(master, job, memo=memo)) == record


def test_a_check_is_the_first_half_of_a_plan(master: Master, remembered: tuple[Memo, Plan]) -> None:
    _, whole = remembered
    sizing, stand, study = check(master, JOB)
    assert sizing.master_size_mm == whole.sizing.master_size_mm
    assert (stand.opening, stand.rim_mm, stand.floor_mm) == (
        whole.stand.opening,
        whole.stand.rim_mm,
        whole.stand.floor_mm,
    )
    assert [pull.verdict for pull in study.pulls] == [pull.verdict for pull in whole.study.pulls]


def test_findings_of_all_stages_stand_in_the_plan_the_worst_first() -> None:
    made = planned("three-lug-vase")
    ranks = ["stop", "warn", "note"]
    levels = [ranks.index(finding.level) for finding in made.findings]
    assert levels == sorted(levels) and levels[0] == 0
    stages = (made.master, made.dry, *(getattr(made, name) for name in RESULTS))
    every = [finding for stage in stages for finding in stage.findings]
    assert sorted(map(repr, every)) == sorted(map(repr, made.findings))


def test_equal_levels_keep_the_order_in_which_they_were_found() -> None:
    found = tuple(Finding(level, code, "") for level, code in [("note", "a"), ("stop", "b"), ("note", "c")])
    assert [finding.code for finding in worst_first(found)] == ["b", "a", "c"]
