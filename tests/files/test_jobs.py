"""A job as text: only what differs, and the same job back."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from msgspec import inspect as kinds

from moldprep.files.jobs import job_text
from moldprep.job import Bar, BoardsJob, Job, ShrinkageJob, StretchJob, TargetJob, job_from_toml


def values(kind: kinds.Type) -> st.SearchStrategy[Any]:
    """All values that a declared type allows."""
    if isinstance(kind, kinds.UnionType):
        return st.one_of([values(one) for one in kind.types])
    if isinstance(kind, kinds.NoneType):
        return st.none()
    if isinstance(kind, kinds.BoolType):
        return st.booleans()
    if isinstance(kind, kinds.StrType):
        return st.text()
    if isinstance(kind, kinds.LiteralType):
        return st.sampled_from(sorted(kind.values))
    if isinstance(kind, kinds.IntType):
        return st.integers(kind.ge, kind.le)
    if isinstance(kind, kinds.FloatType):
        low, high = (kind.gt if kind.ge is None else kind.ge), (kind.lt if kind.le is None else kind.le)
        return st.floats(
            low, high, exclude_min=kind.gt is not None, exclude_max=kind.lt is not None, allow_nan=False
        )
    if isinstance(kind, kinds.VarTupleType):
        return st.lists(values(kind.item_type), max_size=3).map(tuple)
    if isinstance(kind, kinds.TupleType):
        return st.tuples(*(values(one) for one in kind.item_types))
    assert isinstance(kind, kinds.StructType)
    made = {field.name: values(field.type) for field in kind.fields}
    return st.fixed_dictionaries(
        {field.name: made[field.name] for field in kind.fields if field.required},
        optional={field.name: made[field.name] for field in kind.fields if not field.required},
    ).map(lambda given: kind.cls(**given))


def job_with(*parts: str) -> st.SearchStrategy[Job]:
    """Jobs in which these parts may differ from the usual."""
    kind = kinds.type_info(Job)
    assert isinstance(kind, kinds.StructType)
    made = {field.name: values(field.type) for field in kind.fields if field.name in parts}
    return st.fixed_dictionaries(made).map(lambda given: Job(**given))


PAIRS = zip(Job.__struct_fields__, (*Job.__struct_fields__[1:], "form"), strict=True)
JOBS = st.one_of([job_with(*pair) for pair in PAIRS])
THOROUGH = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@THOROUGH
@given(job=JOBS)
@example(job=Job(boards=BoardsJob(mark="")))
@example(job=Job(boards=BoardsJob(mark='"\\\x7f\x00\r\n\t ü ' + "'''" + '"""')))
@example(job=Job(target=TargetJob(stretch=StretchJob(taller_mm=-1e-7, zone_mm=(float("inf"), 1e22)))))
@example(job=Job(shrinkage=ShrinkageJob(bars=(Bar(150.0, 133.0), Bar(150.0, 133.0, 144.0)))))
def test_the_text_of_a_job_gives_the_same_job(job: Job) -> None:
    text = job_text(job)
    assert job_from_toml(text) == job
    assert job_text(job_from_toml(text)) == text


def test_a_usual_job_needs_no_words() -> None:
    assert job_text(Job()) == ""


@THOROUGH
@given(job=JOBS)
def test_only_what_differs_is_written(job: Job) -> None:
    written = tomllib.loads(job_text(job))
    for name in Job.__struct_fields__:
        part, usual = getattr(job, name), getattr(Job(), name)
        differing = {key for key in part.__struct_fields__ if getattr(part, key) != getattr(usual, key)}
        assert set(written.get(name, {})) == differing


def test_a_file_that_was_made_is_the_file_that_is_read() -> None:
    text = '[shrinkage]\nclay = "white stoneware"\nbars = [{ wet_mm = 150.0, fired_mm = 133.0, dry_mm = 144.0 }]\n'
    assert job_text(job_from_toml(text)) == text
