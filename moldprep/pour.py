"""Stage 8: the pours in their order: pose, plaster and water, pressure and uplift, timing."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, isfinite

import numpy as np

from .cottle import Block
from .errors import JobError, Point
from .findings import Finding
from .formulas import gypsum, hydrostatics
from .geometry.mesh import Bools, Floats, Mesh
from .job import PlasterJob
from .materials import (
    DEMOLD_DELICATE,
    DEMOLD_PLAIN,
    FREEBOARD_MM,
    HEAVY_LIFT_KG,
    MIX,
    PLASTERS,
    PRINT_SOFTENS_C,
    SET,
    SOAK,
    Plaster,
    plaster_named,
)
from .pieces import Piece, Pieces
from .stand import Stand
from .working import SILENT, Watch

COARSE_POINTS = 2.0
"""Parts of water by which a weighed mix may miss what was asked before the scale is too coarse: 72 has
1.7 % more pores than 70 (by `formulas.gypsum`)."""
FLOATS_N = 0.5
"""Newton of uplift from which the card says to fix the master: 50 g of print hold less by themselves."""
SIDEWAYS = 0.7071
"""A pull whose upward part is less leads sideways: 45 degrees."""
SAME_WAY = 0.999
"""Pulls whose cosine is above this are the same; below its negative, opposite."""


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
    """The pours in pouring order; one consistency for the whole mold."""

    pours: tuple[Pour, ...]
    plaster_total_g: float
    water_total_g: float
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
    pieces: Pieces, stand: Stand, block: Block, job: PlasterJob, *, watch: Watch = SILENT
) -> PourPlan:
    """A pour for each piece, each seam face down: halves first, those of one side before the other's,
    the foot piece on the assembled halves, a top piece last.

    A piece stands on its seam face, so its pull points up. A one-piece mold is poured with the master's
    spare down on the board and plaster over its closed end, then turned over. The pours share the job's consistency; each `Pour` says what rounding to the scale made of it.
    """
    alone = len(pieces.pieces) == 1
    ordered = _pouring_order(pieces.pieces)
    pours = []
    for k, piece in enumerate(ordered):
        watch.step(k, len(ordered))
        made = mix(piece.volume_mm3 / 1000, job)
        up = np.array(piece.pull)
        heights = piece.mesh.vertices @ up
        fill, density = float(np.ptp(heights)), 1000 * made.wet_g / made.solid_ml
        met = pieces.face_piece == pieces.pieces.index(piece)
        met |= (pieces.face_piece < 0) & (stand.mesh.normals @ up > 0)
        uplift, sealed = _lift(stand.mesh, met, up, float(heights.min()), fill, density)
        pours.append(
            Pour(
                piece=piece.letter,
                name=piece.name,
                pose=_pose(piece, ordered[:k], stand, alone=alone),
                up=piece.pull,
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
                steps=_steps(job, uplift),
            )
        )
    return PourPlan(
        tuple(pours),
        sum(pour.plaster_g for pour in pours),
        sum(pour.water_g for pour in pours),
        job.consistency,
        (*_plaster_findings(job), *_scale_findings(tuple(pours), job), *_heavy(tuple(pours))),
    )


def _plaster(job: PlasterJob) -> Plaster:
    return plaster_named(job.plaster) or PLASTERS[0]


def _up_to_step(grams: float, step: float) -> float:
    """Rounded up to a multiple of the step; a billionth of a step over it is rounding noise."""
    return max(1, ceil(round(grams / step, 9))) * step


def _lift(
    form: Mesh, met: Bools, up: Floats, base: float, fill: float, density: float
) -> tuple[float, float]:
    """Uplift with slurry under the master down to the level `base`, never below 0, and without.

    The faces that the piece meets enclose with that level the volume that slurry surrounds; their
    upward areas add up to what stands on it. The opening counts where it looks up: there the master
    reaches through the surface of the slurry, whose pressure is zero.
    """
    upward = form.areas[met] * (form.normals[met] @ up)
    displaced_ml = float((upward * (form.centroids[met] @ up - base)).sum()) / 1000
    leaking = hydrostatics.uplift_n(density, displaced_ml, 0.0)
    standing = float(upward.sum())
    sealed = hydrostatics.sealed_uplift_n(density, displaced_ml, 0.0, base_mm2=standing, head_mm=fill)
    return max(0.0, leaking), sealed


# --- order and pose -----------------------------------------------------------------------------


def _pouring_order(pieces: tuple[Piece, ...]) -> list[Piece]:
    """What leaves sideways, one side after the other, then what leaves downward, then upward."""
    sides: list[Point] = []
    for piece in pieces:
        if not any(_along(piece.pull, side) > SAME_WAY for side in sides):
            sides.append(piece.pull)

    def rank(piece: Piece) -> tuple[int, int, str]:
        if not _sideways(piece):
            return (1 if piece.pull[2] < 0 else 2), 0, piece.letter
        side = next(k for k, pull in enumerate(sides) if _along(piece.pull, pull) > SAME_WAY)
        return 0, side, piece.letter

    return sorted(pieces, key=rank)


def _sideways(piece: Piece) -> bool:
    return abs(piece.pull[2]) < SIDEWAYS


def _along(one: Point, other: Point) -> float:
    """Cosine between two unit directions."""
    return float(np.dot(one, other))


def _pose(piece: Piece, before: list[Piece], stand: Stand, *, alone: bool) -> str:
    """How master and cottle stand for this pour, in a maker's words."""
    end = "spare" if stand.spare_mm > 0 else "opening"
    if alone:
        return f"upside down: the master's {end} sealed to the board, plaster over its closed end; turn over when set"
    if not before:
        side = "on its side" if _sideways(piece) else "upside down"
        return f"{side}: the seam face on the board, the master bedded to the seam line"
    if not _sideways(piece):
        banded = f"the soaped {_letters(before)}{' banded together' if len(before) > 1 else ''}"
        if piece.pull[2] < 0:
            return f"upside down: on {banded}, the master left in, plaster over its closed end"
        return f"right way up: on {banded}, the master left in, plaster level with its {end}"
    opposite = [other for other in before if _along(other.pull, piece.pull) < -SAME_WAY]
    beside = [other for other in before if other not in opposite]
    words = [f"on the soaped seam face of {_letters(opposite)}"] if opposite else ["seam face on the board"]
    words += [f"against {_letters(beside)}, soaped"] if beside else []
    return f"on its side{', turned over' if opposite else ''}: {', '.join(words)}, the master left in"


def _letters(pieces: list[Piece]) -> str:
    """A, B and C."""
    letters = sorted(piece.letter for piece in pieces)
    return " and ".join([", ".join(letters[:-1]), letters[-1]] if len(letters) > 1 else letters)


def _steps(job: PlasterJob, uplift: float) -> tuple[str, ...]:
    """The bench's steps in their order, each with its window."""
    hottest = job.water_temperature_c + gypsum.adiabatic_rise_k(job.consistency / 100, purity=job.purity)
    lifted_kg = ceil(10 * uplift / hydrostatics.GRAVITY_M_S2) / 10
    held = f" Fix the master down: it floats with up to {lifted_kg:.1f} kg." if uplift > FLOATS_N else ""
    return (
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
