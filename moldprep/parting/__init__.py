"""Stage 6: where the mold comes apart: the fewest pieces, seams level and on lines the form has."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from ..cottle import Block
from ..errors import JobError
from ..findings import Finding
from ..geometry.columns import rotation_for
from ..geometry.mesh import Bools, Floats, Mesh
from ..geometry.outlines import section
from ..geometry.reach import LockedSpot, locked_spots
from ..job import PartingJob
from ..pull import PullStudy, direction_name
from ..stand import Stand
from ..working import SILENT, Watch
from .layers import Candidate, Layer, LayerKind, Seam, family_of, piece_count
from .lines import NATURAL_DISCOUNT, SAME_HEIGHT_MM, NaturalLines, natural_lines, spread
from .search import EXCESS_PRICE, LOCKED_PRICE, STACKED_PRICE, best_stacks, locked_volumes, prices_of
from .tables import PartingTables, tabulate

__all__ = [
    "Candidate",
    "Layer",
    "LayerKind",
    "NaturalLines",
    "Parting",
    "PartingTables",
    "Seam",
    "part_mold",
    "price",
]

JUDGED = 4
"""Candidates whose reach is read before the best is chosen."""
LEANING_DEG = 10.0
"""Stack axes nearer than this to upright or level repeat what the upright stack offers."""


@dataclass(frozen=True, eq=False)
class Parting:
    """The chosen stack, the runners-up (the best of each other family, cheapest first), and what they
    were priced from. `tables` and `lines` belong to the upright stack axis.
    """

    chosen: Candidate
    runners_up: tuple[Candidate, ...]
    tables: PartingTables = field(repr=False)
    lines: NaturalLines = field(repr=False)
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class _Ground:
    """What all candidates of one stack axis share."""

    mesh: Mesh
    tables: PartingTables
    lines: NaturalLines
    job: PartingJob
    rim_mm: float
    tolerance_mm: float

    @property
    def upright(self) -> bool:
        return bool(abs(self.tables.axis[2]) > np.cos(np.radians(LEANING_DEG)))


def part_mold(
    stand: Stand,
    study: PullStudy,
    block: Block,
    job: PartingJob,
    *,
    tolerance_mm: float,
    watch: Watch = SILENT,
) -> Parting:
    """The best layer stack for the form in its block, and the runners-up.

    Raises JobError when family or planes asked for do not fit each other or the form.
    """
    _check_request(stand, job)
    up = np.array([0.0, 0.0, 1.0])
    ground = _ground(stand, block, study, job, up, tolerance_mm, watch)
    candidates = _candidates(ground)
    if job.family in (None, "two-piece") and job.planes_mm is None:
        for axis in study.axes:
            leaning = np.degrees(np.arccos(min(1.0, abs(axis[2]))))
            if LEANING_DEG < leaning < 90 - LEANING_DEG:
                tilted = _ground(stand, block, study, job, np.array(axis), tolerance_mm, watch)
                candidates += [c for c in _candidates(tilted) if c.family == "two-piece"]
    candidates = [c for c in candidates if job.family in (None, c.family)]
    if not candidates:
        raise JobError(
            f"No {job.family} parting exists for this form.",
            code="parting-family",
            remedy="Leave the family open, or allow more split layers.",
        )
    candidates.sort(key=lambda c: (c.price, c.piece_count, -c.axis[2]))
    judged = [_judged(stand, c, tolerance_mm) for c in candidates[:JUDGED]]
    for c in candidates[JUDGED:]:
        if any(other.reach_mm <= tolerance_mm for other in judged):
            break
        judged.append(_judged(stand, c, tolerance_mm))
    judged.sort(key=lambda c: c.reach_mm > tolerance_mm)
    chosen = judged[0]
    rest = tuple(sorted(judged[1:], key=lambda c: (c.reach_mm > tolerance_mm, c.price))) + tuple(
        candidates[len(judged) :]
    )
    findings = _findings(stand, chosen, tolerance_mm)
    return Parting(chosen, rest, ground.tables, ground.lines, findings)


def price(
    tables: PartingTables,
    lines: NaturalLines,
    layers: tuple[Layer, ...],
    job: PartingJob,
    seams: tuple[Seam, ...],
) -> float:
    """Price of a stack in mm of smooth level seam: locked excess, pieces beyond the first, seams."""
    excess, whole = locked_volumes(tables, layers)
    stacked = max(0, sum(layer.kind == "split" for layer in layers) - 1)
    lean = 1 - abs(float(tables.axis[2]))
    level = job.horizontal_price + lean * (job.vertical_price - job.horizontal_price)
    total = (
        EXCESS_PRICE * excess
        + LOCKED_PRICE * whole
        + job.piece_price * (piece_count(layers) - 1)
        + STACKED_PRICE * stacked
    )
    for seam in seams:
        smooth = level if seam.kind == "horizontal" else job.vertical_price
        if seam.kind == "horizontal" and lines.at(seam.height_mm or 0.0)[0]:
            smooth *= NATURAL_DISCOUNT
        total += seam.length_mm * (smooth + seam.crease_share * (job.crease_price - smooth))
    return total


def _ground(
    stand: Stand,
    block: Block,
    study: PullStudy,
    job: PartingJob,
    axis: Floats,
    tolerance_mm: float,
    watch: Watch,
) -> _Ground:
    """Natural lines and tables along one stack axis."""
    mesh = stand.mesh
    rotation = rotation_for(axis)
    height = mesh.vertices @ rotation[2]
    low, high = float(height.min()), float(height.max())
    upright = bool(abs(axis[2]) > np.cos(np.radians(LEANING_DEG)))
    rim = stand.rim_mm if upright else high
    lines = natural_lines(mesh, rotation, low=low, high=min(rim, high), angle_deg=job.crease_angle_deg)
    fixed = np.array(job.planes_mm or ())
    natural = np.unique(np.concatenate([lines.heights, fixed, [rim] if upright else []]))
    levels = spread(np.linspace(low, high, job.grid + 1), natural[(natural > low) & (natural < high)])
    azimuths = _azimuths(study, job) if upright else np.zeros(0)
    lean = None if upright else _inside(block)
    tables = tabulate(
        mesh,
        axis,
        levels=levels,
        lines=job.grid,
        azimuths_deg=azimuths,
        seam_top=rim,
        plaster=lean,
        watch=watch,
    )
    return _Ground(mesh, tables, lines, job, rim, tolerance_mm)


def _inside(block: Block):  # type: ignore[no-untyped-def]
    """Whether points lie in the block: between its ends, inside its outline."""
    outline = shapely.Polygon(block.outline)
    shapely.prepare(outline)

    def inside(points: Floats) -> Bools:
        level = (points[:, 2] >= block.bottom_mm) & (points[:, 2] <= block.top_mm)
        return np.asarray(level & shapely.contains_xy(outline, points[:, 0], points[:, 1]))

    return inside


def _azimuths(study: PullStudy, job: PartingJob) -> Floats:
    """Azimuths tried: an even spread over the half turn, and the level part of the study's axes."""
    if job.azimuth_deg is not None:
        return np.array([job.azimuth_deg % 180])
    tried = list(np.arange(job.azimuths) * 180 / job.azimuths)
    for axis in study.axes:
        if np.hypot(axis[0], axis[1]) > 0.5:
            own = float(np.degrees(np.arctan2(axis[1], axis[0])) % 180)
            if all(abs((own - other + 90) % 180 - 90) > 1 for other in tried):
                tried.append(own)
    return np.array(sorted(tried))


def _candidates(ground: _Ground) -> list[Candidate]:
    """The cheapest stack of each family along one axis."""
    tables, lines, job = ground.tables, ground.lines, ground.job
    outline = lines.outline_mm(tables.levels)
    level = np.empty(len(tables.levels))
    for k, height in enumerate(tables.levels):
        name, share = lines.at(float(height))
        smooth = job.horizontal_price * (NATURAL_DISCOUNT if name else 1.0)
        level[k] = outline[k] * (smooth + share * (job.crease_price - smooth))
    level[tables.levels > ground.rim_mm] = np.inf  # a seam round the spare would be no seam of the form
    allowed = np.isfinite(level)
    if job.planes_mm is not None:
        allowed &= np.isclose(tables.levels[:, None], np.array(job.planes_mm)[None], atol=1e-6).any(axis=1)
    prices = prices_of(tables, level, job, allowed=allowed)
    most = job.most_split_layers if job.planes_mm is None else 1
    best: dict[str, tuple[float, tuple[Layer, ...]]] = {}
    for cost, layers in best_stacks(tables, prices, split_layers=most):
        family = family_of(layers)
        if np.isfinite(cost) and (family not in best or cost < best[family][0]):
            best[family] = cost, layers
    wanted = None if job.planes_mm is None else len(job.planes_mm)
    return [_candidate(ground, layers) for _, layers in best.values() if wanted in (None, len(layers) - 1)]


def _candidate(ground: _Ground, layers: tuple[Layer, ...]) -> Candidate:
    """A candidate with its seams measured on the form itself; its reach is read later."""
    excess, whole = locked_volumes(ground.tables, layers)
    seams = tuple(
        [_level_seam(ground, layer.low_mm) for layer in layers[1:]]
        + [_upright_seam(ground, layer) for layer in layers if layer.kind == "split"]
    )
    x, y, z = (float(v) for v in ground.tables.axis)
    return Candidate(
        axis=(x, y, z),
        layers=layers,
        family=family_of(layers),
        piece_count=piece_count(layers),
        excess_mm3=excess,
        locked_mm3=whole,
        reach_mm=float("nan"),
        seams=seams,
        price=price(ground.tables, ground.lines, layers, ground.job, seams),
        why=_why(seams, layers),
    )


def _level_seam(ground: _Ground, height: float) -> Seam:
    """The outline of the form at a plane across the axis: the longer of just below and just above."""
    hair = 1e-4 * float(ground.tables.levels[-1] - ground.tables.levels[0])
    rotation = ground.tables.rotation
    cuts = [section(ground.mesh, height + side * hair, rotation=rotation).boundary for side in (-1, 1)]
    line = max(cuts, key=lambda cut: float(cut.length))
    share = _crease_share(ground, line, rotation, height)
    name, _ = ground.lines.at(height)
    return Seam(
        "horizontal", height, None, None, None, None, float(line.length), share, name or "smooth wall"
    )


def _upright_seam(ground: _Ground, layer: Layer) -> Seam:
    """The outline of the form in a split layer's parting plane, below the rim."""
    assert layer.azimuth_deg is not None and layer.offset_mm is not None
    azimuth, axes = np.radians(layer.azimuth_deg), ground.tables.rotation
    rotation = rotation_for(np.cos(azimuth) * axes[0] + np.sin(azimuth) * axes[1], up=axes[2])
    offset = layer.offset_mm + 1e-6  # never quite through a row of vertices
    low, high = layer.low_mm - 1e-6, min(layer.high_mm, ground.rim_mm) - 1e-6
    wide = 1e6
    line = shapely.intersection(
        section(ground.mesh, offset, rotation=rotation).boundary, shapely.box(-wide, low, wide, high)
    )
    share = _crease_share(ground, line, rotation, offset)
    return Seam(
        "vertical",
        None,
        layer.azimuth_deg,
        layer.offset_mm,
        layer.low_mm,
        layer.high_mm,
        float(line.length),
        share,
        "upright",
    )


def _crease_share(ground: _Ground, line: shapely.Geometry, rotation: Floats, depth: float) -> float:
    """Share of a plane's outline that runs within reach of a crease."""
    length = float(line.length)
    if length == 0:
        return 0.0
    parts = shapely.get_parts(line)
    own = shapely.length(parts)
    ends = np.cumsum(own)
    count = max(16, int(length))
    at = (
        (np.arange(count) + 0.5) * length / count
    )  # equal steps, so that each point stands for the same length
    part = np.minimum(np.searchsorted(ends, at), len(parts) - 1)
    points = shapely.get_coordinates(shapely.line_interpolate_point(parts[part], at - (ends - own)[part]))
    local = np.column_stack([points, np.full(len(points), depth)])
    return float(ground.lines.creases.near(local @ rotation, SAME_HEIGHT_MM).mean())


def _judged(stand: Stand, candidate: Candidate, tolerance_mm: float) -> Candidate:
    """The candidate with the reach that stays locked."""
    spots = locked_in(stand.mesh, candidate, tolerance_mm)
    return replace(candidate, reach_mm=spots[0].reach_mm if spots else 0.0)


def locked_in(mesh: Mesh, candidate: Candidate, tolerance_mm: float) -> tuple[LockedSpot, ...]:
    """The places where some piece's plaster stays locked, deepest first."""
    rotation = rotation_for(candidate.axis)
    found: list[LockedSpot] = []
    for layer in candidate.layers:
        first, last = layer is candidate.layers[0], layer is candidate.layers[-1]
        low, high = (-np.inf if first else layer.low_mm), (np.inf if last else layer.high_mm)
        if layer.kind == "split":
            assert layer.azimuth_deg is not None and layer.offset_mm is not None
            azimuth = np.radians(layer.azimuth_deg)
            pull = np.cos(azimuth) * rotation[0] + np.sin(azimuth) * rotation[1]
            for way, span in (("plus", (layer.offset_mm, np.inf)), ("minus", (-np.inf, layer.offset_mm))):
                found += locked_spots(
                    mesh, pull, way=way, tolerance=tolerance_mm, span=span, rows=(low, high), up=rotation[2]
                )
        else:
            way = "plus" if layer.kind == "up" else "minus"
            found += locked_spots(mesh, rotation[2], way=way, tolerance=tolerance_mm, span=(low, high))
    return tuple(sorted(found, key=lambda spot: -spot.reach_mm))


def _why(seams: tuple[Seam, ...], layers: tuple[Layer, ...]) -> str:
    """Why the seams lie where they do, in plain words."""
    if not seams:
        return "The form leaves upward as a whole: no seam at all."
    reasons = []
    for seam in seams:
        if seam.kind == "vertical":
            reasons.append(
                f"an upright seam of {seam.length_mm:.0f} mm, since the form is locked along the axis there"
            )
        elif seam.crease_share >= 0.5:
            reasons.append(
                f"a level seam at {seam.height_mm:.1f} mm on a crease of the form, where it does not show"
            )
        elif seam.name in ("equator", "neck", "foot"):
            reasons.append(f"a level seam at {seam.height_mm:.1f} mm, the form's {seam.name}")
        else:
            reasons.append(
                f"a level seam at {seam.height_mm:.1f} mm, the shortest way round that frees both sides"
            )
    text = "; ".join(reasons)
    return text[0].upper() + text[1:] + "."


def _check_request(stand: Stand, job: PartingJob) -> None:
    """Refuse planes that lie off the form or do not fit the family."""
    if job.planes_mm is None:
        return
    outside = [height for height in job.planes_mm if not 0 < height < stand.rim_mm]
    if outside:
        raise JobError(
            f"A seam plane at {outside[0]:g} mm misses the form (0 to {stand.rim_mm:.1f} mm).",
            code="parting-planes",
            remedy="Give heights above the foot, below the rim.",
        )
    needs = {
        "one-piece": 0,
        "two-piece": 1,
        "halves": 0,
        "halves+foot": 1,
        "halves+top": 1,
        "halves+foot+top": 2,
    }
    if job.family in needs and needs[job.family] != len(job.planes_mm):
        raise JobError(
            f"A {job.family} mold has {needs[job.family]} level seam planes, not {len(job.planes_mm)}.",
            code="parting-planes",
            remedy="Leave out the family or give as many planes as it has.",
        )


def _findings(stand: Stand, chosen: Candidate, tolerance_mm: float) -> tuple[Finding, ...]:
    """A stop when even the best parting stays locked; a note of a seam down the front."""
    found: list[Finding] = []
    if chosen.reach_mm > tolerance_mm:
        spots = locked_in(stand.mesh, chosen, tolerance_mm)
        x, y, z = spots[0].where
        places = "1 place" if len(spots) == 1 else f"{len(spots)} places"
        found.append(
            Finding(
                "stop",
                "parting-locked",
                f"Even the best parting ({chosen.family}, {chosen.piece_count} pieces) is locked at {places}, "
                f"the deepest {chosen.reach_mm:.1f} mm at ({x:.0f}, {y:.0f}, {z:.0f}).",
                tuple(spot.where for spot in spots[:20]),
                "Ease the form there, allow more split layers, or model the mold by hand.",
            )
        )
    for seam in chosen.seams:
        if seam.kind == "vertical":
            assert seam.azimuth_deg is not None
            azimuth = np.radians(seam.azimuth_deg)
            name = direction_name((float(np.cos(azimuth)), float(np.sin(azimuth)), 0.0))
            found.append(
                Finding(
                    "note",
                    "upright-seam",
                    f"The halves leave {name}: an upright seam of {seam.length_mm:.0f} mm shows on the form.",
                    remedy="Fettle it while the cast is leather-hard.",
                )
            )
    return tuple(found)
