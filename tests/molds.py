"""From a form to pieces and their release: the stages in between, without thin plaster, boards and pours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from moldprep.cottle import Block, choose_block
from moldprep.errors import Point
from moldprep.formulas.walls import least_wall_mm
from moldprep.geometry.mesh import Mesh
from moldprep.job import Job
from moldprep.master import Master
from moldprep.parting import Candidate, Layer, Parting, part_mold
from moldprep.pieces import Pieces, cut_pieces
from moldprep.pull import study_pulls
from moldprep.release import Release, prove_release
from moldprep.sizing import size_master
from moldprep.stand import Stand, stand_master

UP: Point = (0.0, 0.0, 1.0)


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


def stood(form: Mesh, floor: float) -> Stand:
    """The form as it is: its highest point is the opening plane, there is no spare."""
    top = float(form.bounds[1, 2])
    return Stand("rim", False, "test", np.eye(4), form, form, (), top, top, 0.0, floor, 0.0)


def parted(*layers: Layer) -> Parting:
    """A parting that was chosen by hand."""
    chosen = Candidate(UP, layers, "split-layers", 0, 0.0, 0.0, 0.0, (), 0.0, "by hand")
    return Parting(chosen, (), None, None, ())  # type: ignore[arg-type]
