"""How fast the wall grows in this mold, from the maker's own trials: L^2 = k t (see `formulas.filtration`).

On a line through nothing, L = sqrt(k) sqrt(t), the trials are fitted by least squares; sqrt(k) then has
a t-distribution about its estimate. One trial shows no scatter, and two may agree by luck: the error of
reading a wall counts beside their own scatter.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.stats import t

from ..findings import Finding
from ..formulas.filtration import minutes_for
from ..job import Trial
from ..materials import CAST_RATE

READING_MM = 0.3
"""Standard error of a wall read on a cut edge of wet clay (our judgement)."""
READING_WEIGHT = 4.0
"""How many trials' worth that judgement has beside the trials' own scatter."""
CHANCE = 0.90
"""Share of such intervals that hold the true rate."""
LOOSE = 3.0
"""Times that differ by more than this factor tell a maker little."""


@dataclass(frozen=True)
class CastRate:
    """Rate k [mm2/min] and the interval that holds it in nine cases of ten.

    trials: how many it rests on; with none it is the middle of what has been observed, and the interval
    is all of that. scatter_mm: standard error of a wall about the fitted curve; None without trials.
    """

    rate: float
    low: float
    high: float
    trials: int
    scatter_mm: float | None
    findings: tuple[Finding, ...] = ()

    def minutes(self, wall_mm: float) -> tuple[float, float, float]:
        """Time for a wall on a flat: most likely, least, most [min]."""
        return (
            minutes_for(wall_mm, self.rate),
            minutes_for(wall_mm, self.high),
            minutes_for(wall_mm, self.low),
        )


def cast_rate(trials: tuple[Trial, ...]) -> CastRate:
    """The rate that the trials tell.

    sqrt(k) = sum(L sqrt t)/sum t, standard error s/sqrt(sum t). With n trials, a squared residual of R in all
    and w = `READING_WEIGHT`, s^2 = (w `READING_MM`^2 + R)/(w + n - 1), and the t-distribution has w + n - 1
    degrees of freedom: exact when scatter is as uncertain as that (scaled inverse chi-squared). The interval
    does not reach below the slowest rate that has been observed, unless the fit itself does.
    """
    if not trials:
        low, high = CAST_RATE.low, CAST_RATE.high
        return CastRate(sqrt(low * high), low, high, 0, None, (_no_trial(),))
    wall = np.array([trial.wall_mm for trial in trials])
    root = np.sqrt([trial.minutes for trial in trials])
    free = READING_WEIGHT + len(trials) - 1
    root_rate = float(wall @ root / (root @ root))
    squares = float(((wall - root_rate * root) ** 2).sum())
    scatter = sqrt((READING_WEIGHT * READING_MM**2 + squares) / free)
    reach = float(t.ppf((1 + CHANCE) / 2, free)) * scatter / sqrt(float(root @ root))
    slowest = min(root_rate, sqrt(CAST_RATE.low))
    low, high = max(root_rate - reach, slowest) ** 2, (root_rate + reach) ** 2
    return CastRate(root_rate**2, low, high, len(trials), scatter, _loose(low, high, len(trials)))


def _no_trial() -> Finding:
    says = (
        f"Nothing tells how fast your slip grows a wall in this mold: rates from {CAST_RATE.low:g} to "
        f"{CAST_RATE.high:g} mm²/min have been observed."
    )
    remedy = (
        "Make a trial: fill the mold, drain after ten minutes, measure the wall at the trimmed rim, and give both "
        "(cast.trials in a job file)."
    )
    return Finding("note", "no-trial", says, remedy=remedy)


def _loose(low: float, high: float, count: int) -> tuple[Finding, ...]:
    if high <= LOOSE * low:
        return ()
    says = f"{'One trial leaves' if count == 1 else f'{count} trials leave'} the time open by a factor of {high / low:.1f}."
    remedy = "Cast once more with the mold as dry as last time, and longer: thick walls tell the rate best."
    return (Finding("note", "trials-loose", says, remedy=remedy),)
