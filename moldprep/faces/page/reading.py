"""Reading a file that somebody handed in: in a child process of its own, within limits of memory and time.

A mesh file can be made to eat memory, to hang its parser or to crash it, and trouble of that kind comes in honest
files, too. The child reads one file, hands the master over as bare numbers and ends. A child waits with its imports
done, so that a small file opens at once.

A binary STL of a million triangles takes 2 to 3 s and 0.6 GB, one of five million (250 MB), 10 to 17 s and 2.3 GB;
0.14 GB are the child itself. Text takes more: OBJ of two million triangles 1.1 GB, text STL of 900,000 1.7 GB,
3MF of two million 3.3 GB.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from time import monotonic
from typing import Literal

import msgspec
import psutil

from ...errors import Cancelled, FileError
from ...job import FormJob
from ...working import Watch
from .crossing import (
    Header,
    Parcel,
    Refusal,
    Step,
    blocks_of,
    decoded,
    encoded,
    follow_parent,
    header_of,
    refusal_of,
)

MOST_SECONDS = 180.0
"""A text STL of 900,000 triangles (215 MB) took 90 s on two busy cores; nothing else takes nearly as long."""
MOST_MEMORY_BYTES = 6_000_000_000
"""More than twice what five million triangles of binary STL take."""
MEMORY_SHARE = 0.5
"""Of the machine's memory: a laptop of 8 GB keeps room for the page, the plan and the browser."""
_READY_SECONDS = 60.0
"""For the imports, which take a second or two."""
_LOOK_SECONDS = 0.02
"""Between looks at the child's memory: 20 ms are long enough for some hundred MB."""
_REDUCE = "Reduce the mesh (a million triangles show every layer line), and save it as binary STL."


@dataclass(frozen=True)
class Limits:
    """What reading one file may take."""

    seconds: float
    memory_bytes: int


def usual_limits() -> Limits:
    """Those of this machine."""
    return Limits(MOST_SECONDS, min(MOST_MEMORY_BYTES, int(MEMORY_SHARE * psutil.virtual_memory().total)))


class Intake:
    """Reads files one at a time, each in a child of its own; its methods block and are for a thread."""

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or usual_limits()
        self._spare: _Child | None = None
        self._closed = False
        self._door = threading.Lock()

    def warm(self) -> None:
        """Let a child import what it needs, to be ready for the next file."""
        with self._door:
            if self._spare is None and not self._closed:
                self._spare = _Child()

    def read(
        self,
        path: Path,
        name: str,
        form: FormJob,
        *,
        stop: threading.Event,
        step: Callable[[int, int], None],
    ) -> Parcel:
        """The master in the file at `path`, which the maker calls `name`.

        `step` hears done and of, from this thread. Raises all that `read_master` raises, in the same words;
        FileError "file-too-slow", "file-too-heavy" or "file-reader-died" when the child passes its limits
        or dies; Cancelled soon after `stop` is set.
        """
        called = name.replace("\\", "/").rpartition("/")[2]
        child, limits = self._taken(), self.limits
        warden = _Warden(child, limits, stop)
        try:
            parcel = child.ask(path, name, form, limits, warden, step)
        finally:
            warden.leave()
            child.end()
            self.warm()
        if parcel is not None and warden.why is None:
            return parcel
        raise _why_not(warden.why, called, limits, child.status)

    def close(self) -> None:
        """End the child that waits; one that reads is ended by its `stop`."""
        with self._door:
            self._closed = True
            spare, self._spare = self._spare, None
        if spare is not None:
            spare.end()

    def _taken(self) -> _Child:
        with self._door:
            if self._closed:
                raise Cancelled
            spare, self._spare = self._spare, None
        if spare is not None and spare.process.is_alive():
            return spare
        if spare is not None:
            spare.end()
        return _Child()


def _why_not(why: str | None, called: str, limits: Limits, status: int | None) -> Exception:
    """The error for a child that was ended, or ended by itself."""
    if why == "stopped":
        return Cancelled()
    if why == "time":
        return FileError(
            f"Reading {called} took longer than {limits.seconds:.3g} s and was stopped.",
            code="file-too-slow",
            remedy=_REDUCE,
        )
    if why == "memory":
        return _too_heavy(called, limits.memory_bytes).error()
    return FileError(
        f"{called} cannot be read: the process that read it broke down (exit status {status}).",
        code="file-reader-died",
        remedy="Export the form again from the program that made it, as binary STL.",
    )


def _too_heavy(called: str, memory_bytes: int) -> Refusal:
    return Refusal(
        "FileError",
        f"Reading {called} takes more memory than the {memory_bytes / 1e9:.2g} GB that one file may have here.",
        "file-too-heavy",
        _REDUCE,
    )


class _Child:
    """A child process that will read one file."""

    def __init__(self) -> None:
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self.process = context.Process(target=_child, args=(theirs,), daemon=True, name="moldprep reading")
        self.process.start()
        theirs.close()  # else the pipe would not end with the child
        self.status: int | None = None

    def ask(
        self,
        path: Path,
        name: str,
        form: FormJob,
        limits: Limits,
        warden: _Warden,
        step: Callable[[int, int], None],
    ) -> Parcel | None:
        """The master that the child read; None when it died. Raises what the child was refused with."""
        try:
            self._pipe.recv_bytes()  # it is ready
            warden.begin()
            self._pipe.send((path, name, form, limits.memory_bytes))
            while isinstance(said := decoded(self._pipe.recv_bytes()), Step):
                step(said.done, said.of)
            if isinstance(said, Header):
                return Parcel(said, tuple(self._pipe.recv_bytes() for _ in range(said.blocks)))
        except (EOFError, OSError, msgspec.MsgspecError):
            self.process.join(timeout=1.0)  # it has closed its end, and tells in a moment what it died of
            return None
        if warden.why is not None:
            return None
        raise said.error()

    def end(self) -> None:
        """Nothing of it is left after this."""
        self.process.join(timeout=0.05)  # it ends by itself when it has answered
        self.process.kill()
        self.process.join()
        self.status = self.process.exitcode
        with suppress(ValueError):  # another thread, which started a child, has seen this one's end first
            self.process.close()
        self._pipe.close()


class _Warden:
    """Kills the child when it passes its limits or is stopped; `why` then says for what."""

    def __init__(self, child: _Child, limits: Limits, stop: threading.Event) -> None:
        self.why: Literal["stopped", "time", "memory"] | None = None
        self._child, self._limits, self._stop = child.process, limits, stop
        self._until = monotonic() + _READY_SECONDS
        self._left = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True, name="warden of the reading")
        self._thread.start()

    def begin(self) -> None:
        """The file is handed over: its time begins."""
        self._until = monotonic() + self._limits.seconds

    def leave(self) -> None:
        """The child is no longer watched."""
        self._left.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._left.wait(_LOOK_SECONDS):
            self.why = self._passed()
            if self.why is not None:
                self._child.kill()
                return

    def _passed(self) -> Literal["stopped", "time", "memory"] | None:
        if self._stop.is_set():
            return "stopped"
        if monotonic() > self._until:
            return "time"
        with suppress(psutil.Error):  # it has just ended
            if psutil.Process(self._child.pid).memory_info().rss > self._limits.memory_bytes:
                return "memory"
        return None


class _Told(Watch):
    """Hands the steps of the reading on."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe

    def step(self, done: int, of: int) -> None:
        self._pipe.send_bytes(encoded(Step(done, of)))


def _child(pipe: Connection) -> None:
    """Import, say so, read one file, answer, end."""
    follow_parent()
    from ...files.read import read_master

    with suppress(EOFError, OSError):  # the page is gone
        pipe.send_bytes(b"")
        path, name, form, memory_bytes = pipe.recv()
        _bound(memory_bytes)
        try:
            master = read_master(path, form, name=name, watch=_Told(pipe))
        except Exception as error:
            short = isinstance(error, MemoryError) or isinstance(error.__cause__, MemoryError)
            called = name.replace("\\", "/").rpartition("/")[2]
            pipe.send_bytes(encoded(_too_heavy(called, memory_bytes) if short else refusal_of(error)))
            return
        pipe.send_bytes(encoded(header_of(master)))
        for block in blocks_of(master):
            pipe.send_bytes(block)


def _bound(memory_bytes: int) -> None:
    """Bound this process's memory by the system's own means, where it has them.

    The warden sees what is in use, from time to time; the system refuses at once, by addresses, of which the
    imports alone take far more than memory.
    """
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(
            "1000"
        )  # where memory ends altogether, this one goes first
    try:
        import resource
    except ImportError:
        return
    addresses = psutil.Process().memory_info().vms + memory_bytes
    with suppress(ValueError, OSError):  # some systems know the limit and refuse it
        resource.setrlimit(resource.RLIMIT_AS, (addresses, addresses))
    with suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))  # a crash leaves no copy of the form on the disk
