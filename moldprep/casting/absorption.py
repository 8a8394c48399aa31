"""The water that a cast leaves in the mold, against what the plaster behind each patch can hold.

Plaster goes to the nearest patch of the form that its own piece touches, and clay does likewise
(`geometry.sharing`). So a thin wall, a fin between two hollows and the core of an inside corner show as
little plaster for much clay. Between its start and what still casts well, plaster takes
`density (workable - start)` of water; n times the clay's depth comes with each cast.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..errors import Point, at
from ..findings import Finding
from ..formulas import gypsum
from ..formulas.clay import water_given_up
from ..geometry.mesh import Floats, read_only
from ..geometry.sharing import Patches, filling, joined, patches_of, shared_depth
from ..inside import Inside
from ..job import PlasterJob
from ..materials import PLASTERS, START_WATER, WATER_REACH, WORKABLE_WATER, plaster_named
from ..pieces import Piece, Pieces
from ..stand import Stand
from ..working import SILENT, Watch

LEAST_PATCH_MM = 2.5
MOST_PATCHES = 12_000
"""Patches are as small as these two allow."""
SPREAD_MM, SPREAD_PATCHES = 6.0, 2.0
"""Patches share over so far, and over so many patches at the least: water spreads sideways too (our judgement)."""
POINTS = 500_000
"""Points that fill plaster, and as many fill the form."""
LOW_SHARE = 0.01
"""Share of the area that may be wet before the least named: lone patches at edges say little."""
UNEVEN_SHARE = 0.4
"""A place that takes less than this share of the casts that half the mold takes is worth a note (our judgement)."""
LEAST_CLAY_MM = 0.1
"""Thinner clay counts as this: corners of the form share hardly any."""


@dataclass(frozen=True, eq=False)
class Absorption:
    """What the plaster takes.

    casts_until_wet: (m,) for each face of `Stand.mesh`, casts from the middle of `START_WATER` until the plaster
    behind is wetter than casts well, of the worst of its patches; NaN where no plaster touches it.
    plaster_mm: (m,) plaster behind it, volume over area, mm in the mold; least of its patches. least: casts
    that the worst hundredth of the surface takes, at `least_at` with `least_mm` of plaster; middle: half of
    it. whole: casts that the whole mold's water would make if it evened out.
    casts_between: whole casts between dryings at the worst place, from the wettest and the driest start.
    water_ml: into the plaster per cast; holds_ml: what all plaster within reach takes from the middle start.
    saturation: water in full pores, on dry weight.
    """

    casts_until_wet: Floats = field(repr=False)
    plaster_mm: Floats = field(repr=False)
    least: float
    least_at: Point
    least_mm: float
    middle: float
    whole: float
    casts_between: tuple[int, int]
    water_ml: float
    holds_ml: float
    saturation: float
    findings: tuple[Finding, ...] = ()


def absorption(
    inside: Inside, stand: Stand, pieces: Pieces, job: PlasterJob, *, watch: Watch = SILENT
) -> Absorption:
    """The map of what each place of the mold takes."""
    size = max(LEAST_PATCH_MM, float(np.sqrt(stand.mesh.area / MOST_PATCHES)))
    spread = max(SPREAD_MM, SPREAD_PATCHES * size)
    pitch = float(np.cbrt(sum(piece.volume_mm3 for piece in pieces.pieces) / POINTS))
    touching = [piece for piece in pieces.pieces if (piece.form_face >= 0).any()]
    patches, depths = [], []
    for k, piece in enumerate(touching):
        watch.step(k, len(touching) + 1)
        own = patches_of(piece.mesh, piece.form_face >= 0, size=size)
        points, volume = filling(piece.mesh, pitch=pitch)
        patches.append(own)
        depths.append(shared_depth(own, points, volume, reach=WATER_REACH.value, spread=spread))
    watch.step(len(touching), len(touching) + 1)
    every = joined(patches)
    own_depth, plaster = (np.concatenate(one) * inside.growth for one in zip(*depths, strict=True))
    clay = _clay(inside, stand, every, spread)

    low, high, top = START_WATER.low / 100, START_WATER.high / 100, WORKABLE_WATER.value / 100
    density = _dry_g_ml(job)
    share = water_given_up(inside.job.slip_g_ml, inside.job.water_percent / 100, inside.job.solids_g_ml)
    takes = density * (top - (low + high) / 2) / share
    casts = takes * plaster / clay
    order = np.argsort(casts, kind="stable")
    reached = np.cumsum(every.area[order]) / every.area.sum()
    worst, half = (int(order[np.searchsorted(reached, part)]) for part in (LOW_SHARE, 0.5))
    water = inside.slip_kept_ml * share / (1 + share)
    holds = density * (top - (low + high) / 2) * float(own_depth @ every.area) * inside.growth**2 / 1000
    where = _point(every.middle[worst])
    span = [int(casts[worst] * (top - start) / (top - (low + high) / 2)) for start in (high, low)]
    return Absorption(
        casts_until_wet=_of_faces(stand, touching, patches, casts),
        plaster_mm=_of_faces(stand, touching, patches, plaster),
        least=float(casts[worst]),
        least_at=where,
        least_mm=float(plaster[worst]),
        middle=float(casts[half]),
        whole=holds / water,
        casts_between=(span[0], span[1]),
        water_ml=water,
        holds_ml=holds,
        saturation=_saturation(job),
        findings=_findings(float(casts[worst]), float(casts[half]), float(plaster[worst]), where),
    )


def _clay(inside: Inside, stand: Stand, patches: Patches, spread: float) -> Floats:
    """(p,) clay that grows on each patch, volume over area, mm: the wall, less where the form is thinner."""
    form = stand.mesh
    points, volume = filling(form, pitch=float(np.cbrt(form.volume / POINTS)))
    reach = float(form.extents.max())
    clay = shared_depth(patches, points, volume, reach=reach, spread=spread)[1] * inside.growth
    most = np.inf if inside.mode == "solid" else inside.wall_mm
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


def _findings(least: float, middle: float, plaster: float, where: Point) -> tuple[Finding, ...]:
    if least < 1:
        says = (
            f"At {at(where)} the plaster behind the form, {plaster:.0f} mm of it, is wetter than it casts well "
            f"before one cast is done ({least:.1f})."
        )
        remedy = (
            f"Give it {plaster / least:.0f} mm of plaster there, or dry the mold after every cast and expect a thinner "
            "wall that lets go later."
        )
        return (Finding("warn", "plaster-soaked", says, where=(where,), remedy=remedy),)
    if least < UNEVEN_SHARE * middle:
        says = (
            f"At {at(where)} the plaster, {plaster:.0f} mm of it, is wet after {least:.1f} casts, where half of the mold "
            f"takes {middle:.1f} or more."
        )
        remedy = "Walls come out thinner there as the mold gets wet; thicker plaster there evens them out."
        return (Finding("note", "plaster-uneven", says, where=(where,), remedy=remedy),)
    return ()


def _point(place: Floats) -> Point:
    x, y, z = (float(value) for value in place)
    return x, y, z
