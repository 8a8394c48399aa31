"""A progress bar on standard error, and Ctrl-C between units of work."""

from __future__ import annotations

from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from ..working import Watch
from .exits import StopKey


class Bar(Watch):
    """Shows the stage's name and how far it is; silent where standard error is no terminal.

    Between units of work it raises Cancelled once the stop key was pressed, for the interrupt itself may
    have been lost in a library.
    """

    def __init__(self, stop_key: StopKey) -> None:
        console = Console(stderr=True)
        self._stop_key = stop_key
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            TimeElapsedColumn(),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task = self._progress.add_task("begin", total=None)

    def __enter__(self) -> Bar:
        self._progress.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._progress.stop()

    def stage(self, name: str) -> None:
        """Name the stage that begins."""
        self._stop_key.check()
        self._progress.reset(self._task, description=name, total=None)

    def step(self, done: int, of: int) -> None:
        """Move the bar."""
        self._stop_key.check()
        self._progress.update(self._task, completed=done, total=of)
