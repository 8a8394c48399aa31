"""Stage 6: where the mold comes apart: the fewest pieces, seams level and on lines the form has."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ..cottle import Block
from ..errors import JobError
from ..findings import Finding
from ..geometry.reach import LockedSpot
from ..job import PartingJob
from ..pull import PullStudy, direction_name
from ..stand import Stand
from ..working import SILENT, Watch
from .choice import Ground, candidates, ground_for
from .judge import locked_in
from .layers import Candidate, Layer, LayerKind, Seam, family_of, piece_count
from .lines import NaturalLines
from .pricing import SeamRule, locked_volumes, price
from .search import LOCKED_PRICE
from .tables import PartingTables, tabulate

__all__ = [
    "Candidate",
    "Layer",
    "LayerKind",
    "NaturalLines",
    "Parting",
    "PartingTables",
    "Seam",
    "SeamRule",
    "family_of",
    "locked_in",
    "locked_volumes",
    "part_mold",
    "piece_count",
    "price",
    "tabulate",
]

HOPELESS_MM3 = 50.0
"""More locked plaster than this, wide enough to count, has a reach beyond any tolerance: it is read only
for the candidate that is chosen all the same."""
NEARLY = 3.0
"""Locks up to this many tolerances deep are worth a word when shallower ones would save pieces."""
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


class _Bench:
    """Reads reaches, each candidate's once, and keeps what was found."""

    def __init__(self, stand: Stand, block: Block, tolerance_mm: float, watch: Watch) -> None:
        self._stand, self._block, self._tolerance, self._watch = stand, block, tolerance_mm, watch
        self._spots: dict[tuple[Layer, ...], tuple[LockedSpot, ...]] = {}

    def spots(self, candidate: Candidate) -> tuple[LockedSpot, ...]:
        key = candidate.layers
        if key not in self._spots:
            self._watch.step(0, 1)  # a place to stop
            self._spots[key] = locked_in(self._stand.mesh, candidate, self._tolerance, block=self._block)
        return self._spots[key]

    def read(self, candidate: Candidate) -> Candidate:
        spots = self.spots(candidate)
        return replace(candidate, reach_mm=spots[0].reach_mm if spots else 0.0)

    def passes(self, candidate: Candidate) -> bool:
        return candidate.reach_mm <= self._tolerance  # false for nan: not read


def part_mold(
    stand: Stand,
    study: PullStudy,
    block: Block,
    job: PartingJob,
    *,
    tolerance_mm: float,
    watch: Watch = SILENT,
) -> Parting:
    """The best layer stack for the form in its block, and the runners-up.

    Candidates are read for reach in order of price until one passes; those that stay locked beyond the
    tolerance rank after it. Raises JobError when family or planes asked for do not fit each other or
    the form.
    """
    _check_request(stand, job)
    bench = _Bench(stand, block, tolerance_mm, watch)
    ground = ground_for(stand, block, study, job, np.array([0.0, 0.0, 1.0]), watch)
    read = _read_in_order(ground, bench)
    if job.family in (None, "two-piece") and job.planes_mm is None:
        read += _tilted(stand, block, study, job, bench, read, watch)
    if not read:
        raise JobError(
            f"No {job.family} parting exists for this form.",
            code="parting-family",
            remedy="Leave the family open, or allow more split layers.",
        )
    read.sort(key=lambda c: (not bench.passes(c), c.price, c.piece_count, -c.axis[2]))
    if not bench.passes(read[0]):
        read[0] = bench.read(read[0])
    chosen = replace(read[0], why=_with_fewer(read[0], read))
    findings = (*_findings(chosen, bench), *_nearly_free(chosen, read, tolerance_mm))
    return Parting(chosen, _runners_up(read), ground.tables, ground.lines, findings)


def _read_in_order(ground: Ground, bench: _Bench) -> list[Candidate]:
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
    bench: _Bench,
    upright: list[Candidate],
    watch: Watch,
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
        ground = ground_for(stand, block, study, job, np.array(axis), watch)
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


def _with_fewer(chosen: Candidate, ranked: list[Candidate]) -> str:
    """The chosen one's reasons, and what fewer pieces would have left locked."""
    best: dict[int, Candidate] = {}
    for one in ranked[1:]:
        count = one.piece_count
        if count < chosen.piece_count and (count not in best or one.locked_mm3 < best[count].locked_mm3):
            best[count] = one
    if not best or chosen.excess_mm3 > HOPELESS_MM3:
        return chosen.why
    parts = [
        f"{'one piece' if count == 1 else f'{count} pieces ({best[count].family})'} would leave "
        f"{best[count].locked_mm3 / 1000:.1f} mL of plaster locked"
        for count in sorted(best)
    ]
    text = "; ".join(parts)
    return f"{chosen.why} {text[0].upper()}{text[1:]}."


def _nearly_free(chosen: Candidate, ranked: list[Candidate], tolerance_mm: float) -> tuple[Finding, ...]:
    """A note when a little more tolerance would save pieces: a rough surface, mostly."""
    saving = [
        one
        for one in ranked
        if one.piece_count < chosen.piece_count and tolerance_mm < one.reach_mm <= NEARLY * tolerance_mm
    ]
    if not saving:
        return ()
    one = min(saving, key=lambda c: (c.piece_count, c.reach_mm))
    pieces = "one piece" if one.piece_count == 1 else f"{one.piece_count} pieces ({one.family})"
    return (
        Finding(
            "note",
            "nearly-free",
            f"It would come out of {pieces} but for locks of {one.reach_mm:.2f} mm at the most, "
            f"over the tolerance of {tolerance_mm:.2f} mm.",
            remedy=f"Smooth the master there, or set pull.tolerance_mm to {one.reach_mm + 0.05:.2f} if plaster may give way.",
        ),
    )


def _check_request(stand: Stand, job: PartingJob) -> None:
    """Refuse planes that lie off the form or do not fit the family."""
    if job.planes_mm is None:
        return
    outside = [height for height in job.planes_mm if not 0 < height < stand.rim_mm]
    if outside:
        raise JobError(
            f"A seam plane at {outside[0]:g} mm misses the form (0 to {stand.rim_mm:.1f} mm).",
            code="parting-planes",
            remedy="Give heights above the foot, below the rim.",
        )
    if len(set(job.planes_mm)) < len(job.planes_mm):
        raise JobError("A seam plane is given twice.", code="parting-planes", remedy="Give each height once.")
    needs = {
        "one-piece": 0,
        "two-piece": 1,
        "halves": 0,
        "halves+foot": 1,
        "halves+top": 1,
        "halves+foot+top": 2,
    }
    if job.family in needs and needs[job.family] != len(job.planes_mm):
        raise JobError(
            f"A {job.family} mold has {needs[job.family]} level seam planes, not {len(job.planes_mm)}.",
            code="parting-planes",
            remedy="Leave out the family or give as many planes as it has.",
        )


def _findings(chosen: Candidate, bench: _Bench) -> tuple[Finding, ...]:
    """A stop when even the best parting stays locked; a note of a seam down the front."""
    found: list[Finding] = []
    if not bench.passes(chosen):
        spots = bench.spots(chosen)
        x, y, z = spots[0].where
        places = "1 place" if len(spots) == 1 else f"{len(spots)} places"
        found.append(
            Finding(
                "stop",
                "parting-locked",
                f"Even the best parting ({chosen.family}, {chosen.piece_count} pieces) is locked at {places}, "
                f"the deepest {chosen.reach_mm:.1f} mm at ({x:.0f}, {y:.0f}, {z:.0f}).",
                tuple(spot.where for spot in spots[:20]),
                "Ease the form there, allow more split layers, or model the mold by hand.",
            )
        )
    for seam in chosen.seams:
        if seam.kind == "vertical":
            azimuth = np.radians(seam.azimuth_deg or 0.0)
            name = direction_name((float(np.cos(azimuth)), float(np.sin(azimuth)), 0.0))
            found.append(
                Finding(
                    "note",
                    "upright-seam",
                    f"The halves leave {name}: an upright seam of {seam.length_mm:.0f} mm shows on the form.",
                    remedy="Fettle it while the cast is leather-hard.",
                )
            )
    return tuple(found)
