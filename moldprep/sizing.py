"""Stage 2: how big the master must be so that the fired piece comes out as drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from math import sqrt
from statistics import mean, median, stdev

import numpy as np

from .errors import JobError, Point
from .findings import Finding
from .formulas import shrinkage as formula
from .geometry.mesh import Floats, Mesh
from .geometry.stretching import stretched
from .job import Bar, ShrinkageJob, StretchJob, TargetJob
from .master import Master
from .materials import clay_in
from .working import SILENT, Memo, Watch

UNUSUAL_SHRINKAGE = 0.20
"""Bone china reaches 16 %; more than 20 % is a slip of the pen or a very wet clay (from memory)."""
LEAST_FIRED = 0.5
"""A bar that loses half its length is a slip of the pen; a percent of 50 is refused too."""
OUTLIER_POINTS = 0.01
"""A bar that is a point of percent or more off the median of the others is named."""
STRETCH_ZONE = (0.2, 0.8)
"""Shares of the height between which a form may stretch when no zone is named: foot and rim lie beyond."""
UNCERTAIN_SIZE = 0.005
"""Standard uncertainty of the fired size, as a share of it, from which more bars are asked for: half a
millimetre in 100."""


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

    factor: master over fired along x, y, z; scale: of the form as a whole, before that. fired_size_mm:
    None where no shrinkage is given, for then nobody knows it. modelled: the
    inside that was modelled and filled, an open surface sized and placed like the mesh. drawn: the form before
    it was scaled, stretched if asked for, placed like the mesh.
    """

    width_shrinkage: float
    height_shrinkage: float
    uncertainty: float | None
    factor: tuple[float, float, float]
    scale: float
    fired_size_mm: Point | None
    master_size_mm: Point
    mesh: Mesh = field(repr=False)
    drawn: Mesh = field(repr=False)
    findings: tuple[Finding, ...] = ()
    modelled: Mesh | None = field(default=None, repr=False)


@dataclass(frozen=True, eq=False)
class Drawn:
    """The form and the inside that was modelled as the file has them, stretched if asked for; foot on z = 0, the
    form's bounding box centred on the z axis."""

    mesh: Mesh = field(repr=False)
    inside: Mesh | None = field(repr=False)


def size_master(
    master: Master,
    job: ShrinkageJob,
    target: TargetJob,
    *,
    fitted_scale: float = 1.0,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> Sizing:
    """Scale the form, which the file shows at its fired size, to the master that must be printed.

    A stretch comes first; then the form is scaled as a whole to the target's height, width or length.
    `fitted_scale`: a further scale, found from what the cast holds or weighs (see `target.fitted`).
    Without any shrinkage the form is taken as the master itself, and a Finding says so. Raises JobError
    as `shrinkage_of`, for several targets at once, and for a target without a shrinkage, which nothing
    can meet. `memo` keeps the form as drawn, and the sized one for each size: other words for one size are no
    new form.
    """
    kept = memo or Memo()
    found = shrinkage_of(job)
    known = job.total_percent is not None or bool(job.bars)
    _check_target(target, known)
    drawn = kept.get("drawn", (master,), target.stretch, lambda: as_drawn(master, target.stretch))
    scale = _scale_to(target, drawn.mesh.extents) * fitted_scale
    grown = np.array(found.factor) * scale
    mesh, modelled = kept.get("grown", (drawn,), tuple(grown.tolist()), lambda: _grown(drawn, grown))
    size = mesh.extents
    fired = size / np.array(found.factor)
    return Sizing(
        width_shrinkage=found.width,
        height_shrinkage=found.height,
        uncertainty=found.uncertainty,
        factor=found.factor,
        scale=scale,
        fired_size_mm=_point(fired) if known else None,
        master_size_mm=_point(size),
        mesh=mesh,
        drawn=drawn.mesh,
        findings=(*found.findings, *_scaled(scale, fired), *_uncertain(found, float(fired.max()))),
        modelled=modelled,
    )


def as_drawn(master: Master, stretch: StretchJob | None) -> Drawn:
    """The form before it is scaled. Raises JobError for a stretch that the form cannot take."""
    low, high = master.mesh.bounds
    foot = np.array([*(low + high)[:2] / 2, low[2]])
    drawn = Mesh(master.mesh.vertices - foot, master.mesh.faces)
    inside = None if master.inside is None else Mesh(master.inside.vertices - foot, master.inside.faces)
    if stretch is None:
        return Drawn(drawn, inside)
    zone = _zone(stretch, float(drawn.extents[2]))
    return Drawn(
        stretched(drawn, *zone, stretch.taller_mm),
        None if inside is None else stretched(inside, *zone, stretch.taller_mm),
    )


def shrinkage_of(job: ShrinkageJob) -> Shrinkage:
    """What the job says of shrinkage, and the factor that follows.

    Raises JobError when percent and bars are both given for the same direction, for bars whose
    lengths do not fall from wet to fired, and for a shrinkage in height alone.
    """
    for bar in (*job.bars, *job.height_bars):
        _check_bar(bar)
    if job.total_percent is not None and job.bars:
        raise _both("", job.total_percent, mean_shrinkage(job.bars))
    if job.height_percent is not None and job.height_bars:
        raise _both("height ", job.height_percent, mean_shrinkage(job.height_bars))
    width, spread, uncertain = _direction(job.total_percent, job.bars, job.mark_error_mm)
    height, _, _ = _direction(job.height_percent, job.height_bars, job.mark_error_mm)
    if width is None and height is not None:
        raise JobError(
            "A shrinkage in height alone says nothing of the width.",
            code="shrinkage-width",
            remedy="Give the shrinkage in width too.",
        )
    if width is None:
        says = "No shrinkage is given: the form is taken as the master, and the fired piece is smaller."
        remedy = "Give the clay's shrinkage, or lengths of test bars."
        note = Finding("note", "no-shrinkage", says, remedy=remedy)
        return Shrinkage(0.0, 0.0, None, None, None, None, (1.0, 1.0, 1.0), (note,))
    along = width if height is None else height
    across_factor, along_factor = _factor(width, job), _factor(along, job)
    drying, firing = _parts(job.bars)
    findings = (
        *_from_cast(job),
        *_outliers(job.bars, "Bar"),
        *_outliers(job.height_bars, "Height bar"),
        *_doubtful(width, job.clay),
        *(_doubtful(along, job.clay) if along != width else ()),
    )
    factor = (across_factor, across_factor, along_factor)
    return Shrinkage(width, along, drying, firing, spread, uncertain, factor, findings)


def mean_shrinkage(bars: tuple[Bar, ...]) -> float:
    """Mean total shrinkage of test bars, fraction of the wet length."""
    return mean(formula.linear(bar.wet_mm, bar.fired_mm) for bar in bars)


def _check_bar(bar: Bar) -> None:
    lengths = (bar.wet_mm, bar.fired_mm) if bar.dry_mm is None else (bar.wet_mm, bar.dry_mm, bar.fired_mm)
    shown = "/".join(f"{length:g}" for length in lengths)
    falls = all(after <= before for before, after in pairwise(lengths))
    if not falls or bar.fired_mm <= LEAST_FIRED * bar.wet_mm:
        raise JobError(
            f"A bar of {shown} mm does not shrink as clay does.",
            code="bar-lengths",
            remedy="Give wet, dry and fired length in that order, each no longer than the one before.",
        )


def _direction(
    percent: float | None, bars: tuple[Bar, ...], mark_error_mm: float
) -> tuple[float | None, float | None, float | None]:
    """Shrinkage, spread and standard uncertainty of one direction; None where nothing is given.

    The uncertainty of the mean of n bars is what one bar has, by its marks or by the bars' spread,
    whichever is more, over the square root of n.
    """
    if percent is not None:
        return percent / 100, None, None
    if not bars:
        return None, None, None
    each = [formula.linear(bar.wet_mm, bar.fired_mm) for bar in bars]
    reading = mean(
        formula.uncertainty(value, bar.wet_mm, bar.fired_mm, mark_error_mm)
        for value, bar in zip(each, bars, strict=True)
    )
    spread = stdev(each) if len(each) > 1 else None
    return mean(each), spread, max(reading, spread or 0.0) / sqrt(len(each))


def _parts(bars: tuple[Bar, ...]) -> tuple[float | None, float | None]:
    """Drying and firing shrinkage, where every bar has a dry length."""
    dry = [bar.dry_mm for bar in bars if bar.dry_mm is not None]
    if not bars or len(dry) < len(bars):
        return None, None
    drying = mean(formula.linear(bar.wet_mm, length) for bar, length in zip(bars, dry, strict=True))
    firing = mean(formula.linear(length, bar.fired_mm) for bar, length in zip(bars, dry, strict=True))
    return drying, firing


def _factor(shrinkage: float, job: ShrinkageJob) -> float:
    """Plaster expansion and print shrink go in, unless the wet length was the master's own."""
    if job.measured_from == "master":
        return formula.master_factor(shrinkage)
    return formula.master_factor(
        shrinkage,
        plaster_expansion=job.plaster_expansion_percent / 100,
        print_shrink=job.print_shrink_percent / 100,
    )


def _check_target(target: TargetJob, known: bool) -> None:
    """At most one size is asked for, and only where the shrinkage is known."""
    sizes = {
        "height_mm": target.height_mm,
        "width_mm": target.width_mm,
        "length_mm": target.length_mm,
        "weight_g": target.weight_g,
        "capacity": target.capacity,
    }
    asked = [name for name, value in sizes.items() if value is not None]
    if len(asked) > 1:
        raise JobError(
            f"A form cannot meet several sizes at once: {', '.join(asked)}.",
            code="target-several",
            remedy="Keep one of them; the sheet tells what the others become.",
        )
    if asked and not known:
        raise JobError(
            f"A target for the fired piece ({asked[0]} {sizes[asked[0]]:g}) needs the clay's shrinkage.",
            code="target-alone",
            remedy="Give the shrinkage or test bars too; 0 for a form that is not fired.",
        )
    if (target.length_mm is None) != (target.length_drawn_mm is None):
        raise JobError(
            "A length to meet has two figures: as drawn and as fired.",
            code="target-length",
            remedy="Give length_drawn_mm, measured in the file, and length_mm, as it shall be when fired.",
        )


def _scale_to(target: TargetJob, drawn: Floats) -> float:
    """How the form is scaled as a whole before shrinkage is allowed for."""
    if target.height_mm is not None:
        return target.height_mm / float(drawn[2])
    if target.width_mm is not None:
        return target.width_mm / float(drawn[:2].max())
    if target.length_mm is not None and target.length_drawn_mm is not None:
        return target.length_mm / target.length_drawn_mm
    return 1.0


def _zone(stretch: StretchJob, height: float) -> tuple[float, float]:
    """Between which heights of a form so high it is stretched; its middle part when the job says nothing."""
    low, high = stretch.zone_mm or (STRETCH_ZONE[0] * height, STRETCH_ZONE[1] * height)
    if not 0 <= low < high <= height or stretch.taller_mm <= low - high:
        raise JobError(
            f"The form cannot become {stretch.taller_mm:g} mm taller between {low:g} and {high:g} mm of its {height:.1f}.",
            code="stretch-zone",
            remedy="Name a zone within the form, lower edge first, that does not vanish.",
        )
    return low, high


def _grown(drawn: Drawn, grown: Floats) -> tuple[Mesh, Mesh | None]:
    """The form and its modelled inside (3,) times as large."""
    inside = drawn.inside
    return Mesh(drawn.mesh.vertices * grown, drawn.mesh.faces), (
        None if inside is None else Mesh(inside.vertices * grown, inside.faces)
    )


# --- findings -----------------------------------------------------------------------------------


def _outliers(bars: tuple[Bar, ...], word: str) -> list[Finding]:
    """Bars that stand apart from the others; of two that differ, neither can be named."""
    each = [formula.linear(bar.wet_mm, bar.fired_mm) for bar in bars]
    found = []
    for k, (bar, value) in enumerate(zip(bars, each, strict=True)):
        others = each[:k] + each[k + 1 :]
        if len(others) < 2 or abs(value - median(others)) < OUTLIER_POINTS - 1e-9:
            continue
        says = (
            f"{word} {k + 1} ({bar.wet_mm:g} to {bar.fired_mm:g} mm) says {100 * value:.1f} %, "
            f"the others {100 * median(others):.1f} %."
        )
        found.append(Finding("warn", "bar-outlier", says, remedy="Measure it again, or leave it out."))
    return found


def _from_cast(job: ShrinkageJob) -> list[Finding]:
    if job.measured_from != "cast":
        return []
    says = "The wet lengths are the demolded cast's: shrinkage inside the mold is missing from them."
    remedy = "Measure the marks in the mold instead; it can be 1 to 2 %."
    return [Finding("warn", "bars-from-cast", says, remedy=remedy)]


def _doubtful(shrinkage: float, clay: str) -> list[Finding]:
    """A fraction entered for a percent, more than clays do, or not what a clay of that kind does."""
    percent, kind = 100 * shrinkage, clay_in(clay)
    if 0 < percent < 1:
        says = f"A shrinkage of {percent:g} % is next to nothing."
        remedy = f"If you meant {100 * percent:g} %, write {100 * percent:g}."
        return [Finding("warn", "shrinkage-fraction", says, remedy=remedy)]
    if shrinkage > UNUSUAL_SHRINKAGE:
        says = f"A shrinkage of {percent:.1f} % is more than clays do (3 to 16 %)."
        return [Finding("warn", "shrinkage-unusual", says, remedy="Check it: (wet - fired) / wet.")]
    if kind is not None and not kind.total_percent.low <= percent <= kind.total_percent.high:
        says = f"A shrinkage of {percent:.1f} % is unusual for {kind.name} ({kind.total_percent})."
        return [Finding("note", "shrinkage-of-clay", says, remedy="Check it with a test bar.")]
    return []


def _scaled(scale: float, fired: Floats) -> list[Finding]:
    if abs(scale - 1) < 1e-6:
        return []
    says = (
        f"The form was scaled by {scale:.4g} as a whole, to be {fired[:2].max():.1f} mm wide and "
        f"{fired[2]:.1f} mm high when fired."
    )
    remedy = "A drained cast keeps its wall, so what it holds does not follow the outside."
    return [Finding("note", "scaled", says, remedy=remedy)]


def _uncertain(found: Shrinkage, largest_mm: float) -> list[Finding]:
    """u(size)/size = u(S)/(1 - S)."""
    if found.uncertainty is None:
        return []
    share = found.uncertainty / (1 - found.width)
    if share <= UNCERTAIN_SIZE:
        return []
    says = f"These bars leave ± {share * largest_mm:.1f} mm in {largest_mm:.0f} mm of the fired piece."
    remedy = "Measure more bars, or marks further apart."
    return [Finding("note", "size-uncertain", says, remedy=remedy)]


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
