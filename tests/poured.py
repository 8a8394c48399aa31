"""Molds of the samples up to their pieces, sharp-edged as they are poured, in any cottle; made once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from moldprep.boards import Boards, plan_boards
from moldprep.boards.bed import Bed
from moldprep.cottle import Block, choose_block
from moldprep.job import BoardsJob, CottleJob, CottleKind, PiecesJob, PrinterJob
from moldprep.parting import part_mold
from moldprep.pieces import Piece, Pieces, cut_pieces
from moldprep.poses import Pose, plan_poses
from moldprep.sizing import Sizing
from moldprep.stand import Stand
from tests.samples import planned

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
        return _boards(self, job, finish, bed_mm)

    def boards_made_anew(self, job: BoardsJob, finish: PiecesJob = SHARP, bed_mm: Bed = BED) -> Boards:
        return _boards.__wrapped__(self, job, finish, bed_mm)


@cache
def mold(stem: str, kind: CottleKind | None = None) -> Mold:
    """The mold of a sample in the cottle that is chosen for it, or in the one named."""
    made = planned(stem)
    stand, block, parting, pull = made.stand, made.block, made.parting, made.job.pull
    if kind is not None and kind != block.kind:
        block = choose_block(stand, CottleJob(kind=kind), wall_mm=block.wall_mm)
        parting = part_mold(stand, made.study, block, made.job.parting, tolerance_mm=pull.tolerance_mm)
    return Mold(stem, made.sizing, stand, block, cut_pieces(stand, block, parting, pull, SHARP))


@cache
def _boards(form: Mold, job: BoardsJob, finish: PiecesJob, bed_mm: Bed) -> Boards:
    return plan_boards(
        form.poses(job),
        form.pieces,
        form.stand,
        form.block,
        form.sizing,
        form.name,
        job,
        finish,
        bed_mm=bed_mm,
    )
