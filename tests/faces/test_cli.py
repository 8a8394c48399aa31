"""The command line, in-process and as a process: words, numbers, exit statuses, nothing left behind."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import get_args

import click
import pytest
import trimesh
from click.testing import CliRunner, Result

from moldprep.faces.cli import main
from moldprep.faces.options import JobOption
from moldprep.faces.progress import Bar
from moldprep.job import Axis, CottleKind, Family, Job, OpeningKind, Unit, WetFrom
from moldprep.sheet.record import record_json
from tests.samples import FOLDER, planned

ROOT = FOLDER.parent
COARSE = '[parting]\ngrid = 32\nazimuths = 4\n[pull]\nsearch = false\n[cast]\nmode = "solid"\n'
COARSE += "[ease]\nmost_taper_deg = 0\nmost_fill_mm = 0\n"
"""Of a job file: a rough search, no hollow to drain, no easier form, for plans of which only the way is looked at."""


@pytest.fixture
def coarse(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """The option that takes a job file for a quick plan; it lies outside of the test's own folder."""
    path = tmp_path_factory.mktemp("jobs") / "coarse.toml"
    path.write_text(COARSE)
    return "--job", str(path)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_help_of_every_command_explains_every_option() -> None:
    for command in main.commands.values():
        assert command.help
        options = [option for option in command.params if isinstance(option, click.Option)]
        assert options and all(option.help for option in options), command.name
        assert run(command.name or "", "--help").exit_code == 0


def test_plan_writes_the_folder_and_its_record_is_the_library_s(tmp_path: Path) -> None:
    out = tmp_path / "made"
    result = run("plan", str(FOLDER / "tumbler.stl"), "--out", str(out))
    assert result.exit_code == 0, result.output
    assert {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()} == {
        "sheet.pdf",
        "plan.json",
        "master.stl",
        "master.3mf",
        "sections/section-1.stl",
        "pieces/A-mold.stl",
        "pieces.3mf",
        "boards/A-base.stl",
        "boards.3mf",
        "view.glb",
        *(f"templates/{name}.{kind}" for name in ("cottle", "base") for kind in ("svg", "dxf")),
    }
    assert (out / "plan.json").read_bytes() == record_json(planned("tumbler"))
    piece = trimesh.load(out / "pieces" / "A-mold.stl")
    assert piece.is_watertight
    assert piece.volume == pytest.approx(planned("tumbler").pieces.pieces[0].volume_mm3, rel=1e-5)  # float32
    assert [path.name for path in tmp_path.iterdir()] == ["made"]


def test_a_folder_of_the_maker_s_is_refused_before_the_work_begins(tmp_path: Path) -> None:
    (tmp_path / "made").mkdir()
    (tmp_path / "made" / "precious.txt").write_text("mine")
    refused = run("plan", "no-such-form.stl", "--out", str(tmp_path / "made"))
    assert refused.exit_code == 2 and "precious.txt" in refused.stderr and "--out" in refused.stderr
    assert (tmp_path / "made" / "precious.txt").read_text() == "mine"


def test_json_goes_to_standard_output_alone(tmp_path: Path) -> None:
    result = run("check", str(FOLDER / "mug.stl"), "--json")
    found = json.loads(result.stdout)
    assert found["stand"]["opening"] == "rim" and found["pulls"][0]["name"] == "up"


def test_options_override_the_job_file(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(
        "[shrinkage]\ntotal_percent = 10\nplaster_expansion_percent = 0\n[plaster]\nconsistency = 80\n"
        + COARSE
    )
    result = run(
        "plan",
        str(FOLDER / "tumbler.stl"),
        "--job",
        str(job),
        "--shrinkage",
        "12",
        "--out",
        str(tmp_path / "o"),
        "--json",
    )
    found = json.loads(result.stdout)
    assert found["sizing"]["factor"] == pytest.approx([1 / 0.88] * 3, abs=1e-6)
    assert found["job"]["plaster"]["consistency"] == 80


def test_a_stop_finding_exits_1(tmp_path: Path, coarse: tuple[str, str]) -> None:
    words = ["plan", str(FOLDER / "bud-vase.stl"), "--family", "one-piece", *coarse]
    result = run(*words, "--out", str(tmp_path / "o"))
    assert result.exit_code == 1 and "stop:" in result.output


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        (["plan", "no-such.stl"], "Look at the name"),
        (["plan", str(ROOT / "README.md")], "Export the form as STL"),
        (["plan", str(FOLDER / "tumbler.stl"), "--job", "no-such.toml"], "name and folder"),
        (["plan", str(FOLDER / "tumbler.stl"), "--job", str(FOLDER / "tumbler.stl")], "UTF-8"),
        (["plan", str(FOLDER / "tumbler.stl"), "--family", "three-piece"], "'one-piece'"),
        (["plan", str(FOLDER / "tumbler.stl"), "--opening-diameter", "20"], "--opening made"),
        (["plan", str(FOLDER / "tumbler.stl"), "--wall", "nan"], "above 0"),
        (["plan", str(FOLDER / "tumbler.stl"), "--family", "two-piece", "--plane", "999"], "Give heights"),
        (["plan", str(FOLDER / "hollow-cup.stl")], "solid"),
        (["size", "--bar", "150/x/133"], "Write it as"),
        (["size", "--bar", "100/250"], "in that order"),
        (["size"], "--bar"),
        (["size", "--shrinkage", "12", "--bar", "150/133"], "leave out the percent"),
        (["size", "--shrinkage", "12", "--fired", "-3"], "above 0"),
        (["size", "no-such.stl", "--shrinkage", "12"], "Look at the name"),
        (["pour"], "--volume-ml"),
        (["pour", "--volume-ml", "5", "--ring", "10x10"], "give one of"),
        (["pour", "--box", "10x10x10", "--form-ml", "5"], "look at both"),
        (["pour", "--box", "10x10"], "Write it as"),
        (["pour", "--volume-ml", "-5"], "above 0"),
        (["pour", "--volume-ml", "5", "--consistency", "500"], "from 30 to 120"),
        (["cast", "--trial", "10"], "Write it as"),
        (["plan"], "Missing argument"),
        (["bake"], "No such command"),
    ],
)
def test_a_request_that_cannot_be_met_exits_2_with_one_line_and_the_cure(
    words: list[str], cure: str, tmp_path: Path
) -> None:
    result = run(*words, *(["--out", str(tmp_path / "o")] if words[0] == "plan" and len(words) > 1 else []))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.strip().splitlines()) == 1 and cure in result.stderr
    assert not (tmp_path / "o").exists()


def test_size_from_bars() -> None:
    """150, 144, 133 (rcboisjoli.blogspot.com 2011/04): 11.333 %, factor 1.12782 before plaster's 0.2 %."""
    found = json.loads(run("size", "--bar", "150/144/133", "--fired", "95", "--json").stdout)
    assert found["sizing"]["factor"] == pytest.approx([1.12782 / 1.002] * 3, abs=1e-5)
    assert found["lengths"][0]["master_mm"] == pytest.approx(95 * found["sizing"]["factor"][0])
    assert "Drying 4.00 %, firing 7.64 %" in run("size", "--bar", "150/144/133").output


def test_size_with_a_height_of_its_own() -> None:
    """F = 1/(1 - S), and the wet lengths were the master's own: nothing else goes in."""
    words = ["size", "--shrinkage", "12", "--height-shrinkage", "13", "--measured-from", "master"]
    found = json.loads(run(*words, "--fired", "100", "--json").stdout)
    (length,) = found["lengths"]
    assert length["master_mm"] == pytest.approx(100 / 0.88)
    assert length["master_height_mm"] == pytest.approx(100 / 0.87)


def test_size_of_a_form_is_the_plan_s() -> None:
    entry_free = str(FOLDER / "tumbler.stl")
    found = json.loads(run("size", entry_free, "--shrinkage", "12", "--json").stdout)
    plan_of_it = json.loads(run("check", entry_free, "--shrinkage", "12", "--json").stdout)
    for part in ("sizing", "master"):
        for key, value in found[part].items():
            if key not in ("drying", "firing"):
                assert plan_of_it[part][key] == pytest.approx(value, abs=1e-6), key
    assert "fired" in run("size", entry_free, "--shrinkage", "12").output


def test_pour_a_box_with_a_form_in_it() -> None:
    found = json.loads(run("pour", "--box", "300x200x120", "--form-ml", "900", "--json").stdout)
    assert found["solid_ml"] == pytest.approx(300 * 200 * 120 / 1000 - 900)
    ring = json.loads(run("pour", "--ring", "200x150", "--json").stdout)
    assert ring["solid_ml"] == pytest.approx(3.14159265 * 10**2 * 15)


def test_pour_takes_the_studio_s_job_file(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("[plaster]\nconsistency = 80\nscale_step_g = 1\n")
    words = ["pour", "--volume-ml", "1000", "--job", str(tmp_path / "job.toml"), "--json"]
    found = json.loads(run(*words).stdout)
    assert found["consistency"] == pytest.approx(80, abs=0.1)
    assert json.loads(run(*words, "--consistency", "70").stdout)["consistency"] == pytest.approx(70, abs=0.1)


@pytest.mark.parametrize(
    ("option", "sets"),
    [
        (option.opts[0], option.sets)
        for command in main.commands.values()
        for option in command.params
        if isinstance(option, JobOption) and option.sets
    ],
)
def test_every_option_sets_a_key_that_the_job_knows(option: str, sets: tuple[str, str]) -> None:
    assert hasattr(getattr(Job(), sets[0]), sets[1]), option


@pytest.mark.parametrize(
    ("key", "kind"),
    [
        (("parting", "family"), Family),
        (("form", "units"), Unit),
        (("form", "up"), Axis),
        (("stand", "opening"), OpeningKind),
        (("stand", "opening_at"), Axis),
        (("shrinkage", "measured_from"), WetFrom),
        (("cottle", "kind"), CottleKind),
    ],
)
def test_choices_are_the_job_s(key: tuple[str, str], kind: object) -> None:
    (option,) = [
        option
        for option in main.commands["plan"].params
        if isinstance(option, JobOption) and option.sets == key
    ]
    assert isinstance(option.type, click.Choice)
    assert set(option.type.choices) == set(get_args(kind))


def test_a_percent_goes_before_the_job_file_s_bars_and_bars_before_its_percent(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text("[shrinkage]\nbars = [{ wet_mm = 150, fired_mm = 133 }]\n")
    found = json.loads(run("size", "--job", str(job), "--shrinkage", "10", "--json").stdout)
    assert found["sizing"]["shrinkage"] == [0.1] * 3
    job.write_text("[shrinkage]\ntotal_percent = 10\n")
    found = json.loads(run("size", "--job", str(job), "--bar", "100/88", "--json").stdout)
    assert found["sizing"]["shrinkage"] == pytest.approx([0.12] * 3)


def test_without_a_command_it_says_what_there_is() -> None:
    result = run()
    assert result.exit_code == 0 and all(name in result.stdout for name in main.commands)


class _Broken(Exception):
    """Something that nobody foresaw."""


def test_what_nobody_foresaw_is_one_line_that_asks_to_report_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*_: object, **__: object) -> None:
        raise _Broken("a strange\nthing")

    monkeypatch.setattr("moldprep.pour.mix", breaks)
    result = run("pour", "--volume-ml", "5")
    assert result.exit_code == 2 and result.stdout == ""
    assert "report" in result.stderr and "a strange thing" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    monkeypatch.setenv("MOLDPREP_TRACEBACK", "1")
    assert isinstance(run("pour", "--volume-ml", "5").exception, _Broken)


def test_too_little_memory_is_told_from_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def fills(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr("moldprep.pour.mix", fills)
    assert "Reduce its mesh" in run("pour", "--volume-ml", "5").stderr


STAGES = [
    "read the form",
    "size the master",
    "stand it in its mold",
    "study the pulls",
    "choose the cottle",
    "find the seams",
    "cut the pieces",
    "weigh the pours",
    "set the sheet",
]


@pytest.mark.parametrize("lost", [False, True], ids=["heard", "swallowed by a library"])
@pytest.mark.parametrize("at", STAGES)
def test_ctrl_c_at_every_stage_leaves_nothing_behind(
    at: str, lost: bool, tmp_path: Path, coarse: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where a library swallows the interrupt: the next stage, or the writing, stops."""
    plain = Bar.stage

    def presses(bar: Bar, name: str) -> None:
        plain(bar, name)
        if name == at:
            try:
                signal.raise_signal(signal.SIGINT)
            except KeyboardInterrupt:
                if not lost:
                    raise

    monkeypatch.setattr(Bar, "stage", presses)
    result = run("plan", str(FOLDER / "cylinder.stl"), *coarse, "--out", str(tmp_path / "new" / "o"))
    assert result.exit_code == 130
    assert result.stderr == "Stopped; nothing was written.\n" and result.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_while_writing_finishes_the_folder(
    tmp_path: Path, coarse: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = Path.write_bytes

    def presses(path: Path, data: bytes) -> int:
        signal.raise_signal(signal.SIGINT)
        return plain(path, data)

    monkeypatch.setattr(Path, "write_bytes", presses)
    result = run("plan", str(FOLDER / "cylinder.stl"), *coarse, "--out", str(tmp_path / "o"))
    assert result.exit_code == 0 and "Written to" in result.stdout
    assert [path.name for path in tmp_path.iterdir()] == ["o"] and (tmp_path / "o" / "sheet.pdf").is_file()


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def test_as_a_process_help_and_version() -> None:
    for word in ("--help", "--version"):
        done = subprocess.run(
            [sys.executable, "-m", "moldprep", word],
            env=environment(),
            capture_output=True,
            text=True,
            check=True,
        )
        assert "moldprep" in done.stdout and done.stderr == ""


def test_a_terminal_without_our_signs_still_shows_the_numbers(
    tmp_path: Path, coarse: tuple[str, str]
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "moldprep", "plan", str(FOLDER / "tumbler.stl"), *coarse, "--out", "o"],
        cwd=tmp_path,
        env={**environment(), "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "master 78.0 ? 78.0 ? 110.0 mm" in done.stdout


def test_a_reader_that_leaves_early_is_no_fault() -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "moldprep", "check", str(FOLDER / "cylinder.stl"), "--json"],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout and process.stderr
    process.stdout.close()
    errors = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == 0 and errors == ""


def test_on_a_terminal_a_bar_names_the_stages_and_ctrl_c_stops_the_process(tmp_path: Path) -> None:
    """The process is interrupted when its bar, on a terminal of its own, says that it seeks the seams."""
    ours, its = pty.openpty()
    process = subprocess.Popen(
        [
            sys.executable,
            *("-m", "moldprep", "plan", str(FOLDER / "mug.stl")),
            *("--out", str(tmp_path / "o")),
        ],
        env={**environment(), "TERM": "xterm", "COLUMNS": "80"},
        stdout=subprocess.PIPE,
        stderr=its,
    )
    os.close(its)
    seen = b""
    while b"find the seams" not in seen:
        seen += os.read(ours, 4096)
    process.send_signal(signal.SIGINT)
    with suppress(OSError):  # the terminal is gone when the process is
        while more := os.read(ours, 4096):
            seen += more
    out, _ = process.communicate(timeout=60)
    os.close(ours)
    words = seen.decode()
    assert process.returncode == 130 and out == b""
    assert "study the pulls" in words and "Stopped; nothing was written." in words
    assert "Traceback" not in words
    assert list(tmp_path.iterdir()) == []


def test_size_says_what_a_master_for_a_capacity_becomes_and_what_smaller_sizes_hold() -> None:
    words = ["size", str(FOLDER / "tumbler.stl"), "--shrinkage", "12", "--capacity", "12"]
    words += ["--capacity-unit", "US fl oz", "--also-size", "0.7"]
    found = json.loads(run(*words, "--json").stdout)
    first, smaller = found["sizes"]
    assert first["fill_ml"]["value"] == pytest.approx(12 * 29.5735295625, rel=0.005)
    assert smaller["brim_ml"]["value"] < 0.343 * first["brim_ml"]["value"]  # its wall is as thick
    assert found["master"]["size_mm"][2] == pytest.approx(
        first["height_mm"]["value"] * found["sizing"]["factor"][2]
    )
    assert "12.0 US fl oz" in run(*words).stdout


def test_a_capacity_without_a_shrinkage_is_refused() -> None:
    result = run("size", str(FOLDER / "tumbler.stl"), "--capacity", "350")
    assert result.exit_code == 2
    assert "--shrinkage" in result.stderr or "shrinkage" in result.stderr


@pytest.mark.parametrize("text", ["tall", "20:30", "20:a-b", "20:30-40-50"])
def test_a_stretch_that_does_not_read_says_how(text: str) -> None:
    result = run("size", str(FOLDER / "tumbler.stl"), "--shrinkage", "12", "--taller", text)
    assert result.exit_code == 2
    assert "20:30-80" in result.stderr


def test_a_stretch_keeps_the_width() -> None:
    plain, taller = (
        json.loads(run("size", str(FOLDER / "tumbler.stl"), "--shrinkage", "12", *more, "--json").stdout)
        for more in ([], ["--taller", "20:30-80"])
    )
    grown = [
        b - a
        for a, b in zip(plain["sizing"]["fired_size_mm"], taller["sizing"]["fired_size_mm"], strict=True)
    ]
    assert grown == pytest.approx([0, 0, 20], abs=1e-9)


def test_an_option_for_one_size_goes_before_the_job_file_s_other(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text("[target]\nheight_mm = 90\n[shrinkage]\ntotal_percent = 12\n")
    words = ["size", str(FOLDER / "tumbler.stl"), "--job", str(job), "--fired-width", "70", "--json"]
    found = json.loads(run(*words).stdout)
    assert max(found["sizing"]["fired_size_mm"][:2]) == pytest.approx(70)
