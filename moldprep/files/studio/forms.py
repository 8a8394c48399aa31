"""Files of forms that saved jobs and molds were planned from, each once, compressed, under its SHA-256."""

from __future__ import annotations

import hashlib
import sqlite3
import zlib
from contextlib import suppress
from pathlib import Path

from ...errors import FileError
from .schema import damaged

MOST_FORM_BYTES = 60_000_000
"""A finer form is left to the maker's own folders: the library shall stay a file that one can copy."""
_LEVEL = 1
"""Of zlib: slower levels make a mesh a tenth smaller at the most."""


def packed(name: str, data: bytes) -> tuple[str, str, int, bytes]:
    """The row of a form's file: digest, name, size, compressed. FileError for one that is too large."""
    if len(data) > MOST_FORM_BYTES:
        raise FileError(
            f"{name} has {len(data) / 1e6:.0f} MB; the library keeps forms of up to {MOST_FORM_BYTES / 1e6:.0f} MB.",
            code="studio-form-size",
            remedy="Keep the file in a folder of yours: the job remembers its name.",
        )
    return hashlib.sha256(data).hexdigest(), name, len(data), zlib.compress(data, _LEVEL)


def unpacked(path: Path, digest: str, size: int, data: bytes) -> bytes:
    """The form's file, byte by byte; FileError where it is not what was kept."""
    reader = zlib.decompressobj()
    found = b""
    with suppress(zlib.error):
        found = reader.decompress(data, min(size, MOST_FORM_BYTES) + 1)
    if hashlib.sha256(found).hexdigest() != digest:
        raise damaged(path, f"the form {digest[:8]} is not what was kept")
    return found


def give_room_back(connection: sqlite3.Connection) -> None:
    """Make the file smaller after forms were dropped; later forms use the room where another window reads."""
    with suppress(sqlite3.OperationalError):
        connection.execute("VACUUM")
