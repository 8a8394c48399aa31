"""The whole trade in order, on one screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import msgspec

from .boards import Boards, plan_boards
from .casting import CastPlan, plan_cast
from .cottle import Block, choose_block
from .cottling import CottleLoad, CottleNeed, cottle_load, cottle_needs
from .drain import Drain, drain_cast
from .drymold import DryPlan, plan_dry
from .ease import Ease, offer_ease
from .estimate import Estimate, estimate
from .findings import Finding, worst_first
from .formulas.walls import least_wall_mm
from .inside import Inside, cast_inside
from .job import CastJob, Job
from .master import Master
from .parting import Parting, part_mold
from .pieces import Pieces, cut_pieces
from .poses import Pose, plan_poses
from .pour import PourPlan, plan_pours
from .printing import PrintPlan, plan_print
from .pull import PullStudy, study_pulls
from .release import Release, prove_release
from .sizing import Sizing, size_master
from .stand import Stand, stand_master
from .stock import Stock, stock_list
from .target import Size, fitted, outcome
from .thin import Thin, find_thin
from .working import SILENT, Memo, Watch

LARGE_FACES = 300_000
"""A plan of a form as fine as this holds 200 to 500 MB a million faces; of a coarser one, next to nothing."""
FEW_RESULTS, MANY_RESULTS = 72, 400
"""A plan keeps some 32 results and parts of them: two plans of a large form, a dozen of another."""


class _Noticed(Protocol):
    """A stage's result."""

    @property
    def findings(self) -> tuple[Finding, ...]: ...


@dataclass(frozen=True, eq=False)
class Plan:
    """Everything about one mold, stage by stage; `findings` of all stages, the worst first."""

    name: str
    job: Job
    master: Master
    sizing: Sizing
    stand: Stand
    inside: Inside
    outcomes: tuple[Size, ...]
    study: PullStudy
    block: Block
    parting: Parting
    pieces: Pieces
    ease: Ease
    release: Release
    thin: Thin
    poses: tuple[Pose, ...]
    boards: Boards
    needs: tuple[CottleNeed, ...]
    loads: tuple[CottleLoad, ...]
    pours: PourPlan
    dry: DryPlan
    casting: CastPlan
    drain: Drain | None
    stock: Stock
    printing: PrintPlan
    costs: Estimate | None
    findings: tuple[Finding, ...]


def plan(master: Master, job: Job, *, watch: Watch = SILENT, memo: Memo | None = None) -> Plan:
    """From a master and a job to everything that the bench sheet says.

    `watch` sees each stage begin and may cancel; `memo`, owned by the caller, spares stages whose
    upstream results and own part of the job have not changed. Raises RequestError when the job
    cannot be met; a mold that would fail gets a `stop` Finding instead.
    """
    kept = memo or Memo()
    sizing, stand, inside, wall = _sized(master, job, kept, watch)
    study, block, parting = _parted(sizing, stand, wall, job, kept, watch)
    pieces, ease, release, thin = _cut(stand, study, block, parting, job, kept, watch)
    poses = plan_poses(pieces, stand, block, job.boards)
    needs = cottle_needs(poses, pieces, block)
    boards, pours = _poured(master, sizing, stand, block, pieces, poses, job, kept, watch)
    casting, drain = _drained(inside, stand, block, parting, pieces, pours, job, kept, watch)
    watch.stage("plan the print")
    printing = kept.get(
        "printing",
        (stand, parting, pieces),
        (job.plaster, job.printer),
        lambda: plan_print(stand, parting, pieces, job.plaster, job.printer, watch=watch, memo=kept),
    )
    dry = plan_dry(pieces, pours, job.plaster, job.studio, memo=kept)
    outcomes = kept.get(
        "outcome",
        (inside, sizing),
        (job.target, job.cast.wall_mm),
        lambda: outcome(inside, sizing, job.target, job.cast),
    )
    before = (master, sizing, stand, inside, study, block, parting, pieces, ease, release, thin)
    stages: tuple[_Noticed, ...] = (
        *before,
        boards,
        pours,
        dry,
        casting,
        *([drain] if drain else []),
        printing,
    )
    return Plan(
        name=master.name,
        job=job,
        master=master,
        sizing=sizing,
        stand=stand,
        inside=inside,
        outcomes=outcomes,
        study=study,
        block=block,
        parting=parting,
        pieces=pieces,
        ease=ease,
        release=release,
        thin=thin,
        poses=poses,
        boards=boards,
        needs=needs,
        loads=tuple(
            cottle_load(need, 1000 * pour.wet_g / pour.solid_ml)
            for need, pour in zip(needs, pours.pours, strict=True)
        ),
        pours=pours,
        dry=dry,
        casting=casting,
        drain=drain,
        stock=stock_list(pours, block, job.studio, reject_percent=job.estimate.reject_percent),
        printing=printing,
        costs=estimate(pours, printing, inside, job.estimate, job.studio),
        findings=worst_first(tuple(finding for stage in stages for finding in stage.findings)),
    )


def memo_for(master: Master) -> Memo:
    """A memo that holds the latest answers about a form: the one before too, when a maker goes back and forth."""
    return Memo(FEW_RESULTS if len(master.mesh.faces) > LARGE_FACES else MANY_RESULTS)


def check(
    master: Master, job: Job, *, watch: Watch = SILENT, memo: Memo | None = None
) -> tuple[Sizing, Stand, PullStudy]:
    """The first half of a plan: how the form stands and which way plaster lets go of it.

    A plan with the same `memo` takes it up from there.
    """
    kept = memo or Memo()
    sizing, stand, _, _ = _sized(master, job, kept, watch)
    return sizing, stand, _studied(sizing, stand, job, kept, watch)


def size(
    master: Master, job: Job, *, watch: Watch = SILENT
) -> tuple[Sizing, tuple[Size, ...], tuple[Finding, ...]]:
    """The sized master, what the fired piece and its further sizes become, and what was noticed.

    The second is found only where the job asks for it (a capacity, a weight, further sizes): then the form
    must stand.
    """
    target = job.target
    if target.capacity is None and target.weight_g is None and not target.sizes:
        sizing = size_master(master, job.shrinkage, target, watch=watch)
        return sizing, (), sizing.findings
    sizing, _, inside, _ = _sized(master, job, Memo(), watch)
    return sizing, outcome(inside, sizing, target, job.cast), (*sizing.findings, *inside.findings)


def _studied(sizing: Sizing, stand: Stand, job: Job, kept: Memo, watch: Watch) -> PullStudy:
    """Which way plaster lets go of form and spare, whatever floor they stand on."""
    watch.stage("study the pulls")
    return kept.get(
        "pull",
        (sizing.mesh, stand.form, stand.mesh),
        (sizing.factor, job.pull),
        lambda: study_pulls(stand, job.pull, sizing=sizing, watch=watch, memo=kept),
    )


def _parted(
    sizing: Sizing, stand: Stand, wall: float, job: Job, kept: Memo, watch: Watch
) -> tuple[PullStudy, Block, Parting]:
    """Which way plaster lets go, the block, and its seams."""
    study = _studied(sizing, stand, job, kept, watch)
    watch.stage("choose the cottle")
    block = kept.get(
        "cottle",
        (stand,),
        (job.cottle, wall),
        lambda: choose_block(stand, job.cottle, wall_mm=wall, watch=watch),
    )
    watch.stage("find the seams")
    tolerance = job.pull.tolerance_mm
    parting = kept.get(
        "parting",
        (stand, study, block),
        (job.parting, tolerance),
        lambda: part_mold(stand, study, block, job.parting, tolerance_mm=tolerance, watch=watch, memo=kept),
    )
    return study, block, parting


def _cut(
    stand: Stand, study: PullStudy, block: Block, parting: Parting, job: Job, kept: Memo, watch: Watch
) -> tuple[Pieces, Ease, Release, Thin]:
    """The pieces, an easier form where they drag, the proof that they open, and where they are thin."""
    tolerance = job.pull.tolerance_mm
    watch.stage("cut the pieces")
    pieces = kept.get(
        "pieces",
        (stand, block, parting),
        (job.pull, job.pieces),
        lambda: cut_pieces(stand, block, parting, job.pull, job.pieces, watch=watch),
    )
    watch.stage("look for an easier form")
    ease = kept.get(
        "ease",
        (stand, block, parting, pieces),
        (job.ease, job.pull),
        lambda: offer_ease(stand, block, parting, pieces, job.ease, pull=job.pull, watch=watch),
    )
    watch.stage("prove that it opens")
    release = kept.get(
        "release",
        (stand, pieces, parting),
        tolerance,
        lambda: prove_release(stand, pieces, parting, tolerance_mm=tolerance, watch=watch),
    )
    watch.stage("look for thin plaster")
    thin = kept.get(
        "thin",
        (stand, block, parting, pieces),
        None,
        lambda: find_thin(stand, block, parting, pieces, watch=watch),
    )
    return pieces, ease, release, thin


def _poured(
    master: Master,
    sizing: Sizing,
    stand: Stand,
    block: Block,
    pieces: Pieces,
    poses: tuple[Pose, ...],
    job: Job,
    kept: Memo,
    watch: Watch,
) -> tuple[Boards, PourPlan]:
    """What the pieces are poured on, and with."""
    watch.stage("make the boards")
    boards = kept.get(
        "boards",
        (stand, block, pieces),
        (
            master.name,
            sizing.fired_size_mm,
            sizing.master_size_mm,
            job.boards,
            job.pieces,
            job.printer.bed_mm,
        ),
        lambda: plan_boards(
            poses,
            pieces,
            stand,
            block,
            sizing,
            master.name,
            job.boards,
            job.pieces,
            bed_mm=job.printer.bed_mm,
            watch=watch,
        ),
    )
    watch.stage("weigh the pours")
    pours = kept.get(
        "pour",
        (pieces, stand, block),
        (job.plaster, job.boards),
        lambda: plan_pours(poses, pieces, stand, job.plaster, watch=watch),
    )
    return boards, pours


def _drained(
    inside: Inside,
    stand: Stand,
    block: Block,
    parting: Parting,
    pieces: Pieces,
    pours: PourPlan,
    job: Job,
    kept: Memo,
    watch: Watch,
) -> tuple[CastPlan, Drain | None]:
    """How to cast in the mold, and how to hold it to drain."""
    watch.stage("plan the cast")
    casting = kept.get(
        "casting",
        (inside, stand, pieces, pours),
        (job.cast, job.plaster),
        lambda: plan_cast(inside, stand, pieces, pours, job.cast, job.plaster, watch=watch, memo=kept),
    )
    watch.stage("hold it to drain")
    drain = kept.get(
        "drain",
        (inside, stand, block, parting, pieces),
        (job.drain, job.pieces.drip_bevel_deg, job.plaster.consistency),
        lambda: drain_cast(
            inside,
            stand,
            block,
            parting,
            pieces,
            job.drain,
            bevel_deg=job.pieces.drip_bevel_deg,
            consistency=job.plaster.consistency,
            watch=watch,
            memo=kept,
        ),
    )
    return casting, drain


def _sized(master: Master, job: Job, kept: Memo, watch: Watch) -> tuple[Sizing, Stand, Inside, float]:
    """The master sized and standing, the inside of its cast, and the least wall of plaster round it."""
    watch.stage("size the master")
    scale = _fitted_scale(master, job, kept, watch)
    sizing = kept.get(
        "sizing",
        (master,),
        (job.shrinkage, job.target, scale),
        lambda: size_master(master, job.shrinkage, job.target, fitted_scale=scale, watch=watch, memo=kept),
    )
    wall = job.cottle.wall_mm or least_wall_mm(float(sizing.mesh.extents.max()))
    watch.stage("stand it in its mold")
    stand = kept.get(
        "stand",
        (sizing.mesh,),
        (job.stand, wall),
        lambda: stand_master(sizing, job.stand, wall_mm=wall, watch=watch, memo=kept),
    )
    watch.stage("find the cast's inside")
    inside = cast_inside(stand, sizing, job.cast, fitted_scale=scale, watch=watch, memo=kept)
    return sizing, stand, inside, wall


def _fitted_scale(master: Master, job: Job, kept: Memo, watch: Watch) -> float:
    """By how much the form is scaled to hold or weigh what it shall, which sizes, stands and casts it over and over.

    1 where neither is asked.
    """
    shrinkage, cast, wall = job.shrinkage, job.cast, job.cottle.wall_mm
    if job.target.capacity is None and job.target.weight_g is None:
        return 1.0
    return kept.get(
        "fit",
        (master,),
        (
            msgspec.structs.replace(shrinkage, clay=""),
            job.target,
            job.stand,
            msgspec.structs.replace(cast, trials=(), slip_g_ml=CastJob().slip_g_ml),
            wall,
        ),
        lambda: (
            fitted(master, shrinkage, job.target, job.stand, cast, wall_mm=wall, watch=watch, memo=kept).scale
        ),
    )
