"""Stage 12a: one mix: weights, batches for the bucket, and the times that plaster and water give.

Clocks: gloss and set run from strewing the plaster in; demolding from the pour.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, isfinite

from .errors import JobError
from .findings import Finding
from .formulas import gypsum, timing
from .formulas.timing import Span
from .job import PlasterJob
from .materials import (
    DEMOLD_DELICATE,
    DEMOLD_LATEST,
    DEMOLD_PLAIN,
    GLOSS_SHARE,
    MIX,
    PLASTERS,
    SOAK,
    Plaster,
    Range,
    plaster_named,
)

OLD_MONTHS = 12.0
"""Plaster older than this is tried in a cup first (common practice)."""
SHORT_PERCENT = 5.0
"""An error of this share is what the slab of a shortfall is told for."""


@dataclass(frozen=True)
class Mix:
    """One pour's mix, in equal batches. solid_ml: what must be filled; slurry_ml: with what stays in the
    bucket; plaster_g and water_g: of all batches; consistency: parts of water to 100 of plaster as
    weighed; wet_g, dry_g: what was poured into the mold, just set and dry; batches, batch_plaster_g,
    batch_water_g: to the scale's step; batch_ml: slurry of a batch.
    """

    solid_ml: float
    slurry_ml: float
    plaster_g: float
    water_g: float
    consistency: float
    wet_g: float
    dry_g: float
    batches: int
    batch_plaster_g: float
    batch_water_g: float
    batch_ml: float


@dataclass(frozen=True)
class Timing:
    """When things happen, minutes, least and most.

    gloss: from strewing until the slurry loses its gloss, after which nothing is poured any more; mist
    for bubbles belongs before that. set: from strewing until the cottle can come off. demold_...: from
    the pour, a plain form, a delicate one, and at the latest. start_c: of the mix; limit_c: which setting
    plaster reaches where no heat leaves it.
    """

    soak: Span
    mix: Span
    gloss: Span
    set: Span
    demold_plain: Span
    demold_delicate: Span
    demold_latest: Span
    start_c: float
    limit_c: float

    @property
    def ready(self) -> Span:
        """From strewing until a batch can be poured."""
        return self.soak[0] + self.mix[0], self.soak[1] + self.mix[1]


def mix(volume_ml: float, job: PlasterJob) -> Mix:
    """Plaster and water for a volume of set plaster, mL.

    slurry = volume (1 + allowance); plaster = slurry / (1/rho_hemihydrate + c/rho_water), water = c plaster.
    As many equal batches as the bucket asks for, each rounded up to the scale's step; where the
    plaster's rounding asks for another step of water, it gets it. So a pour never falls short, and its
    consistency as weighed is off by less than a step of water, mostly by half. Densities are those of the
    plaster that the job names, of pottery plaster when its name is not known.

    Raises JobError for a volume that is not positive, and for a bucket that does not hold one step of the
    scale.
    """
    if not (volume_ml > 0 and isfinite(volume_ml)):
        raise JobError(
            f"A pour of {volume_ml:g} mL has nothing to fill.",
            code="pour-volume",
            remedy="Give a volume above 0.",
        )
    consistency, density = job.consistency / 100, plaster_of(job).hemihydrate_density_kg_m3
    slurry = volume_ml * (1 + job.allowance_percent / 100)
    need = slurry / gypsum.slurry_litres_per_kg(consistency, hemihydrate_density=density)
    batches, (plaster, water) = _batches(need, slurry, job)
    wet = gypsum.wet_density_kg_m3(consistency, hemihydrate_density=density)
    dry = gypsum.dry_density_kg_m3(consistency, purity=job.purity, hemihydrate_density=density)
    litres = volume_ml / 1000
    return Mix(
        solid_ml=volume_ml,
        slurry_ml=slurry,
        plaster_g=batches * plaster,
        water_g=batches * water,
        consistency=100 * water / plaster,
        wet_g=litres * wet,
        dry_g=litres * dry,
        batches=batches,
        batch_plaster_g=plaster,
        batch_water_g=water,
        batch_ml=_slurry_ml(plaster, water, job),
    )


def timing_of(job: PlasterJob) -> Timing:
    """The windows of this plaster, mix, water and age (`formulas.timing`).

    Wetting is not hurried by warm water: the soak stays. What sets late need not be mixed longer.
    """
    plaster = plaster_of(job)
    hurry = timing.together(
        timing.by_temperature(job.water_temperature_c),
        timing.by_consistency(job.consistency, plaster.set_at),
        timing.by_age(job.age_months),
    )

    def windows(usual: Range) -> Span:
        return timing.together((usual.low, usual.high), hurry)

    sets, start = windows(plaster.set), timing.start_c(job.water_temperature_c, job.consistency / 100)
    return Timing(
        soak=(SOAK.low, SOAK.high),
        mix=(MIX.low * min(hurry[0], 1.0), MIX.high * min(hurry[1], 1.0)),
        gloss=(sets[0] * GLOSS_SHARE.low / 100, sets[1] * GLOSS_SHARE.high / 100),
        set=sets,
        demold_plain=windows(DEMOLD_PLAIN),
        demold_delicate=windows(DEMOLD_DELICATE),
        demold_latest=windows(DEMOLD_LATEST),
        start_c=start,
        limit_c=start + gypsum.adiabatic_rise_k(job.consistency / 100, purity=job.purity),
    )


def warmest_c(volume_mm3: float, area_mm2: float, job: PlasterJob) -> Span:
    """How warm a piece of that volume and surface becomes when it sets [Celsius], least and most.

    Its setting releases heat over a half to the whole of the setting time, while some of it leaves.
    """
    made, consistency = timing_of(job), job.consistency / 100
    heat = gypsum.wet_heat_capacity_kj_m3k(
        consistency, purity=job.purity, hemihydrate_density=plaster_of(job).hemihydrate_density_kg_m3
    )
    rise, depth = made.limit_c - made.start_c, volume_mm3 / area_mm2
    released = (made.set[1], made.set[0] / 2)
    low, high = (
        made.start_c
        + rise * timing.rise_share(depth, release_min=minutes, loss_w_m2k=loss, heat_capacity_kj_m3k=heat)
        for minutes, loss in zip(released, reversed(timing.LOSS_W_M2K), strict=True)
    )
    return low, high


def slab_mm(volume_ml: float, area_mm2: float) -> float:
    """How thick a slab a volume makes on an area [mm]: what is short, or over, on top of the plaster.

    >>> slab_mm(108.1, 40_000)
    2.7025
    """
    return 1000 * volume_ml / area_mm2


def ml_of_plaster(plaster_g: float, job: PlasterJob) -> float:
    """Slurry that an amount of plaster makes with its water [mL].

    >>> round(ml_of_plaster(100, PlasterJob()), 1)
    108.1
    """
    density = plaster_of(job).hemihydrate_density_kg_m3
    return plaster_g * gypsum.slurry_litres_per_kg(job.consistency / 100, hemihydrate_density=density)


def mix_findings(job: PlasterJob) -> tuple[Finding, ...]:
    """A plaster that is not known or old, and a consistency that its kind is not mixed at."""
    plaster, found = plaster_of(job), []
    if plaster_named(job.plaster) is None:
        known = ", ".join(known.name for known in PLASTERS)
        says = f'The plaster "{job.plaster}" is not known here: it is reckoned as {plaster.name}.'
        remedy = f"Weigh a litre of its slurry against the card, or name one of: {known}."
        found.append(Finding("note", "plaster-unknown", says, remedy=remedy))
    usual = plaster.consistency
    if not usual.low <= job.consistency <= usual.high:
        says = f"A consistency of {job.consistency:g} is unusual for {plaster.name} ({usual})."
        remedy = "Ten parts of plaster to seven of water is 70; see the plaster's data sheet."
        found.append(Finding("warn", "consistency-unusual", says, remedy=remedy))
    if job.age_months > OLD_MONTHS:
        says = f"Plaster {job.age_months:g} months old may set early, unevenly and soft."
        remedy = "Mix a cup of it and time its set before you trust a mold to it."
        found.append(Finding("warn", "plaster-old", says, remedy=remedy))
    return tuple(found)


def gloss_findings(batches: int, job: PlasterJob, *, what: str) -> tuple[Finding, ...]:
    """Whether all batches, mixed one after the other, are in before the first loses its gloss.

    A stop when even quick hands are too late for plaster that loses it early, a warning when slow hands
    are; one batch is mixed as long as it stays thin, so that slow hands do not count. what: is poured, as "Piece A".
    """
    made = timing_of(job)
    quick, slow = (batches * span for span in made.ready)
    if (slow if batches > 1 else quick) <= made.gloss[0]:
        return ()
    many = f"{batches} batches, mixed one after the other, take" if batches > 1 else "its mix takes"
    says = (
        f"{what}: {many} {span_words((quick, slow))} min, and plaster may lose its gloss after "
        f"{made.gloss[0]:.0f}."
    )
    remedy = (
        "Take a larger bucket, or soak several buckets side by side and mix them with helpers; "
        "colder water gives more time."
        if batches > 1
        else "Use colder water or fresh plaster, and less time to mix."
    )
    if quick >= made.gloss[0]:
        return (Finding("stop", "gloss-lost", says, remedy=remedy),)
    return (Finding("warn", "gloss-tight", says, remedy=remedy),)


def plaster_of(job: PlasterJob) -> Plaster:
    """The job's plaster; pottery plaster when its name is not known."""
    return plaster_named(job.plaster) or PLASTERS[0]


def span_words(span: Span) -> str:
    """A span in whole numbers.

    >>> span_words((26.7, 37.2))
    '27–37'
    """
    low, high = (f"{value:.0f}" for value in span)
    return low if low == high else f"{low}–{high}"


def _batches(need_g: float, slurry_ml: float, job: PlasterJob) -> tuple[int, tuple[float, float]]:
    """How many equal batches, and plaster and water of one, g. Rounding up may ask for one more."""
    bucket = job.bucket_ml
    if bucket is None:
        return 1, _weighed(need_g, job)
    least = _slurry_ml(*_weighed(0.0, job), job)
    if least > bucket:
        raise JobError(
            f"The least mix that a scale of {job.scale_step_g:g} g weighs, {least:.0f} mL, does not go into a "
            f"bucket of {bucket:g} mL.",
            code="bucket-small",
            remedy="Give the bucket's usable volume in mL, or weigh on a finer scale.",
        )
    count = max(1, ceil(round(slurry_ml / bucket, 9)))
    while _slurry_ml(*_weighed(need_g / count, job), job) > bucket:
        count += 1
    return count, _weighed(need_g / count, job)


def _weighed(need_g: float, job: PlasterJob) -> tuple[float, float]:
    """Plaster and water of a batch on the scale, g."""
    step, consistency = job.scale_step_g, job.consistency / 100
    plaster = _up_to_step(need_g, step)
    return plaster, max(round(plaster * consistency / step) * step, _up_to_step(need_g * consistency, step))


def _slurry_ml(plaster_g: float, water_g: float, job: PlasterJob) -> float:
    density = plaster_of(job).hemihydrate_density_kg_m3
    return 1000 * (plaster_g / density + water_g / gypsum.WATER_DENSITY_KG_M3)


def _up_to_step(grams: float, step: float) -> float:
    """Rounded up to a multiple of the step; a billionth of a step over it is rounding noise."""
    return max(1, ceil(round(grams / step, 9))) * step
