"""The planning process as the page's event loop sees it: requests go out, futures are answered.

Two threads talk to the process, since a pipe may stand still for as long as megabytes take.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Awaitable, Callable
from contextlib import suppress
from itertools import count
from multiprocessing import get_context
from multiprocessing.connection import Connection
from queue import SimpleQueue
from typing import Any, TypeVar

from ...errors import RequestError
from .crossing import Answer, Ask, Cancel, Parcel, Refused, Stage, follow_parent

T = TypeVar("T")


class Link:
    """One planning process. `on_stage` is called in the event loop in which the link was made."""

    def __init__(self, on_stage: Callable[[Stage], None]) -> None:
        self._loop = asyncio.get_running_loop()
        self._on_stage = on_stage
        context = get_context("spawn")
        self._pipe, self._theirs = context.Pipe()
        self.process = context.Process(
            target=_work, args=(self._theirs,), daemon=True, name="moldprep planning"
        )
        self._post: SimpleQueue[tuple[Ask | Cancel, tuple[bytes, ...]] | None] = SimpleQueue()
        self._waiting: dict[int, asyncio.Future[Any]] = {}
        self._numbers = count(1)
        self._door = threading.Lock()
        self.lost = False

    def start(self) -> None:
        """Start the process and the two threads; blocks for some milliseconds."""
        with self._door:
            if self.lost:
                return
            try:
                self.process.start()
            except BaseException:
                self.lost = True  # nobody will answer
                raise
            self._theirs.close()  # else the pipe would not end with the process
            for task in (self._send, self._hear):
                threading.Thread(target=task, daemon=True, name=f"planning {task.__name__}").start()

    def ask(
        self, what: str, given: tuple[Any, ...], parcel: Parcel | None
    ) -> tuple[int, asyncio.Future[Any]]:
        """The request's number and a future: what came of it, or the error that it was refused with."""
        number, future = next(self._numbers), self._loop.create_future()
        future.add_done_callback(lambda done: done.cancelled() or done.exception())  # it may go unheard
        if self.lost:
            future.set_exception(_died(None))
            return number, future
        self._waiting[number] = future
        header, blocks = (parcel.header, parcel.blocks) if parcel else (None, ())
        self._post.put((Ask(number, what, given, header), blocks))
        return number, future

    def cancel(self, number: int) -> None:
        """The request is no longer wanted; it is answered all the same, with Cancelled if that was in time."""
        self._post.put((Cancel(number), ()))

    def end(self) -> None:
        """End the process; what waits is refused. Blocks until it is gone."""
        with self._door:
            self.lost = True
            self._post.put(None)
            if self.process.pid is not None:
                self.process.kill()
                self.process.join()
            else:
                self._theirs.close()
                self._pipe.close()

    def _send(self) -> None:
        """A thread: what is posted, in order."""
        with suppress(OSError):  # the other thread hears of its end, too
            while (posted := self._post.get()) is not None:
                said, blocks = posted
                self._pipe.send(said)
                for block in blocks:
                    self._pipe.send_bytes(block)

    def _hear(self) -> None:
        """A thread: what the process says, until it ends."""
        try:
            while True:
                self._tell(self._heard, self._pipe.recv())
        except (EOFError, OSError):
            self.process.join()
            self._tell(self._ended, self.process.exitcode)
            self._post.put(None)
            self._pipe.close()

    def _tell(self, what: Callable[[Any], None], said: Any) -> None:
        with suppress(RuntimeError):  # the loop is closed: nobody waits
            self._loop.call_soon_threadsafe(what, said)

    def _heard(self, said: Stage | Answer | Refused) -> None:
        if isinstance(said, Stage):
            self._on_stage(said)
            return
        future = self._waiting.pop(said.number)
        if isinstance(said, Answer):
            future.set_result(said.value)
        else:
            future.set_exception(said.refusal.error())

    def _ended(self, status: int | None) -> None:
        self.lost = True
        for future in self._waiting.values():
            future.set_exception(_died(status))
        self._waiting.clear()


async def in_thread(work: Callable[..., T], *given: Any) -> T:
    """What `work` returns, done in a thread of its own that does not hold up the end of the program."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[T] = loop.create_future()

    def settle(result: T | None, error: Exception | None) -> None:
        if future.cancelled():
            return
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(result)  # type: ignore[arg-type]

    def run() -> None:
        result, error = None, None
        try:
            result = work(*given)
        except Exception as raised:
            error = raised
        with suppress(RuntimeError):  # the loop is closed: nobody waits
            loop.call_soon_threadsafe(settle, result, error)

    threading.Thread(target=run, daemon=True, name=getattr(work, "__qualname__", "work")).start()
    return await future


async def first_of(*futures: Awaitable[Any], seconds: float | None = None) -> None:
    """Until one of the futures is done, or the time is over; none of them is touched."""
    await asyncio.wait(
        [asyncio.ensure_future(one) for one in futures],
        timeout=seconds,
        return_when=asyncio.FIRST_COMPLETED,
    )


def _died(status: int | None) -> RequestError:
    how = "" if status is None else f" (exit status {status})"
    return RequestError(
        f"The planning process broke down{how}.",
        code="planning-died",
        remedy="Try again: it starts anew. If it breaks down again, reduce the mesh, or close other "
        "programs that need memory.",
    )


def _work(pipe: Connection) -> None:
    """The process: its imports are heavy, and the page does without them."""
    follow_parent()
    from .worker import work

    work(pipe)
