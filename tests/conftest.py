"""A run on several workers: what takes longest begins first, and what one has made the others need not make again."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

import pytest

from tests.shared import FOLDER_IS_IN

TESTS = Path(__file__).parent
LONGEST_FIRST = (
    "test_catalog.py",
    "test_planning.py",
    "faces/test_cli.py",
    "faces/page/test_page.py",
    "faces/page/test_workshop.py",
    "test_samples_turned.py",
    "faces/page/test_studio_page.py",
    "faces/page/test_scene.py",
    "test_docs.py",
    "test_drain.py",
    "test_boards.py",
    "test_inside.py",
    "test_natches.py",
    "test_others_meshes.py",
    "sheet/test_cards.py",
    "test_release.py",
    "test_ease.py",
    "test_pieces.py",
    "test_casting.py",
    "test_samples.py",
    "files/test_studio.py",
    "sheet/test_paper.py",
    "test_thin.py",
    "test_target.py",
    "printing/test_print_plan.py",
    "parting/test_part_mold.py",
    "parting/test_steering.py",
    "sheet/test_truescale.py",
)
"""Files, the longest first. One that was begun last would leave all other workers idle."""


def pytest_configure(config: pytest.Config) -> None:
    """Only where workers are started: they have an input of their own, and find the folder in their surroundings."""
    if not config.getoption("numprocesses", None) or hasattr(config, "workerinput"):
        return
    config.option.loadscopereorder = False  # else files go by the number of their tests
    folder = tempfile.mkdtemp(prefix="moldprep-tests-")
    os.environ[FOLDER_IS_IN] = folder

    def end() -> None:
        os.environ.pop(FOLDER_IS_IN, None)
        shutil.rmtree(folder, ignore_errors=True)

    config.add_cleanup(end)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    places = {TESTS / name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))
