"""The stage itself: candidates of all axes and families read in order of price until one comes free."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ..cottle import Block
from ..errors import JobError
from ..findings import Finding
from ..job import PartingJob
from ..pull import PullStudy
from ..stand import Stand
from ..working import SILENT, Memo, Watch
from .choice import Ground, candidates, ground_for
from .judge import HOPELESS_MM3, Bench
from .layers import Candidate
from .lines import NaturalLines
from .remarks import check_request, nearly_free, remarks_on, with_fewer
from .search import LOCKED_PRICE
from .tables import PartingTables

LEANING_DEG = 10.0
"""Stack axes nearer than this to upright or level repeat what the upright stack offers."""


@dataclass(frozen=True, eq=False)
class Parting:
    """The chosen stack, the runners-up (the best of each other family, those that pass first), and what
    they were priced from. `tables` and `lines` belong to the upright stack axis.

    `price(tables, lines, layers, job, rule=SeamRule(...))` prices any other stack in the same way.
    """

    chosen: Candidate
    runners_up: tuple[Candidate, ...]
    tables: PartingTables = field(repr=False)
    lines: NaturalLines = field(repr=False)
    findings: tuple[Finding, ...] = ()


def part_mold(
    stand: Stand,
    study: PullStudy,
    block: Block,
    job: PartingJob,
    *,
    tolerance_mm: float,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> Parting:
    """The best layer stack for the form in its block, and the runners-up.

    Candidates are read for reach in order of price until one passes; those that stay locked beyond the
    tolerance rank after it. `memo` keeps the upright axis' tables for any block, and the form's lines for any
    planes. Raises JobError when family or planes asked for do not fit each other or the form.
    """
    kept = memo or Memo()
    check_request(stand, job)
    bench = Bench(stand, block, tolerance_mm, watch)
    ground = kept.get(
        "ground",
        (stand.mesh,),
        (stand.rim_mm, study.axes, job),
        lambda: ground_for(stand, block, study, job, np.array([0.0, 0.0, 1.0]), watch, kept),
    )
    read = _read_in_order(ground, bench)
    if job.family in (None, "two-piece") and job.planes_mm is None:
        read += _tilted(stand, block, study, job, bench, read, watch, kept)
    if not read:
        raise JobError(
            f"No {job.family} parting exists for this form.",
            code="parting-family",
            remedy="Leave the family open, or allow more split layers.",
        )
    read.sort(key=lambda c: (not bench.passes(c), c.price, c.piece_count, -c.axis[2]))
    if not bench.passes(read[0]):
        read[0] = bench.read(read[0])
    chosen = replace(read[0], why=with_fewer(read[0], read))
    findings = (*remarks_on(chosen, bench), *nearly_free(chosen, read, tolerance_mm))
    return Parting(chosen, _runners_up(read), ground.tables, ground.lines, findings)


def _read_in_order(ground: Ground, bench: Bench) -> list[Candidate]:
    """The best of each family, cheapest first, reach read until one passes.

    A family whose cheapest stack stays locked, too narrowly for the tables to count, is given a second
    chance with the stack that locks least.
    """
    family = ground.job.family
    waiting = [one for one in candidates(ground) if family in (None, one.family)]
    second: list[Candidate] | None = None
    done: list[Candidate] = []
    while waiting:
        waiting.sort(key=lambda c: (c.price, c.piece_count))
        first = waiting.pop(0)
        if any(bench.passes(one) for one in done) or first.excess_mm3 > HOPELESS_MM3:
            done.append(first)
            continue
        done.append(bench.read(first))
        if not bench.passes(done[-1]):
            second = candidates(ground, truest=True) if second is None else second
            tried = {one.layers for one in (*done, *waiting)}
            waiting += [one for one in second if one.family == first.family and one.layers not in tried]
    return done


def _tilted(
    stand: Stand,
    block: Block,
    study: PullStudy,
    job: PartingJob,
    bench: Bench,
    upright: list[Candidate],
    watch: Watch,
    kept: Memo,
) -> list[Candidate]:
    """Two pieces parted across the study's leaning axes, where that could be cheaper than what passes."""
    limit = min((one.price for one in upright if bench.passes(one)), default=np.inf)
    locked = {row.direction: row.gap_mm3 for row in study.table}
    found: list[Candidate] = []
    for axis in study.axes:
        leaning = np.degrees(np.arccos(min(1.0, abs(axis[2]))))
        if not LEANING_DEG < leaning < 90 - LEANING_DEG:
            continue
        least = job.piece_price + min(LOCKED_PRICE * locked.get(axis, 0.0), job.piece_price / 2)
        if least >= limit or (locked.get(axis, 0.0) > HOPELESS_MM3 and np.isfinite(limit)):
            continue
        ground = ground_for(stand, block, study, job, np.array(axis), watch, kept)
        for one in candidates(ground):
            if one.family == "two-piece":
                hopeless = one.excess_mm3 > HOPELESS_MM3 or one.price >= limit
                found.append(one if hopeless else bench.read(one))
                limit = min(limit, found[-1].price) if bench.passes(found[-1]) else limit
    return found


def _runners_up(ranked: list[Candidate]) -> tuple[Candidate, ...]:
    """The best of each family (two-piece apart for upright and leaning axes) other than the chosen one."""
    seen = {(ranked[0].family, ranked[0].axis[2] > 0.99)}
    kept = []
    for one in ranked[1:]:
        key = (one.family, one.axis[2] > 0.99)
        if key not in seen:
            seen.add(key)
            kept.append(one)
    return tuple(kept)
