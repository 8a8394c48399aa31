"""Stage 8: the pours in their order: pose, plaster and water, pressure and uplift, timing."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from .cottle import Block
from .errors import JobError
from .findings import Finding
from .formulas import gypsum, hydrostatics
from .job import PlasterJob
from .materials import DEMOLD_DELICATE, DEMOLD_PLAIN, FREEBOARD_MM, HEAVY_LIFT_KG, MIX, SET, SOAK
from .pieces import Piece, Pieces
from .stand import Stand
from .working import SILENT, Watch


@dataclass(frozen=True)
class Mix:
    """One weighed mix. solid_ml: what must be filled; slurry_ml: with what stays in the bucket;
    plaster_g and water_g: to the scale's step; consistency: parts of water to 100 of plaster as
    weighed; dry_g: the piece when it is dry.
    """

    solid_ml: float
    slurry_ml: float
    plaster_g: float
    water_g: float
    consistency: float
    dry_g: float


@dataclass(frozen=True)
class Pour:
    """One pour: which piece, in which pose, what to weigh, what to expect.

    fill_mm: height of the plaster in this pose. pressure_kpa: at its foot. uplift_n: on the master,
    wetted all round and taken as weightless, so at most; 0 where the poured piece does not surround it.
    """

    piece: str
    name: str
    pose: str
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

    Plaster is rounded up to the scale's step and water then to the nearest step, so that neither
    falls short and the consistency stays as asked within half a step of water. Raises JobError for a
    volume that is not positive.
    """
    if not volume_ml > 0:
        raise JobError(
            f"A pour of {volume_ml:g} mL has nothing to fill.",
            code="pour-volume",
            remedy="Give a volume above 0.",
        )
    consistency = job.consistency / 100
    slurry = volume_ml * (1 + job.allowance_percent / 100)
    raw = 1000 * slurry / 1000 / gypsum.slurry_litres_per_kg(consistency)
    plaster = ceil(round(raw / job.scale_step_g, 9)) * job.scale_step_g
    water = max(1, round(plaster * consistency / job.scale_step_g)) * job.scale_step_g
    dry = volume_ml / 1000 * gypsum.dry_density_kg_m3(consistency, purity=job.purity)
    return Mix(volume_ml, slurry, plaster, water, 100 * water / plaster, dry)


def plan_pours(
    pieces: Pieces, stand: Stand, block: Block, job: PlasterJob, *, watch: Watch = SILENT
) -> PourPlan:
    """A pour for each piece: halves first, each seam face down; the foot piece on the assembled halves.

    A one-piece mold is poured with the master's spare down on the board and plaster over its foot.
    """
    density = gypsum.wet_density_kg_m3(job.consistency / 100)
    form_ml = abs(stand.mesh.volume) / 1000
    pours = []
    for k, piece in enumerate(_pouring_order(pieces.pieces)):
        watch.step(k, len(pieces.pieces))
        made = mix(piece.volume_mm3 / 1000, job)
        fill = float(np.ptp(piece.mesh.vertices @ np.array(piece.pull)))
        alone = len(pieces.pieces) == 1
        uplift = hydrostatics.uplift_n(density, form_ml if alone else form_ml / 2, 0.0)
        pours.append(
            Pour(
                piece=piece.letter,
                name=piece.name,
                pose=_pose(piece, k, alone, block),
                solid_ml=made.solid_ml,
                slurry_ml=made.slurry_ml,
                plaster_g=made.plaster_g,
                water_g=made.water_g,
                consistency=made.consistency,
                wet_g=made.solid_ml / 1000 * density,
                dry_g=made.dry_g,
                fill_mm=fill,
                pressure_kpa=hydrostatics.pressure_pa(density, fill) / 1000,
                uplift_n=uplift if k == 0 else 0.0,
                steps=_steps(job),
            )
        )
    return PourPlan(
        tuple(pours),
        sum(pour.plaster_g for pour in pours),
        sum(pour.water_g for pour in pours),
        job.consistency,
        _findings(tuple(pours)),
    )


def _pouring_order(pieces: tuple[Piece, ...]) -> list[Piece]:
    """Halves in the order of their letters, then what leaves downward, then what leaves upward."""

    def rank(piece: Piece) -> tuple[int, str]:
        upright = piece.pull[2]
        if abs(upright) < 0.5:
            return 0, piece.letter
        return (1 if upright < 0 else 2), piece.letter

    return sorted(pieces, key=rank)


def _pose(piece: Piece, number: int, alone: bool, block: Block) -> str:
    """How master and cottle stand for this pour, in a maker's words."""
    if alone:
        return "upside down: the master's spare sealed to the board, its foot up, plaster over the foot"
    if abs(piece.pull[2]) < 0.5:
        if number == 0:
            return "on its side: the seam face on the board, the master bedded to the seam line"
        return "on its side: turned over, the first half below, its seam face soaped, the master left in it"
    if piece.pull[2] < 0:
        if number == 0:
            return "upside down: the seam face on the board, the master bedded to the seam line, its foot up"
        return "upside down: the soaped halves banded together, the master in them, its foot up"
    return "right way up: on the soaped pieces banded together, plaster level with the spare's end"


def _steps(job: PlasterJob) -> tuple[str, ...]:
    warm = "warmer water sets it sooner, colder later"
    return (
        f"Water at {job.water_temperature_c:g} °C into the bucket first; strew the plaster in. Soak {SOAK}.",
        f"Mix {MIX} without beating in air; pour while it is like cream and still glossy.",
        f"It sets in about {SET} ({warm}). Cottle off when it is warm and firm.",
        f"Demold a plain, strong form from {DEMOLD_PLAIN}; a delicate one after {DEMOLD_DELICATE}.",
        f"Cottle at least {FREEBOARD_MM} above the plaster.",
    )


def _findings(pours: tuple[Pour, ...]) -> tuple[Finding, ...]:
    heaviest = max(pours, key=lambda pour: pour.wet_g)
    if heaviest.wet_g / 1000 <= HEAVY_LIFT_KG.value:
        return ()
    return (
        Finding(
            "warn",
            "heavy-piece",
            f"Piece {heaviest.piece} ({heaviest.name}) weighs {heaviest.wet_g / 1000:.1f} kg wet; one lifts "
            f"about {HEAVY_LIFT_KG.value:g} kg from the floor ({HEAVY_LIFT_KG.source}).",
            remedy="Lift it in twos, or slide it; follow your local rules.",
        ),
    )
