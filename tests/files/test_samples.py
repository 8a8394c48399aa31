"""The sample forms that come along: in a checkout, and in an installed package."""

from __future__ import annotations

import json
import tomllib
from fnmatch import fnmatch
from pathlib import Path

import pytest

import moldprep
from moldprep.files import samples as module
from moldprep.files.samples import PLACES, samples
from moldprep.job import job_from_dict
from moldprep.master import FILE_TYPES
from tests.samples import FOLDER, catalog


def test_all_forms_of_the_catalogue_come_along() -> None:
    found = samples()
    assert [sample.path.stem for sample in found] == list(catalog())
    assert all(sample.path.is_file() and sample.title and sample.note for sample in found)
    assert len({sample.name for sample in found}) == len({sample.title for sample in found}) == len(found)


def test_their_part_of_a_job_is_a_job() -> None:
    for sample in samples():
        assert job_from_dict(sample.job) is not None
    (bowl,) = [sample for sample in samples() if sample.path.name == "fluted-bowl.obj"]
    assert job_from_dict(bowl.job).form.units == "cm"


def test_hollow_ones_say_so() -> None:
    assert {sample.path.stem for sample in samples() if sample.hollow} == {"hollow-cup", "hollow-bowl"}


def test_an_installed_package_has_the_meshes_and_the_catalogue_and_nothing_else() -> None:
    """What pyproject.toml takes into the wheel of the folder, and where it puts it."""
    wheel = tomllib.loads((FOLDER.parent / "pyproject.toml").read_text())["tool"]["hatch"]["build"][
        "targets"
    ]["wheel"]
    assert set(wheel["only-include"]) == {"moldprep", "sample_meshes"}
    taken = {
        path.name
        for path in FOLDER.iterdir()
        if path.name != "__pycache__"
        and not any(fnmatch(path.relative_to(FOLDER.parent).as_posix(), out) for out in wheel["exclude"])
    }
    assert taken == {"catalog.json"} | {sample.path.name for sample in samples()}
    assert {Path(name).suffix.lstrip(".") for name in taken} <= {"json", *FILE_TYPES}
    package = Path(moldprep.__file__).parent
    assert wheel["sources"] == {"sample_meshes": PLACES[0].relative_to(package.parent).as_posix()}


def test_they_are_found_where_an_installed_package_has_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = catalog()["mug"]
    (tmp_path / "catalog.json").write_text(json.dumps({"mug": entry}))
    monkeypatch.setattr(module, "PLACES", (tmp_path, *PLACES))
    assert [sample.path for sample in samples()] == [tmp_path / "mug.stl"]
    monkeypatch.setattr(module, "PLACES", (tmp_path / "gone",))
    assert samples() == ()
