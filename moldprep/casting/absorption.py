"""The water that a cast leaves in the mold, against what the plaster behind each patch can hold.

Plaster goes to the nearest patch of the form that its own piece touches, and clay does likewise
(`geometry.sharing`). So a thin wall, a fin between two hollows and the core of an inside corner show as
little plaster for much clay. Between its start and what still casts well, plaster takes
`density (workable - start)` of water; n times the clay's depth comes with each cast.

Plaster that stands between two parts of the form (in the eye of a handle, in a groove) is scarce because the
form is so: it is told apart from the mold's walls, which can be made thicker.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil

import numpy as np
from scipy.spatial import ConvexHull

from ..errors import Point, at
from ..findings import Finding
from ..formulas import gypsum
from ..formulas.clay import water_given_up
from ..geometry.mesh import Bools, Floats, read_only
from ..geometry.sharing import Patches, filling, joined, patches_of, shared_depth
from ..inside import Inside
from ..job import PlasterJob
from ..materials import PLASTERS, START_WATER, WATER_REACH, WORKABLE_WATER, plaster_named
from ..pieces import Piece, Pieces
from ..stand import Stand
from ..working import SILENT, Memo, Watch

LEAST_PATCH_MM = 2.5
MOST_PATCHES = 12_000
"""Patches are as small as these two allow."""
SPREAD_MM, SPREAD_PATCHES = 6.0, 2.0
"""Patches share over so far, and over so many patches at the least: water spreads sideways too (our judgement)."""
PLASTER_POINTS, CLAY_POINTS = 300_000, 120_000
"""Points that fill the plaster, and the form."""
LEAST_AREA, LEAST_SHARE = 100.0, 0.02
"""Surface that must be wet before a place is named, mm2 and at the most this share: lone patches say little."""
FAR_DEPTHS = 2.0
"""Where the mold's outside is further than so many depths of plaster, parts of the form take the rest."""
UNEVEN_SHARE = 0.4
"""A place that takes less than this share of the casts that half the mold takes is worth a note (our judgement)."""
LEAST_CLAY_MM = 0.1
"""Thinner clay counts as this: corners of the form share hardly any."""


@dataclass(frozen=True)
class Place:
    """The place that is wet first: casts until then, and the plaster behind it, mm in the mold."""

    casts: float
    plaster_mm: float
    where: Point


@dataclass(frozen=True, eq=False)
class Absorption:
    """What the plaster takes.

    casts_until_wet: (m,) for each face of `Stand.mesh`, casts from the middle of `START_WATER` until the plaster
    behind is wetter than casts well, of the worst of its patches; NaN where no plaster touches it.
    plaster_mm: (m,) plaster behind it, volume over area, mm in the mold; least of its patches. wall: the worst
    place of the mold's walls; between: of plaster between two parts of the form, None where there is none.
    middle: casts that half of the surface takes; whole: casts if all plaster shared the water evenly.
    casts_between: whole casts between dryings by the worst wall, from the wettest and the driest start.
    water_ml: into the plaster per cast; holds_ml: what all plaster takes from the middle start.
    saturation: water in full pores, on dry weight.
    """

    casts_until_wet: Floats = field(repr=False)
    plaster_mm: Floats = field(repr=False)
    wall: Place
    between: Place | None
    middle: float
    whole: float
    casts_between: tuple[int, int]
    water_ml: float
    holds_ml: float
    saturation: float
    findings: tuple[Finding, ...] = ()


def outside_of(pieces: Pieces) -> ConvexHull:
    """The hull of the pieces together, mm of the master; its vertices are few."""
    return ConvexHull(
        np.concatenate(
            [piece.mesh.vertices[np.unique(piece.mesh.faces[piece.form_face < 0])] for piece in pieces.pieces]
        )
    )


def absorption(
    inside: Inside,
    stand: Stand,
    pieces: Pieces,
    job: PlasterJob,
    *,
    outside: ConvexHull,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> Absorption:
    """The map of what each place of the mold takes; outside: see `outside_of`.

    `memo` keeps which plaster and which clay go to which patch, whatever they are mixed from.
    """
    kept = memo or Memo()
    touching = [piece for piece in pieces.pieces if piece.mesh.areas[piece.form_face >= 0].any()]
    size = max(LEAST_PATCH_MM, float(np.sqrt(stand.mesh.area / MOST_PATCHES)))
    spread = max(SPREAD_MM, SPREAD_PATCHES * size)
    found, patches, depths = kept.get(
        "plaster shares", (pieces, stand.mesh), None, lambda: _plaster(pieces, touching, size, spread, watch)
    )
    plaster = depths * inside.growth
    clay = kept.get(
        "clay shares",
        (patches, stand.mesh),
        (inside.mode, inside.wall_mm, inside.growth),
        lambda: _clay(inside, stand, patches, spread),
    )

    low, high = START_WATER.low / 100, START_WATER.high / 100
    start, top = (low + high) / 2, WORKABLE_WATER.value / 100
    density, share = _dry_g_ml(job), _given_up(inside)
    casts = density * (top - start) * plaster / (share * clay)
    between = _between(patches, plaster / inside.growth, outside)
    # where nearly all of a small form lies in the mold's grooves, these are its walls
    walls = _worst(patches, casts, plaster, ~between) or _worst(patches, casts, plaster, between)
    assert walls is not None, "half of a small surface is more than LEAST_SHARE of it"
    fins = _worst(patches, casts, plaster, between)
    water = inside.slip_kept_ml * share / (1 + share)
    plaster_ml = sum(piece.volume_mm3 for piece in pieces.pieces) * inside.growth**3 / 1000
    holds = density * (top - start) * plaster_ml
    return Absorption(
        casts_until_wet=_of_faces(stand, touching, found, casts),
        plaster_mm=_of_faces(stand, touching, found, plaster),
        wall=walls,
        between=fins,
        middle=_quantile(casts, patches.area, 0.5),
        whole=holds / water,
        casts_between=(
            int(walls.casts * (top - high) / (top - start)),
            int(walls.casts * (top - low) / (top - start)),
        ),
        water_ml=water,
        holds_ml=holds,
        saturation=_saturation(job),
        findings=(
            *_wall_finding(walls, _quantile(casts, patches.area, 0.5)),
            *_between_finding(fins),
        ),
    )


def _plaster(
    pieces: Pieces, touching: list[Piece], size: float, spread: float, watch: Watch
) -> tuple[list[Patches], Patches, Floats]:
    """Patches of each piece that touches the form, of all of them, and (p,) plaster behind each, mm of the master."""
    pitch = float(np.cbrt(sum(piece.volume_mm3 for piece in pieces.pieces) / PLASTER_POINTS))
    found, depths = [], []
    for k, piece in enumerate(touching):
        watch.step(k, len(touching) + 1)
        own = patches_of(piece.mesh, piece.form_face >= 0, size=size)
        points, volume = filling(piece.mesh, pitch=pitch)
        found.append(own)
        depths.append(shared_depth(own, points, volume, reach=WATER_REACH.value, spread=spread))
    watch.step(len(touching), len(touching) + 1)
    return found, joined(found), np.asarray(read_only(np.concatenate(depths)))


def _clay(inside: Inside, stand: Stand, patches: Patches, spread: float) -> Floats:
    """(p,) clay that grows on each patch, volume over area, mm: the wall, less where the form is thinner."""
    form = stand.mesh
    points, volume = filling(form, pitch=float(np.cbrt(form.volume / CLAY_POINTS)))
    if inside.mode == "solid":
        most, reach = np.inf, float(form.extents.max())
    else:  # what lies deeper than the wall stays slip
        most, reach = inside.wall_mm, 2 * inside.wall_mm / inside.growth
    clay = shared_depth(patches, points, volume, reach=reach, spread=spread) * inside.growth
    return np.asarray(np.clip(clay, LEAST_CLAY_MM, most))


def _of_faces(stand: Stand, touching: list[Piece], patches: list[Patches], values: Floats) -> Floats:
    """(m,) the least value of the patches in which each face of `Stand.mesh` lies; NaN where it lies in none."""
    found = np.full(len(stand.mesh.faces), np.inf)
    first = 0
    for piece, own in zip(touching, patches, strict=True):
        np.minimum.at(found, piece.form_face[own.face], values[first + own.patch])
        first += len(own.area)
    found[np.isinf(found)] = np.nan
    return np.asarray(read_only(found))


def _hemihydrate(job: PlasterJob) -> float:
    return (plaster_named(job.plaster) or PLASTERS[0]).hemihydrate_density_kg_m3


def _dry_g_ml(job: PlasterJob) -> float:
    consistency = job.consistency / 100
    density = gypsum.dry_density_kg_m3(consistency, purity=job.purity, hemihydrate_density=_hemihydrate(job))
    return density / 1000


def _saturation(job: PlasterJob) -> float:
    """Water in full pores on dry weight: porosity rho_water/rho_dry."""
    pores = gypsum.porosity(job.consistency / 100, purity=job.purity, hemihydrate_density=_hemihydrate(job))
    return pores * gypsum.WATER_DENSITY_KG_M3 / 1000 / _dry_g_ml(job)


def _given_up(inside: Inside) -> float:
    job = inside.job
    return water_given_up(job.slip_g_ml, job.water_percent / 100, job.solids_g_ml)


# --- places -------------------------------------------------------------------------------------


def _between(patches: Patches, depth: Floats, outside: ConvexHull) -> Bools:
    """(p,) whether it is the form, not the mold's outside, that leaves so little plaster (p,) behind a patch.

    Straight behind a wall the outside is as far away as the plaster is deep.
    """
    normal, offset = outside.equations[:, :3], outside.equations[:, 3]
    length = np.linalg.norm(patches.normal, axis=1, keepdims=True)
    inward = -patches.normal / np.where(length > 0, length, 1)
    away = np.full(len(depth), np.inf)
    for k in range(len(offset)):
        rise = inward @ normal[k]
        below = -(patches.middle @ normal[k] + offset[k])
        np.minimum(away, np.divide(below, rise, out=np.full_like(rise, np.inf), where=rise > 1e-6), out=away)
    return np.asarray(away > FAR_DEPTHS * depth)


def _worst(patches: Patches, casts: Floats, plaster: Floats, chosen: Bools) -> Place | None:
    """The place of the chosen patches (p,) that is wet first, once so much area is wet that it counts."""
    own = np.flatnonzero(chosen)
    own = own[np.argsort(casts[own], kind="stable")]
    reached = np.cumsum(patches.area[own])
    least = min(LEAST_AREA, LEAST_SHARE * float(patches.area.sum()))
    if not len(own) or reached[-1] < least:
        return None
    worst = int(own[np.searchsorted(reached, least)])
    return Place(float(casts[worst]), float(plaster[worst]), _point(patches.middle[worst]))


def _quantile(values: Floats, weight: Floats, share: float) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(reached, share * reached[-1])])


def _wall_finding(wall: Place, middle: float) -> tuple[Finding, ...]:
    if wall.casts < 1:
        says = (
            f"At {at(wall.where)} {wall.plaster_mm:.0f} mm of plaster stand behind the form: wetter than casts well "
            f"before one cast is done ({wall.casts:.1f})."
        )
        remedy = (
            f"Give it {ceil(wall.plaster_mm / wall.casts)} mm there, or dry the mold after every cast and expect a "
            "thinner wall that lets go later."
        )
        return (Finding("warn", "plaster-soaked", says, where=(wall.where,), remedy=remedy),)
    if wall.casts < UNEVEN_SHARE * middle:
        says = (
            f"At {at(wall.where)} {wall.plaster_mm:.0f} mm of plaster are wet after {wall.casts:.1f} casts, where half "
            f"of the mold takes {middle:.1f} or more."
        )
        remedy = "The cast's wall comes out thinner there as the mold gets wet; thicker plaster evens it out."
        return (Finding("note", "plaster-uneven", says, where=(wall.where,), remedy=remedy),)
    return ()


def _between_finding(fin: Place | None) -> tuple[Finding, ...]:
    if fin is None or fin.casts >= 1:
        return ()
    says = (
        f"The plaster between two parts of the form at {at(fin.where)} is wetter than casts well before one cast is "
        f"done ({fin.casts:.1f})."
    )
    remedy = "Clay stays soft longer there: let it stiffen before you open the mold, and dry that place between casts."
    return (Finding("note", "plaster-between", says, where=(fin.where,), remedy=remedy),)


def _point(place: Floats) -> Point:
    x, y, z = (float(value) for value in place)
    return x, y, z
