"""What crosses between the page's processes: requests and answers, refusals and masters as plain data.

An exception with keyword-only arguments does not come out of a pickle, and an array comes out writable. Nothing
that the reading child says is unpickled at all: it is read as msgpack of the types below and as bare numbers.
Heavy imports wait inside the functions that the page does not call.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import traceback
from dataclasses import dataclass, field
from multiprocessing import connection, parent_process
from typing import TYPE_CHECKING, Any, Literal

import msgspec
from msgspec import Struct

from ...errors import Cancelled, FileError, FormError, JobError, MoldprepError, Point, RequestError
from ...findings import Finding
from .messages import Read

if TYPE_CHECKING:
    from ...geometry.mesh import Mesh
    from ...master import Master

Kind = Literal["RequestError", "FileError", "FormError", "JobError", "Cancelled"]

_KINDS: dict[Kind, type[RequestError]] = {
    "RequestError": RequestError,
    "FileError": FileError,
    "FormError": FormError,
    "JobError": JobError,
}


class Refusal(Struct, frozen=True, tag="refusal"):
    """A MoldprepError as data: what raised it, and all that it says."""

    kind: Kind
    says: str = ""
    code: str = ""
    remedy: str = ""
    where: tuple[Point, ...] = ()

    def error(self) -> MoldprepError:
        """The error again."""
        if self.kind == "Cancelled":
            return Cancelled()
        return _KINDS[self.kind](self.says, code=self.code, remedy=self.remedy, where=self.where)


class Step(Struct, frozen=True, tag="step"):
    """`done` of `of` units of the reading are finished."""

    done: int
    of: int


class Header(Struct, frozen=True, tag="master"):
    """All of a master but the numbers of its meshes. size_mm: its extents; hollow: its inside follows, too."""

    name: str
    units: str
    digest: str
    steps: tuple[str, ...]
    findings: tuple[Finding, ...]
    triangles: int
    size_mm: Point
    hollow: bool

    @property
    def blocks(self) -> int:
        """How many blocks of numbers follow: vertices and faces of each mesh."""
        return 4 if self.hollow else 2


@dataclass(frozen=True)
class Parcel:
    """A master on its way between processes. blocks: little-endian vertices and faces, mesh by mesh."""

    header: Header
    blocks: tuple[bytes, ...] = field(repr=False)

    def master(self) -> Master:
        """The master that was sent. Its arrays lie in the parcel's own bytes, which nothing can change."""
        from ...master import Master

        meshes = [_mesh(*self.blocks[k : k + 2]) for k in range(0, len(self.blocks), 2)]
        header = self.header
        return Master(
            name=header.name,
            mesh=meshes[0],
            findings=header.findings,
            units=header.units,
            source_digest=header.digest,
            steps=header.steps,
            inside=meshes[1] if header.hollow else None,
        )

    def read(self) -> Read:
        """What the maker is told of it."""
        header = self.header
        return Read(
            name=header.name,
            triangles=header.triangles,
            units=header.units,
            size_mm=header.size_mm,
            digest=header.digest,
            findings=header.findings,
        )


@dataclass(frozen=True)
class Ask:
    """A request: the name of one of `worker.Desk`'s methods and its arguments. header: of a master whose blocks
    of numbers follow, the first argument then."""

    number: int
    what: str
    given: tuple[Any, ...] = ()
    header: Header | None = None


@dataclass(frozen=True)
class Cancel:
    """The request of this number is no longer wanted."""

    number: int


@dataclass(frozen=True)
class Stage:
    """A stage of a request has begun (0 of 0), or is so far."""

    number: int
    name: str
    done: int = 0
    of: int = 0


@dataclass(frozen=True)
class Answer:
    """What came of a request."""

    number: int
    value: Any


@dataclass(frozen=True)
class Refused:
    """Why nothing came of a request."""

    number: int
    refusal: Refusal


def header_of(master: Master) -> Header:
    """The master's header."""
    x, y, z = (float(side) for side in master.mesh.extents)
    return Header(
        name=master.name,
        units=master.units,
        digest=master.source_digest,
        steps=master.steps,
        findings=master.findings,
        triangles=len(master.mesh.faces),
        size_mm=(x, y, z),
        hollow=master.inside is not None,
    )


def blocks_of(master: Master) -> list[memoryview]:
    """The master's numbers in the order in which a parcel holds them, not copied."""
    meshes = [master.mesh] if master.inside is None else [master.mesh, master.inside]
    return [array.data.cast("B") for mesh in meshes for array in (mesh.vertices, mesh.faces)]


def refusal_of(error: Exception) -> Refusal:
    """The error as data; what moldprep does not raise on purpose becomes a plain sentence.

    The traceback of an unforeseen error goes to standard error, for whoever started the page.
    """
    if isinstance(error, Cancelled):
        return Refusal("Cancelled")
    if isinstance(error, RequestError):
        kinds = [kind for kind, made in _KINDS.items() if type(error) is made]
        return Refusal(
            kinds[0] if kinds else "RequestError", error.says, error.code, error.remedy, error.where
        )
    if isinstance(error, MemoryError):
        return Refusal(
            "RequestError",
            "The machine's memory is too small for this form.",
            "out-of-memory",
            "Reduce its mesh, or close other programs.",
        )
    traceback.print_exception(error, file=sys.stderr)
    return Refusal(
        "RequestError",
        f"Something unforeseen happened: {type(error).__name__}: {' '.join(str(error).split())}.",
        "unforeseen",
        "Export the job and try it with the form on the command line; please report it, with both.",
    )


def follow_parent() -> None:
    """Die with the process that started this one, however it ends, and leave Ctrl-C to it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is None:
        return

    def watch(sentinel: int) -> None:
        connection.wait([sentinel])
        os._exit(1)  # at once: the work that runs would not notice for minutes

    threading.Thread(target=watch, args=(parent.sentinel,), daemon=True, name="parent").start()


def decoded(data: bytes) -> Step | Refusal | Header:
    """What the reading child said; ValueError when it is none of these."""
    found: Step | Refusal | Header = msgspec.msgpack.decode(data, type=Step | Refusal | Header)
    return found


def encoded(said: Step | Refusal | Header) -> bytes:
    """The bytes that `decoded` reads."""
    return msgspec.msgpack.encode(said)


def _mesh(vertices: bytes, faces: bytes) -> Mesh:
    """The mesh in two blocks; ValueError when they do not hold whole rows."""
    import numpy as np

    from ...geometry.mesh import Mesh

    return Mesh(
        np.frombuffer(vertices, np.float64).reshape(-1, 3), np.frombuffer(faces, np.int32).reshape(-1, 3)
    )
