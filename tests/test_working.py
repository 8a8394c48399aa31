"""The memory of stages: what is found again, and what is dropped first."""

from __future__ import annotations

import pytest

from moldprep.working import Memo


class Kitchen:
    """Makes things in a memo, and writes down which it made."""

    def __init__(self, memo: Memo) -> None:
        self.memo = memo
        self.made: list[str] = []

    def make(self, name: str, *parts: str) -> str:
        def work() -> str:
            for part in parts:
                self.make(part)
            self.made.append(name)
            return name

        return self.memo.get(name, (), None, work)


def test_upstream_results_are_told_apart_by_identity_and_parts_by_value() -> None:
    memo, one, other = Memo(), [1], [1]
    first = memo.get("stage", (one,), (1.5, "a"), lambda: object())
    assert memo.get("stage", (one,), (1.5, "a"), lambda: object()) is first
    assert memo.get("stage", (other,), (1.5, "a"), lambda: object()) is not first
    assert memo.get("stage", (one,), (1.5, "b"), lambda: object()) is not first


def test_the_oldest_result_is_dropped_first_and_use_makes_it_young() -> None:
    kitchen = Kitchen(Memo(2))
    for name in ("a", "b", "a", "c", "a", "b"):
        kitchen.make(name)
    assert kitchen.made == ["a", "b", "c", "b"]


def test_what_a_result_was_made_from_stays_as_young_as_the_result() -> None:
    kitchen = Kitchen(Memo(4))
    kitchen.make("mold", "search")
    for other in "abc":
        kitchen.make(other)
        kitchen.make("mold", "search")
    kitchen.made.clear()
    kitchen.make("another mold", "search")
    assert kitchen.made == ["another mold"]


def test_what_fails_is_not_kept_but_its_parts_are() -> None:
    kitchen = Kitchen(Memo())

    def spoilt() -> str:
        kitchen.make("part")
        raise RuntimeError("spoilt")

    for _ in range(2):
        with pytest.raises(RuntimeError):
            kitchen.memo.get("whole", (), None, spoilt)
    assert kitchen.made == ["part"]
    kitchen.make("whole", "part")
    assert kitchen.made == ["part", "whole"]
