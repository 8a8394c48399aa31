"""The library's file: its tables, its version, and what is said when it cannot be used.

A rollback journal rather than a write-ahead log: at rest the library is one file, which may be copied and
may lie on a network drive; so little is written that waiting costs nothing.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ...errors import FileError, JobError

APPLICATION_ID = 0x6D6F6C64
"""Tells a studio's library from other SQLite files ("mold" in ASCII)."""

FORMS = "forms"
"""The table of kept forms, which are no part of an export."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE jobs (name TEXT PRIMARY KEY NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL, date TEXT NOT NULL)",
        "CREATE TABLE molds (mark TEXT PRIMARY KEY NOT NULL, form TEXT NOT NULL, pieces INTEGER NOT NULL, plan TEXT,"
        " dry_g REAL, date TEXT NOT NULL, retired TEXT)",
        "CREATE TABLE casts (mold TEXT NOT NULL REFERENCES molds (mark), kept INTEGER NOT NULL, date TEXT NOT NULL)",
        "CREATE INDEX casts_of ON casts (mold)",
        "CREATE TABLE trials (minutes REAL NOT NULL, wall_mm REAL NOT NULL, slip TEXT NOT NULL,"
        " mold TEXT REFERENCES molds (mark), after_casts INTEGER NOT NULL, date TEXT NOT NULL)",
        "CREATE TABLE bars (clay TEXT NOT NULL, upright INTEGER NOT NULL, wet_mm REAL NOT NULL, fired_mm REAL NOT NULL,"
        " dry_mm REAL, date TEXT NOT NULL)",
        "CREATE TABLE readings (mold TEXT NOT NULL REFERENCES molds (mark), hours REAL NOT NULL, grams REAL NOT NULL,"
        " date TEXT NOT NULL, PRIMARY KEY (mold, hours))",
    ),
    (
        "ALTER TABLE jobs ADD COLUMN form TEXT",
        "ALTER TABLE jobs ADD COLUMN digest TEXT",
        "ALTER TABLE jobs ADD COLUMN record TEXT",
        "CREATE TABLE forms (digest TEXT PRIMARY KEY NOT NULL, name TEXT NOT NULL, bytes INTEGER NOT NULL, data BLOB NOT NULL)",
        "ALTER TABLE readings RENAME TO one_log",
        "CREATE TABLE readings (mold TEXT NOT NULL REFERENCES molds (mark), hours REAL NOT NULL, grams REAL NOT NULL,"
        " date TEXT NOT NULL, log INTEGER NOT NULL, PRIMARY KEY (mold, log, hours))",
        "INSERT INTO readings SELECT mold, hours, grams, date, 1 FROM one_log ORDER BY rowid",
        "DROP TABLE one_log",
    ),
)
"""Statements that lead from one version to the next; a file's version is how many it has been through.
Never change one that has been in use: add another."""

_OPEN_ELSEWHERE = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_UNREACHABLE = (
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_IOERR,
)


def opened(path: Path, patience_s: float) -> sqlite3.Connection:
    """The library's file, made if there is none, whole and of this version; FileError otherwise."""
    with plainly(path):
        connection = sqlite3.connect(path, timeout=patience_s, isolation_level=None)
        try:
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA trusted_schema = OFF")
            _check_owner(path, connection)
            _check_whole(path, connection)
            if _number(connection, "user_version") < len(MIGRATIONS):
                with change(connection):
                    _migrate(path, connection)
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def change(connection: sqlite3.Connection) -> Iterator[None]:
    """All statements within, or none. The right to write is taken first, so that what is read within stays true."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def plainly(path: Path) -> Iterator[None]:
    """What SQLite raises, as a FileError; a name that no text can be made of, as a JobError."""
    try:
        yield
    except UnicodeEncodeError as error:
        raise JobError(
            "That name holds a character that cannot be written.",
            code="studio-entry",
            remedy="Type it again.",
        ) from error
    except sqlite3.DatabaseError as error:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in _OPEN_ELSEWHERE:
            raise FileError(
                f"The studio's library {path.name} is being written by another window.",
                code="studio-busy",
                remedy="Try again; close the other window if it stays so.",
            ) from error
        if code in _UNREACHABLE:
            raise FileError(
                f"The studio's library {path} cannot be opened or written: {error}.",
                code="studio-file",
                remedy="Look at its folder, its permissions and the room on the disk.",
            ) from error
        raise damaged(path, str(error)) from error


def damaged(path: Path, says: str) -> FileError:
    """The file is not what was written."""
    return FileError(
        f"The studio's library {path.name} is damaged, or no library: {says}.",
        code="studio-damaged",
        remedy="Put it aside, and import your last export into a new one.",
    )


def _check_owner(path: Path, connection: sqlite3.Connection) -> None:
    version = _number(connection, "user_version")
    owner = _number(connection, "application_id")
    if owner != APPLICATION_ID and (owner or version or _tables(connection)):
        raise FileError(
            f"{path.name} is a database of something else.",
            code="studio-other",
            remedy="Name another file for the studio's library.",
        )
    if version > len(MIGRATIONS):
        raise FileError(
            f"The studio's library {path.name} is of version {version}; this moldprep knows {len(MIGRATIONS)} and earlier.",
            code="studio-newer",
            remedy="Use the moldprep that last wrote it, or a later one.",
        )


def _check_whole(path: Path, connection: sqlite3.Connection) -> None:
    """Table by table, but for kept forms: they are large, and each is held against its digest when it is read."""
    for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        if table == FORMS:
            continue
        (says,) = connection.execute(f'PRAGMA integrity_check("{table}")').fetchone()
        if says != "ok":
            raise damaged(path, str(says).splitlines()[-1])
    loose = connection.execute("PRAGMA foreign_key_check").fetchone()
    if loose is not None:
        raise damaged(path, f"{loose[0]} speak of a mold that is not in it")


def _migrate(path: Path, connection: sqlite3.Connection) -> None:
    """Within a change: another process may have been first."""
    _check_owner(path, connection)
    for statements in MIGRATIONS[_number(connection, "user_version") :]:
        for statement in statements:
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])


def _tables(connection: sqlite3.Connection) -> int:
    return int(connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
