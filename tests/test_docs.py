"""The documents hold: README's blocks, output and commands, the notebook, the job's keys."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from click.testing import CliRunner
from nbclient import NotebookClient

from moldprep.faces.cli import main
from moldprep.job import Job, job_from_toml

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)\n```", README, re.DOTALL)


def test_every_command_stands_in_readme_and_no_other() -> None:
    assert set(re.findall(r"`moldprep (\w+)", README)) == set(main.commands)


def test_readme_s_commands_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """The block of short commands, line by line, from the project's folder."""
    monkeypatch.chdir(ROOT)
    (short,) = [block for block in blocks("sh") if block.startswith("moldprep size")]
    for line in short.splitlines():
        name, *words = line.split()
        assert name == "moldprep"
        assert CliRunner().invoke(main, words).exit_code == 0, line


def test_readme_s_output_is_the_main_block_s(tmp_path: Path) -> None:
    (line,) = [line for line in blocks("sh")[0].splitlines() if " plan " in line]
    words = (
        line.replace(".venv/bin/moldprep", "moldprep")
        .replace("sample_meshes", str(ROOT / "sample_meshes"))
        .split()
    )
    done = subprocess.run(
        [sys.executable, "-m", *words],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": str(ROOT)},
    )
    printed = "\n".join(line.rstrip() for line in done.stdout.splitlines())
    assert printed.strip() == blocks("text")[0].strip()


def test_readme_s_job_file_is_a_job() -> None:
    (text,) = blocks("toml")
    assert job_from_toml(text).shrinkage.bars


def test_readme_s_program_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(ROOT)
    (program,) = blocks("python")
    exec(program, {"__name__": "__main__"})
    assert capsys.readouterr().out.startswith("one-piece [")


@pytest.mark.parametrize(
    "path", sorted((ROOT / "sample_meshes" / "jobs").glob("*.toml")), ids=lambda path: path.stem
)
def test_sample_jobs_are_jobs(path: Path) -> None:
    assert job_from_toml(path.read_text()) != Job()


@pytest.mark.filterwarnings("ignore")  # the notebook client's own
def test_the_notebook_runs_and_holds_no_outputs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    path = ROOT / "notebooks" / "from-mesh-to-sheet.ipynb"
    book = nbformat.read(path, as_version=4)
    assert all(not cell.get("outputs") for cell in book.cells)
    NotebookClient(book, timeout=120, resources={"metadata": {"path": str(path.parent)}}).execute()
    pictures = json.dumps(book).count("image/png") + json.dumps(book).count("image/svg")
    assert pictures >= 5
