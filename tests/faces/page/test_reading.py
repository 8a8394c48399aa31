"""Reading in a child: the same master, the same words, and nothing that a file can do to the page."""

from __future__ import annotations

import io
import sys
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import psutil
import pytest

from moldprep.errors import Cancelled, FileError, RequestError
from moldprep.faces.page.crossing import Parcel, blocks_of, decoded, encoded, header_of, refusal_of
from moldprep.faces.page.reading import Intake, Limits, _Child, usual_limits
from moldprep.files.read import read_master
from moldprep.job import FormJob
from moldprep.master import Master
from tests.samples import FOLDER

MM = FormJob()
BOWL = FOLDER / "footed-bowl.stl"


@pytest.fixture(scope="module")
def intake() -> Iterator[Intake]:
    made = Intake()
    made.warm()
    yield made
    made.close()


@pytest.fixture(scope="module")
def heavy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """400,000 triangles that have nothing to do with each other, as binary STL."""
    rows = np.zeros(400_000, np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")]))
    rows["v"] = np.random.default_rng(1).uniform(0, 100, rows["v"].shape)
    path = tmp_path_factory.mktemp("heavy") / "upload-3"
    path.write_bytes(b"\0" * 80 + np.uint32(len(rows)).tobytes() + rows.tobytes())
    return path


def read(intake: Intake, path: Path, name: str, form: FormJob = MM) -> Parcel:
    return intake.read(path, name, form, stop=threading.Event(), step=lambda done, of: None)


def assert_same(found: Master, direct: Master) -> None:
    """Every number and every word, and arrays that nobody can write to."""
    for name in ("name", "findings", "units", "source_digest", "steps"):
        assert getattr(found, name) == getattr(direct, name)
    assert (found.inside is None) == (direct.inside is None)
    pairs = [(found.mesh, direct.mesh)]
    if found.inside is not None and direct.inside is not None:
        pairs.append((found.inside, direct.inside))
    for mesh, other in pairs:
        for array, wanted in ((mesh.vertices, other.vertices), (mesh.faces, other.faces)):
            assert array.dtype == wanted.dtype and array.tobytes() == wanted.tobytes()
            assert not array.flags.writeable and array.flags.aligned and array.flags.c_contiguous


def test_a_master_comes_over_as_if_it_had_been_read_here(intake: Intake, tmp_path: Path) -> None:
    path = tmp_path / "upload-1"
    path.write_bytes(BOWL.read_bytes())
    form = FormJob(units="cm", up="y")
    steps: list[tuple[int, int]] = []
    parcel = intake.read(
        path, "Bowls/footed bowl.stl", form, stop=threading.Event(), step=lambda *at: steps.append(at)
    )
    direct = read_master(path, form, name="footed bowl.stl")
    assert direct.findings and direct.name == "footed-bowl"  # ten times too large, so that something is said
    assert_same(parcel.master(), direct)
    told = parcel.read()
    assert (told.name, told.triangles, told.digest) == (
        direct.name,
        len(direct.mesh.faces),
        direct.source_digest,
    )
    assert told.size_mm == tuple(direct.mesh.extents) and told.findings == direct.findings
    assert steps == [(0, 4), (1, 4), (2, 4), (3, 4)]


def test_a_filled_form_brings_its_inside_along() -> None:
    direct = read_master(FOLDER / "hollow-cup.stl", FormJob(fill_hollow=True))
    assert direct.inside is not None
    header = decoded(encoded(header_of(direct)))
    assert header == header_of(direct)
    assert_same(Parcel(header_of(direct), tuple(map(bytes, blocks_of(direct)))).master(), direct)


def open_box() -> bytes:
    """A box that lacks its top."""
    corners = [(x, y, z) for z in (0, 30) for y in (0, 40) for x in (0, 50)]
    sides = ["3 4 2", "3 2 1", "1 2 6", "1 6 5", "2 4 8", "2 8 6", "4 3 7", "4 7 8", "3 1 5", "3 5 7"]
    return "\n".join([f"v {x} {y} {z}" for x, y, z in corners] + [f"f {side}" for side in sides]).encode()


def bomb() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("3D/3dmodel.model", b" " * 20_000_000)
    return packed.getvalue()


BROKEN = {
    "stl-truncated": ("my cup.stl", BOWL.read_bytes()[:-70]),
    "3mf-bomb": ("my cup.3mf", bomb()),
    "form-open": ("my cup.obj", open_box()),
    "file-type": ("my cup.step", b"ISO-10303-21;"),
}


@pytest.mark.parametrize("code", BROKEN)
def test_a_broken_file_is_refused_in_the_command_lines_words(
    code: str, intake: Intake, tmp_path: Path
) -> None:
    name, data = BROKEN[code]
    named, uploaded = tmp_path / name, tmp_path / "upload-2"
    named.write_bytes(data)
    uploaded.write_bytes(data)
    with pytest.raises(RequestError) as direct:
        read_master(named, MM)
    with pytest.raises(RequestError) as found:
        read(intake, uploaded, name)
    assert direct.value.code == code
    assert type(found.value) is type(direct.value) and vars(found.value) == vars(direct.value)
    assert str(found.value) == str(direct.value)
    assert "upload-2" not in str(found.value) and str(tmp_path) not in str(found.value)


def test_a_missing_file_is_told_by_its_makers_name(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"There is no file cup\.stl\."):
        read_master(tmp_path / "upload-9", MM, name="C:\\forms\\cup.stl")


def test_the_warden_ends_a_child_that_takes_too_much_memory(
    intake: Intake, heavy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "limits", Limits(60.0, 1))
    with pytest.raises(FileError) as caught:
        read(intake, heavy, "scan.stl")
    assert caught.value.code == "file-too-heavy" and "scan.stl" in caught.value.says


class Blind:
    """A warden that never looks."""

    why = None

    def begin(self) -> None:
        """The file is handed over."""


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not refuse addresses")
def test_the_system_refuses_memory_before_the_warden_looks(heavy: Path) -> None:
    child = _Child()
    try:
        with pytest.raises(FileError) as caught:
            child.ask(heavy, "scan.stl", MM, Limits(60.0, 30_000_000), Blind(), lambda *_: None)  # type: ignore[arg-type]
        assert caught.value.code == "file-too-heavy" and "0.03 GB" in caught.value.says
    finally:
        child.end()


def test_a_child_that_takes_too_long_is_ended(
    intake: Intake, heavy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "limits", Limits(0.0, usual_limits().memory_bytes))
    with pytest.raises(FileError) as caught:
        read(intake, heavy, "scan.stl")
    assert caught.value.code == "file-too-slow" and "scan.stl" in caught.value.says
    assert "mesh" in caught.value.remedy


def test_a_child_that_breaks_down_takes_nothing_with_it(intake: Intake, heavy: Path) -> None:
    intake.warm()
    assert intake._spare is not None
    process = psutil.Process(intake._spare.process.pid)
    with pytest.raises(FileError) as caught:
        intake.read(heavy, "scan.stl", MM, stop=threading.Event(), step=lambda done, of: process.kill())
    assert caught.value.code == "file-reader-died" and "scan.stl" in caught.value.says
    assert read(intake, BOWL, "bowl.stl").header.name == "bowl"


def test_reading_stops_when_it_is_told_to_and_leaves_nothing_running(heavy: Path) -> None:
    intake, stop = Intake(), threading.Event()
    intake.warm()
    assert intake._spare is not None
    first = intake._spare.process.pid
    with pytest.raises(Cancelled):
        intake.read(heavy, "scan.stl", MM, stop=stop, step=lambda done, of: stop.set())
    assert intake._spare is not None
    second = intake._spare.process.pid
    assert first != second and not psutil.pid_exists(first)
    intake.close()
    assert not psutil.pid_exists(second)
    with pytest.raises(Cancelled):
        read(intake, BOWL, "bowl.stl")


def test_what_nobody_foresaw_becomes_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    error = refusal_of(ZeroDivisionError("a pitch\nof nothing")).error()
    assert type(error) is RequestError and error.code == "unforeseen"
    assert "ZeroDivisionError: a pitch of nothing" in error.says and "command line" in error.remedy
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_cancelled_and_places_cross_too() -> None:
    assert type(refusal_of(Cancelled()).error()) is Cancelled
    raised = FileError("It is torn.", code="torn", remedy="Sew it.", where=((1.0, 0.1, -3.0),))
    refusal = refusal_of(raised)
    crossed = decoded(encoded(refusal))
    assert crossed == refusal
    assert vars(refusal.error()) == vars(raised) and type(refusal.error()) is FileError
