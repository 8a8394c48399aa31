"""Where a dropped form lands: written whole or not at all, under our own name, gone with the tab."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from moldprep.errors import FileError
from moldprep.faces.page.guard import MOST_UPLOAD_BYTES, too_much_words
from moldprep.faces.page.uploads import NAME_LETTERS, WRITE_BYTES, Landing, refused_words, shown_name
from moldprep.files.read import check_file


async def parts(*given: bytes) -> AsyncIterator[bytes]:
    for part in given:
        yield part


@pytest.fixture
def landing(tmp_path: Path) -> Iterator[Landing]:
    found = Landing(tmp_path, most_bytes=3 * WRITE_BYTES)
    yield found
    found.close()


def test_a_form_lands_whole(landing: Landing) -> None:
    body = [b"a" * (WRITE_BYTES - 1), b"bc", b"", b"d" * WRITE_BYTES]
    path = asyncio.run(landing.take("Vase No. 3.STL", parts(*body)))
    assert path.read_bytes() == b"".join(body)
    assert (path.name, path.parent) == ("form-1.stl", landing.path)
    assert landing.path.stat().st_mode & 0o777 == 0o700


def test_a_form_of_too_many_bytes_leaves_nothing(landing: Landing) -> None:
    with pytest.raises(FileError, match="at most 3 MB are read") as caught:
        asyncio.run(landing.take("vase.stl", parts(*[b"a" * WRITE_BYTES] * 3, b"a")))
    assert caught.value.code == "file-too-large"
    assert list(landing.path.iterdir()) == []


def test_a_form_that_stops_on_its_way_leaves_nothing(landing: Landing) -> None:
    async def breaks() -> AsyncIterator[bytes]:
        yield b"a" * 2 * WRITE_BYTES
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        asyncio.run(landing.take("vase.stl", breaks()))
    assert list(landing.path.iterdir()) == []


def test_a_full_disk_is_said(landing: Landing) -> None:
    async def fills() -> AsyncIterator[bytes]:
        yield b"a"
        raise OSError(28, "No space left on device")

    with pytest.raises(FileError, match="No space left") as caught:
        asyncio.run(landing.take("vase.stl", fills()))
    assert "Make room" in caught.value.remedy


def test_a_landing_that_closed_takes_nothing(landing: Landing) -> None:
    asyncio.run(landing.take("vase.stl", parts(b"a")))
    landing.close()
    landing.close()
    assert not landing.path.exists()
    with pytest.raises(FileError):
        asyncio.run(landing.take("vase.stl", parts(b"a")))
    with pytest.raises(FileError):
        landing.put(b"a", "vase.stl")
    assert not landing.path.exists()


def test_what_landed_before_goes_when_the_next_form_has_taken_its_place(landing: Landing) -> None:
    one = asyncio.run(landing.take("one.stl", parts(b"1")))
    two = landing.put(b"2", "two.obj")
    three = asyncio.run(landing.take("three.ply", parts(b"3")))
    bundle = landing.place("plan.zip")
    bundle.write_bytes(b"z")
    landing.forget_before(landing.path / "another.stl")
    assert one.exists()
    landing.forget_before(two)
    assert sorted(landing.path.iterdir()) == sorted([two, three, bundle])
    landing.forget_before(three)
    assert not one.exists() and sorted(landing.path.iterdir()) == sorted([three, bundle])


def test_nothing_is_placed_outside(landing: Landing) -> None:
    assert landing.place("../../plan.zip") == landing.path / "plan.zip"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("vase.stl", "vase.stl"),
        ("/a/b\\c/vase.stl", "vase.stl"),
        ("va\0s\ne\u202e.stl", "vase.stl"),
        ("", "form"),
        ("a/", "form"),
        ("Krüge 2.3mf", "Krüge 2.3mf"),
    ],
)
def test_a_name_is_shown_without_folders_and_signs_that_do_not_print(name: str, shown: str) -> None:
    assert shown_name(name) == shown


def test_a_long_name_keeps_its_end() -> None:
    assert shown_name("a" * 5000 + ".stl") == "a" * (NAME_LETTERS - 4) + ".stl"


def test_words_for_what_the_browser_did_not_send_are_the_command_line_s(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.touch()
    with pytest.raises(FileError) as caught:
        check_file(notes)
    assert refused_words("type", "notes.txt", 0) == str(caught.value)
    large = refused_words("large", "vase.stl", MOST_UPLOAD_BYTES + 1)
    assert large.startswith("vase.stl has 251 MB; at most 250 MB are read. ")
    assert large.endswith(too_much_words().partition(" MB are read. ")[2])


def test_each_way_to_give_no_form_has_its_sentence() -> None:
    assert "2 files" in refused_words("many", "vase.obj", 2)
    assert "is no file" in refused_words("none", "form", 0)
    assert "vase.stl did not arrive" in refused_words("lost", "vase.stl", 0)
    assert refused_words("What the server said.", "vase.stl", 0) == "What the server said."
    assert len(refused_words("x" * 10_000, "vase.stl", 0)) == 300
