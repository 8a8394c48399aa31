"""The studio's library: what is entered comes back, whatever stops the work in between."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from moldprep.casting.rate import READING_MM
from moldprep.drying import Reading
from moldprep.errors import FileError, JobError
from moldprep.files.read import read_master
from moldprep.files.studio import (
    CastRow,
    Contents,
    Mold,
    ReadingRow,
    SavedJob,
    Studio,
    job_of_record,
    schema,
)
from moldprep.files.studio.exchange import write_contents
from moldprep.job import Bar, Job, Trial, job_from_dict, job_from_toml
from moldprep.planning import plan
from moldprep.sheet.record import record_json
from tests.samples import FOLDER
from tests.studios import DIGEST, RECORD, TOML, filled, held, old_library

ROOT = Path(__file__).parents[2]

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
        assert (bowl.form, bowl.digest, bowl.record) == ("bowl.stl", DIGEST, RECORD.decode())
        assert studio.log_of("J-1", log=1) == (Reading(0, 8500), Reading(12, 7900.5))
        assert studio.log_of("J-1") == (Reading(0, 8100),)
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
    "hour taken": ("studio-hour", lambda studio: studio.add_reading("J-1", Reading(0, 7000))),
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
    "no digest": ("studio-entry", lambda studio: studio.save_job("n", "", digest=DIGEST[:-1] + "\n")),
    "no record": ("record-file", lambda studio: studio.save_job("n", "", record=b"{}")),
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


def test_a_library_of_the_first_version_is_brought_forward(tmp_path: Path) -> None:
    old_library(tmp_path / "studio.db")
    assert held(tmp_path / "studio.db") == Contents(
        jobs=(SavedJob("jug", "toml", TOML, "May"),),
        molds=(Mold("J-1", "jug", 3, None, 6111.5, "May", None),),
        readings=(ReadingRow("J-1", 12, 7900.5, "June"), ReadingRow("J-1", 0, 8500, "")),
    )
    with Studio(tmp_path / "studio.db") as studio:
        studio.add_reading("J-1", Reading(0, 8000), anew=True)
        assert studio.log_of("J-1", log=1) == (Reading(0, 8500), Reading(12, 7900.5))


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
