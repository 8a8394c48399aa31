"""An estimate adds up: by step, with rejects, mold life and price breaks, at the maker's rates only."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import msgspec
import pytest

from moldprep.errors import JobError
from moldprep.estimate import Estimate, estimate
from moldprep.job import EstimateJob, StudioJob
from tests.samples import planned

RATES = EstimateJob(
    labour_per_hour=30,
    plaster_per_kg=1.5,
    filament_per_kg=25,
    slip_per_litre=2,
    firing_per_piece=0.5,
    firing_per_kg=1.2,
    currency="pounds",
)
DISCARDED = 3
"""First casts of each mold (common practice, two or three)."""


def priced(job: EstimateJob = RATES, studio: StudioJob | None = None, stem: str = "bud-vase") -> Estimate:
    plan = planned(stem)
    made = estimate(plan.pours, plan.printing, plan.inside, job, studio or StudioJob())
    assert made is not None
    return made


def test_without_a_rate_for_labour_there_is_none() -> None:
    plan = planned("tumbler")
    assert estimate(plan.pours, plan.printing, plan.inside, EstimateJob(), StudioJob()) is None
    only_plaster = EstimateJob(plaster_per_kg=2)
    assert estimate(plan.pours, plan.printing, plan.inside, only_plaster, StudioJob()) is None


def test_labour_for_nothing_is_a_rate_too() -> None:
    made = priced(msgspec.structs.replace(RATES, labour_per_hour=0))
    assert all(line.labour == 0 for line in made.mold) and made.mold_total > 0


def test_one_mold_is_its_steps_at_their_rates() -> None:
    plan = planned("bud-vase")
    made = priced()
    pours = len(plan.pours.pours)
    expected = {
        "print the master": (0.5, 25 * plan.printing.filament_g / 1000),
        "finish the master": (2.0, 0.0),
        "pour": (1.0 * pours, 1.5 * plan.pours.plaster_total_g / 1000),
        "trim and dry": (0.5, 0.0),
    }
    assert [line.step for line in made.mold] == list(expected)
    for line in made.mold:
        hours, material = expected[line.step]
        assert line.hours == hours and line.labour == pytest.approx(30 * hours)
        assert line.material == pytest.approx(material)
    assert made.hours == pytest.approx(3.0 + pours)
    assert made.mold_total == pytest.approx(
        30 * made.hours + sum(material for _, material in expected.values())
    )
    assert made.currency == "pounds"


def test_a_hundred_good_pieces_by_hand() -> None:
    """112 casts at 10 % rejects; 97 kept of a life of 100: two molds, six casts discarded."""
    plan = planned("bud-vase")
    made = priced()
    price = next(price for price in made.prices if price.pieces == 100)
    assert (price.casts, price.molds, price.discarded) == (112, 2, 6)
    master = sum(line.cost for line in made.mold[:2])
    molds = 2 * sum(line.cost for line in made.mold[2:])
    casting = 30 * 0.25 * 118 + 2 * 112 * plan.inside.slip_kept_ml / 1000
    firing = 112 * (30 * 0.1 + 0.5 + 1.2 * plan.inside.weights.dry_g / 1000)
    total = master + molds + casting + 30 * 0.25 * 112 + firing
    assert price.total == pytest.approx(total) and price.each == pytest.approx(total / 100)


def test_steps_add_up_in_every_break_and_each_gets_cheaper() -> None:
    made = priced()
    assert [price.pieces for price in made.prices] == [1, 10, 50, 100]
    for price in made.prices:
        assert sum(line.cost for line in price.lines) == pytest.approx(price.total)
        assert price.each == pytest.approx(price.total / price.pieces)
    each = [price.each for price in made.prices]
    assert each == sorted(each, reverse=True)


def test_rejects_are_paid_by_the_good_ones() -> None:
    none, half = (
        priced(msgspec.structs.replace(RATES, reject_percent=share, quantities=(40,))) for share in (0, 50)
    )
    assert (none.prices[0].casts, half.prices[0].casts) == (40, 80)
    for step in ("fettle", "fire"):
        few, many = (
            next(line for line in made.prices[0].lines if line.step == step) for made in (none, half)
        )
        assert many.cost == pytest.approx(2 * few.cost)


@pytest.mark.parametrize("life", [10, 60, 120])
def test_molds_are_made_as_their_life_asks_for_and_the_master_once(life: int) -> None:
    made = priced(studio=StudioJob(mold_life_casts=life))
    for price in made.prices:
        assert price.molds == ceil(price.casts / (life - DISCARDED))
        assert price.discarded == DISCARDED * price.molds
        assert price.lines[:2] == made.mold[:2]
        assert price.lines[2].cost == pytest.approx(price.molds * made.mold[2].cost)


def test_a_mold_that_lasts_for_no_cast_to_keep_is_refused() -> None:
    with pytest.raises(JobError, match="gives none to keep"):
        priced(studio=StudioJob(mold_life_casts=3))


def test_twice_the_rates_is_twice_the_price() -> None:
    doubled = msgspec.structs.replace(
        RATES,
        **{
            name: 2 * getattr(RATES, name)
            for name in RATES.__struct_fields__
            if "_per_" in name and getattr(RATES, name) is not None
        },
    )
    for once, twice in zip(priced().prices, priced(doubled).prices, strict=True):
        assert twice.total == pytest.approx(2 * once.total)
        assert replace(twice, lines=(), total=0, each=0) == replace(once, lines=(), total=0, each=0)
