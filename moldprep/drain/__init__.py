"""Stage 10: how the emptied mold is held so that the cast drains.

A tilt is measured from the opening pointing straight down; its azimuth is the side of the mold that
then lies lowest, seen from above in the casting pose, counter-clockwise from x. What stays in the cast's
inside is found by a flood (`geometry.puddle`): slip runs off where a path leads to the opening that
never climbs. A film that clings to the walls is not counted.

Air does when the mold is filled, opening up, what slip does when it is emptied straight down.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import shapely

from ..cottle import Block
from ..errors import Point
from ..geometry.distance import DistanceField, joined_to
from ..geometry.mesh import Bools, Floats
from ..geometry.puddle import Hollow, Standing, hollow_in, joined_share, standing
from ..geometry.waterline import waterline
from ..inside import Inside
from ..job import DrainJob
from ..materials import GULP_WIDTH
from ..parting import Parting
from ..pieces import Pieces
from ..pieces.drip import STEADY_MM, drip_plane
from ..stand import Stand
from ..working import SILENT, Memo, Watch
from .holds import SLAT_MM, centre_of_mass, on_bevel, on_slats
from .remarks import about_air, about_gulps, about_holds, about_puddle
from .results import Drain, Hold, Section, Stays, Tilt
from .search import gravity, least_at, search, tilted

__all__ = ["SLAT_MM", "Drain", "Hold", "Section", "Stays", "Tilt", "drain_cast", "gravity"]

ROUGH_POINTS, MIDDLE_POINTS, FINE_POINTS = 40_000, 150_000, 1_000_000
"""Grid points in the hollow, at the most: to try tilts, for the curve over them, and to measure puddles."""
WHOLE = 0.998
"""A grid must keep this share of the hollow joined to its opening; else a finer one is taken."""
CURVE_DEG = 20.0
"""Step of the tilts at which the card says what stays."""
LEAST_PLACE_ML, MOST_PLACES = 0.1, 5
"""Puddles and pockets that are named."""


def drain_cast(
    inside: Inside,
    stand: Stand,
    block: Block,
    parting: Parting,
    pieces: Pieces,
    job: DrainJob,
    *,
    bevel_deg: float = 0.0,
    consistency: float = 70.0,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> Drain | None:
    """How to hold the mold so that the cast drains; None for a cast left solid, or whose opening closes.

    bevel_deg: the pieces' own (`PiecesJob.drip_bevel_deg`). consistency: of the plaster, for its weight. `memo`
    keeps where slip stays, whatever the mold weighs.
    """
    if inside.capacity_ml <= 0:
        return None
    ml = inside.growth**3 / 1000
    level = inside.wall_mm / inside.growth
    normal, offset = drip_plane(block, stand.mesh.vertices, parting.chosen.layers, bevel_deg or 45.0)
    side = float(np.degrees(np.arctan2(normal[1], normal[0])))  # where a bevel is, or would be
    found = (memo or Memo()).get(
        "flood",
        (inside.distances, *stand.opening_outlines),
        (level, ml, job, block.turn_deg, bevel_deg, side),
        lambda: _flooded(inside.distances, stand, job, level, ml, block.turn_deg, bevel_deg, side, watch),
    )
    centre = centre_of_mass(pieces, stand, inside, _joined(inside.distances, level), level, consistency)
    best = found.best
    holds = [on_slats(best, pieces, stand, centre)]
    if found.on_bevel is not None:
        holds.append(on_bevel(found.on_bevel, pieces, normal, offset, centre))
    offered = least_at(found.rough, side, job, ml) if holds[0].margin_mm < STEADY_MM else None
    return Drain(
        straight=found.tilts[0],
        tilts=found.tilts,
        least=found.least,
        best=best,
        stays=found.stays,
        holds=tuple(holds),
        pockets=found.pockets,
        gulps=inside.throat_mm < GULP_WIDTH.value,
        sections=found.sections,
        findings=(
            *about_puddle(
                found.tilts[0],
                found.least,
                best,
                down=found.down,
                stays=found.stays,
                inside=inside,
                hold=holds[0],
                job=job,
            ),
            *about_holds(tuple(holds), job, offered),
            *about_air(found.pockets, job),
            *about_gulps(inside),
        ),
    )


@dataclass(frozen=True, eq=False)
class _Flooded:
    """Where slip and air stay, whatever the mold weighs. tilts: straight down first. down, stays: places of
    slip straight down and at the best tilt. on_bevel: the bevel's own tilt. rough: the hollow to try tilts in."""

    tilts: tuple[Tilt, ...]
    least: Tilt | None
    best: Tilt
    down: tuple[Stays, ...]
    stays: tuple[Stays, ...]
    pockets: tuple[Stays, ...]
    sections: tuple[Section, Section]
    on_bevel: Tilt | None
    rough: Hollow


def _flooded(
    distances: DistanceField,
    stand: Stand,
    job: DrainJob,
    level: float,
    ml: float,
    turn_deg: float,
    bevel_deg: float,
    side: float,
    watch: Watch,
) -> _Flooded:
    """Flood the hollow straight down, at the tilts tried, and at the best of them."""
    kept = _joined(distances, level)
    fine, middle, rough = (
        _hollow(distances, level, kept, most) for most in (FINE_POINTS, MIDDLE_POINTS, ROUGH_POINTS)
    )
    down = standing(fine, gravity(0.0, 0.0))
    straight = Tilt(0.0, turn_deg % 360, down.volume * ml)
    watch.step(1, 4)
    least, best = (
        (straight, straight)
        if straight.left_ml < job.most_left_ml
        else search(rough, fine, job, ml, first=turn_deg)
    )
    watch.step(2, 4)
    settled = down if best.tilt_deg == 0 else standing(fine, gravity(best.tilt_deg, best.azimuth_deg))
    steps = np.arange(CURVE_DEG, job.most_tilt_deg + 1e-9, CURVE_DEG).tolist()
    pockets = _places(standing(_cavity(distances), gravity(0.0, 0.0)), ml)
    watch.step(3, 4)
    view = best.azimuth_deg if best.tilt_deg > 0 else _towards(down, best.azimuth_deg, stand)
    return _Flooded(
        tilts=(straight, *(tilted(middle, step, best.azimuth_deg, ml) for step in steps)),
        least=least,
        best=best,
        down=_places(down, ml),
        stays=_places(settled, ml),
        pockets=pockets,
        sections=(
            _section(fine, Tilt(0.0, view, straight.left_ml), down, stand),
            _section(fine, Tilt(best.tilt_deg, view, best.left_ml), settled, stand),
        ),
        on_bevel=tilted(fine, bevel_deg, side, ml) if bevel_deg > 0 else None,
        rough=rough,
    )


def _joined(distances: DistanceField, level: float) -> Bools:
    """The hollow at a level that is joined to the opening."""
    seeds = np.zeros(distances.values.shape, bool)
    seeds[:, :, -1] = True
    return joined_to(distances, level, seeds)


def _cavity(distances: DistanceField) -> Hollow:
    """What slip fills before a wall has grown. A sharp edge of plaster is blunter on a grid, by up to its pitch."""
    level = 1e-3 * distances.pitch  # grid points on the form's own faces are not in it
    return _hollow(distances, level, _joined(distances, level), FINE_POINTS)


def _hollow(distances: DistanceField, level: float, kept: Bools, most: int) -> Hollow:
    """On every grid point, or every second, third ..., so that no more than `most` lie in it; yet no narrow
    pass may be lost."""
    for step in range(ceil(np.cbrt(np.count_nonzero(kept) / most)), 1, -1):
        hollow = hollow_in(distances, level, kept, step=step)
        if joined_share(hollow) >= WHOLE:
            return hollow
    return hollow_in(distances, level, kept)


def _places(found: Standing, ml: float) -> tuple[Stays, ...]:
    places = [Stays(_point(one.lowest), one.volume * ml) for one in found.puddles[:MOST_PLACES]]
    return tuple(place for place in places if place.ml >= LEAST_PLACE_ML)


def _middle(stand: Stand) -> Floats:
    """(2,) middle of the opening."""
    opening = shapely.union_all([shapely.Polygon(outline) for outline in stand.opening_outlines])
    return np.array([opening.centroid.x, opening.centroid.y])


def _towards(down: Standing, else_deg: float, stand: Stand) -> float:
    """The azimuth at which the largest puddle stands, seen from the opening's middle."""
    if not down.puddles:
        return else_deg
    x, y = down.puddles[0].lowest[:2] - _middle(stand)
    return float(np.degrees(np.arctan2(y, x))) % 360


def _section(fine: Hollow, tilt: Tilt, found: Standing, stand: Stand) -> Section:
    """Along the azimuth, through the largest puddle's deepest place."""
    along, middle = gravity(90.0, tilt.azimuth_deg)[:2], _middle(stand)
    if found.puddles:
        across = np.array([-along[1], along[0]])
        middle = middle + across * float((found.puddles[0].lowest[:2] - middle) @ across)
    hollow, puddles = waterline(
        fine, found, gravity(tilt.tilt_deg, tilt.azimuth_deg), middle=middle, along=along
    )
    return Section(tilt, (float(middle[0]), float(middle[1])), hollow, puddles)


def _point(place: Floats) -> Point:
    x, y, z = (float(value) for value in place)
    return x, y, z
