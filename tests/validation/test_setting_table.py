"""A table of plaster at consistencies 65 to 74: expansion and time of set (glasstips.blogspot.com 2009/11)."""

from __future__ import annotations

from moldprep.job import PlasterJob, ShrinkageJob
from moldprep.materials import SET

EXPANSION_PERCENT = (0.19, 0.22)
SET_MIN = (27, 37)


def test_the_default_expansion_lies_in_the_table_at_the_default_mix() -> None:
    assert 65 <= PlasterJob().consistency <= 74
    low, high = EXPANSION_PERCENT
    assert low <= ShrinkageJob().plaster_expansion_percent <= high


def test_the_card_gives_the_table_s_times() -> None:
    assert (SET.low, SET.high) == SET_MIN
