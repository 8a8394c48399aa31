"""The layers hold: imports point one way, and only some modules touch the world."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import moldprep

ROOT = Path(moldprep.__file__).parent

LAYERS = [
    {"errors", "working"},
    {"findings"},
    {"geometry", "formulas"},
    {"materials"},
    {"job"},
    {"master"},
    {"sizing"},
    {"stand"},
    {"inside"},
    {"target"},
    {"pull"},
    {"cottle"},
    {"parting"},
    {"pieces"},
    {"ease"},
    {"release", "thin"},
    {"poses"},
    {"boards", "cottling"},
    {"mixing"},
    {"pour"},
    {"drying", "casting", "drain"},
    {"drymold", "stock"},
    {"printing"},
    {"estimate"},
    {"planning"},
    {"sheet", "files"},
    {"faces"},
]
"""Lowest first; the stages one by one, in working order."""

PRINTS_AND_CLOCKS = {"print", "open", "input"}
WORLD = {"time", "datetime", "subprocess", "socket", "urllib", "logging", "tempfile", "shutil", "pathlib"}


def modules() -> list[Path]:
    return sorted(
        path
        for path in ROOT.rglob("*.py")
        if path.parent != ROOT or path.stem not in ("__init__", "__main__")
    )


def top(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def level(name: str) -> int:
    (found,) = [k for k, layer in enumerate(LAYERS) if name in layer]
    return found


def imported(path: Path) -> set[str]:
    """Top-level parts of this package that a module imports, wherever it does."""
    found = set()
    package = ["moldprep", *path.relative_to(ROOT).parts[:-1]]
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = package[: len(package) - node.level + 1] + (node.module or "").split(".")
            if len([part for part in base if part]) > 1:
                found.add(base[1])
            else:
                found |= {alias.name for alias in node.names if not alias.name.startswith("__")}
    return found


def outside(path: Path) -> set[str]:
    """Top-level names of other packages that a module imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_down(path: Path) -> None:
    own = top(path)
    for name in imported(path) - {own}:
        assert level(name) < level(own), (
            f"{path.relative_to(ROOT)} imports {name}, which lies above or beside it"
        )


def test_every_layer_exists_and_none_is_forgotten() -> None:
    named = set().union(*LAYERS)
    assert named == {top(path) for path in modules()}


@pytest.mark.parametrize(
    "path",
    [path for path in modules() if top(path) not in ("files", "faces")],
    ids=lambda path: str(path.relative_to(ROOT)),
)
def test_only_files_and_faces_touch_the_world(path: Path) -> None:
    calls = {
        node.func.id
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & PRINTS_AND_CLOCKS
    assert not outside(path) & WORLD


def test_one_module_talks_to_manifold3d() -> None:
    speakers = [path.relative_to(ROOT).as_posix() for path in modules() if "manifold3d" in outside(path)]
    assert speakers == ["geometry/solids.py"]


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_stay_short(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 500
