"""The record: keys that others rely on, finite numbers, the same bytes twice."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import msgspec
import pytest

from moldprep.job import Job, job_from_dict
from moldprep.planning import Plan, plan
from moldprep.sheet.record import FORMAT, record, record_hash, record_json
from moldprep.working import Memo, Watch
from tests.samples import planned

STEMS = ["tumbler", "bud-vase", "sphere"]

KEYS = {
    "master": {"triangles", "closed", "size_mm", "volume_mm3"},
    "sizing": {"shrinkage", "factor"},
    "stand": {"opening", "floor_mm", "spare_mm"},
    "pulls": {"direction", "gap_mm3", "one_way_mm3", "locked_mm2", "reach_mm", "tight_mm2", "pitch_mm"},
    "parting": {"family", "piece_count", "planes", "excess_mm3", "reach_mm", "seams"},
    "pieces": {"name", "pull", "volume_mm3", "least_draft_deg", "released"},
    "cottle": {"kind", "inner_mm", "fill_mm", "least_wall_mm"},
    "pours": {"piece", "pose", "solid_ml", "slurry_ml", "plaster_g", "water_g"},
    "findings": {"level", "code", "says", "where", "remedy"},
}


@pytest.mark.parametrize("stem", STEMS)
def test_the_keys_that_other_programs_rely_on(stem: str) -> None:
    found = json.loads(record_json(planned(stem)))
    assert found["format"] == FORMAT == "moldprep-plan/1"
    for part, keys in KEYS.items():
        rows = found[part] if isinstance(found[part], list) else [found[part]]
        for row in rows:
            assert keys <= set(row), part
    for seam in found["parting"]["seams"]:
        assert {"kind", "length_mm", "crease_share"} <= set(seam)
    assert len(found["sizing"]["factor"]) == 3


def numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for part in value.values() for number in numbers(part)]
    if isinstance(value, list):
        return [number for part in value for number in numbers(part)]
    return [value] if isinstance(value, float) else []


@pytest.mark.parametrize("stem", STEMS)
def test_numbers_are_finite_and_not_minus_zero(stem: str) -> None:
    for number in numbers(record(planned(stem))):
        assert math.isfinite(number)
        assert not (number == 0 and math.copysign(1, number) < 0)


@pytest.fixture(scope="module")
def again() -> tuple[Memo, Plan]:
    """The tumbler planned anew, and the memo that was empty before."""
    base, memo = planned("tumbler"), Memo()
    return memo, plan(base.master, base.job, memo=memo)


def test_the_same_input_gives_the_same_bytes(again: tuple[Memo, Plan]) -> None:
    first, (_, second) = planned("tumbler"), again
    assert record_json(first) == record_json(second)
    assert len(record_hash(record_json(first))) == 8


class Stages(Watch):
    """Counts the steps of each stage."""

    def __init__(self) -> None:
        self.seen: list[str] = []
        self.steps: dict[str, int] = {}

    def stage(self, name: str) -> None:
        self.seen.append(name)

    def step(self, done: int, of: int) -> None:
        assert 0 <= done <= of
        self.steps[self.seen[-1]] = self.steps.get(self.seen[-1], 0) + 1


def test_a_memo_spares_the_stages_that_a_change_does_not_touch(again: tuple[Memo, Plan]) -> None:
    (memo, first), watch = again, Stages()
    raw = Job(plaster=type(first.job.plaster)(consistency=80.0))
    second = plan(first.master, raw, memo=memo, watch=watch)
    assert second.study is first.study and second.parting is first.parting and second.pieces is first.pieces
    assert second.pours is not first.pours and second.pours.consistency == 80
    assert watch.seen[-1] == "plan the print" and "study the pulls" not in watch.steps


def test_the_job_comes_back_from_the_record_to_the_last_digit() -> None:
    made = planned("tumbler")
    fine = msgspec.structs.replace(made.job, cottle=msgspec.structs.replace(made.job.cottle, wall_mm=100 / 3))
    found = json.loads(record_json(replace(made, job=fine)))
    assert job_from_dict(found["job"]) == fine
