"""Stage 13b: what a studio needs for some molds, and how many molds an order needs."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from .cottle import Block
from .errors import JobError
from .job import StudioJob
from .materials import DISCARDED
from .pour import PourPlan

SHELF_GAP_MM = 50.0
"""Air round a drying mold, half of it its own: a hand's width between two (common practice)."""
SETTING_UP_H = (0.25, 0.75)
"""Before each pour: cottle, soap, weighing (our judgement)."""


@dataclass(frozen=True)
class Order:
    """Molds for an order. casts: that are kept, rejects among them; molds: that work side by side or
    one after the other; casts_a_mold: kept casts that each can give in the time, its first ones discarded.
    """

    pieces: int
    casts: int
    molds: int
    casts_a_mold: int


@dataclass(frozen=True)
class Stock:
    """What to have at hand for `molds` molds from one master, poured one after the other.

    plaster_g and water_g: of all; bags: to open. bench_hours: to the last demolding, least and most.
    shelf_m2: for the molds drying side by side. order: None where none is given.
    """

    molds: int
    plaster_g: float
    water_g: float
    bags: int
    bench_hours: tuple[float, float]
    shelf_m2: float
    order: Order | None


def stock_list(pours: PourPlan, block: Block, studio: StudioJob, *, reject_percent: float = 0.0) -> Stock:
    """Plaster, water, hours and shelf for the job's molds: the same card so many times.

    reject_percent: of the casts that are kept. Raises JobError as `molds_for`.
    """
    plaster = studio.molds * pours.plaster_total_g
    one_pour = (
        SETTING_UP_H[0] + (pours.timing.ready[0] + pours.timing.demold_plain[0]) / 60,
        SETTING_UP_H[1] + (pours.timing.ready[1] + pours.timing.demold_delicate[1]) / 60,
    )
    turn = np.radians(block.turn_deg)
    sides = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    wide, deep = (float(np.ptp(block.outline @ side)) + SHELF_GAP_MM for side in sides)
    count = studio.molds * len(pours.pours)
    return Stock(
        molds=studio.molds,
        plaster_g=plaster,
        water_g=studio.molds * pours.water_total_g,
        bags=bags_for(plaster, studio.bag_kg),
        bench_hours=(count * one_pour[0], count * one_pour[1]),
        shelf_m2=studio.molds * wide * deep / 1e6,
        order=None
        if studio.order_pieces is None
        else molds_for(
            studio.order_pieces,
            days=studio.days,
            casts_a_day=studio.casts_a_day,
            life_casts=studio.mold_life_casts,
            reject_percent=reject_percent,
        ),
    )


def bags_for(plaster_g: float, bag_kg: float) -> int:
    """Bags to open for so much plaster.

    >>> bags_for(50_000, 25), bags_for(50_010, 25)
    (2, 3)
    """
    return ceil(round(plaster_g / (1000 * bag_kg), 9))


def casts_for(pieces: int, reject_percent: float) -> int:
    """Casts that must be kept for so many good pieces: n / (1 - rejects), rounded up.

    >>> casts_for(90, 10.0), casts_for(91, 10.0)
    (100, 102)
    """
    return ceil(round(pieces / (1 - reject_percent / 100), 9))


def kept_in_life(life_casts: int) -> int:
    """Casts of a mold's life that are kept: all but the first ones.

    Raises JobError for a life that ends before.
    """
    kept = life_casts - int(DISCARDED.high)
    if kept < 1:
        raise JobError(
            f"A mold that lasts {life_casts} casts gives none to keep: its first {DISCARDED.high:g} are discarded.",
            code="mold-life",
            remedy="Give a longer life (mold_life_casts); 60–120 is usual.",
        )
    return kept


def molds_for(
    pieces: int, *, days: int, casts_a_day: float, life_casts: int, reject_percent: float = 0.0
) -> Order:
    """How many molds an order needs: by what each casts in the days, and by its life, whichever is less.

    The first casts of each mold are discarded. Raises JobError where the days do not suffice for one cast
    that is kept.
    """
    in_time = floor(round(days * casts_a_day, 9)) - int(DISCARDED.high)
    if in_time < 1:
        raise JobError(
            f"In {days} {'day' if days == 1 else 'days'} at {casts_a_day:g} a day a mold gives no cast to keep: its first "
            f"{DISCARDED.high:g} are discarded.",
            code="order-days",
            remedy="Give more days, or more casts a day.",
        )
    casts_a_mold = min(in_time, kept_in_life(life_casts))
    casts = casts_for(pieces, reject_percent)
    return Order(pieces, casts, ceil(casts / casts_a_mold), casts_a_mold)
