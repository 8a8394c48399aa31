"""Stage 2: how big the master must be so that the fired piece comes out as drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from statistics import mean, stdev

import numpy as np

from .errors import JobError, Point
from .findings import Finding
from .formulas import shrinkage as formula
from .geometry.mesh import Mesh
from .job import Bar, ShrinkageJob
from .master import Master
from .working import SILENT, Watch

UNUSUAL_SHRINKAGE = 0.20
"""Bone china reaches 16 %; more than 20 % is a slip of the pen or a very wet clay (from memory)."""
OUTLIER_POINTS = 0.01
"""A bar that is a point of percent or more off the median of the others is named."""


@dataclass(frozen=True)
class Shrinkage:
    """What bars or percent say.

    width, height: linear, wet to fired, fractions of the wet length. drying, firing: their parts
    where the bars give a dry length. spread: standard deviation of the bars; uncertainty: standard
    uncertainty of the width's mean; None when given as a percent. factor: drawn master over fired
    piece, along x, y, z.
    """

    width: float
    height: float
    drying: float | None
    firing: float | None
    spread: float | None
    uncertainty: float | None
    factor: tuple[float, float, float]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class Sizing:
    """The sized master: `mesh` is z up, foot on z = 0, its bounding box centred on the z axis.

    factor: master over fired along x, y, z, applied to a file drawn at fired size.
    """

    width_shrinkage: float
    height_shrinkage: float
    uncertainty: float | None
    factor: tuple[float, float, float]
    fired_size_mm: Point
    master_size_mm: Point
    mesh: Mesh = field(repr=False)
    findings: tuple[Finding, ...] = ()


def size_master(master: Master, job: ShrinkageJob, *, watch: Watch = SILENT) -> Sizing:
    """Scale the form, which the file shows at its fired size, to the master that must be printed.

    With a target fired height the form is first scaled as a whole to that height. Without any
    shrinkage the form is taken as the master itself, and a Finding says so.
    """
    found = shrinkage_of(job)
    scale = 1.0
    if job.fired_height_mm is not None:
        scale = job.fired_height_mm / float(master.mesh.extents[2])
    factor = np.array(found.factor) * scale
    low, high = master.mesh.bounds
    foot = np.array([*(low + high)[:2] / 2, low[2]])
    mesh = Mesh((master.mesh.vertices - foot) * factor, master.mesh.faces)
    size = mesh.extents
    return Sizing(
        width_shrinkage=found.width,
        height_shrinkage=found.height,
        uncertainty=found.uncertainty,
        factor=found.factor,
        fired_size_mm=_point(size / np.array(found.factor)),
        master_size_mm=_point(size),
        mesh=mesh,
        findings=found.findings,
    )


def shrinkage_of(job: ShrinkageJob) -> Shrinkage:
    """What the job says of shrinkage, and the factor that follows.

    Raises JobError when percent and bars are both given for the same direction.
    """
    if job.total_percent is not None and job.bars:
        raise _both("", job.total_percent, mean_shrinkage(job.bars))
    if job.height_percent is not None and job.height_bars:
        raise _both("height ", job.height_percent, mean_shrinkage(job.height_bars))
    findings: list[Finding] = []
    width, spread, uncertain = _direction(job.total_percent, job.bars, job, findings)
    height, _, _ = _direction(job.height_percent, job.height_bars, job, findings)
    if width is None and height is None:
        note = "No shrinkage is given: the form is taken as the master, and the fired piece is smaller."
        findings.append(
            Finding(
                "note", "no-shrinkage", note, remedy="Give the clay's shrinkage, or lengths of test bars."
            )
        )
        return Shrinkage(0.0, 0.0, None, None, None, None, (1.0, 1.0, 1.0), tuple(findings))
    if width is None:
        raise JobError(
            "A shrinkage in height alone says nothing of the width.",
            code="shrinkage-width",
            remedy="Give the shrinkage in width too.",
        )
    height = width if height is None else height
    findings += _unusual(width)
    across, along = (
        _factor(width, job, bool(job.bars)),
        _factor(height, job, bool(job.height_bars or job.bars)),
    )
    drying = firing = None
    if job.bars and all(bar.dry_mm is not None for bar in job.bars):
        drying = mean(formula.linear(bar.wet_mm, bar.dry_mm or 0.0) for bar in job.bars)
        firing = mean(formula.linear(bar.dry_mm or 0.0, bar.fired_mm) for bar in job.bars)
    return Shrinkage(
        width, height, drying, firing, spread, uncertain, (across, across, along), tuple(findings)
    )


def mean_shrinkage(bars: tuple[Bar, ...]) -> float:
    """Mean total shrinkage of test bars, fraction of the wet length."""
    return mean(formula.linear(bar.wet_mm, bar.fired_mm) for bar in bars)


def _direction(
    percent: float | None, bars: tuple[Bar, ...], job: ShrinkageJob, findings: list[Finding]
) -> tuple[float | None, float | None, float | None]:
    """Shrinkage, spread and uncertainty of one direction; None where nothing is given."""
    if percent is not None:
        if 0 < percent < 1:
            findings.append(
                Finding(
                    "warn",
                    "shrinkage-fraction",
                    f"A shrinkage of {percent:g} % is next to nothing.",
                    remedy=f"If you meant {100 * percent:g} %, write {100 * percent:g}.",
                )
            )
        return percent / 100, None, None
    if not bars:
        return None, None, None
    try:
        each = [formula.linear(bar.wet_mm, bar.fired_mm) for bar in bars]
    except ValueError as error:
        says = f"The bars do not fit: {error}."
        raise JobError(says, code="bar-lengths", remedy="Give wet, dry and fired lengths in that order.") from error
    findings += _outliers(bars, each)
    if job.measured_from == "cast":
        says = "The wet lengths are the demolded cast's: shrinkage inside the mold is missing from them."
        findings.append(
            Finding(
                "warn",
                "bars-from-cast",
                says,
                remedy="Measure the marks in the mold instead; it can be 1 to 2 %.",
            )
        )
    reading = mean(
        formula.uncertainty(value, bar.wet_mm, bar.fired_mm, job.mark_error_mm)
        for value, bar in zip(each, bars, strict=True)
    )
    spread = stdev(each) if len(each) > 1 else None
    return mean(each), spread, max(reading, spread or 0.0) / sqrt(len(each))


def _outliers(bars: tuple[Bar, ...], each: list[float]) -> list[Finding]:
    found = []
    for k, value in enumerate(each):
        others = each[:k] + each[k + 1 :]
        if len(others) >= 2 and abs(value - float(np.median(others))) >= OUTLIER_POINTS:
            found.append(
                Finding(
                    "warn",
                    "bar-outlier",
                    f"Bar {k + 1} ({bars[k].wet_mm:g} to {bars[k].fired_mm:g} mm) says {100 * value:.1f} %, "
                    f"the others {100 * float(np.median(others)):.1f} %.",
                    remedy="Measure it again, or leave it out.",
                )
            )
    return found


def _unusual(width: float) -> list[Finding]:
    if width <= UNUSUAL_SHRINKAGE:
        return []
    says = f"A shrinkage of {100 * width:.1f} % is more than clays do (3 to 16 %)."
    return [Finding("warn", "shrinkage-unusual", says, remedy="Check it: (wet - fired) / wet.")]


def _factor(shrinkage: float, job: ShrinkageJob, from_bars: bool) -> float:
    """Bars measured from the master have plaster expansion and print shrink inside already."""
    if from_bars and job.measured_from == "master":
        return formula.master_factor(shrinkage)
    return formula.master_factor(
        shrinkage,
        plaster_expansion=job.plaster_expansion_percent / 100,
        print_shrink=job.print_shrink_percent / 100,
    )


def _both(which: str, percent: float, bars: float) -> JobError:
    """Percent and bars for one direction: say whether the percent is the bars' on the fired basis."""
    says = f"The job gives a {which}shrinkage of {percent:g} % and bars that say {100 * bars:.2f} %."
    trap = 100 * formula.fired_basis(bars)
    if abs(percent - trap) < 0.1:
        says += f" The percent was taken on the fired length ({trap:.2f} %); it belongs on the wet length."
    return JobError(says, code="shrinkage-twice", remedy="Keep the bars and leave out the percent.")


def _point(vector: np.ndarray) -> Point:
    x, y, z = (float(v) for v in vector)
    return x, y, z
