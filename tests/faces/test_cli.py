"""The command line, in-process and as a process: words, numbers, exit statuses, nothing left behind."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest
import trimesh
from click.testing import CliRunner, Result

from moldprep.faces.cli import main
from moldprep.sheet.record import record_json
from tests.samples import FOLDER, planned

ROOT = FOLDER.parent


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
        "pieces/A-mold.stl",
    }
    assert (out / "plan.json").read_bytes() == record_json(planned("tumbler"))
    piece = trimesh.load(out / "pieces" / "A-mold.stl")
    assert piece.is_watertight
    assert piece.volume == pytest.approx(planned("tumbler").pieces.pieces[0].volume_mm3, rel=1e-5)  # float32
    assert [path.name for path in tmp_path.iterdir()] == ["made"]


def test_a_plan_of_ours_is_replaced_and_another_folder_is_not(tmp_path: Path) -> None:
    form = str(FOLDER / "tumbler.stl")
    out = tmp_path / "made"
    out.mkdir()
    (out / "precious.txt").write_text("mine")
    refused = run("plan", form, "--out", str(out))
    assert refused.exit_code == 2 and "--out" in refused.output
    assert [path.name for path in out.iterdir()] == ["precious.txt"]
    (out / "precious.txt").unlink()
    for _ in range(2):
        assert run("plan", form, "--out", str(out)).exit_code == 0
    assert [path.name for path in tmp_path.iterdir()] == ["made"]


def test_json_goes_to_standard_output_alone(tmp_path: Path) -> None:
    result = run("check", str(FOLDER / "mug.stl"), "--json")
    found = json.loads(result.stdout)
    assert found["stand"]["opening"] == "rim" and found["pulls"][0]["name"] == "up"


def test_options_override_the_job_file(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(
        "[shrinkage]\ntotal_percent = 10\nplaster_expansion_percent = 0\n[plaster]\nconsistency = 80\n"
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


def test_a_stop_finding_exits_1(tmp_path: Path) -> None:
    result = run("plan", str(FOLDER / "three-lug-vase.stl"), "--out", str(tmp_path / "o"))
    assert result.exit_code == 1 and "stop:" in result.output


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        (["plan", "no-such.stl"], "Look at the name"),
        (["plan", str(ROOT / "README.md")], "Export the form as STL"),
        (["plan", str(FOLDER / "tumbler.stl"), "--job", "no-such.toml"], "Check it"),
        (["plan", str(FOLDER / "tumbler.stl"), "--family", "two-piece", "--plane", "999"], "Give heights"),
        (["plan", str(FOLDER / "hollow-cup.stl")], "solid"),
        (["size", "--bar", "150/x/133"], "Write it as"),
        (["size", "--bar", "100/250"], "in that order"),
        (["pour"], "--volume-ml"),
        (["pour", "--box", "10x10"], "Write it as"),
        (["pour", "--volume-ml", "-5"], "above 0"),
        (["pour", "--volume-ml", "5", "--consistency", "500"], "Known here"),
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
    assert found["factor"] == pytest.approx(1.12782 / 1.002, abs=1e-5)
    assert found["lengths"][0]["master_mm"] == pytest.approx(95 * found["factor"])
    assert "Drying 4.00 %, firing 7.64 %" in run("size", "--bar", "150/144/133").output


def test_pour_a_box_with_a_form_in_it() -> None:
    found = json.loads(run("pour", "--box", "300x200x120", "--form-ml", "900", "--json").stdout)
    assert found["solid_ml"] == pytest.approx(300 * 200 * 120 / 1000 - 900)
    ring = json.loads(run("pour", "--ring", "200x150", "--json").stdout)
    assert ring["solid_ml"] == pytest.approx(3.14159265 * 10**2 * 15)


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


def test_ctrl_c_leaves_nothing_behind(tmp_path: Path) -> None:
    """Interrupted at several moments; whatever it was doing, one line and no folder, or a whole one."""
    for wait in (0.6, 1.5, 2.5):
        process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "moldprep",
                "plan",
                str(FOLDER / "gallery-jar.stl"),
                "--out",
                str(tmp_path / "o"),
            ],
            env=environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        time.sleep(wait)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
        left = [path.name for path in tmp_path.iterdir()]
        if process.returncode == 0:
            assert left == ["o"]
        else:
            assert process.returncode in (130, -signal.SIGINT)
            assert left == [] and "Traceback" not in errors
