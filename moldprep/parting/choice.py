"""The cheapest stacks of one axis, each turned and shifted to where it locks least."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from ..cottle import Block
from ..geometry.coarse import coarse
from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh
from ..job import PartingJob
from ..pull import PullStudy
from ..stand import Stand
from ..working import Memo, Watch
from .judge import UPRIGHT
from .layers import Candidate, Layer, family_of
from .lines import NaturalLines, natural_lines, spread
from .pricing import SeamRule, level_price, price
from .search import Prices, best_stacks, fixed_stacks, locked_only, prices_of
from .tables import PartingTables, split_volume, tabulate, truest_offset

SAME_AZIMUTH_DEG = 1.0
"""Of two azimuths nearer than this only one is tried, unless the even spread already has it."""
FINEST_TURN_DEG = 0.1
GAIN = 0.2
"""A plane is turned or shifted only when at least this share of what it locks comes free."""
IDLE_MM3 = 5.0
"""Locked plaster that is not worth turning a plane for."""
HARMONICS = range(2, 9)
"""Folds of a plan that are looked for: from two-sided to eight-cornered."""
MOSTLY_TURNED = 0.5
"""Share of the surface from which a form counts as turned about its axis of revolution."""
LEAST_HARMONIC = 0.01
"""Least swing of a form's plan, as a share of its mean radius, that shows a direction of its own."""


@dataclass(frozen=True, eq=False)
class Ground:
    """What all stacks of one axis share."""

    tables: PartingTables
    lines: NaturalLines
    rule: SeamRule = field(repr=False)
    job: PartingJob
    rim_mm: float


def ground_for(
    stand: Stand, block: Block, study: PullStudy, job: PartingJob, axis: Floats, watch: Watch, kept: Memo
) -> Ground:
    """Natural lines and tables along one stack axis.

    Heights along a tilted axis count from the origin of the casting pose.
    """
    mesh, rotation = stand.mesh, rotation_for(axis)
    own = mesh.vertices @ rotation[2]
    low, high = float(own.min()), float(own.max())
    upright = bool(abs(rotation[2, 2]) > UPRIGHT)
    rim = min(stand.rim_mm, high) if upright else high
    lines = kept.get(
        "natural lines",
        (mesh,),
        (rotation.tobytes(), low, rim, job.crease_angle_deg),
        lambda: natural_lines(mesh, rotation, low=low, high=rim, angle_deg=job.crease_angle_deg),
    )
    wanted = [*lines.heights, *lines.steps, *(job.planes_mm or ()), *([rim] if upright else [])]
    natural = np.unique([height for height in wanted if low < height < high])
    tables = tabulate(
        mesh,
        rotation[2],
        levels=spread(np.linspace(low, high, job.grid + 1), natural),
        lines=job.grid,
        azimuths_deg=azimuths(mesh, lines, study, job) if upright else (),
        seam_top=rim,
        through=middle(mesh, lines),
        creases=lines.creases.ends,
        prism=None if upright else (block.outline, block.bottom_mm, block.top_mm),
        watch=watch,
    )
    return Ground(tables, lines, SeamRule(mesh, tables, lines, rim_mm=rim), job, rim)


def azimuths(mesh: Mesh, lines: NaturalLines, study: PullStudy, job: PartingJob) -> Floats:
    """Azimuths tried: an even spread over the half turn, and those that the form itself has.

    Its own: the level parts of the study's axes, and where its plan swings out and in, seen from its
    axis: toward a handle and across it, along and between the corners of a polygon.
    """
    if job.azimuth_deg is not None:
        return np.array([job.azimuth_deg % 180])
    even = np.arange(job.azimuths) * 180 / job.azimuths
    own = [
        np.degrees(np.arctan2(axis[1], axis[0])) for axis in study.axes if np.hypot(axis[0], axis[1]) > 0.5
    ]
    own += _swings(coarse(mesh), middle(mesh, lines))
    tried: list[float] = []
    for azimuth in own:
        if (
            all(_apart(azimuth, other) > SAME_AZIMUTH_DEG for other in tried)
            and _apart(azimuth, even).min() > 0.05
        ):
            tried.append(float(azimuth % 180))
    tried += [float(azimuth) for azimuth in even if all(_apart(azimuth, other) > 0.05 for other in tried)]
    return np.array(sorted(tried))


def middle(mesh: Mesh, lines: NaturalLines) -> Floats:
    """A point on the form's own axis: of revolution where most is turned, else the surface's centroid.

    A plane of symmetry goes through both.
    """
    if lines.revolution.share >= MOSTLY_TURNED:
        return np.array(lines.revolution.point)
    return np.asarray(mesh.areas @ mesh.centroids / mesh.area)


def candidates(ground: Ground, *, truest: bool = False) -> list[Candidate]:
    """The cheapest stack of each family along one axis; with `truest`, the one that locks least.

    Upright planes are turned and shifted off the grid where that frees plaster that counts; with
    `truest`, any plaster.
    """
    tables = ground.tables
    level = level_prices(ground)
    allowed = np.isfinite(level)
    prices = (
        locked_only(tables, allowed=allowed)
        if truest
        else prices_of(tables, level, ground.job, allowed=allowed)
    )
    best: dict[str, tuple[float, tuple[Layer, ...]]] = {}
    for cost, layers in _stacks(ground, prices):
        family = family_of(layers)
        if np.isfinite(cost) and (family not in best or cost < best[family][0]):
            best[family] = cost, layers
    found = []
    for _, layers in best.values():
        straight = price(tables, ground.lines, layers, ground.job, rule=ground.rule)
        turned = tuple(trued(ground, layer) for layer in layers)
        if (truest or straight.excess_mm3 > 0) and turned != layers:
            other = price(tables, ground.lines, turned, ground.job, rule=ground.rule)
            straight = min(straight, other, key=lambda one: (one.price, one is other))
        found.append(straight)
    return found


def trued(ground: Ground, layer: Layer) -> Layer:
    """A split layer whose plane is turned and shifted to where it locks least, if that is worth it."""
    if layer.kind != "split" or layer.azimuth_deg is None or layer.offset_mm is None:
        return layer
    tables, low, high = ground.tables, layer.low_mm, layer.high_mm

    def shifted(azimuth: float, near: float) -> tuple[float, float, float]:
        offset = truest_offset(tables, azimuth, near, low, high)
        return split_volume(tables, azimuth, offset, low, high)[1], azimuth % 180, offset

    before = split_volume(tables, layer.azimuth_deg, layer.offset_mm, low, high)[1]
    if before <= IDLE_MM3:
        return layer
    best = shifted(layer.azimuth_deg, layer.offset_mm)
    step = 90.0 / max(len(tables.azimuths_deg), 1)
    while ground.job.azimuth_deg is None and step > FINEST_TURN_DEG and best[0] > IDLE_MM3:
        ways = [shifted(best[1] + turn, best[2]) for turn in (-step, step)]
        best = min(best, *ways, key=lambda way: way[0])
        step /= 2
    if best[0] > (1 - GAIN) * before:
        return layer
    return replace(layer, azimuth_deg=best[1], offset_mm=best[2])


def level_prices(ground: Ground) -> Floats:
    """(n + 1,) price of the level seam at each level; infinite round the spare, which is no part of the form."""
    tables, lines, job = ground.tables, ground.lines, ground.job
    lean = 1 - abs(float(tables.axis[2]))
    prices = np.empty(len(tables.levels))
    for k, height in enumerate(tables.levels):
        name, share = lines.at(float(height))
        smooth = level_price(job, natural=bool(name), lean=lean)
        prices[k] = tables.outline[k] * (smooth + share * (job.crease_price - smooth))
    prices[tables.levels > ground.rim_mm] = np.inf
    return prices


def _stacks(ground: Ground, prices: Prices) -> Iterator[tuple[float, tuple[Layer, ...]]]:
    job, levels = ground.job, ground.tables.levels
    if job.planes_mm is None:
        return best_stacks(ground.tables, prices, split_layers=job.most_split_layers)
    planes = [int(np.argmin(np.abs(levels - height))) for height in sorted(job.planes_mm)]
    return fixed_stacks(ground.tables, prices, planes)


def _swings(mesh: Mesh, centre: Floats) -> list[float]:
    """Azimuths at which a form's plan swings out or in, by the Fourier series of its radius."""
    place = mesh.centroids[:, :2] - centre[:2]
    radius, angle = np.hypot(*place.T), np.arctan2(place[:, 1], place[:, 0])
    weight = mesh.areas * radius
    once = (weight * np.exp(1j * angle)).sum() / weight.sum()
    terms = {m: (weight * np.exp(1j * m * angle)).sum() / weight.sum() for m in HARMONICS}
    found = []
    if abs(once) > LEAST_HARMONIC:
        toward = float(np.degrees(np.angle(once)))
        found += [toward, toward + 90]
    strongest = max(terms, key=lambda m: (abs(terms[m]), -m))
    for m in sorted({2, strongest}):
        if abs(terms[m]) > LEAST_HARMONIC:
            first = float(np.degrees(np.angle(terms[m]))) / m
            found += [first + k * 180 / m for k in range(2 * m)]
    return found


def _apart(one: float, other: float | Floats) -> Floats:
    """Angle between axes in degrees, 0 to 90."""
    return np.abs((one - np.asarray(other) + 90) % 180 - 90)
