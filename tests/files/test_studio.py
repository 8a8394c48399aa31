"""The studio's library: what is entered comes back, whatever stops the work in between."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moldprep.casting.rate import READING_MM
from moldprep.drying import Reading
from moldprep.errors import FileError, JobError
from moldprep.files.read import read_master
from moldprep.files.studio import (
    BarRow,
    CastRow,
    Contents,
    Mold,
    ReadingRow,
    Studio,
    TrialRow,
    job_of_record,
    schema,
)
from moldprep.files.studio.exchange import FORMAT, merged, write_contents
from moldprep.job import Bar, Job, Trial, job_from_dict, job_from_toml
from moldprep.planning import plan
from moldprep.sheet.record import record_json
from tests.samples import FOLDER

ROOT = Path(__file__).parents[2]
TOML = "# the blue clay\n[shrinkage]\ntotal_percent = 12.5\n"
RECORD = b'{"format": "moldprep-plan/1", "job": {"plaster": {"consistency": 75}}}\n'


def filled(path: Path) -> Contents:
    """Enter something of everything, and tell what the library then holds."""
    with Studio(path) as studio:
        studio.save_job("jug", TOML, date="2031-05-04")
        studio.save_job("bowl", Job())
        studio.register_mold("J-1", form="jug", pieces=3, plan=RECORD, dry_g=6111.5, date="May")
        studio.register_mold("B-1", form="bowl", pieces=2)
        for kept in (True, True, False):
            studio.add_cast("J-1", kept=kept, date="June")
        studio.add_trial(Trial(10, 4.2), slip="white", mold="J-1", date="June")
        studio.add_trial(Trial(25, 5), slip="red")
        studio.add_bar("white", Bar(100, 88, 94), date="April")
        studio.add_bar("white", Bar(100, 87), upright=True)
        studio.add_reading("J-1", Reading(12, 7900.5))
        studio.add_reading("J-1", Reading(0, 8500))
        studio.retire("B-1", date="July")
        return studio.contents()


def held(path: Path) -> Contents:
    with Studio(path) as studio:
        return studio.contents()


# Entries come back


def test_what_is_entered_is_there_after_a_restart(tmp_path: Path) -> None:
    before = filled(tmp_path / "studio.db")
    assert held(tmp_path / "studio.db") == before
    with Studio(tmp_path / "studio.db") as studio:
        jug, bowl = studio.jobs()
        assert (jug.text, jug.job, jug.date) == (TOML, job_from_toml(TOML), "2031-05-04")
        assert bowl.job == Job()
        assert studio.trials() == (Trial(10, 4.2), Trial(25, 5))
        assert studio.trials(mold="J-1") == studio.trials(slip="white") == (Trial(10, 4.2),)
        assert studio.trials(mold="J-1", slip="red") == ()
        assert studio.bars("white") == (Bar(100, 88, 94),)
        assert studio.bars("white", upright=True) == (Bar(100, 87),)
        assert studio.log_of("J-1") == (Reading(0, 8500), Reading(12, 7900.5))
        first, second = studio.molds()
        assert first.mold == Mold("J-1", "jug", 3, RECORD.decode(), 6111.5, "May", None)
        assert (first.casts, first.losses) == (3, 1)
        assert (second.casts, second.losses, second.mold.retired) == (0, 0, "July")
        assert before.trials[0].after_casts == 3


def test_at_rest_the_library_is_one_file(tmp_path: Path) -> None:
    filled(tmp_path / "studio.db")
    assert [path.name for path in tmp_path.iterdir()] == ["studio.db"]


def test_saving_a_job_again_replaces_it_in_its_place(tmp_path: Path) -> None:
    with Studio(tmp_path / "studio.db") as studio:
        for name, text in (("a", ""), ("b", ""), ("a", TOML)):
            studio.save_job(name, text)
        assert [(job.name, job.text) for job in studio.jobs()] == [("a", TOML), ("b", "")]


def test_a_dry_weight_can_be_set_later(tmp_path: Path) -> None:
    filled(tmp_path / "studio.db")
    with Studio(tmp_path / "studio.db") as studio:
        studio.set_dry_weight("B-1", 4000)
        assert studio.molds()[1].mold.dry_g == 4000


REFUSED: dict[str, tuple[str, Callable[[Studio], None]]] = {
    "unknown mold": ("studio-mold", lambda studio: studio.add_cast("X", kept=True)),
    "trial in none": ("studio-mold", lambda studio: studio.add_trial(Trial(1, 1), slip="s", mold="X")),
    "reading of none": ("studio-mold", lambda studio: studio.add_reading("X", Reading(0, 1))),
    "mark taken": ("studio-mark", lambda studio: studio.register_mold("J-1", form="", pieces=1)),
    "retired": ("studio-retired", lambda studio: studio.add_cast("B-1", kept=True)),
    "retired twice": ("studio-retired", lambda studio: studio.retire("B-1", date="")),
    "hour taken": ("studio-hour", lambda studio: studio.add_reading("J-1", Reading(12, 7000))),
    "no weight": ("studio-entry", lambda studio: studio.add_reading("J-1", Reading(13, 0))),
    "nan": ("studio-entry", lambda studio: studio.add_reading("J-1", Reading(float("nan"), 1))),
    "no wall": ("studio-entry", lambda studio: studio.add_trial(Trial(1, 0), slip="s")),
    "no length": ("studio-entry", lambda studio: studio.add_bar("s", Bar(-1, 1))),
    "no name": ("studio-entry", lambda studio: studio.save_job("", "")),
    "blank name": ("studio-entry", lambda studio: studio.save_job(" ", "")),
    "two lines": ("studio-entry", lambda studio: studio.save_job("a\nb", "")),
    "half a character": ("studio-entry", lambda studio: studio.save_job("\ud800", "")),
    "half asked for": ("studio-entry", lambda studio: studio.add_cast("\ud800", kept=True)),
    "no pieces": ("studio-entry", lambda studio: studio.register_mold("n", form="", pieces=0)),
    "no plan": ("record-file", lambda studio: studio.register_mold("n", form="", pieces=1, plan=b"{}")),
    "no text": ("record-file", lambda studio: studio.register_mold("n", form="", pieces=1, plan=b"\xff")),
    "no TOML": ("job-toml", lambda studio: studio.save_job("n", "[")),
    "no such key": ("job-field", lambda studio: studio.save_job("n", "[plaster]\nbuckets = 3\n")),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_makes_no_entry_is_refused_and_changes_nothing(case: str, tmp_path: Path) -> None:
    code, entry = REFUSED[case]
    before = filled(tmp_path / "studio.db")
    with Studio(tmp_path / "studio.db") as studio:
        with pytest.raises((JobError, FileError)) as caught:
            entry(studio)
        assert caught.value.code == code
        assert studio.contents() == before
        studio.add_cast("J-1", kept=True)  # nothing is left half open


def test_a_record_gives_its_plan_again_byte_by_byte(tmp_path: Path) -> None:
    job = job_from_dict(
        {
            "shrinkage": {"bars": [{"wet_mm": 100, "fired_mm": 88.3}]},
            "parting": {"azimuths": 4},
            "cast": {"trials": [{"minutes": 10, "wall_mm": 4.2}]},
            "sheet": {"studio": "Töpferei"},
        }
    )
    record = record_json(plan(read_master(FOLDER / "cylinder.stl", job.form), job))
    with Studio(tmp_path / "studio.db") as studio:
        studio.register_mold("C", form="cylinder", pieces=2, plan=record)
        studio.export_to(tmp_path / "studio.json")
    with Studio(tmp_path / "other.db") as studio:
        studio.import_from(tmp_path / "studio.json")
        kept = studio.molds()[0].mold.plan
    assert kept is not None and kept.encode() == record
    again = job_of_record(kept)
    assert again == job
    assert record_json(plan(read_master(FOLDER / "cylinder.stl", again.form), again)) == record


@pytest.mark.parametrize("record", [b"", b"[]", b"{}", b'{"format": "moldprep-plan/1"}', b"[" * 100_000])
def test_a_job_is_not_read_out_of_what_is_no_record(record: bytes) -> None:
    with pytest.raises(FileError) as caught:
        job_of_record(record)
    assert caught.value.code == "record-file"


# Trend


def test_the_trend_is_the_slope_of_rates_over_casts(tmp_path: Path) -> None:
    """Against numpy's polynomial fit; its error against rates whose walls were misread at random."""
    made = {0: 2.0, 10: 1.9, 25: 1.7, 40: 1.75}
    with Studio(tmp_path / "studio.db") as studio:
        studio.register_mold("M", form="", pieces=1)
        for casts, rate in made.items():
            studio.add_trial(Trial(16, 4 * rate**0.5), slip="white", mold="M", after_casts=casts)
        studio.add_trial(Trial(16, 4), slip="red", mold="M")
        (trend,) = studio.rate_trend("M")
        assert studio.molds()[0].trends == (trend,)
    casts, rates = np.array(list(made)), np.array(list(made.values()))
    slope, begin = np.polyfit(casts, rates, 1)
    assert (trend.slip, trend.trials) == ("white", 4)
    assert trend.per_cast == pytest.approx(slope, rel=1e-9)
    assert trend.rate_new == pytest.approx(begin, rel=1e-9)
    walls = 4 * np.sqrt(rates) + np.random.default_rng(1).normal(0, READING_MM, (100_000, 4))
    scattered = np.polyfit(casts, (walls**2 / 16).T, 1)[0]
    assert trend.error_per_cast == pytest.approx(scattered.std(), rel=0.02)
    assert not trend.clear


def test_trials_follow_the_casts_entered_between_them(tmp_path: Path) -> None:
    """A mold that loses 0.02 mm2/min a cast, tried before the first and after the hundredth."""
    with Studio(tmp_path / "studio.db") as studio:
        studio.register_mold("M", form="", pieces=1)
        studio.add_trial(Trial(9, 3 * 3**0.5), slip="white", mold="M")
        assert studio.rate_trend("M") == ()
        for _ in range(100):
            studio.add_cast("M", kept=True)
        studio.add_trial(Trial(9, 3), slip="white", mold="M")
        (trend,) = studio.rate_trend("M")
    assert trend.per_cast == pytest.approx(-0.02)
    assert trend.clear


# Files that cannot be used


def test_a_damaged_library_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "studio.db"
    filled(path)
    whole = path.read_bytes()
    for name, data in {
        "text": b"a shopping list, not a database" * 50,
        "half": whole[: len(whole) // 2],
        "hole": whole[:4096] + bytes(4096) + whole[8192:],
        "noise": whole[:100] + bytes(255 - byte for byte in whole[100:4096]) + whole[4096:],
    }.items():
        path.write_bytes(data)
        with pytest.raises(FileError) as caught:
            Studio(path)
        assert caught.value.code == "studio-damaged", name
        assert path.read_bytes() == data, name


def test_entries_of_a_mold_that_is_gone_are_damage(tmp_path: Path) -> None:
    filled(tmp_path / "studio.db")
    raw = sqlite3.connect(tmp_path / "studio.db")
    raw.execute("DELETE FROM molds WHERE mark = 'J-1'")
    raw.commit()
    raw.close()
    with pytest.raises(FileError, match="speak of a mold") as caught:
        Studio(tmp_path / "studio.db")
    assert caught.value.code == "studio-damaged"


def test_a_newer_library_is_refused_untouched(tmp_path: Path) -> None:
    path = tmp_path / "studio.db"
    filled(path)
    raw = sqlite3.connect(path)
    raw.execute(f"PRAGMA user_version = {len(schema.MIGRATIONS) + 1}")
    raw.close()
    before = path.read_bytes()
    with pytest.raises(FileError) as caught:
        Studio(path)
    assert caught.value.code == "studio-newer"
    assert path.read_bytes() == before


def test_another_program_s_database_is_refused(tmp_path: Path) -> None:
    raw = sqlite3.connect(tmp_path / "other.db")
    raw.execute("CREATE TABLE songs (name)")
    raw.close()
    with pytest.raises(FileError) as caught:
        Studio(tmp_path / "other.db")
    assert caught.value.code == "studio-other"


@pytest.mark.parametrize("path", ["", "none/studio.db"])
def test_a_place_that_holds_no_file_is_refused(path: str, tmp_path: Path) -> None:
    with pytest.raises(FileError) as caught:
        Studio(tmp_path / path)
    assert caught.value.code == "studio-file"


def test_an_older_library_is_brought_forward_or_stays_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = filled(tmp_path / "studio.db")
    whole = (tmp_path / "studio.db").read_bytes()
    more = "ALTER TABLE casts ADD COLUMN note TEXT"
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, (more, "no statement")))
    with pytest.raises(FileError):
        Studio(tmp_path / "studio.db")
    assert (tmp_path / "studio.db").read_bytes() == whole
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS[:-1], (more,)))
    assert held(tmp_path / "studio.db") == before
    raw = sqlite3.connect(tmp_path / "studio.db")
    assert raw.execute("PRAGMA user_version").fetchone() == (len(schema.MIGRATIONS),)
    assert raw.execute("SELECT note FROM casts").fetchall() == [(None,)] * len(before.casts)
    raw.close()


# Crashes and several windows

DYING = """
import os, signal, sys
from pathlib import Path
from moldprep.files.studio import Studio
studio = Studio(Path(sys.argv[1]))
studio._connection.execute("PRAGMA cache_size = 1")
left = int(sys.argv[3])
def count(statement):
    global left
    left -= 1
    if left < 0 or statement == "COMMIT":
        os.kill(os.getpid(), signal.SIGKILL)
studio._connection.set_trace_callback(count)
studio.import_from(Path(sys.argv[2]))
"""


def child(code: str, *arguments: object) -> subprocess.Popen[bytes]:
    words = [sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.Popen(words, cwd=ROOT)


@pytest.mark.parametrize("statements", [1, 9, 100, 10**9], ids=["first", "early", "midway", "at the commit"])
def test_a_process_killed_amid_a_change_leaves_the_earlier_state(statements: int, tmp_path: Path) -> None:
    """With a cache of one page, so that pages of the change are in the file already when it dies."""
    before = filled(tmp_path / "studio.db")
    long = tuple(CastRow("J-1", True, f"{number} {'long ago ' * 20}") for number in range(2000))
    write_contents(tmp_path / "more.json", replace(before, casts=before.casts + long))
    dying = child(DYING, tmp_path / "studio.db", tmp_path / "more.json", statements)
    assert dying.wait(60) == -signal.SIGKILL
    if statements > 10:
        assert (tmp_path / "studio.db-journal").exists()  # it did die amid writing
    assert held(tmp_path / "studio.db") == before
    with Studio(tmp_path / "studio.db") as studio:
        assert studio.import_from(tmp_path / "more.json").added == len(long)


WRITING = """
import sys
from pathlib import Path
from moldprep.files.studio import Studio
with Studio(Path(sys.argv[1]), patience_s=60) as studio:
    for number in range(int(sys.argv[3])):
        studio.add_cast("M", kept=True, date=sys.argv[2])
"""


def test_two_processes_enter_at_the_same_time(tmp_path: Path) -> None:
    with Studio(tmp_path / "studio.db", patience_s=60) as studio:
        studio.register_mold("M", form="", pieces=1)
        writers = [child(WRITING, tmp_path / "studio.db", name, 40) for name in "ab"]
        for _ in range(40):
            studio.add_cast("M", kept=False, date="c")
        assert [writer.wait(60) for writer in writers] == [0, 0]
        (life,) = studio.molds()
    assert (life.casts, life.losses) == (120, 40)


def test_a_new_library_is_made_once_by_two_processes(tmp_path: Path) -> None:
    code = "import sys; from pathlib import Path; from moldprep.files.studio import Studio; Studio(Path(sys.argv[1])).close()"
    makers = [child(code, tmp_path / "studio.db") for _ in range(3)]
    assert [maker.wait(60) for maker in makers] == [0, 0, 0]
    assert held(tmp_path / "studio.db") == Contents()


def test_while_one_window_writes_another_reads_the_earlier_state_and_is_told_to_wait(tmp_path: Path) -> None:
    before = filled(tmp_path / "studio.db")
    with Studio(tmp_path / "studio.db") as writer, Studio(tmp_path / "studio.db", patience_s=0.05) as other:
        with schema.change(writer._connection):
            writer._connection.execute("DELETE FROM casts")
            assert other.contents() == before
            with pytest.raises(FileError) as caught:
                other.add_cast("J-1", kept=True)
            assert caught.value.code == "studio-busy"
        assert other.contents() == replace(before, casts=())


# Export and import

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
    of = st.sampled_from(marks) if marks else st.nothing()
    casts = st.builds(CastRow, of, st.booleans(), st.sampled_from(["", "May"]))
    trials = st.builds(TrialRow, few, few, st.just("white"), st.none() | of, st.integers(0, 2), st.just(""))
    bars = st.builds(BarRow, st.just("clay"), st.booleans(), few, few, st.none() | few, st.just(""))
    hours = draw(st.lists(st.integers(0, 3), unique=True, max_size=3)) if marks else []
    return Contents(
        molds=tuple(molds),
        casts=tuple(draw(st.lists(casts, max_size=4))) if marks else (),
        trials=tuple(draw(st.lists(trials, max_size=4))),
        bars=tuple(draw(st.lists(bars, max_size=3))),
        readings=tuple(ReadingRow(draw(of), hour, 50.0, "") for hour in hours),
    )


def put(here: Contents, there: Contents) -> Contents:
    """What a library holds after a merge, reckoned without one."""
    found = merged(here, there)
    assert found.left == ()
    completed = {mold.mark: mold for mold in found.completed}
    both = {kind: getattr(here, kind) + getattr(found.added, kind) for kind in asdict(here)}
    both["molds"] = tuple(completed.get(mold.mark, mold) for mold in both["molds"])
    return Contents(**both)


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
    "newer": lambda raw: broken(raw, "format", value="moldprep-studio/2"),
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
