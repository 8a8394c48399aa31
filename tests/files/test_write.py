"""A plan's folder is written whole or not at all, and nothing of the maker's is lost."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from moldprep.errors import FileError
from moldprep.files.write import PLAN_NAMES, check_folder, write_folder
from moldprep.sheet.bundle import plan_files
from tests.samples import planned

RECORD = b'{"format": "moldprep-plan/1"}\n'
FILES = {"plan.json": RECORD, "sheet.pdf": b"paper", "pieces/A-mold.stl": b"solid"}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() or path.is_symlink()
    }


def test_a_new_folder_holds_the_files_and_nothing_stands_beside_it(tmp_path: Path) -> None:
    write_folder(tmp_path / "new" / "deep" / "o", FILES)
    assert contents(tmp_path) == {f"new/deep/o/{name}": data for name, data in FILES.items()}


def test_an_empty_folder_and_an_earlier_plan_are_taken(tmp_path: Path) -> None:
    folder = tmp_path / "o"
    folder.mkdir()
    write_folder(folder, FILES | {"pieces/B-foot.stl": b"gone tomorrow"})
    (folder / ".DS_Store").write_bytes(b"a file browser's")
    write_folder(folder, FILES)
    assert contents(tmp_path) == {f"o/{name}": data for name, data in FILES.items()}


@pytest.mark.parametrize(
    "theirs",
    ["notes.txt", "pieces/A-mold.gcode", "photos/sheet.pdf", "pieces/old/A-mold.stl", ".hidden"],
)
def test_a_plan_with_something_of_the_maker_s_in_it_stays(theirs: str, tmp_path: Path) -> None:
    folder = tmp_path / "o"
    write_folder(folder, FILES)
    (folder / theirs).parent.mkdir(exist_ok=True)
    (folder / theirs).write_text("mine")
    before = contents(tmp_path)
    with pytest.raises(FileError) as caught:
        write_folder(folder, {"plan.json": RECORD})
    assert caught.value.code == "folder-exists"
    assert theirs in caught.value.says and "--out" in caught.value.remedy
    assert contents(tmp_path) == before


@pytest.mark.parametrize("record", [b"{}", b"not json", b"[]", b'{"format": "other/1"}', b"\xff\xfe"])
def test_a_folder_with_another_program_s_record_stays(record: bytes, tmp_path: Path) -> None:
    folder = tmp_path / "o"
    folder.mkdir()
    (folder / "plan.json").write_bytes(record)
    with pytest.raises(FileError, match=r"plan\.json"):
        check_folder(folder)


def test_files_links_and_the_folder_one_stands_in_are_no_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    monkeypatch.chdir(tmp_path / "real")
    for place in (tmp_path / "file", tmp_path / "link", tmp_path / "dangling", Path(), tmp_path):
        with pytest.raises(FileError) as caught:
            write_folder(place, FILES)
        assert caught.value.code == "folder-exists", place
    assert sorted(path.name for path in tmp_path.iterdir()) == ["dangling", "file", "link", "real"]


@pytest.mark.parametrize("name", ["x" * 300, "file/below"])
def test_a_place_that_cannot_be_is_refused(name: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(FileError) as caught:
        write_folder(tmp_path / name, FILES)
    assert caught.value.code == "folder-unwritable" and len(str(caught.value)) < 300
    assert contents(tmp_path) == {"file": b"mine"}


@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("at", range(len(FILES)))
@pytest.mark.parametrize("there_was", [False, True], ids=["new place", "earlier plan"])
def test_what_stops_the_writing_leaves_all_as_it_was(
    failure: BaseException, at: int, there_was: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "some" / "where"
    if there_was:
        write_folder(folder, {"plan.json": RECORD, "master.stl": b"old"})
    before, written, plain = contents(tmp_path), [], Path.write_bytes

    def fails(path: Path, data: bytes) -> int:
        written.append(path)
        if len(written) > at:
            raise failure
        return plain(path, data)

    monkeypatch.setattr(Path, "write_bytes", fails)
    with pytest.raises((FileError, KeyboardInterrupt)) as caught:
        write_folder(folder, FILES)
    if isinstance(caught.value, FileError):
        assert "No space left on device" in caught.value.says
    assert contents(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == (["some"] if there_was else [])


@pytest.mark.parametrize("failure", [OSError(5, "Input/output error"), KeyboardInterrupt()])
@pytest.mark.parametrize("at", [1, 2])
def test_what_stops_the_renaming_leaves_the_earlier_plan(
    failure: BaseException, at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first rename takes the old folder away, the second puts the new one there."""
    folder = tmp_path / "o"
    write_folder(folder, {"plan.json": RECORD, "master.stl": b"old"})
    before, calls, plain = contents(tmp_path), [], os.rename

    def fails(source: Path, target: Path) -> None:
        calls.append(target)
        if len(calls) == at:
            raise failure
        plain(source, target)

    monkeypatch.setattr(os, "rename", fails)
    with pytest.raises((FileError, KeyboardInterrupt)):
        write_folder(folder, FILES)
    assert contents(tmp_path) == before


def test_all_that_a_plan_writes_is_known_as_a_plan_s() -> None:
    for name in plan_files(planned("tumbler")):
        assert any(Path(name).match(pattern) for pattern in PLAN_NAMES), name
