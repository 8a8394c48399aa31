"""Stage 13: casting. `rate` tells the time from trials, `slip` the slip and its level, `absorption` what the
plaster takes, `plan` is the stage."""

from .absorption import Absorption, Place, absorption, outside_of
from .plan import CastPlan, CurvedWalls, curved_walls, half_thickness_mm, plan_cast
from .rate import CastRate, cast_rate
from .slip import LevelDrop, SlipMix, casts_a_bucket, level_drop, mixed_slip, slip_needed

__all__ = [
    "Absorption",
    "CastPlan",
    "CastRate",
    "CurvedWalls",
    "LevelDrop",
    "Place",
    "SlipMix",
    "absorption",
    "cast_rate",
    "casts_a_bucket",
    "curved_walls",
    "half_thickness_mm",
    "level_drop",
    "mixed_slip",
    "outside_of",
    "plan_cast",
    "slip_needed",
]
