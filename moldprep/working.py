"""Watching long work, stopping it, and keeping its results.

`Watch` is handed down by a face and called by the stages; `Memo` is owned by the caller of
`planning.plan` and remembers stage results between calls.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import NamedTuple, TypeVar, cast

T = TypeVar("T")
_Key = tuple[object, ...]


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


class _Entry(NamedTuple):
    """A kept result. upstream: what it was made from, held so that identities stay; parts: keys of results that
    were asked for while it was made."""

    upstream: tuple[object, ...]
    result: object
    parts: tuple[_Key, ...]


class Memo:
    """Keeps the latest results of the stages, at most `size` in all, oldest dropped first.

    A result is found again when the stage's name is the same, its upstream results are the very
    same objects (identity), and its own part of the job is equal. The memo holds references to
    the upstream results, so their identity cannot be reused while the entry lives. A stage may keep
    parts of itself in the memo that it is given; they are dropped after the stage's own result.
    """

    def __init__(self, size: int = 32) -> None:
        if size < 1:
            raise ValueError(f"a memo of size {size} keeps nothing; give 1 or more")
        self._size = size
        self._kept: OrderedDict[_Key, _Entry] = OrderedDict()
        self._making: list[list[_Key]] = []

    def get(self, stage: str, upstream: tuple[object, ...], part: object, make: Callable[[], T]) -> T:
        """The kept result for this stage and input, or `make()`, which is then kept.

        `part` must be hashable (the stage's part of the job). What `make` raises passes through
        and nothing is kept.
        """
        key = (stage, tuple(id(result) for result in upstream), part)
        if self._making:
            self._making[-1].append(key)
        if key in self._kept:
            self._used(key)
            return cast(T, self._kept[key].result)
        self._making.append([])
        try:
            made = make()
        finally:
            parts = self._making.pop()
        self._kept[key] = _Entry(upstream, made, tuple(parts))
        while len(self._kept) > self._size:
            self._kept.popitem(last=False)
        return made

    def _used(self, key: _Key) -> None:
        """Count a result as the latest used, and with it the parts that it was made from."""
        for part in self._kept[key].parts:
            if part in self._kept:
                self._used(part)
        self._kept.move_to_end(key)
