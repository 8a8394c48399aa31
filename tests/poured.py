"""Molds of the samples up to their pieces, sharp-edged as they are poured, in any cottle; made once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from moldprep.boards import Boards, plan_boards
from moldprep.boards.bed import Bed
from moldprep.cottle import Block, choose_block
from moldprep.files.read import read_master
from moldprep.formulas.walls import least_wall_mm
from moldprep.job import BoardsJob, CottleJob, CottleKind, PiecesJob, PrinterJob, PullJob, job_from_dict
from moldprep.parting import part_mold
from moldprep.pieces import Piece, Pieces, cut_pieces
from moldprep.poses import Pose, plan_poses
from moldprep.pull import study_pulls
from moldprep.sizing import Sizing, size_master
from moldprep.stand import Stand, stand_master
from tests.samples import FOLDER, catalog

BED = PrinterJob().bed_mm
SHARP = PiecesJob(chamfer_mm=0)
"""Edges are eased after pouring."""


@dataclass(frozen=True, eq=False)
class Mold:
    """What boards and poses are planned from."""

    name: str
    sizing: Sizing
    stand: Stand
    block: Block
    pieces: Pieces

    def piece(self, letter: str) -> Piece:
        return next(piece for piece in self.pieces.pieces if piece.letter == letter)

    def poses(self, job: BoardsJob) -> tuple[Pose, ...]:
        return plan_poses(self.pieces, self.stand, self.block, job)

    def boards(self, job: BoardsJob, finish: PiecesJob = SHARP, bed_mm: Bed = BED) -> Boards:
        return plan_boards(
            self.poses(job),
            self.pieces,
            self.stand,
            self.block,
            self.sizing,
            self.name,
            job,
            finish,
            bed_mm=bed_mm,
        )


@cache
def mold(stem: str, kind: CottleKind | None = None) -> Mold:
    """The mold of a sample in the cottle that is chosen for it, or in the one named."""
    entry = catalog()[stem]
    job = job_from_dict(entry.get("job") or {})
    sizing = size_master(read_master(FOLDER / entry["file"], job.form), job.shrinkage, job.target)
    wall = least_wall_mm(float(sizing.mesh.extents.max()))
    stand = stand_master(sizing, job.stand, wall_mm=wall)
    block = choose_block(stand, CottleJob(kind=kind), wall_mm=wall)
    study = study_pulls(stand, PullJob())
    parting = part_mold(stand, study, block, job.parting, tolerance_mm=PullJob().tolerance_mm)
    return Mold(stem, sizing, stand, block, cut_pieces(stand, block, parting, PullJob(), SHARP))
