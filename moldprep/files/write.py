"""Writing a plan's folder: whole or not at all, and never over what the maker put there."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from ..errors import FileError

RECORD = "plan.json"
PLAN_NAMES = (
    "sheet.pdf",
    RECORD,
    "master.stl",
    "sections/*.stl",
    "ease/*.stl",
    "pieces/*.stl",
    "boards/*.stl",
    "*.3mf",
    "view.glb",
    "templates/*.svg",
    "templates/*.dxf",
)
"""What a plan's folder may hold; a folder with anything else is not replaced."""
LITTER = (".DS_Store", "Thumbs.db", "desktop.ini")
"""What file browsers leave in any folder."""


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files (relative names with `/`) into a new folder beside the wanted one, then rename it.

    Raises FileError as `check_folder`, and for a place that cannot be written. Whatever stops the
    writing, an interrupt included: nothing half-made stays, and an earlier plan stays as it was.
    """
    check_folder(folder)
    missing = [parent for parent in folder.absolute().parents if not parent.exists()]
    try:
        folder.absolute().parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(
            prefix=".moldprep-", dir=folder.absolute().parent, ignore_cleanup_errors=True
        ) as beside:
            made = Path(beside) / "new"
            for name, data in files.items():
                target = made / name
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(data)
            _swap(made, folder.absolute(), Path(beside) / "old")
    except OSError as error:
        raise _unwritable(folder, error) from error
    finally:
        if not folder.exists():
            _remove_empty(missing)


def check_folder(folder: Path) -> None:
    """Refuse with FileError a place where no plan may be written: a file, or a folder with other things.

    Nothing there, an empty folder and an earlier plan are free to take. Worth asking before long work.
    """
    try:
        if not folder.is_symlink() and not folder.exists():
            return
        strange = _strange(folder)
    except OSError as error:
        raise _unwritable(folder, error) from error
    if strange is not None:
        raise FileError(
            f"{folder} is there already and is not free: {strange}.",
            code="folder-exists",
            remedy="Name another folder with --out, or move it away.",
        )


def _strange(folder: Path) -> str | None:
    """What keeps a folder from being replaced, in words; None when it is empty or a plan and no more."""
    if folder.is_symlink() or not folder.is_dir():
        return "it is not a folder"
    if Path.cwd().is_relative_to(folder.resolve()):
        return "you are inside it"
    held = sorted(
        path.relative_to(folder)
        for path in folder.rglob("*")
        if path.name not in LITTER and (path.is_symlink() or not path.is_dir())
    )
    others = [name.as_posix() for name in held if not any(_fits(name, pattern) for pattern in PLAN_NAMES)]
    if others:
        return f"it holds what is no part of a plan ({', '.join(others[:3])}{', ...' if len(others) > 3 else ''})"
    return None if not held or _is_plan(folder / RECORD) else f"it has no {RECORD} of a plan in it"


def _fits(name: Path, pattern: str) -> bool:
    return name.match(pattern) and len(name.parts) == len(Path(pattern).parts)


def _is_plan(record: Path) -> bool:
    try:
        found = json.loads(record.read_bytes())
    except (FileNotFoundError, ValueError):
        return False
    return isinstance(found, dict) and str(found.get("format", "")).startswith("moldprep-plan/")


def _swap(made: Path, folder: Path, old: Path) -> None:
    """Put the new folder in the place of the old one, which comes back if that does not succeed."""
    if not folder.exists():
        os.rename(made, folder)
        return
    os.rename(folder, old)
    try:
        os.rename(made, folder)
    finally:
        if not folder.exists():
            os.rename(old, folder)


def _remove_empty(folders: list[Path]) -> None:
    """Take away the folders, innermost first, that were made for a plan which was then not written."""
    for path in folders:
        with suppress(OSError):
            path.rmdir()


def _unwritable(folder: Path, error: OSError) -> FileError:
    name = str(folder) if len(str(folder)) <= 120 else f"{str(folder)[:60]}..."
    return FileError(
        f"{name} cannot be written: {error.strerror or error}.",
        code="folder-unwritable",
        remedy="Choose another place with --out.",
    )
