"""Reading forms from disk."""

from __future__ import annotations

from pathlib import Path, PurePath

from ..errors import FileError
from ..job import FormJob
from ..master import FILE_TYPES, Master, master_from_bytes
from ..working import SILENT, Watch

MOST_BYTES = 1_500_000_000
"""A text STL of five million triangles; more does not fit a laptop's memory while it is read."""


def read_master(path: Path, form: FormJob, *, name: str | None = None, watch: Watch = SILENT) -> Master:
    """The master in a file; its suffix says the format.

    `name` is what the maker calls the file, where it lies under a name of its own: format and sentences
    follow it then, and it is never taken for a place on the disk. Raises FileError when there is no such file,
    its suffix is unknown or it is too large; and all that `master_from_bytes` raises.
    """
    called = path.name if name is None else name.replace("\\", "/").rpartition("/")[2]
    suffix = PurePath(called).suffix.lower().lstrip(".")
    if not path.is_file():
        missing = path if name is None else called
        raise FileError(
            f"There is no file {missing}.", code="file-missing", remedy="Look at the name and folder."
        )
    if suffix not in FILE_TYPES:
        raise FileError(
            f"{called} is not one of the formats read: {', '.join(FILE_TYPES)}.",
            code="file-type",
            remedy="Export the form as STL.",
        )
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise FileError(
            f"{called} has {size / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read.",
            code="file-too-large",
            remedy="Reduce the mesh, or save it as binary STL.",
        )
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FileError(
            f"{called} cannot be read: {error.strerror}.",
            code="file-unreadable",
            remedy="Look at its permissions.",
        ) from error
    return master_from_bytes(data, file_type=suffix, name=called, form=form, watch=watch)
