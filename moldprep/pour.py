"""Stage 12: the pours in their order: pose, plaster and water, pressure and uplift, timing."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, isfinite

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .errors import JobError, Point
from .findings import Finding
from .formulas import gypsum, hydrostatics
from .geometry.columns import rotation_for
from .geometry.mesh import Floats, Mesh
from .geometry.outlines import section
from .job import PlasterJob
from .materials import (
    DEMOLD_DELICATE,
    DEMOLD_PLAIN,
    FREEBOARD_MM,
    HEAVY_LIFT_KG,
    MIX,
    PLASTERS,
    PRINT_SOFTENS_C,
    READY_WATER,
    SET,
    SLIP_DENSITY,
    SOAK,
    Plaster,
    plaster_named,
)
from .pieces import Piece, Pieces
from .poses import Pose, joint_planes
from .stand import Stand
from .working import SILENT, Watch

COARSE_POINTS = 2.0
"""Parts of water by which a weighed mix may miss what was asked before the scale is too coarse: 72 has
1.7 % more pores than 70 (by `formulas.gypsum`)."""
FLOATS_N = 0.5
"""Newton of uplift from which the card says to fix the master: 50 g of print hold less by themselves."""


JUST_ABOVE_MM = 1e-6
"""A section this far above a level face cuts what stands on it."""
FAR_MM = 1e4
"""Beyond any mold."""


@dataclass(frozen=True)
class Mix:
    """One weighed mix. solid_ml: what must be filled; slurry_ml: with what stays in the bucket;
    plaster_g and water_g: to the scale's step; consistency: parts of water to 100 of plaster as
    weighed; wet_g, dry_g: what was poured into the mold, just set and dry.
    """

    solid_ml: float
    slurry_ml: float
    plaster_g: float
    water_g: float
    consistency: float
    wet_g: float
    dry_g: float


@dataclass(frozen=True)
class Pour:
    """One pour: which piece, in which pose, what to weigh, what to expect.

    up: the direction of the casting pose that points up in this pour. fill_mm: height of the plaster
    in this pose. pressure_kpa: at its foot. uplift_n: upward force on the master if slurry creeps
    under it as far as the board or the seam, the master taken as weightless, so at most; 0 where
    nothing lifts. sealed_n: the same without a leak; negative when slurry holds it down.
    """

    piece: str
    name: str
    pose: str
    up: Point
    solid_ml: float
    slurry_ml: float
    plaster_g: float
    water_g: float
    consistency: float
    wet_g: float
    dry_g: float
    fill_mm: float
    pressure_kpa: float
    uplift_n: float
    sealed_n: float
    steps: tuple[str, ...]


@dataclass(frozen=True)
class PourPlan:
    """The pours in pouring order; one consistency for the whole mold.

    wet_total_g, dry_total_g: the whole mold just set, and dry. heaviest_lift_g, heaviest_lift: the most
    that has to be lifted or turned over, and what that is.
    """

    pours: tuple[Pour, ...]
    plaster_total_g: float
    water_total_g: float
    wet_total_g: float
    dry_total_g: float
    heaviest_lift_g: float
    heaviest_lift: str
    consistency: float
    findings: tuple[Finding, ...] = ()


def mix(volume_ml: float, job: PlasterJob) -> Mix:
    """Plaster and water for a volume of set plaster, mL.

    slurry = volume (1 + allowance); plaster = slurry / (1/rho_hemihydrate + c/rho_water), water = c plaster,
    both rounded up to the scale's step; where the plaster's rounding asks for another step of water, it
    gets it. So a pour never falls short, and its consistency as weighed is off by less than a step of
    water, mostly by half. Densities are those of the plaster that the job names, of pottery plaster when
    its name is not known.

    Raises JobError for a volume that is not positive.
    """
    if not (volume_ml > 0 and isfinite(volume_ml)):
        raise JobError(
            f"A pour of {volume_ml:g} mL has nothing to fill.",
            code="pour-volume",
            remedy="Give a volume above 0.",
        )
    consistency, density = job.consistency / 100, _plaster(job).hemihydrate_density_kg_m3
    slurry = volume_ml * (1 + job.allowance_percent / 100)
    need = slurry / gypsum.slurry_litres_per_kg(consistency, hemihydrate_density=density)
    plaster = _up_to_step(need, job.scale_step_g)
    nearest = round(plaster * consistency / job.scale_step_g) * job.scale_step_g
    water = max(nearest, _up_to_step(need * consistency, job.scale_step_g))
    wet = gypsum.wet_density_kg_m3(consistency, hemihydrate_density=density)
    dry = gypsum.dry_density_kg_m3(consistency, purity=job.purity, hemihydrate_density=density)
    litres = volume_ml / 1000
    return Mix(volume_ml, slurry, plaster, water, 100 * water / plaster, litres * wet, litres * dry)


def plan_pours(
    poses: tuple[Pose, ...], pieces: Pieces, stand: Stand, job: PlasterJob, *, watch: Watch = SILENT
) -> PourPlan:
    """A pour for each piece, in the order and pose given.

    The pours share the job's consistency; each `Pour` says what rounding to the scale made of it.
    """
    by_letter = {piece.letter: piece for piece in pieces.pieces}
    pours = []
    for k, pose in enumerate(poses):
        watch.step(k, len(poses))
        piece = by_letter[pose.letter]
        made = mix(piece.poured_mm3 / 1000, job)
        fill, density = pose.open_mm - pose.base_mm, 1000 * made.wet_g / made.solid_ml
        uplift, sealed = _lift(stand.mesh, piece, pieces, pose, density)
        pours.append(
            Pour(
                piece=piece.letter,
                name=piece.name,
                pose=pose.says,
                up=pose.up,
                solid_ml=made.solid_ml,
                slurry_ml=made.slurry_ml,
                plaster_g=made.plaster_g,
                water_g=made.water_g,
                consistency=made.consistency,
                wet_g=made.wet_g,
                dry_g=made.dry_g,
                fill_mm=fill,
                pressure_kpa=hydrostatics.pressure_pa(density, fill) / 1000,
                uplift_n=uplift,
                sealed_n=sealed,
                steps=_steps(job, uplift, pose),
            )
        )
    return PourPlan(
        tuple(pours),
        sum(pour.plaster_g for pour in pours),
        sum(pour.water_g for pour in pours),
        *_weights(tuple(pours), stand),
        job.consistency,
        (*_plaster_findings(job), *_scale_findings(tuple(pours), job), *_heavy(tuple(pours))),
    )


def _weights(pours: tuple[Pour, ...], stand: Stand) -> tuple[float, float, float, str]:
    """Weights of the whole mold, wet and dry, and the heaviest lift.

    The mold is turned over twice: set and wet with the master in it, and later workably damp and full of
    slip. The master's own weight is left out: a print is light.
    """
    wet, dry = sum(pour.wet_g for pour in pours), sum(pour.dry_g for pour in pours)
    full = dry * (1 + READY_WATER.value / 100) + stand.mesh.volume / 1000 * SLIP_DENSITY.value
    if full > wet:
        return wet, dry, full, "the mold full of slip, being turned over"
    return wet, dry, wet, "the whole mold just set, being turned over"


def _plaster(job: PlasterJob) -> Plaster:
    return plaster_named(job.plaster) or PLASTERS[0]


def _up_to_step(grams: float, step: float) -> float:
    """Rounded up to a multiple of the step; a billionth of a step over it is rounding noise."""
    return max(1, ceil(round(grams / step, 9))) * step


def _lift(form: Mesh, piece: Piece, pieces: Pieces, pose: Pose, density: float) -> tuple[float, float]:
    """Uplift with slurry under the master down to the level on which the pour stands, and without.

    What the slurry surrounds is the form's volume between the piece's seams; without a leak there is
    no pressure under the form's section at that level, on the piece's side of its seams.
    """
    displaced_ml = piece.displaced_mm3 / 1000
    rotation = rotation_for(pose.up)
    standing = section(form, pose.base_mm + JUST_ABOVE_MM, rotation=rotation)
    for normal, offset in joint_planes(piece, pieces):
        standing = _in_front(standing, rotation @ np.array(normal), offset, pose.base_mm)
    head = pose.open_mm - pose.base_mm
    sealed = hydrostatics.sealed_uplift_n(density, displaced_ml, 0.0, base_mm2=standing.area, head_mm=head)
    return hydrostatics.uplift_n(density, displaced_ml, 0.0), sealed


def _in_front(area: BaseGeometry, normal: Floats, offset: float, level: float) -> BaseGeometry:
    """The part of a level figure that lies in front of a plane, whose normal is given in its axes."""
    flat = normal[:2]
    if np.linalg.norm(flat) < 1e-6:
        return area
    start = (offset - normal[2] * level) / float(flat @ flat) * flat
    ahead = FAR_MM * flat / np.linalg.norm(flat)
    along = np.array([-ahead[1], ahead[0]])
    corners = [start - along, start + along, start + along + ahead, start - along + ahead]
    return shapely.intersection(area, shapely.Polygon(corners))


# --- steps -----------------------------------------------------------------------------------------


def _steps(job: PlasterJob, uplift: float, pose: Pose) -> tuple[str, ...]:
    """The bench's steps in their order, each with its window."""
    hottest = job.water_temperature_c + gypsum.adiabatic_rise_k(job.consistency / 100, purity=job.purity)
    lifted_kg = ceil(10 * uplift / hydrostatics.GRAVITY_M_S2) / 10
    held = f" Fix the master down: it floats with up to {lifted_kg:.1f} kg." if uplift > FLOATS_N else ""
    return (
        f"Soap: {pose.separator}.",
        f"Cottle up, {FREEBOARD_MM} above the plaster, and seal it.{held}",
        f"Water at {job.water_temperature_c:g} °C into the bucket first; strew the plaster in. Soak {SOAK}.",
        f"Mix {MIX} without beating in air; pour while it is like cream and glossy, all buckets of this piece.",
        f"It sets in about {SET} (warmer water sooner, colder later). Cottle off when it is warm and firm.",
        f"Demold a plain, strong form from {DEMOLD_PLAIN}; a delicate one after {DEMOLD_DELICATE}. A thick wall "
        f"may reach {hottest:.0f} °C, and {PRINT_SOFTENS_C.name} at {PRINT_SOFTENS_C}.",
    )


# --- findings -----------------------------------------------------------------------------------


def _plaster_findings(job: PlasterJob) -> list[Finding]:
    """A plaster that is not known, and a consistency that its kind is not mixed at."""
    plaster, found = _plaster(job), []
    if plaster_named(job.plaster) is None:
        known = ", ".join(known.name for known in PLASTERS)
        says = f'The plaster "{job.plaster}" is not known here: it is reckoned as {plaster.name}.'
        remedy = f"Weigh a litre of its slurry against the card, or name one of: {known}."
        found.append(Finding("note", "plaster-unknown", says, remedy=remedy))
    usual = plaster.consistency
    if not usual.low <= job.consistency <= usual.high:
        says = f"A consistency of {job.consistency:g} is unusual for {plaster.name} ({usual})."
        remedy = "Ten parts of plaster to seven of water is 70; see the plaster's data sheet."
        found.append(Finding("warn", "consistency-unusual", says, remedy=remedy))
    return found


def _scale_findings(pours: tuple[Pour, ...], job: PlasterJob) -> list[Finding]:
    """Small pours on a coarse scale come out thinner or thicker than the others, and absorb differently."""
    worst = max(pours, key=lambda pour: abs(pour.consistency - job.consistency))
    if abs(worst.consistency - job.consistency) <= COARSE_POINTS:
        return []
    says = (
        f"On a scale of {job.scale_step_g:g} g piece {worst.piece} is mixed at {worst.consistency:.1f}, where "
        f"{job.consistency:g} was asked."
    )
    return [Finding("warn", "scale-coarse", says, remedy="Weigh it on a finer scale and say so in the job.")]


def _heavy(pours: tuple[Pour, ...]) -> list[Finding]:
    heaviest = max(pours, key=lambda pour: pour.wet_g)
    if heaviest.wet_g / 1000 <= HEAVY_LIFT_KG.value:
        return []
    return [
        Finding(
            "warn",
            "heavy-piece",
            f"Piece {heaviest.piece} ({heaviest.name}) weighs {heaviest.wet_g / 1000:.1f} kg wet; one lifts "
            f"about {HEAVY_LIFT_KG.value:g} kg from the floor ({HEAVY_LIFT_KG.source}).",
            remedy="Lift it in twos, or slide it; follow your local rules.",
        )
    ]
