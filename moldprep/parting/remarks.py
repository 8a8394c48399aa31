"""What is said about a parting: requests refused, reasons, and findings."""

from __future__ import annotations

import numpy as np

from ..errors import JobError, at
from ..findings import Finding
from ..job import PartingJob
from ..pull import direction_name
from ..stand import Stand
from .judge import HOPELESS_MM3, Bench
from .layers import Candidate

NEARLY = 3.0
"""Locks up to this many tolerances deep are worth a word when shallower ones would save pieces."""


def check_request(stand: Stand, job: PartingJob) -> None:
    """Refuse planes that lie off the form or do not fit the family."""
    if job.planes_mm is None:
        return
    check_heights(stand, job.planes_mm)
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


def check_heights(stand: Stand, planes_mm: tuple[float, ...]) -> None:
    """Refuse level planes that miss the form below its rim."""
    outside = [height for height in planes_mm if not 0 < height < stand.rim_mm]
    if outside:
        raise JobError(
            f"A seam plane at {outside[0]:g} mm misses the form (0 to {stand.rim_mm:.1f} mm).",
            code="parting-planes",
            remedy="Give heights above the foot, below the rim.",
        )


def with_fewer(chosen: Candidate, ranked: list[Candidate]) -> str:
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


def nearly_free(chosen: Candidate, ranked: list[Candidate], tolerance_mm: float) -> tuple[Finding, ...]:
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


def remarks_on(chosen: Candidate, bench: Bench) -> tuple[Finding, ...]:
    """A stop when even the best parting stays locked; a note of a seam down the front."""
    found: list[Finding] = []
    if not bench.passes(chosen):
        spots = bench.spots(chosen)
        places = "1 place" if len(spots) == 1 else f"{len(spots)} places"
        found.append(
            Finding(
                "stop",
                "parting-locked",
                f"Even the best parting ({chosen.family}, {chosen.piece_count} pieces) is locked at {places}, "
                f"the deepest {chosen.reach_mm:.1f} mm at {at(spots[0].where)}.",
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
