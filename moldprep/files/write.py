"""Writing a plan's folder: whole or not at all."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ..errors import FileError

RECORD = "plan.json"


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files (relative names with `/`) into a new folder beside the wanted one, then rename it.

    A folder that holds a plan of ours is replaced; anything else there is refused with FileError, and
    so is a place that cannot be written. Whatever stops the writing, nothing half-made stays behind.
    """
    if folder.exists() and not _is_ours(folder):
        raise FileError(
            f"{folder} exists and is not a plan of moldprep's.",
            code="folder-exists",
            remedy="Name another folder with --out, or move it away.",
        )
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise _unwritable(folder, error) from error
    try:
        for name, data in files.items():
            target = beside / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)
        beside.chmod(0o755)
        _swap(beside, folder)
    except OSError as error:
        raise _unwritable(folder, error) from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _swap(made: Path, folder: Path) -> None:
    """Put the new folder in the place of the old one, which is removed last."""
    if not folder.exists():
        os.rename(made, folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}-old-", dir=folder.parent))
    os.rename(folder, old / "old")
    try:
        os.rename(made, folder)
    except OSError:
        os.rename(old / "old", folder)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    """Whether a folder holds a plan's record, or nothing."""
    if not folder.is_dir():
        return False
    if not any(folder.iterdir()):
        return True
    try:
        found = json.loads((folder / RECORD).read_bytes())
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and str(found.get("format", "")).startswith("moldprep-plan/")


def _unwritable(folder: Path, error: OSError) -> FileError:
    return FileError(
        f"{folder} cannot be written: {error.strerror or error}.",
        code="folder-unwritable",
        remedy="Choose another place with --out.",
    )
