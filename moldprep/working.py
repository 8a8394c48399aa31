"""Watching long work, stopping it, and keeping its results.

`Watch` is handed down by a face and called by the stages; `Memo` is owned by the caller of
`planning.plan` and remembers stage results between calls.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import TypeVar, cast

T = TypeVar("T")


class Watch:
    """Progress and cancelling; this base class does neither and serves as the silent watch.

    A stage calls `stage(name)` when it begins and `step(done, of)` between units of work
    (directions, azimuths, booleans). An overriding `step` shows progress and may raise
    `errors.Cancelled`; stages hold nothing open while they call it.
    """

    def stage(self, name: str) -> None:
        """A stage begins; `name` is a short phrase for a progress bar."""

    def step(self, done: int, of: int) -> None:
        """`done` of `of` units of the current stage are finished; may raise `Cancelled`."""


SILENT = Watch()


class Memo:
    """Keeps the latest results of the stages, at most `size` in all, oldest dropped first.

    A result is found again when the stage's name is the same, its upstream results are the very
    same objects (identity), and its own part of the job is equal. The memo holds references to
    the upstream results, so their identity cannot be reused while the entry lives.
    """

    def __init__(self, size: int = 32) -> None:
        if size < 1:
            raise ValueError(f"a memo of size {size} keeps nothing; give 1 or more")
        self._size = size
        self._kept: OrderedDict[tuple[object, ...], tuple[tuple[object, ...], object]] = OrderedDict()

    def get(self, stage: str, upstream: tuple[object, ...], part: object, make: Callable[[], T]) -> T:
        """The kept result for this stage and input, or `make()`, which is then kept.

        `part` must be hashable (the stage's part of the job). What `make` raises passes through
        and nothing is kept.
        """
        key = (stage, tuple(id(result) for result in upstream), part)
        if key in self._kept:
            self._kept.move_to_end(key)
            return cast(T, self._kept[key][1])
        made = make()
        self._kept[key] = (upstream, made)
        while len(self._kept) > self._size:
            self._kept.popitem(last=False)
        return made
