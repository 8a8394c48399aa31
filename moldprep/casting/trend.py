"""How the casting rate of a mold changes over its casts: plaster clogs and wears, and draws more slowly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from ..formulas.filtration import rate_of
from ..job import Trial
from .rate import READING_MM


@dataclass(frozen=True)
class RateTrend:
    """A straight line through the rates k of one slip's trials over the casts that the mold had made.

    rate_new: of the line, before the first cast [mm2/min]; per_cast: its slope [mm2/min a cast], below
    nothing for a mold that tires; error_per_cast: standard error of the slope by reading walls alone.
    """

    slip: str
    trials: int
    rate_new: float
    per_cast: float
    error_per_cast: float

    @property
    def clear(self) -> bool:
        """The slope is more than twice its error: not likely to be misread walls."""
        return abs(self.per_cast) > 2 * self.error_per_cast


def rate_trend(slip: str, casts: Sequence[int], trials: Sequence[Trial]) -> RateTrend | None:
    """The trend of trials of one slip, each made after so many casts of one mold.

    Ordinary least squares: slope = sum((n - mean n) k)/S with k = L^2/t and S = sum((n - mean n)^2). A
    wall read wrong by s = `READING_MM` puts k wrong by 2 L s/t, so that the slope's variance is
    sum((n - mean n)^2 (2 L s/t)^2)/S^2. None where all trials were made after the same number of casts.
    """
    if len(set(casts)) < 2:
        return None
    rates = np.array([rate_of(trial.wall_mm, trial.minutes) for trial in trials])
    errors = np.array([2 * trial.wall_mm * READING_MM / trial.minutes for trial in trials])
    apart = np.array(casts, float) - np.mean(casts)
    spread = float(apart @ apart)
    slope = float(apart @ rates) / spread
    error = sqrt(float((apart * errors) @ (apart * errors))) / spread
    return RateTrend(slip, len(trials), float(rates.mean()) - slope * float(np.mean(casts)), slope, error)
