"""Bags, hours and shelf for some molds, and how many molds an order needs."""

from __future__ import annotations

from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moldprep.errors import JobError
from moldprep.job import StudioJob
from moldprep.stock import SHELF_GAP_MM, bags_for, casts_for, kept_in_life, molds_for, stock_list
from tests.samples import planned

DISCARDED = 3
"""The first two or three casts of a mold are discarded (common practice)."""


def test_the_stock_is_the_card_so_many_times() -> None:
    plan = planned("bud-vase")
    one, ten = (stock_list(plan.pours, plan.block, StudioJob(molds=n, bag_kg=5)) for n in (1, 10))
    assert one.plaster_g == plan.pours.plaster_total_g and one.water_g == plan.pours.water_total_g
    for name in ("plaster_g", "water_g", "shelf_m2"):
        assert getattr(ten, name) == pytest.approx(10 * getattr(one, name))
    assert ten.bench_hours == pytest.approx([10 * hours for hours in one.bench_hours])
    assert ten.bags == ceil(10 * plan.pours.plaster_total_g / 5000)
    assert one.order is None


def test_bench_hours_are_pours_one_after_the_other() -> None:
    """Each: 15-45 min of setting up, soak and mix 4-9 min, then 20 min for a plain form to 75 for a delicate one."""
    plan = planned("bud-vase")
    low, high = stock_list(plan.pours, plan.block, StudioJob()).bench_hours
    pours = len(plan.pours.pours)
    assert (low, high) == pytest.approx((pours * (15 + 4 + 20) / 60, pours * (45 + 9 + 75) / 60))


def test_shelf_for_a_box_is_its_inside_with_air_round_it() -> None:
    plan = planned("bud-vase")
    assert plan.block.kind in ("ring", "box")
    sides = plan.block.inner_mm if plan.block.kind == "box" else plan.block.inner_mm * 2
    wide, deep = (side + SHELF_GAP_MM for side in sides)
    found = stock_list(plan.pours, plan.block, StudioJob(molds=3))
    assert found.shelf_m2 == pytest.approx(3 * wide * deep / 1e6, rel=2e-3)  # a ring's outline has corners


def test_bags_are_opened_whole() -> None:
    assert [bags_for(grams, 25) for grams in (1, 25_000, 25_001, 75_000)] == [1, 1, 2, 3]


def test_two_hundred_cups_in_four_weeks() -> None:
    """20 days at a cast a day less 3 are 17 kept; 200 good of 223 at 10 % rejects: 14 molds (by hand)."""
    order = molds_for(200, days=20, casts_a_day=1, life_casts=100, reject_percent=10)
    assert (order.casts, order.casts_a_mold, order.molds) == (223, 17, 14)


def test_a_long_order_wears_molds_out() -> None:
    """In 500 days a mold could give 497; it lasts 60 casts, 57 of them kept: 1000 need 18."""
    order = molds_for(1000, days=500, casts_a_day=1, life_casts=60)
    assert (order.casts_a_mold, order.molds) == (60 - DISCARDED, ceil(1000 / 57))


@given(
    pieces=st.integers(1, 5000),
    days=st.integers(4, 300),
    casts_a_day=st.floats(1, 4),
    life=st.integers(4, 200),
    reject=st.floats(0, 60),
)
def test_the_molds_make_the_order_and_one_less_would_not(
    pieces: int, days: int, casts_a_day: float, life: int, reject: float
) -> None:
    order = molds_for(pieces, days=days, casts_a_day=casts_a_day, life_casts=life, reject_percent=reject)
    assert order.casts * (1 - reject / 100) >= pieces - 1e-6
    assert (order.casts - 1) * (1 - reject / 100) < pieces
    assert order.casts_a_mold + DISCARDED <= min(days * casts_a_day + 1e-6, life)
    assert order.molds * order.casts_a_mold >= order.casts > (order.molds - 1) * order.casts_a_mold


def test_the_plan_s_order_comes_with_the_stock() -> None:
    plan = planned("tumbler")
    found = stock_list(plan.pours, plan.block, StudioJob(order_pieces=90, days=13), reject_percent=10)
    assert found.order is not None
    assert (found.order.casts, found.order.molds) == (100, 10)  # 13 less 3 are 10 each


@pytest.mark.parametrize(
    ("days", "life", "code"), [(3, 100, "order-days"), (20, 3, "mold-life")], ids=["days", "life"]
)
def test_molds_that_give_nothing_to_keep_are_refused(days: int, life: int, code: str) -> None:
    with pytest.raises(JobError, match="discarded") as caught:
        molds_for(10, days=days, casts_a_day=1, life_casts=life)
    assert caught.value.code == code and caught.value.remedy


def test_casts_and_lives_are_counted_whole() -> None:
    assert [casts_for(n, 0) for n in (1, 7)] == [1, 7]
    assert casts_for(9, 10) == 10 and casts_for(1, 50 - 1e-12) == 2
    assert kept_in_life(100) == 97
