"""The least tilt at which a cast drains, tried on a rough grid and measured on a fine one."""

from __future__ import annotations

import numpy as np

from ..geometry.mesh import Floats
from ..geometry.puddle import Hollow, left_standing
from ..job import DrainJob
from .results import Tilt

TILT_STEP_DEG, AZIMUTHS = 10, 12
"""Tilts and azimuths tried first."""
TURNS_DEG = (8, 4, 2, 1)
"""Azimuths beside the best are tried so far off, one after the other."""
HOPEFUL = 5.0
"""Where the best azimuth tried leaves more than so many times what may stay, none beside it drains."""
TIED_ML = 0.02
"""Azimuths that leave as much within this are as good as each other."""


def gravity(tilt_deg: float, azimuth_deg: float) -> Floats:
    """(3,) unit vector, in the casting pose, along which liquid runs; the opening's side is +z."""
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    return np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])


def tilted(hollow: Hollow, tilt: float, azimuth: float, ml: float) -> Tilt:
    """What stays at a tilt; ml: of a mm3 of the hollow."""
    return Tilt(float(tilt), azimuth % 360, left_standing(hollow, gravity(tilt, azimuth)) * ml)


def search(
    rough: Hollow, fine: Hollow, job: DrainJob, ml: float, *, first: float
) -> tuple[Tilt | None, Tilt]:
    """The least tilt that drains (None when none does), and the tilt to use.

    Tilts are whole degrees, tried in steps, each at all azimuths, until one drains; between it and the step before
    the least is found by halving, the azimuth kept at its best. first: the azimuth that is tried first.
    """
    most = int(job.most_tilt_deg)
    tilts = sorted({*range(TILT_STEP_DEG, most, TILT_STEP_DEG), most})
    azimuths = (first + np.arange(AZIMUTHS) * 360 / AZIMUTHS).tolist()
    tried: list[Tilt] = []
    below = 0
    for tilt in tilts:
        ring = [tilted(rough, tilt, azimuth, ml) for azimuth in azimuths]
        tried.append(_least_left(ring))
        if tried[-1].left_ml < HOPEFUL * job.most_left_ml:
            tried[-1] = _turned(rough, tried[-1], ml)
        if tried[-1].left_ml < job.most_left_ml:
            best = _halved(rough, tried[-1], below, job, ml)
            best = _settled(fine, best, most, job, ml)
            break
        below = tilt
    else:
        best = _turned(rough, _least_left(tried), ml)
        best = tilted(fine, best.tilt_deg, best.azimuth_deg, ml)
    return (best if best.left_ml < job.most_left_ml else None), best


def least_at(hollow: Hollow, azimuth: float, job: DrainJob, ml: float) -> float | None:
    """The least tilt, in steps, that drains at that azimuth; None when none does."""
    for tilt in range(TILT_STEP_DEG, int(job.most_tilt_deg) + 1, TILT_STEP_DEG // 2):
        if tilted(hollow, tilt, azimuth, ml).left_ml < job.most_left_ml:
            return float(tilt)
    return None


def _least_left(tried: list[Tilt]) -> Tilt:
    """The first of those that leave least."""
    least = min(one.left_ml for one in tried)
    return next(one for one in tried if one.left_ml <= least + TIED_ML)


def _turned(hollow: Hollow, best: Tilt, ml: float) -> Tilt:
    """The best azimuth near that of `best`, at its tilt."""
    for turn in TURNS_DEG:
        beside = [tilted(hollow, best.tilt_deg, best.azimuth_deg + way * turn, ml) for way in (-1, 1)]
        best = _least_left([best, *beside])
    return best


def _halved(hollow: Hollow, best: Tilt, below: int, job: DrainJob, ml: float) -> Tilt:
    """The least tilt between `below`, which does not drain, and `best`, which does."""
    while best.tilt_deg - below > 1:
        middle = int(below + best.tilt_deg) // 2
        tried = _turned(hollow, tilted(hollow, middle, best.azimuth_deg, ml), ml)
        if tried.left_ml < job.most_left_ml:
            best = tried
        else:
            below = middle
    return best


def _settled(fine: Hollow, best: Tilt, most: int, job: DrainJob, ml: float) -> Tilt:
    """The least tilt as the fine grid sees it, beside the one that the rough grid found."""
    found = tilted(fine, best.tilt_deg, best.azimuth_deg, ml)
    while found.left_ml < job.most_left_ml and found.tilt_deg > 1:
        lower = tilted(fine, found.tilt_deg - 1, found.azimuth_deg, ml)
        if lower.left_ml >= job.most_left_ml:
            return found
        found = lower
    while found.left_ml >= job.most_left_ml and found.tilt_deg < most:
        found = tilted(fine, found.tilt_deg + 1, found.azimuth_deg, ml)
    return found
