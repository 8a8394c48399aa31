"""Stage 15: what a mold and its casts cost, at the maker's own rates."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from .inside import Inside
from .job import EstimateJob, StudioJob
from .materials import DISCARDED
from .pour import PourPlan
from .printing import PrintPlan
from .stock import casts_for, kept_in_life


@dataclass(frozen=True)
class Line:
    """One step of a quantity: hours of labour, and what labour and material cost."""

    step: str
    hours: float
    labour: float
    material: float

    @property
    def cost(self) -> float:
        return self.labour + self.material


@dataclass(frozen=True)
class Price:
    """What some good pieces cost. casts: that are kept and fired, rejects among them; discarded: the first
    casts of each mold, whose clay goes back into the bucket.
    """

    pieces: int
    casts: int
    discarded: int
    molds: int
    lines: tuple[Line, ...]
    total: float
    each: float


@dataclass(frozen=True)
class Estimate:
    """Costs in the job's currency. mold: the lines of the master and one mold, by step; mold_total: their
    sum; prices: for each quantity, in the order of the job. hours: of the first mold.
    """

    currency: str
    mold: tuple[Line, ...]
    mold_total: float
    hours: float
    prices: tuple[Price, ...]


def estimate(
    pours: PourPlan, printing: PrintPlan, inside: Inside, job: EstimateJob, studio: StudioJob
) -> Estimate | None:
    """Costs of one mold and of n good pieces; None where no rate for labour is given.

    The master is made once; molds as their life asks for, each discarding its first casts; rejects are
    cast, fettled and fired like good pieces. Raises JobError for a mold life with no cast to keep.
    """
    rate = job.labour_per_hour
    if rate is None:
        return None
    master = (
        _line("print the master", job.print_hours, rate, printing.filament_g / 1000 * job.filament_per_kg),
        _line("finish the master", job.finish_hours, rate),
    )
    mold = (
        _line(
            "pour",
            len(pours.pours) * job.pour_hours,
            rate,
            pours.plaster_total_g / 1000 * job.plaster_per_kg,
        ),
        _line("trim and dry", job.trim_hours, rate),
    )
    whole = (*master, *mold)
    return Estimate(
        currency=job.currency,
        mold=whole,
        mold_total=sum(line.cost for line in whole),
        hours=sum(line.hours for line in whole),
        prices=tuple(
            _price(pieces, master, mold, inside, job, rate, studio.mold_life_casts)
            for pieces in job.quantities
        ),
    )


def _price(
    pieces: int,
    master: tuple[Line, ...],
    mold: tuple[Line, ...],
    inside: Inside,
    job: EstimateJob,
    rate: float,
    life_casts: int,
) -> Price:
    casts = casts_for(pieces, job.reject_percent)
    molds = ceil(casts / kept_in_life(life_casts))
    discarded = molds * int(DISCARDED.high)
    slip = casts * inside.slip_kept_ml / 1000 * job.slip_per_litre
    firing = casts * (job.firing_per_piece + inside.weights.dry_g / 1000 * job.firing_per_kg)
    lines = (
        *master,
        *(_times(line, molds) for line in mold),
        _line("cast", (casts + discarded) * job.cast_hours, rate, slip),
        _line("fettle", casts * job.fettle_hours, rate),
        _line("fire", casts * job.fire_hours, rate, firing),
    )
    total = sum(line.cost for line in lines)
    return Price(pieces, casts, discarded, molds, lines, total, total / pieces)


def _line(step: str, hours: float, rate: float, material: float = 0.0) -> Line:
    return Line(step, hours, hours * rate, material)


def _times(line: Line, count: int) -> Line:
    return Line(line.step, count * line.hours, count * line.labour, count * line.material)
