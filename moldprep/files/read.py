"""Reading forms from disk."""

from __future__ import annotations

import math
from pathlib import Path, PurePath

from ..errors import FileError
from ..job import FormJob
from ..master import FILE_TYPES, FileType, Master, master_from_bytes
from ..working import SILENT, Watch

MOST_BYTES = 1_500_000_000
"""A text STL of five million triangles; more does not fit a laptop's memory while it is read."""


def read_master(path: Path, form: FormJob, *, name: str | None = None, watch: Watch = SILENT) -> Master:
    """The master in a file; its suffix says the format.

    `name` is what the maker calls the file, where it lies under a name of its own: format and sentences
    follow it then, and it is never taken for a place on the disk. Raises FileError as `check_file` and when the
    file cannot be read; and all that `master_from_bytes` raises.
    """
    file_type = check_file(path, name=name)
    called = path.name if name is None else _last(name)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FileError(
            f"{called} cannot be read: {error.strerror}.",
            code="file-unreadable",
            remedy="Look at its permissions.",
        ) from error
    return master_from_bytes(data, file_type=file_type, name=called, form=form, watch=watch)


def check_file(path: Path, *, name: str | None = None) -> FileType:
    """The format of a form's file, before it is read; `name` as for `read_master`.

    Raises FileError when there is no such file, its suffix is unknown or it is too large.
    """
    called = path.name if name is None else _last(name)
    if not path.is_file():
        raise FileError(
            f"There is no file {path if name is None else called}.",
            code="file-missing",
            remedy="Look at the name and folder.",
        )
    file_type = type_of(called)
    check_size(called, path.stat().st_size)
    return file_type


def type_of(name: str) -> FileType:
    """The format that a file's name says. Raises FileError when it is none that is read."""
    suffix = PurePath(name).suffix.lower().lstrip(".")
    for file_type in FILE_TYPES:
        if suffix == file_type:
            return file_type
    raise FileError(
        f"{name} is not one of the formats read: {', '.join(FILE_TYPES)}.",
        code="file-type",
        remedy="Export the form as STL.",
    )


def check_size(name: str, size: int, most: int = MOST_BYTES) -> None:
    """Raises FileError for a file of more bytes than are read."""
    if size > most:
        raise FileError(
            f"{name} has {math.ceil(size / 1e6)} MB; at most {most / 1e6:.0f} MB are read.",
            code="file-too-large",
            remedy="Reduce the mesh, or save it as binary STL.",
        )


def _last(name: str) -> str:
    """A name without folders, by the rules of any system."""
    return name.replace("\\", "/").rpartition("/")[2]
