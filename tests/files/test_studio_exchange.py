"""Export and import of the studio's library: a union that loses nothing, and files that are no export."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moldprep.drying import Reading
from moldprep.errors import FileError
from moldprep.files.studio import (
    BarRow,
    CastRow,
    Contents,
    Mold,
    ReadingRow,
    SavedJob,
    Studio,
    TrialRow,
)
from moldprep.files.studio.exchange import FORMAT, merged
from moldprep.job import Bar, Trial
from tests.studios import DIGEST, RECORD, TOML, filled, held, old_library

names = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=12).filter(
    lambda text: bool(text.strip())
)
dates = st.one_of(st.just(""), names)
positive = st.floats(0.01, 40)


@st.composite
def libraries(draw: st.DrawFn) -> Contents:
    """Contents of a library that may share names and entries with another."""
    marks = draw(st.lists(st.sampled_from(["A", "null", "../B", "Ø 3'; --"]), unique=True, max_size=3))
    grams = st.sampled_from([None, 100.0])
    molds = [Mold(mark, "jug", 2, None, draw(grams), "", draw(st.sampled_from([None, ""]))) for mark in marks]
    few = st.sampled_from([1.0, 2.5])
    form = st.sampled_from([None, "bowl.stl"])
    record = st.sampled_from([None, RECORD.decode()])
    job = st.builds(
        SavedJob,
        st.sampled_from(["a", "b"]),
        st.just("toml"),
        st.just(""),
        st.just(""),
        form,
        st.none(),
        record,
    )
    of = st.sampled_from(marks) if marks else st.nothing()
    casts = st.builds(CastRow, of, st.booleans(), st.sampled_from(["", "May"]))
    trials = st.builds(TrialRow, few, few, st.just("white"), st.none() | of, st.integers(0, 2), st.just(""))
    bars = st.builds(BarRow, st.just("clay"), st.booleans(), few, few, st.none() | few, st.just(""))
    hours = draw(st.lists(st.integers(0, 3), unique=True, max_size=3)) if marks else []
    return Contents(
        jobs=tuple(draw(st.lists(job, max_size=2, unique_by=lambda row: row.name))),
        molds=tuple(molds),
        casts=tuple(draw(st.lists(casts, max_size=4))) if marks else (),
        trials=tuple(draw(st.lists(trials, max_size=4))),
        bars=tuple(draw(st.lists(bars, max_size=3))),
        readings=tuple(ReadingRow(draw(of), hour // 2, 50.0, "", 1 + hour % 2) for hour in hours),
    )


def put(here: Contents, there: Contents) -> Contents:
    """What a library holds after a merge, reckoned without one."""
    found = merged(here, there)
    assert found.left == ()
    completed = {(type(row), named(row)): row for row in found.completed}
    both = {kind: getattr(here, kind) + getattr(found.added, kind) for kind in asdict(here)}
    for kind in ("jobs", "molds"):
        both[kind] = tuple(completed.get((type(row), named(row)), row) for row in both[kind])
    return Contents(**both)


def named(row: SavedJob | Mold) -> str:
    return row.mark if isinstance(row, Mold) else row.name


def as_bag(contents: Contents) -> dict[str, list[str]]:
    return {kind: sorted(map(repr, getattr(contents, kind))) for kind in asdict(contents)}


@settings(max_examples=150, deadline=None)
@given(libraries(), libraries())
def test_a_merge_is_a_union(one: Contents, two: Contents) -> None:
    """It loses nothing, is the same both ways round, and once done it has nothing left to do."""
    both = put(one, two)
    assert as_bag(both) == as_bag(put(two, one))
    for again in (one, two, both):
        assert put(both, again) == both
    for kind in ("casts", "trials", "bars", "readings"):
        rows = getattr(both, kind)
        for row in {*rows, *getattr(one, kind), *getattr(two, kind)}:
            assert rows.count(row) == max(getattr(one, kind).count(row), getattr(two, kind).count(row))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(names, min_size=1, max_size=4, unique=True),
    dates,
    positive,
    positive,
    st.text(st.characters(exclude_categories=("Cs",))),
)
def test_any_name_and_figure_survives_library_and_file(
    tmp_path_factory: pytest.TempPathFactory, marks: list[str], date: str, one: float, two: float, text: str
) -> None:
    place = tmp_path_factory.mktemp("names")
    with Studio(place / "studio.db") as studio:
        for mark in marks:
            studio.register_mold(mark, form=date, pieces=1, dry_g=one, date=date)
            studio.save_job(mark, "#" + json.dumps(text) + "\n", date=date)
            studio.add_cast(mark, kept=False, date=date)
            studio.add_trial(Trial(one, two), slip=mark, mold=mark, date=date)
            studio.add_bar(mark, Bar(one, two), date=date)
            studio.add_reading(mark, Reading(one, two), date=date)
            assert studio.trials(mold=mark, slip=mark) == (Trial(one, two),)
            assert studio.log_of(mark) == (Reading(one, two),)
        before = studio.contents()
        assert [mold.mark for mold in before.molds] == marks
        studio.export_to(place / "studio.json")
        assert studio.import_from(place / "studio.json").added == 0
        assert studio.contents() == before
    with Studio(place / "other.db") as other:
        other.import_from(place / "studio.json")
        other.export_to(place / "other.json")
        assert other.contents() == before
    assert (place / "other.json").read_bytes() == (place / "studio.json").read_bytes()
    assert sorted(path.name for path in place.iterdir()) == [
        "other.db",
        "other.json",
        "studio.db",
        "studio.json",
    ]


def test_an_import_keeps_what_is_here_and_says_what_stayed_out(tmp_path: Path) -> None:
    before = filled(tmp_path / "studio.db")
    with Studio(tmp_path / "other.db") as other:
        other.save_job("jug", "")
        other.save_job("cup", "")
        other.register_mold("J-1", form="jug", pieces=3, plan=RECORD, dry_g=6000)
        other.add_reading("J-1", Reading(12, 7000))
        other.add_reading("J-1", Reading(24, 7000))
        other.register_mold("B-1", form="another bowl", pieces=2)
        other.add_cast("B-1", kept=True)
        other.export_to(tmp_path / "other.json")
    with Studio(tmp_path / "studio.db") as studio:
        done = studio.import_from(tmp_path / "other.json")
        after = studio.contents()
    assert done.added == 2
    for says, word in zip(done.left, ("job jug", "mold J-1", "mold B-1", "weighing of J-1"), strict=True):
        assert word in says
    assert [job.name for job in after.jobs] == ["jug", "bowl", "cup"]
    assert after.readings == (*before.readings, ReadingRow("J-1", 24, 7000, ""))
    assert replace(after, jobs=before.jobs, readings=before.readings) == before


def test_an_import_completes_a_mold(tmp_path: Path) -> None:
    with Studio(tmp_path / "one.db") as one, Studio(tmp_path / "two.db") as two:
        one.register_mold("M", form="jug", pieces=2)
        two.register_mold("M", form="jug", pieces=2, plan=RECORD, dry_g=5000)
        two.retire("M", date="May")
        two.export_to(tmp_path / "two.json")
        assert one.import_from(tmp_path / "two.json").completed == 1
        assert one.contents() == two.contents()


def test_an_import_completes_a_job_and_leaves_another_form_s_out(tmp_path: Path) -> None:
    with Studio(tmp_path / "one.db") as one, Studio(tmp_path / "two.db") as two:
        for studio in (one, two):
            studio.save_job("other", "", digest=DIGEST if studio is one else "0" * 64)
        one.save_job("jug", TOML)
        two.save_job("jug", TOML, form="jug.stl", digest=DIGEST, record=RECORD)
        two.export_to(tmp_path / "two.json")
        done = one.import_from(tmp_path / "two.json")
        assert (done.added, done.completed) == (0, 1)
        (left,) = done.left
        assert "job other" in left
        assert one.jobs()[1] == two.jobs()[1]
        assert one.jobs()[0].digest == DIGEST


def test_an_export_of_the_first_version_is_read(tmp_path: Path) -> None:
    old_library(tmp_path / "old.db")
    before = held(tmp_path / "old.db")
    raw = {kind: [asdict(row) for row in getattr(before, kind)] for kind in asdict(before)}
    for job in raw["jobs"]:
        del job["form"], job["digest"], job["record"]
    for reading in raw["readings"]:
        del reading["log"]
    (tmp_path / "old.json").write_text(json.dumps({"format": "moldprep-studio/1", **raw}))
    with Studio(tmp_path / "studio.db") as studio:
        studio.import_from(tmp_path / "old.json")
        assert studio.contents() == before


def broken(raw: dict[str, object], *path: str | int, value: object) -> bytes:
    """The export with one place changed."""
    place: object = raw
    for step in path[:-1]:
        place = place[step]  # type: ignore[index]
    place[path[-1]] = value  # type: ignore[index]
    return json.dumps(raw).encode()


BROKEN: dict[str, Callable[[dict[str, object]], bytes]] = {
    "cut short": lambda raw: json.dumps(raw).encode()[:-5],
    "a list": lambda raw: b"[]",
    "deep": lambda raw: b"[" * 100_000,
    "newer": lambda raw: broken(raw, "format", value="moldprep-studio/3"),
    "no casts": lambda raw: json.dumps({key: raw[key] for key in raw if key != "casts"}).encode(),
    "unknown part": lambda raw: broken(raw, "glazes", value=[]),
    "unknown field": lambda raw: broken(raw, "casts", 0, "glaze", value="blue"),
    "text for a figure": lambda raw: broken(raw, "readings", 0, "grams", value="heavy"),
    "a figure out of range": lambda raw: broken(raw, "trials", 0, "minutes", value=-1),
    "no figure": lambda raw: broken(raw, "readings", 0, "hours", value=float("nan")),
    "infinite": lambda raw: broken(raw, "bars", 0, "wet_mm", value=float("inf")),
    "half a character": lambda raw: broken(raw, "molds", 0, "form", value="\ud800"),
    "no such mold": lambda raw: broken(raw, "casts", 0, "mold", value="X"),
    "a mark twice": lambda raw: broken(raw, "molds", 1, "mark", value="J-1"),
    "an hour twice": lambda raw: broken(raw, "readings", 0, "hours", value=0),
    "no plan": lambda raw: broken(raw, "molds", 0, "plan", value="{}"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_bad_file_is_refused_and_changes_nothing(case: str, tmp_path: Path) -> None:
    filled(tmp_path / "other.db")
    with Studio(tmp_path / "other.db") as other:
        other.export_to(tmp_path / "good.json")
    (tmp_path / "bad.json").write_bytes(BROKEN[case](json.loads((tmp_path / "good.json").read_bytes())))
    with Studio(tmp_path / "studio.db") as studio:
        with pytest.raises(FileError) as caught:
            studio.import_from(tmp_path / "bad.json")
        assert caught.value.code == "import-format"
        assert studio.contents() == Contents()
        assert studio.import_from(tmp_path / "good.json").added > 0


def test_a_missing_file_is_said(tmp_path: Path) -> None:
    with Studio(tmp_path / "studio.db") as studio, pytest.raises(FileError) as caught:
        studio.import_from(tmp_path / "none.json")
    assert caught.value.code == "import-file"


def test_an_export_replaces_only_an_export(tmp_path: Path) -> None:
    filled(tmp_path / "studio.db")
    (tmp_path / "notes.json").write_text("{}")
    with Studio(tmp_path / "studio.db") as studio:
        for name in ("studio.db", "notes.json", "."):
            with pytest.raises(FileError) as caught:
                studio.export_to(tmp_path / name)
            assert caught.value.code == "export-exists"
        with pytest.raises(FileError) as caught:
            studio.export_to(tmp_path / "none" / "export.json")
        assert caught.value.code == "export-unwritable"
        studio.export_to(tmp_path / "export.json")
        studio.add_cast("J-1", kept=True)
        studio.export_to(tmp_path / "export.json")
        found = json.loads((tmp_path / "export.json").read_bytes())
    assert found["format"] == FORMAT and len(found["casts"]) == 4
    assert (tmp_path / "notes.json").read_text() == "{}"
