"""Entries of the studio's library are taken back and corrected, whole or not at all; forms are kept and dropped."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from moldprep.drying import Reading
from moldprep.errors import FileError, JobError
from moldprep.files.studio import Contents, Entry, Studio, forms
from moldprep.job import Bar
from tests.studios import DIGEST, FORM, RECORD, filled

KINDS = ("jobs", "molds", "casts", "trials", "bars", "readings")
HANGING = ("casts", "trials", "readings")


def entry(studio: Studio, kind: str, number: int = 0) -> Entry[Any]:
    return studio.entries(kind)[number]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "studio.db"


def test_entries_are_the_rows_in_order(path: Path) -> None:
    before = filled(path)
    with Studio(path) as studio:
        for kind in KINDS:
            assert tuple(one.row for one in studio.entries(kind)) == getattr(before, kind)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "molds"])
def test_what_is_taken_back_is_gone_and_nothing_else_is(kind: str, path: Path) -> None:
    before = filled(path)
    with Studio(path) as studio:
        assert studio.take_back(entry(studio, kind)) == 1
        assert studio.contents() == replace(before, **{kind: getattr(before, kind)[1:]})


def test_a_mold_goes_only_with_what_hangs_on_it(path: Path) -> None:
    before = filled(path)
    with Studio(path) as studio:
        jug = entry(studio, "molds")
        with pytest.raises(JobError, match="has 3 casts, 1 trial and 3 weighings") as caught:
            studio.take_back(jug)
        assert caught.value.code == "studio-hangs"
        assert studio.contents() == before
        assert studio.take_back(jug, along=True) == 8
        assert studio.contents() == replace(
            before,
            molds=before.molds[1:],
            **{kind: tuple(row for row in getattr(before, kind) if row.mold != "J-1") for kind in HANGING},
        )
        assert studio.take_back(entry(studio, "molds")) == 1  # nothing hangs on the other


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("jobs", {"name": "pitcher", "date": "later"}),
        ("molds", {"form": "pitcher", "pieces": 4, "dry_g": None, "retired": "August"}),
        ("casts", {"kept": False, "mold": "B-1"}),
        ("trials", {"wall_mm": 4.4, "after_casts": 2, "mold": None}),
        ("bars", {"fired_mm": 87.5, "upright": True}),
        ("readings", {"grams": 7901.0}),
        ("readings", {"hours": 13.0, "log": 2}),
    ],
    ids=lambda value: value if isinstance(value, str) else "-".join(value),
)
def test_a_correction_changes_one_row_in_its_place(kind: str, fields: dict[str, Any], path: Path) -> None:
    before = filled(path)
    with Studio(path) as studio:
        was = entry(studio, kind)
        studio.correct(was, replace(was.row, **fields))
        first, *others = getattr(before, kind)
        assert studio.contents() == replace(before, **{kind: (replace(first, **fields), *others)})


def test_a_mold_takes_what_hangs_on_it_to_its_new_mark(path: Path) -> None:
    before = filled(path)
    with Studio(path) as studio:
        was = entry(studio, "molds")
        with pytest.raises(JobError) as caught:
            studio.correct(was, replace(was.row, mark="J-2"))
        assert caught.value.code == "studio-hangs"
        studio.correct(was, replace(was.row, mark="J-2"), along=True)
        after = studio.contents()
    assert [mold.mark for mold in after.molds] == ["J-2", "B-1"]
    for kind in HANGING:
        moved = tuple(replace(row, mold="J-2") if row.mold else row for row in getattr(before, kind))
        assert getattr(after, kind) == moved
    with Studio(path) as studio:  # whole when opened again
        assert studio.contents() == after


REFUSED: dict[str, tuple[str, str, dict[str, Any]]] = {
    "a name taken": ("studio-name", "jobs", {"name": "bowl"}),
    "no job": ("job-toml", "jobs", {"text": "["}),
    "a mark taken": ("studio-mark", "molds", {"mark": "B-1"}),
    "no pieces": ("studio-entry", "molds", {"pieces": 0}),
    "a cast of no mold": ("studio-mold", "casts", {"mold": "X"}),
    "a trial in no mold": ("studio-mold", "trials", {"mold": "X"}),
    "no wall": ("studio-entry", "trials", {"wall_mm": 0.0}),
    "no length": ("studio-entry", "bars", {"wet_mm": float("nan")}),
    "an hour taken": ("studio-hour", "readings", {"hours": 0.0}),
    "an hour taken in another log": ("studio-hour", "readings", {"hours": 0.0, "log": 2}),
    "a weighing of no mold": ("studio-mold", "readings", {"mold": "X"}),
    "no weight": ("studio-entry", "readings", {"grams": -1.0}),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_correction_that_makes_no_entry_changes_nothing(case: str, path: Path) -> None:
    code, kind, fields = REFUSED[case]
    before = filled(path)
    with Studio(path) as studio:
        was = entry(studio, kind)
        with pytest.raises(JobError) as caught:
            studio.correct(was, replace(was.row, **fields), along=True)
        assert caught.value.code == code
        assert studio.contents() == before


MEANWHILE: dict[str, Callable[[Studio, Entry[Any]], object]] = {
    "corrected": lambda other, was: other.correct(was, replace(was.row, wet_mm=101.0)),
    "taken back": lambda other, was: other.take_back(was),
    "its place taken": lambda other, was: (other.take_back(was), other.add_bar("red", Bar(100, 90))),
}


@pytest.mark.parametrize("case", MEANWHILE)
def test_an_entry_that_another_window_changed_is_left_alone(case: str, path: Path) -> None:
    filled(path)
    with Studio(path) as studio, Studio(path) as other:
        was = entry(studio, "bars", -1)
        MEANWHILE[case](other, was)
        after = studio.contents()
        for change in (lambda: studio.take_back(was), lambda: studio.correct(was, was.row)):
            with pytest.raises(JobError) as caught:
                change()
            assert caught.value.code == "studio-changed"
        assert studio.contents() == after


def test_a_log_begins_anew_when_asked(path: Path) -> None:
    with Studio(path) as studio:
        studio.register_mold("M", form="", pieces=1)
        assert studio.log_of("M") == ()
        studio.add_reading("M", Reading(0, 900), anew=True)  # the first log begins by itself
        studio.add_reading("M", Reading(5, 800))
        studio.add_reading("M", Reading(0, 880), anew=True)
        studio.add_reading("M", Reading(5, 810))
        assert studio.log_of("M") == studio.log_of("M", log=2) == (Reading(0, 880), Reading(5, 810))
        assert studio.log_of("M", log=1) == (Reading(0, 900), Reading(5, 800))
        assert studio.log_of("M", log=3) == ()


# Forms


def test_a_kept_form_comes_back_byte_by_byte(path: Path) -> None:
    data = bytes(range(256)) * 3
    with Studio(path) as studio:
        digest = studio.keep_form("jug.stl", data)
        assert digest == hashlib.sha256(data).hexdigest()
        assert studio.keep_form("the same.stl", data) == digest
        studio.keep_form("empty.stl", b"")
    with Studio(path) as studio:
        assert studio.form(digest) == ("jug.stl", data)
        assert studio.form(hashlib.sha256(b"").hexdigest()) == ("empty.stl", b"")
        assert studio.form("0" * 64) is None
        assert studio.forms()[digest] == len(data)


def test_forms_that_no_job_and_no_mold_names_are_dropped(path: Path) -> None:
    """The filled library's bowl names the form as a job's, its jug as a mold's record's."""
    filled(path)
    noise = b"".join(hashlib.sha256(b"%d" % k).digest() for k in range(10_000))
    with Studio(path) as studio:
        studio.keep_form("bowl.stl", FORM)
        studio.keep_form("idle.stl", noise)
        large = path.stat().st_size
        assert studio.drop_forms() == 1
        assert list(studio.forms()) == [DIGEST]
        assert path.stat().st_size < large - len(noise) / 2
        studio.take_back(entry(studio, "jobs", 1))
        assert studio.drop_forms() == 0
        studio.take_back(entry(studio, "molds"), along=True)
        assert studio.drop_forms() == 1
        assert studio.forms() == {}


def test_a_form_that_is_too_large_is_not_kept(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forms, "MOST_FORM_BYTES", len(FORM))
    with Studio(path) as studio:
        studio.keep_form("bowl.stl", FORM)
        with pytest.raises(FileError) as caught:
            studio.keep_form("larger.stl", FORM + b"\n")
        assert caught.value.code == "studio-form-size"
        assert list(studio.forms()) == [DIGEST]


@pytest.mark.parametrize("harm", ["x'00'", "substr(data, 1, length(data) - 20)", "zeroblob(length(data))"])
def test_a_damaged_form_is_not_given_out_and_harms_nothing_else(harm: str, path: Path) -> None:
    before = filled(path)
    with Studio(path) as studio:
        studio.keep_form("bowl.stl", FORM)
    raw = sqlite3.connect(path)
    raw.execute(f"UPDATE forms SET data = {harm}")
    raw.commit()
    raw.close()
    with Studio(path) as studio:
        with pytest.raises(FileError) as caught:
            studio.form(DIGEST)
        assert caught.value.code == "studio-damaged"
        assert studio.contents() == before


def test_an_export_leaves_forms_out_and_jobs_still_name_them(path: Path, tmp_path: Path) -> None:
    with Studio(path) as studio:
        studio.save_job("bowl", "", form="bowl.stl", digest=studio.keep_form("bowl.stl", FORM), record=RECORD)
        studio.export_to(tmp_path / "studio.json")
    with Studio(tmp_path / "other.db") as other:
        other.import_from(tmp_path / "studio.json")
        (job,) = other.jobs()
        assert (job.form, job.digest, job.record) == ("bowl.stl", DIGEST, RECORD.decode())
        assert other.form(DIGEST) is None
        assert other.contents() == Contents(jobs=(job,))
