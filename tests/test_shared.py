"""What workers of a run hand to each other is what was made, and the run begins with files that are there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.conftest import LONGEST_FIRST, TESTS
from tests.forms import tumbler
from tests.shared import FOLDER_IS_IN, shared


def test_it_is_made_once_and_comes_back_with_arrays_that_nobody_may_write_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(FOLDER_IS_IN, str(tmp_path))
    form, made = tumbler(sections=12), []

    def make() -> object:
        made.append(1)
        return {"form": form, "again": form.faces, "own": np.arange(3)}

    shared("form", make)
    again = shared("form", make)
    assert len(made) == 1
    assert again["form"].vertices.tobytes() == form.vertices.tobytes()
    assert again["form"].faces is again["again"]
    assert not again["again"].flags.writeable and again["own"].flags.writeable
    with pytest.raises(ValueError, match="read-only"):
        again["form"].vertices[0] = 0


def test_what_cannot_be_made_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER_IS_IN, str(tmp_path))
    with pytest.raises(ZeroDivisionError):
        shared("nothing", lambda: 1 / 0)
    assert shared("nothing", lambda: 1) == 1


def test_without_a_folder_each_makes_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(FOLDER_IS_IN, raising=False)
    assert shared("form", list) is not shared("form", list)


def test_the_files_that_come_first_are_there() -> None:
    assert [name for name in LONGEST_FIRST if not (TESTS / name).is_file()] == []
    assert len(set(LONGEST_FIRST)) == len(LONGEST_FIRST)
