"""The kinds of questions that the page asks; the tables of them are `sections` and `finer`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from ....job import Job
from .keys import Key, docs


@dataclass(frozen=True)
class Ask:
    """One key of the job and how it is asked for.

    label: in plain words; help: one line, `job`'s own when left out, "" for none; unit: beside the field, by the
    key's ending when left out; empty: what an empty field means, where the job has no default; words: of
    choices; offers: names that may be typed; when: whether it matters, for a job; columns: what each number of
    a row is called, by its place below the key; row: what one row of a list is called, "" for no list; check:
    raises RequestError for a row that the stages would refuse; also: what changes along with it.
    """

    key: Key
    label: str
    help: str | None = None
    unit: str | None = None
    empty: str = ""
    words: Mapping[str | None, str] = field(default_factory=dict)
    offers: tuple[str, ...] = ()
    when: Callable[[Job], bool] | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    row: str = ""
    check: Callable[[Any], object] | None = None
    also: Mapping[Key, Any] = field(default_factory=dict)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The key alone."""
        return (self.key,)

    @property
    def help_text(self) -> str:
        """The line under the field."""
        return docs().get(self.key, "") if self.help is None else self.help


@dataclass(frozen=True)
class Way:
    """One of several ways to say the same: asks are its fields, sets what it stands for without any."""

    name: str
    asks: tuple[Ask, ...] = ()
    sets: Mapping[Key, Any] = field(default_factory=dict)

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of the job that this way fills; other ways leave them alone."""
        return (*(ask.key for ask in self.asks), *self.sets)


@dataclass(frozen=True)
class Ways:
    """An either-or: the first way is the usual one."""

    label: str
    ways: tuple[Way, ...]
    help: str = ""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys of the job that are said by one way or another."""
        return tuple(key for way in self.ways for key in way.keys)


@dataclass(frozen=True)
class Questions:
    """The questions of one section: at sight, and behind "More"."""

    title: str
    front: tuple[Ask | Ways, ...]
    more: tuple[Ask | Ways, ...] = ()
