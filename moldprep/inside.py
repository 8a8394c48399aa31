"""Stage 4: the cast's inside: what it holds, what is left of its opening, what it weighs.

Clay grows on plaster, so the inside of a drained cast is where the distance to the plaster is at
least the wall. One field of that distance, in the master's own millimetres, serves every wall and
every size of the form: the cavity is the master times `growth` (print shrink, plaster expansion),
and at a further scale s the wall w stands at the level w / (growth s).

No clay grows on the opening plane. The spare's plaster is part of the field, and adds nothing below
the rim: it flares outward, so that its nearest place is the rim's own edge. The wall at the rim is
thus measured level. The spare's clay counts in the slip alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import msgspec
import numpy as np
import shapely

from .errors import JobError, Point, at
from .findings import Finding
from .formulas.clay import water_given_up, weights_g
from .geometry.columns import Frame, cast, rotation_for, solid_intervals
from .geometry.discs import Disc, inscribed_disc, widest_radius
from .geometry.distance import DistanceField, distance_field, joined_to, layer_volumes, volume_below
from .geometry.hollows import passes, solid_places
from .geometry.mesh import Bools, Floats, Mesh, read_only
from .geometry.solids import difference, prism, to_manifold
from .job import CastJob, CastMode
from .materials import CLEAR_WIDTH
from .sizing import Sizing
from .stand import RISES_MM, Stand
from .working import SILENT, Memo, Watch

LINES = 128
"""Grid points along the form's longest side, at the least."""
MOST_LINES = 256
"""And at the most, where the wall asks for a finer grid."""
CELLS_A_WALL = 4
"""Grid points across the wall, where `MOST_LINES` allows."""
LEVEL_DEG = 1.0
"""Faces that look up within this angle and lie in the opening are its lid, on which no clay grows."""
CURVE_POINTS = 33
"""Heights of the fill curve."""
DIFFERS_SHARE = 0.5
"""A modelled inside that is off the cast's by more than this share of the wall is worth a finding."""
MOST_PLACES = 5
"""Places that close up, named at the most; the largest first."""


@dataclass(frozen=True)
class Weights:
    """Of the trimmed cast, g; fired: after the loss on ignition, a share of the dry weight.

    Slip that a closed neck shuts off is counted as clay.
    """

    wet_g: float
    dry_g: float
    fired_g: float
    loss_on_ignition: float


@dataclass(frozen=True, eq=False)
class FillCurve:
    """What the cast holds up to (k,) heights above its lowest place in the casting pose.

    height_mm, wet_ml: just cast, in the mold; fired_height_mm, fired_ml: None where no shrinkage is given.
    """

    height_mm: Floats
    wet_ml: Floats
    fired_height_mm: Floats | None
    fired_ml: Floats | None


@dataclass(frozen=True)
class Closing:
    """A place that closes up: two walls meet before the slip is poured out.

    across_mm: its width in the mold. time: when it closes, as a multiple of the time that the wall
    takes: (half the width / wall)^2, from L^2 = k t. traps_ml: slip that it shuts off from the opening.
    """

    where: Point
    across_mm: float
    extent_mm: float
    time: float
    traps_ml: float


@dataclass(frozen=True, eq=False)
class Inside:
    """The cast's inside, for a wall of `wall_mm` in the mold.

    distances: to the plaster, mm of the master in the casting pose. growth: cavity over master.
    fired_share: of a volume, fired over wet; None where no shrinkage is given, and then nothing fired
    is known. vessel: whether the opening is on top when the piece stands on its foot; else it holds
    nothing when in use, and the figures tell what drains. spill_mm: height of the brim on the master.
    capacity_ml: to the brim, wet; 0 when cast solid. throat_mm: clear width of the narrowest level between
    the opening and the widest one, at `throat_at`. clay_ml: volume of the trimmed cast, wet.
    outer_mm3: of the trimmed master. slip_ml: to fill the mold to the top of the spare; slip_kept_ml: what
    of it does not come back, as clay, spare included, and as water in the plaster. modelled: the inside that was
    modelled, casting pose; deviation: (n,) how much thicker its clay is than the cast's at each of its vertices,
    mm in the mold.
    """

    mode: CastMode
    wall_mm: float
    growth: float
    fired_share: float | None
    fired_height: float | None
    vessel: bool
    spill_mm: float
    rim_mm: float
    capacity_ml: float
    fired_capacity_ml: float | None
    fill: FillCurve | None
    throat_mm: float
    throat_at: Point
    clay_ml: float
    weights: Weights
    slip_ml: float
    slip_kept_ml: float
    closing: tuple[Closing, ...]
    outer_mm3: float
    distances: DistanceField = field(repr=False)
    beyond: Bools = field(repr=False)
    job: CastJob = field(repr=False)
    modelled: Mesh | None = field(default=None, repr=False)
    deviation: Floats | None = field(default=None, repr=False)
    findings: tuple[Finding, ...] = ()


def cast_inside(
    stand: Stand,
    sizing: Sizing,
    job: CastJob,
    *,
    fitted_scale: float = 1.0,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> Inside:
    """The inside of the cast that the mold of a standing master makes.

    fitted_scale: by which the master was scaled since the job's spill height was measured on it.
    A modelled inside (`Sizing.modelled`) is compared with it. `memo` keeps it for the same form in the same pose,
    whatever its floor, and the distances for whatever is cast. Raises JobError for a spill height that is
    not on the form.
    """
    kept = memo or Memo()
    cast_job = msgspec.structs.replace(job, trials=())  # they tell of time, not of the inside
    fired = (sizing.factor, sizing.width_shrinkage, sizing.height_shrinkage, sizing.fired_size_mm is None)
    return kept.get(
        "inside",
        (stand.turn, stand.form, stand.mesh, *stand.opening_outlines, sizing.modelled),
        (stand.rim_mm, stand.top_mm, fired, cast_job, fitted_scale),
        lambda: _found(stand, sizing, cast_job, fitted_scale, watch, kept),
    )


def capacity_at(inside: Inside, scale: float, *, wall_mm: float, below_mm: float = 0.0) -> float:
    """What the cast holds in the mold, wet, with the form at a further scale [mL].

    The wall does not scale with the form. below_mm: how far below the brim the fill line lies, mm of
    the master at that scale. 0 for a solid cast.
    """
    size = inside.growth * scale
    hollow = _hollow(inside.distances, wall_mm / size, inside.mode)
    volumes = layer_volumes(inside.distances, wall_mm / size, kept=hollow)
    height = inside.spill_mm - below_mm / scale
    return float(volume_below(inside.distances, volumes, height)) * size**3 / 1000


def weights_at(inside: Inside, scale: float, *, wall_mm: float) -> Weights:
    """What the trimmed cast weighs, with the form at a further scale."""
    size = inside.growth * scale
    hollow = _hollow(inside.distances, wall_mm / size, inside.mode)
    volumes = layer_volumes(inside.distances, wall_mm / size, kept=hollow)
    cut = _rim_layer(inside.distances, inside.rim_mm)
    clay = inside.outer_mm3 - _drained(inside.distances, hollow, volumes, inside.beyond, cut)
    return clay_weights(clay * size**3 / 1000, inside.job)


def clay_weights(wet_ml: float, job: CastJob) -> Weights:
    """Weights of a cast of that volume in the mold; the water left and the loss on ignition are the job's."""
    ignition = job.loss_on_ignition_percent / 100
    water = job.water_percent / 100
    wet, dry, fired = weights_g(wet_ml, water=water, solids_g_ml=job.solids_g_ml, ignition=ignition)
    return Weights(wet, dry, fired, ignition)


# --- all of it ----------------------------------------------------------------------------------


def _found(
    stand: Stand, sizing: Sizing, job: CastJob, fitted_scale: float, watch: Watch, kept: Memo
) -> Inside:
    watch.step(0, 3)
    modelled = None if sizing.modelled is None else sizing.modelled.transformed(stand.turn)
    growth = 1 / (sizing.factor[0] * (1 - sizing.width_shrinkage))
    share, height = _fired(sizing, stand)
    spill = _spill(stand, job, fitted_scale)
    plaster = ~_lid(stand)
    level = job.wall_mm / growth
    distances = _field(stand, plaster, level, kept)
    beyond = _beyond(stand, distances)
    watch.step(1, 3)
    outer = _outer_mm3(stand)
    hollow = _hollow(distances, level, job.mode)
    volumes = layer_volumes(distances, level, kept=hollow)
    cut = _rim_layer(distances, stand.rim_mm)
    ml = growth**3 / 1000
    held = volume_below(distances, volumes, spill) * ml
    clay = outer * ml - _drained(distances, hollow, volumes, beyond, cut) * ml
    # what the last layer leaves up to the top of the spare is as wide as that layer
    rest = float(volumes[-1]) / distances.pitch * (stand.top_mm - float(distances.heights[-1]))
    whole = (stand.mesh.volume - float(volumes.sum()) - rest) * ml
    watch.step(2, 3)
    throat = _throat(distances, hollow, level, cut)
    clear = 2 * throat[0].radius * growth
    drains = job.mode == "drain"
    closed = _closing(stand.mesh, plaster, distances, hollow, beyond, level, growth, cut) if drains else ()
    differs = None if modelled is None else _deviation(modelled, distances, level, stand.rim_mm) * growth
    vessel = bool(stand.turn[2, 2] > 0.5)
    where = (*throat[0].middle, throat[1])
    findings = (
        *(_throat_finding(clear, where, job.wall_mm) if drains else ()),
        *(_closing_finding(place) for place in closed),
        *(_deviation_finding(modelled, differs, job.wall_mm) if drains else ()),
    )
    return Inside(
        mode=job.mode,
        wall_mm=job.wall_mm,
        growth=growth,
        fired_share=share,
        fired_height=height,
        vessel=vessel,
        spill_mm=spill,
        rim_mm=stand.rim_mm,
        capacity_ml=float(held),
        fired_capacity_ml=None if share is None else float(held) * share,
        fill=_curve(distances, volumes, spill, growth, share, height) if drains else None,
        throat_mm=clear,
        throat_at=where,
        clay_ml=clay,
        weights=clay_weights(clay, job),
        slip_ml=stand.mesh.volume * ml,
        slip_kept_ml=whole * (1 + _given_up(job)),
        closing=closed,
        outer_mm3=outer,
        distances=distances,
        beyond=beyond,
        job=job,
        modelled=modelled,
        deviation=None if differs is None else np.asarray(read_only(differs)),
        findings=findings,
    )


# --- the field ----------------------------------------------------------------------------------


def _field(stand: Stand, plaster: Bools, level: float, kept: Memo) -> DistanceField:
    longest = float(stand.form.extents.max())
    pitch = min(max(level / CELLS_A_WALL, longest / MOST_LINES), longest / LINES)
    return kept.get(
        "distances",
        (stand.mesh, *stand.opening_outlines),
        (pitch, stand.rim_mm, stand.top_mm),
        lambda: distance_field(stand.mesh, plaster, pitch=pitch, layer=stand.rim_mm),
    )


def _lid(stand: Stand) -> Bools:
    """(m,) the faces of stand.mesh in the opening plane: the spare's top, or the rim itself without one."""
    mesh = stand.mesh
    up = mesh.normals[:, 2] > np.cos(np.radians(LEVEL_DEG))
    corner = mesh.vertices[:, 2][mesh.faces]
    if stand.spare_mm > 0:
        return np.asarray(up & (corner.min(axis=1) > stand.top_mm - 1e-6 * stand.top_mm))
    within = shapely.contains_xy(_opening(stand), *mesh.centroids.T[:2])
    return np.asarray(up & (corner.min(axis=1) > stand.rim_mm - 1e-6 * stand.rim_mm) & within)


def _beyond(stand: Stand, distances: DistanceField) -> Bools:
    """(nx, ny, nz) grid points of the form that rise above the rim, beside the opening."""
    nx, ny, nz = distances.values.shape
    beyond = np.zeros((nx, ny, nz), bool)
    if stand.form.bounds[1, 2] > stand.rim_mm + RISES_MM:
        frame = Frame(rotation_for((0.0, 0.0, 1.0)), distances.origin[:2], distances.pitch, (nx, ny))
        beside = ~shapely.contains_xy(_opening(stand), *frame.centres().T)
        solid = solid_intervals(cast(stand.form, frame))
        heights = distances.heights
        for column, low, high in zip(solid.column.tolist(), solid.low, solid.high, strict=True):
            if beside[column] and high > stand.rim_mm:
                beyond[divmod(column, ny)] |= (heights > max(low, stand.rim_mm)) & (heights <= high)
    return np.asarray(read_only(beyond))


def _opening(stand: Stand) -> shapely.Geometry:
    return shapely.union_all([shapely.Polygon(outline) for outline in stand.opening_outlines])


def _rim_layer(distances: DistanceField, rim: float) -> int:
    return round((rim - float(distances.origin[2])) / distances.pitch)


def _hollow(distances: DistanceField, level: float, mode: CastMode) -> Bools:
    """(nx, ny, nz) grid points of the hollow that drains through the opening."""
    seeds = np.zeros(distances.values.shape, bool)
    if mode == "drain":
        seeds[:, :, -1] = True  # the top layer is the spare's, or the opening's own
    return joined_to(distances, level, seeds)


def _drained(distances: DistanceField, hollow: Bools, volumes: Floats, beyond: Bools, cut: int) -> float:
    """Hollow of the trimmed cast: up to the rim, and in what of the form rises beside it (by whole cells), mm3."""
    risen = float(np.count_nonzero(hollow & beyond)) * distances.pitch**3 if beyond.any() else 0.0
    return float(volumes[:cut].sum()) + risen


def _outer_mm3(stand: Stand) -> float:
    """Volume of the form below the rim, and of what rises beside the opening."""
    if float(stand.form.bounds[1, 2]) <= stand.rim_mm + 1e-9:
        return stand.form.volume
    waste = prism(list(stand.opening_outlines), stand.rim_mm, stand.top_mm + 1)
    return float(difference(to_manifold(stand.form), waste).volume())


def _spill(stand: Stand, job: CastJob, fitted_scale: float) -> float:
    if job.spill_mm is None:
        return stand.rim_mm
    spill = job.spill_mm * fitted_scale
    if not 0 < spill <= stand.rim_mm + RISES_MM:
        raise JobError(
            f"The form spills at {spill:.1f} mm, but its rim is {stand.rim_mm:.1f} mm above the foot.",
            code="spill-height",
            remedy="Give spill_mm as a height above the foot, on the master, not above the rim.",
        )
    return min(spill, stand.rim_mm)


def _fired(sizing: Sizing, stand: Stand) -> tuple[float | None, float | None]:
    """Fired over wet, of a volume; and fired over master, of an upright length in the casting pose."""
    if sizing.fired_size_mm is None:
        return None, None
    share = (1 - sizing.width_shrinkage) ** 2 * (1 - sizing.height_shrinkage)
    along = np.abs(stand.turn[2, :3]) @ (1 / np.array(sizing.factor))
    return share, float(along)


def _given_up(job: CastJob) -> float:
    return water_given_up(job.slip_g_ml, job.water_percent / 100, job.solids_g_ml)


def _curve(
    distances: DistanceField,
    volumes: Floats,
    spill: float,
    growth: float,
    share: float | None,
    height: float | None,
) -> FillCurve:
    heights = np.linspace(0, spill, CURVE_POINTS)
    wet = volume_below(distances, volumes, heights) * growth**3 / 1000
    return FillCurve(
        height_mm=np.asarray(read_only(heights * growth)),
        wet_ml=np.asarray(read_only(wet)),
        fired_height_mm=None if height is None else np.asarray(read_only(heights * height)),
        fired_ml=None if share is None else np.asarray(read_only(wet * share)),
    )


# --- the throat and what closes up --------------------------------------------------------------


def _throat(distances: DistanceField, hollow: Bools, level: float, cut: int) -> tuple[Disc, float]:
    """The narrowest level disc between the opening and the widest level of the hollow, and its height."""
    pitch = distances.pitch
    rough = np.array([widest_radius(hollow[:, :, k], pitch) for k in range(cut + 1)])
    widest = int(np.flatnonzero(rough >= rough.max() - pitch / 2)[-1])
    narrow = widest + np.flatnonzero(rough[widest:] <= rough[widest:].min() + pitch)
    found = []
    for k in narrow.tolist():
        values = distances.values[:, :, k].astype(np.float64)
        own = np.where(hollow[:, :, k], values, np.minimum(values, level * (1 - 1e-3)))
        disc = inscribed_disc(own, level, origin=distances.origin[:2], pitch=pitch)
        found.append((disc, float(distances.heights[k])))
    return min(found, key=lambda one: one[0].radius)


def _closing(
    mesh: Mesh,
    plaster: Bools,
    distances: DistanceField,
    hollow: Bools,
    beyond: Bools,
    level: float,
    growth: float,
    cut: int,
) -> tuple[Closing, ...]:
    """Hollows that are shut off from the opening, then parts of the form that turn solid; the largest first."""
    within = beyond.copy()
    within[:, :, : cut + 1] = True
    necks = passes(mesh, plaster, distances, hollow, level)
    solid = solid_places(mesh, plaster, distances, within, level)
    return (
        *(
            Closing(
                _point(one.where),
                2 * one.depth * growth,
                0.0,
                (one.depth / level) ** 2,
                one.behind * growth**3 / 1000,
            )
            for one in necks[:MOST_PLACES]
        ),
        *(
            Closing(
                _point(one.where), 2 * one.depth * growth, one.extent * growth, (one.depth / level) ** 2, 0.0
            )
            for one in solid[:MOST_PLACES]
        ),
    )


# --- findings -----------------------------------------------------------------------------------


def _throat_finding(clear: float, where: Point, wall: float) -> tuple[Finding, ...]:
    if clear >= CLEAR_WIDTH.value:
        return ()
    if clear == 0:
        says = f"The opening closes up before the wall is {wall:g} mm: the slip cannot be poured out."
        remedy = "Widen the opening, drain earlier with a thinner wall, or cast it solid."
        return (Finding("stop", "opening-closes", says, where=(where,), remedy=remedy),)
    says = (
        f"A wall of {wall:g} mm leaves {clear:.1f} mm clear at {at(where)}; slip drains badly through less "
        f"than {CLEAR_WIDTH.value:g} mm."
    )
    remedy = "Widen the form there, cast a thinner wall, or let air in by a tube while it drains."
    return (Finding("warn", "throat-narrow", says, where=(where,), remedy=remedy),)


def _closing_finding(place: Closing) -> Finding:
    when = f"after {100 * place.time:.0f} % of the time that the wall takes"
    if place.traps_ml > 0:
        says = (
            f"A neck {place.across_mm:.1f} mm wide at {at(place.where)} closes {when} and shuts "
            f"{place.traps_ml:.0f} mL of slip off from the opening."
        )
        remedy = "Widen the neck to more than twice the wall, drain earlier, or cast the parts apart and join them."
        return Finding("warn", "hollow-severed", says, where=(place.where,), remedy=remedy)
    says = f"A part {place.across_mm:.1f} mm thick at {at(place.where)} turns solid {when}."
    remedy = "Solid parts dry and shrink more slowly than the wall beside them: dry the piece slowly."
    return Finding("note", "closes-solid", says, where=(place.where,), remedy=remedy)


def _deviation(modelled: Mesh, distances: DistanceField, level: float, rim: float) -> Floats:
    """(n,) how much deeper than the level each vertex of a modelled inside lies; 0 for those in the opening."""
    below = modelled.vertices[:, 2] < rim * (1 - 1e-6)
    return np.where(below, distances.at(modelled.vertices) - level, 0.0)


def _deviation_finding(modelled: Mesh | None, differs: Floats | None, wall: float) -> tuple[Finding, ...]:
    if modelled is None or differs is None or not np.abs(differs).max() > DIFFERS_SHARE * wall:
        return ()
    worst = int(np.abs(differs).argmax())
    thick = differs[worst] > 0
    says = (
        f"A drained cast follows the outside: at {at(_point(modelled.vertices[worst]))} it has "
        f"{abs(differs[worst]):.1f} mm {'less' if thick else 'more'} clay than the modelled inside."
    )
    remedy = "Cast it solid there, add the part by hand, or take the cast's own inside as the design."
    return (
        Finding("note", "inside-differs", says, where=(_point(modelled.vertices[worst]),), remedy=remedy),
    )


def _point(place: Floats) -> Point:
    x, y, z = (float(value) for value in place)
    return x, y, z
