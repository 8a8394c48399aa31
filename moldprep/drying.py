"""Stage 9: how far a mold has dried, and when it will be ready to cast.

A log of weighings is compared with drying at a constant, then falling rate (`formulas.drying`). What the
log cannot tell (where the rate begins to fall, before it has) stays open within what is usual, and the
interval shows it: every curve of a grid is weighed by how well it meets the readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from .errors import JobError
from .findings import Finding
from .formulas.drying import hours_to, share_gone, water_after, water_left, weight_at
from .geometry.mesh import Floats

READY_WATER = 0.10
"""Water on dry weight at which a mold is ready: the middle of 5-15 % (common practice)."""
CRITICAL_WATER = (0.05, 0.20)
"""Where the rate begins to fall in cast plaster (our judgement, and wide)."""
NOISE = 0.0012
"""Standard deviation of a weighing, as a share of the dry weight: the scale, and wet hands (our judgement)."""
NOISE_WEIGHT = 6.0
"""How many readings' worth that judgement has beside the log's own scatter."""
LIGHT, HEAVY = 0.01, 0.02
"""A weight is impossible when it lies below dry, or above set, by more than this share of dry."""
WETTER = 0.01
"""A rise by more than this share of dry is water that came back: a cast, or a rinse."""
MISFIT_CHANCE = 0.005
"""Scatter that the curve would show more seldom than this means that the curve does not fit."""
LEAST_READINGS = 3
_CRITICALS, _RATES, _BEGINS, _ROUNDS = 24, 48, 11, 3
_NEGLIGIBLE = 12.0
"""Curves less likely than the best by exp(-12) are left out."""


@dataclass(frozen=True)
class Reading:
    """One weighing: hours since the log began, and grams."""

    hours: float
    grams: float


@dataclass(frozen=True)
class DryState:
    """Where a mold stands.

    water_percent: of dry weight, now; free_left_percent: of the water that was to leave. ready_grams:
    the weight to wait for. hours_left: most likely time until then from the last reading, with 5 % and
    95 % quantiles about it; None where the log is too short or the curve does not fit; zeros when it is
    ready.
    """

    water_percent: float
    free_left_percent: float
    ready_grams: float
    ready: bool
    hours_left: tuple[float, float, float] | None
    findings: tuple[Finding, ...] = ()


def dry_state(
    log: Sequence[Reading], *, set_g: float, dry_g: float, ready_water: float = READY_WATER
) -> DryState:
    """How far the mold of a log has dried.

    set_g: its weight at demolding; dry_g: bone dry (see `formulas.gypsum.dry_to_wet_ratio`).
    ready_water: on dry weight. Raises JobError for an empty log, times that go back, and weights that
    plaster cannot have, naming the reading.
    """
    _check(log, set_g, dry_g)
    begins = 1 + max(
        (k for k in range(len(log) - 1) if log[k + 1].grams - log[k].grams > WETTER * dry_g), default=-1
    )
    findings = []
    if begins:
        says = f"Reading {begins + 1} is {log[begins].grams - log[begins - 1].grams:.0f} g heavier than the one before: it got wet again."
        findings.append(
            Finding("note", "dry-wetted", says, remedy="The time left is reckoned from there on.")
        )
    since = log[begins:]
    water = water_left(since[-1].grams, dry_g)
    left = 100 * max(1 - share_gone(since[-1].grams, set_g, dry_g), 0.0)
    ready = water <= ready_water
    hours = (0.0, 0.0, 0.0) if ready else None
    if not ready and len(since) >= LEAST_READINGS:
        hours, fits = _time_left(since, dry_g, ready_water)
        if not fits:
            hours = None
            says = "These readings do not follow one drying curve: the air, the warmth or the scale changed."
            findings.append(Finding("warn", "dry-misfit", says, remedy="Go by the weight, not by a time."))
    elif not ready:
        says = f"{_few(len(since))} to tell a time."
        findings.append(
            Finding("note", "dry-few", says, remedy=f"Weigh it {LEAST_READINGS} times, some hours apart.")
        )
    if water < 0:
        says = f"It is {-100 * water:.1f} % lighter than it should be bone dry: the dry weight is a little off, or it is chipped."
        findings.append(Finding("note", "dry-light", says, remedy="Weigh it again before you cast."))
    return DryState(100 * water, left, weight_at(ready_water, dry_g), ready, hours, tuple(findings))


def _few(readings: int) -> str:
    return "1 reading is too little" if readings == 1 else f"{readings} readings are too few"


def _check(log: Sequence[Reading], set_g: float, dry_g: float) -> None:
    if not 0 < dry_g < set_g:
        raise JobError(
            f"A mold that weighs {set_g:g} g set and {dry_g:g} g dry holds no water to lose.",
            code="dry-weights",
            remedy="Give the set weight, and a dry weight below it.",
        )
    if not log:
        raise JobError("The log has no reading.", code="dry-empty", remedy="Add a line: hours, grams.")
    for k, reading in enumerate(log):
        if k and reading.hours <= log[k - 1].hours:
            raise JobError(
                f"Reading {k + 1} ({reading.hours:g} h) is no later than the one before ({log[k - 1].hours:g} h).",
                code="dry-order",
                remedy="Put the lines in order of time.",
            )
        if reading.grams < (1 - LIGHT) * dry_g:
            raise JobError(
                f"Reading {k + 1}, {reading.grams:g} g, is lighter than the mold bone dry ({dry_g:.0f} g): it is calcined "
                "by too much heat, chipped, or another mold.",
                code="dry-lighter",
                remedy="Look at the mold; correct the reading or the dry weight.",
            )
        if reading.grams > set_g + HEAVY * dry_g:
            raise JobError(
                f"Reading {k + 1}, {reading.grams:g} g, is heavier than the mold just set ({set_g:.0f} g).",
                code="dry-heavier",
                remedy="Correct the reading or the set weight; is it the same mold?",
            )


def _time_left(
    log: Sequence[Reading], dry_g: float, ready_water: float
) -> tuple[tuple[float, float, float], bool]:
    """Hours left (middle, 5 %, 95 %) and whether the curve fits the readings."""
    hours = np.array([reading.hours - log[0].hours for reading in log])
    water = np.array([reading.grams / dry_g - 1 for reading in log])
    begin, rate, critical, weight, least = _posterior(hours, water)
    ready = hours_to(ready_water, begin, rate, critical) - hours[-1]
    order = np.argsort(ready)
    sums = np.cumsum(weight[order])
    low, middle, high = (
        max(float(np.interp(share * sums[-1], sums, ready[order])), 0.0) for share in (0.05, 0.50, 0.95)
    )
    spare = max(len(log) - 3, 1)
    fits = least / (2 * NOISE) ** 2 <= float(chi2.isf(MISFIT_CHANCE, spare))
    return (middle, low, high), bool(fits)


def _posterior(hours: Floats, water: Floats) -> tuple[Floats, Floats, Floats, Floats, float]:
    """Curves (begin, rate, critical), their weights, and the least sum of squares.

    A grid over the three is drawn in round by round about the curves that matter. The scatter is not
    known: it is integrated out under a scaled inverse chi-squared prior about `NOISE`, which leaves
    (prior + squares)^-(n + weight)/2.
    """
    begin = rate = critical = likely = squares = np.zeros(0)
    fastest = float(np.max((water[0] - water[1:]) / hours[1:]).clip(1e-6))
    rates = (np.log(fastest / 3), np.log(fastest * 12))
    begins = (water[0] - 5 * NOISE, water[0] + 5 * NOISE)
    for _ in range(_ROUNDS):
        begin, rate, critical = (
            np.asarray(axis.ravel(), float)
            for axis in np.meshgrid(
                np.linspace(*begins, _BEGINS),
                np.exp(np.linspace(*rates, _RATES)),
                np.linspace(*CRITICAL_WATER, _CRITICALS),
                indexing="ij",
            )
        )
        squares = np.zeros(len(begin))
        for hour, measured in zip(hours, water, strict=True):
            squares += (water_after(hour, begin, rate, critical) - measured) ** 2
        likely = -(len(hours) + NOISE_WEIGHT) / 2 * np.log(NOISE_WEIGHT * NOISE**2 + squares)
        likely -= likely.max()
        good = likely > -_NEGLIGIBLE
        step_rate, step_begin = np.ptp(rates) / (_RATES - 1), np.ptp(begins) / (_BEGINS - 1)
        rates = (np.log(rate[good].min()) - step_rate, np.log(rate[good].max()) + step_rate)
        begins = (begin[good].min() - step_begin, begin[good].max() + step_begin)
    return begin, rate, critical, np.exp(likely), float(squares.min())
