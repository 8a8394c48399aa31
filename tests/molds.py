"""From a form to pieces and their release: the stages in between, without thin plaster, boards and pours."""

from __future__ import annotations

from dataclasses import dataclass

from moldprep.cottle import Block, choose_block
from moldprep.formulas.walls import least_wall_mm
from moldprep.job import Job
from moldprep.master import Master
from moldprep.parting import Parting, part_mold
from moldprep.pieces import Pieces, cut_pieces
from moldprep.pull import study_pulls
from moldprep.release import Release, prove_release
from moldprep.sizing import size_master
from moldprep.stand import Stand, stand_master


@dataclass(frozen=True, eq=False)
class Mold:
    """The stages' results."""

    stand: Stand
    block: Block
    parting: Parting
    pieces: Pieces
    release: Release


def mold_of(master: Master, job: Job) -> Mold:
    """As `planning.plan` does it, as far as the proof of release."""
    sizing = size_master(master, job.shrinkage, job.target)
    wall = job.cottle.wall_mm or least_wall_mm(float(sizing.mesh.extents.max()))
    stand = stand_master(sizing, job.stand, wall_mm=wall)
    study = study_pulls(stand, job.pull)
    block = choose_block(stand, job.cottle, wall_mm=wall)
    tolerance = job.pull.tolerance_mm
    parting = part_mold(stand, study, block, job.parting, tolerance_mm=tolerance)
    pieces = cut_pieces(stand, block, parting, job.pull, job.pieces)
    return Mold(stand, block, parting, pieces, prove_release(stand, pieces, parting, tolerance_mm=tolerance))
