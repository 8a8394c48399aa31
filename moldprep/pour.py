"""Stage 12: the pours in their order: pose, plaster and water, pressure and uplift, timing."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .errors import Point
from .findings import Finding
from .formulas import hydrostatics
from .formulas.timing import Span
from .geometry.columns import rotation_for
from .geometry.mesh import Floats, Mesh
from .geometry.outlines import section
from .job import PlasterJob
from .materials import (
    ALCOHOL_FLASH_C,
    FREEBOARD_MM,
    HEAVY_LIFT_KG,
    PRINT_SOFTENS_C,
    READY_WATER,
    SLIP_DENSITY,
)
from .mixing import (
    SHORT_PERCENT,
    Mix,
    Timing,
    gloss_findings,
    mix,
    mix_findings,
    ml_of_plaster,
    slab_mm,
    span_words,
    timing_of,
    warmest_c,
)
from .pieces import Piece, Pieces
from .poses import Pose, joint_planes
from .stand import Stand
from .working import SILENT, Watch

__all__ = ["Mix", "Pour", "PourPlan", "hold_kg", "mix", "plan_pours"]

COARSE_POINTS = 2.0
"""Parts of water by which a weighed mix may miss what was asked before the scale is too coarse: 72 has
1.7 % more pores than 70 (by `formulas.gypsum`)."""
FLOATS_N = 0.5
"""Newton of uplift from which the card says to fix the master: 50 g of print hold less by themselves."""
SLAB_G = 100.0
"""Of plaster, that a card tells the slab of."""
JUST_ABOVE_MM = 1e-6
"""A section this far above a level face cuts what stands on it."""
FAR_MM = 1e4
"""Beyond any mold."""


@dataclass(frozen=True)
class Pour:
    """One pour: which piece, in which pose, what to weigh, what to expect.

    up: the direction of the casting pose that points up in this pour. fill_mm: height of the plaster
    in this pose. pressure_kpa: at its foot. uplift_n: upward force on the master if slurry creeps
    under it as far as the board or the seam, the master taken as weightless, so at most; 0 where
    nothing lifts. sealed_n: the same without a leak; negative when slurry holds it down. hold_kg,
    hold_sealed_kg: weight to put on top for each, to 0.1 kg; go by the first, seals leak. batches of
    batch_plaster_g and batch_water_g are the pour's plaster_g and water_g. slab_100g_mm: thickness, over
    the open side, of what 100 g of plaster with their water make; slab_error_mm: of an error of 5 % in
    the volume. warmest_c: how warm the piece becomes when it sets, Celsius, least and most.
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
    hold_kg: float
    hold_sealed_kg: float
    batches: int
    batch_plaster_g: float
    batch_water_g: float
    slab_100g_mm: float
    slab_error_mm: float
    warmest_c: Span
    steps: tuple[str, ...]


@dataclass(frozen=True)
class PourPlan:
    """The pours in pouring order; one consistency for the whole mold.

    wet_total_g, dry_total_g, full_g: the whole mold just set, dry, and workably damp and full of slip.
    heaviest_lift_g, heaviest_lift: the most that has to be lifted or turned over, and what that is.
    timing: the windows of each pour.
    """

    pours: tuple[Pour, ...]
    plaster_total_g: float
    water_total_g: float
    wet_total_g: float
    dry_total_g: float
    full_g: float
    heaviest_lift_g: float
    heaviest_lift: str
    consistency: float
    timing: Timing
    findings: tuple[Finding, ...] = ()


def plan_pours(
    poses: tuple[Pose, ...], pieces: Pieces, stand: Stand, job: PlasterJob, *, watch: Watch = SILENT
) -> PourPlan:
    """A pour for each piece, in the order and pose given.

    The pours share the job's consistency; each `Pour` says what rounding to the scale made of it.
    """
    by_letter = {piece.letter: piece for piece in pieces.pieces}
    timing = timing_of(job)
    pours = []
    for k, pose in enumerate(poses):
        watch.step(k, len(poses))
        piece = by_letter[pose.letter]
        made = mix(piece.poured_mm3 / 1000, job)
        fill, density = pose.open_mm - pose.base_mm, 1000 * made.wet_g / made.solid_ml
        uplift, sealed = _lift(stand.mesh, piece, pieces, pose, density)
        area = _open_mm2(piece, pose)
        warmest = warmest_c(piece.mesh.volume, float(piece.mesh.areas.sum()), job)
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
                hold_kg=hold_kg(uplift),
                hold_sealed_kg=hold_kg(sealed),
                batches=made.batches,
                batch_plaster_g=made.batch_plaster_g,
                batch_water_g=made.batch_water_g,
                slab_100g_mm=slab_mm(ml_of_plaster(SLAB_G, job), area),
                slab_error_mm=slab_mm(made.solid_ml * SHORT_PERCENT / 100, area),
                warmest_c=warmest,
                steps=_steps(job, made, timing, pose, (uplift, sealed), warmest),
            )
        )
    return PourPlan(
        tuple(pours),
        sum(pour.plaster_g for pour in pours),
        sum(pour.water_g for pour in pours),
        *_weights(tuple(pours), stand),
        job.consistency,
        timing,
        (
            *mix_findings(job),
            *_late(tuple(pours), job),
            *_scale_findings(tuple(pours), job),
            *_heavy(tuple(pours)),
        ),
    )


def hold_kg(force_n: float) -> float:
    """Weight on top that holds against a force upward [kg], to the next 0.1 kg; 0 where nothing lifts.

    >>> hold_kg(6.306)
    0.7
    """
    return ceil(max(10 * force_n / hydrostatics.GRAVITY_M_S2, 0.0)) / 10


def _weights(pours: tuple[Pour, ...], stand: Stand) -> tuple[float, float, float, float, str]:
    """Weights of the whole mold, wet, dry and full of slip, and the heaviest lift.

    The mold is turned over twice: set and wet with the master in it, and later workably damp and full of
    slip. The master's own weight is left out: a print is light.
    """
    wet, dry = sum(pour.wet_g for pour in pours), sum(pour.dry_g for pour in pours)
    full = dry * (1 + READY_WATER.value / 100) + stand.mesh.volume / 1000 * SLIP_DENSITY.value
    if full > wet:
        return wet, dry, full, full, "the mold full of slip, being turned over"
    return wet, dry, full, wet, "the whole mold just set, being turned over"


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


def _steps(
    job: PlasterJob,
    made: Mix,
    timing: Timing,
    pose: Pose,
    lift_n: tuple[float, float],
    warmest: Span,
) -> tuple[str, ...]:
    """The bench's steps in their order, each with its window."""
    buckets = ""
    water = f"Water at {job.water_temperature_c:g} °C into the bucket first; strew the plaster in."
    if made.batches > 1:
        water = (
            f"{made.batches} equal batches, each {made.batch_plaster_g:g} g of plaster into {made.batch_water_g:g} g of "
            f"water at {job.water_temperature_c:g} °C; weigh them all before the first is wet."
        )
        buckets = f", all {made.batches} batches before the first has lost its gloss"
    return (
        f"Soap: {pose.separator}.",
        f"Cottle up, {FREEBOARD_MM} above the plaster; seal its foot, its seams and the master's foot with clay."
        f"{_held(*lift_n)}",
        f"{water} Soak {span_words(timing.soak)} min.",
        f"Mix {span_words(timing.mix)} min without beating in air; pour while creamy and glossy, up to "
        f"{span_words(timing.gloss)} min from strewing{buckets}.",
        "Mist the master first, bubbles later: water, or alcohol far from any flame (flash point "
        f"{ALCOHOL_FLASH_C.value:g} °C).",
        f"It sets in about {span_words(timing.set)} min. Cottle off when it is warm and firm.",
        f"Demold a plain, strong form from {span_words(timing.demold_plain)} min after the pour, a delicate one when the "
        f"heat falls, at {span_words(timing.demold_delicate)}; the latest {span_words(timing.demold_latest)}. It warms to "
        f"{span_words(warmest)} °C, at most {timing.limit_c:.0f} °C; {PRINT_SOFTENS_C.name} at {PRINT_SOFTENS_C}.",
    )


def _held(uplift: float, sealed: float) -> str:
    """How the master is kept down, "" where it does not float."""
    if uplift <= FLOATS_N:
        return ""
    best = f"{hold_kg(sealed):.1f} kg" if sealed > 0 else "not at all"
    return f" Fix the master down: it floats with up to {hold_kg(uplift):.1f} kg; while its seal is tight, {best}."


def _open_mm2(piece: Piece, pose: Pose) -> float:
    """Area of the plaster's open side: a section where the slab of an error would end, below eased edges."""
    deep = pose.open_mm - pose.base_mm
    level = pose.open_mm - SHORT_PERCENT / 100 * deep
    return float(section(piece.mesh, level, rotation=rotation_for(pose.up)).area)


# --- findings -----------------------------------------------------------------------------------


def _late(pours: tuple[Pour, ...], job: PlasterJob) -> tuple[Finding, ...]:
    """The pour of most batches, if they come too late."""
    most = max(pours, key=lambda pour: pour.batches)
    return gloss_findings(most.batches, job, what=f"Piece {most.piece}")


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
