"""Weighing logs as makers write them, and records that they are compared with."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from moldprep.drying import Reading
from moldprep.errors import FileError
from moldprep.faces.cli import main
from moldprep.files.logs import read_log
from moldprep.files.records import cast_of, solid_ml_of, weights_of

WANTED = (Reading(0, 8500), Reading(12.5, 7100))


def written(place: Path, text: str) -> Path:
    path = place / "log.csv"
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    "text",
    [
        "0,8500\n12.5,7100\n",
        "hours;grams\n# first shelf\n3;8500\n\n15.5;7100\n",
        "3;8500,0\n15,5;7100\n",
        "when,grams\n2031-05-04 06:00,8500\n2031-05-04 18:30,7100\n",
        "2031-05-04T06:00+00:00\t8500\n2031-05-04T20:30+02:00\t7100\n",
    ],
)
def test_hours_or_dates_in_comma_semicolon_or_tab(tmp_path: Path, text: str) -> None:
    assert read_log(written(tmp_path, text)) == WANTED


@pytest.mark.parametrize("line", ["noon,7000", "12,", "12,seven", "12,-5", "12"])
def test_a_line_that_is_no_reading_is_named(tmp_path: Path, line: str) -> None:
    with pytest.raises(FileError, match=r"Line 2 of log\.csv") as caught:
        read_log(written(tmp_path, f"0,8500\n{line}\n"))
    assert caught.value.code == "log-line"


def test_a_missing_log_is_said(tmp_path: Path) -> None:
    with pytest.raises(FileError) as caught:
        read_log(tmp_path / "none.csv")
    assert caught.value.code == "log-file"


def test_weights_from_a_record(tmp_path: Path) -> None:
    pours = [
        {"piece": "A", "wet_g": 100, "dry_g": 70, "solid_ml": 64},
        {"piece": "B", "wet_g": 200, "dry_g": 140, "solid_ml": 127},
    ]
    record = tmp_path / "plan.json"
    casting = {"slip": {"volume_ml": 592}, "wall_mm": 4.5}
    record.write_text(
        json.dumps({"pours": pours, "wet_total_g": 300, "dry_total_g": 210, "casting": casting})
    )
    assert weights_of(record, "b") == (200, 140)
    assert weights_of(record, None) == (300, 210)
    assert (solid_ml_of(record, "B"), solid_ml_of(record, None)) == (127, 191)
    assert cast_of(record) == (592, 4.5)
    with pytest.raises(FileError, match="It has A, B"):
        weights_of(record, "C")
    record.write_text("{}")
    with pytest.raises(FileError, match="not the record"):
        weights_of(record, None)


def test_the_command_says_what_is_left_and_when_it_is_ready(tmp_path: Path) -> None:
    """A steady 100 g an hour from 8500 g; 5931 g dry at 70 parts, so ready at 6524 g: 19.8 h less 8."""
    log = written(tmp_path, "\n".join(f"{hour},{8500 - 100 * hour}" for hour in range(9)))
    done = CliRunner().invoke(main, ["dry", str(log), "--set", "8500", "--json"])
    found = json.loads(done.stdout)
    assert found["ready_grams"] == pytest.approx(1.1 * 8500 * 0.69774, rel=1e-4)
    middle, low, high = found["hours_left"]
    steady = (7700 - found["ready_grams"]) / 100
    assert low <= steady * 1.02
    assert steady * 0.98 <= middle <= high
    words = CliRunner().invoke(main, ["dry", str(log), "--set", "8500"]).stdout
    assert f"Ready at {found['ready_grams']:.0f} g" in words


def test_the_command_refuses_a_mold_without_a_weight(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["dry", str(written(tmp_path, "0,1\n"))])
    assert done.exit_code == 2
    assert "--set" in done.stderr


def test_pour_and_cast_take_a_plan_s_record(tmp_path: Path) -> None:
    record = tmp_path / "plan.json"
    pours = [{"piece": "A", "solid_ml": 1237}, {"piece": "B", "solid_ml": 1000}]
    job = {
        "plaster": {"consistency": 80, "bucket_ml": 900},
        "cast": {"trials": [{"minutes": 25, "wall_mm": 5}]},
    }
    casting = {"slip": {"volume_ml": 592}, "wall_mm": 5}
    record.write_text(json.dumps({"job": job, "pours": pours, "casting": casting}))
    words = ["pour", "--volume-ml", "1237", "--consistency", "80", "--bucket", "900", "--json"]
    plain = CliRunner().invoke(main, words)
    assert json.loads(plain.stdout)["batches"] == 2
    taken = CliRunner().invoke(main, ["pour", "--plan", str(record), "--piece", "a", "--json"])
    assert json.loads(taken.stdout) == json.loads(plain.stdout)
    cast = json.loads(CliRunner().invoke(main, ["cast", "--plan", str(record), "--json"]).stdout)
    assert cast["wall_mm"] == 5
    assert cast["minutes"][0] == pytest.approx(25)
    assert cast["slip"]["volume_ml"] == 592
