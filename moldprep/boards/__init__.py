"""Stage 10: what the pieces are poured on: boards to print, or the master bedded in clay.

By default the first piece has boards and the rest is poured against set plaster; a board for every
piece on request. `plates` makes them, `marks` letters them, `bed` lays them on the printer's bed.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..cottle import Block
from ..findings import Finding
from ..geometry.mesh import Floats, Mesh, read_only
from ..geometry.solids import Solid, from_manifold, plug, united
from ..job import BoardsJob, PiecesJob
from ..pieces import Natch, Pieces, turned_over
from ..poses import Pose
from ..sizing import Sizing
from ..stand import Stand
from ..working import SILENT, Watch
from .bed import on_bed
from .marks import RAISED_MM, mark_in, tag
from .plates import Plate, plates_for, upright

TAG_MM = 1.2
"""Thickness of a tag: thin enough to bend to a ring."""
FLAT = np.eye(3)


@dataclass(frozen=True, eq=False)
class Board:
    """One board to print.

    kind: "flange", "end plate", "base", "lid", "tag" or "insert". mesh: in its place, casting pose
    (tags and inserts: as printed). off: unit way in which it comes off the plaster, None for those
    without a place. prints: as they lie on the bed, face up: parts that the master keeps apart, and
    what `cuts` across it make of a board that the bed is too small for.
    marked: whether it carries the mold's mark. says: what to do with it.
    """

    name: str
    piece: str
    kind: str
    mesh: Mesh = field(repr=False)
    off: Floats | None
    prints: tuple[Mesh, ...] = field(repr=False)
    cuts: int
    marked: bool
    says: str


@dataclass(frozen=True, eq=False)
class Boards:
    """All boards, in the order in which their pieces are poured."""

    boards: tuple[Board, ...]
    findings: tuple[Finding, ...] = ()


def plan_boards(
    poses: tuple[Pose, ...],
    pieces: Pieces,
    stand: Stand,
    block: Block,
    sizing: Sizing,
    name: str,
    job: BoardsJob,
    finish: PiecesJob,
    *,
    watch: Watch = SILENT,
) -> Boards:
    """The boards for the first piece, or for each; tags with the mark for pieces that no board marks."""
    by_letter = {piece.letter: piece for piece in pieces.pieces}
    found: list[Board] = []
    for k, pose in enumerate(poses):
        watch.step(k, len(poses))
        piece, text = by_letter[pose.letter], mark_text(name, pose.letter, sizing, job)
        marked = False
        if job.way == "boards" and (k == 0 or job.each_piece):
            plates = plates_for(piece, pose, pieces, stand, block, job, finish)
            for number, plate in enumerate(plates):
                solid, has_mark = (plate.solid, False) if marked else _marked(plate, text)
                marked = marked or has_mark
                found.append(_board(plate, solid, pose, plates[:number], has_mark, job))
        if not marked and text and job.way == "boards":
            found.append(_tag(text, pose, job))
    if finish.natches == "insert":
        found += _inserts(pieces, job, finish)
    return Boards(tuple(found), _bed_findings(found))


def mark_text(name: str, letter: str, sizing: Sizing, job: BoardsJob) -> str:
    """What the mark says: form, piece, size of the fired piece (else of the master), date."""
    if job.mark is not None:
        return f"{job.mark} {letter}".strip() if job.mark.strip() else ""
    size = "×".join(f"{side:.0f}" for side in (sizing.fired_size_mm or sizing.master_size_mm))
    return " ".join(part for part in (name, letter, size, job.date) if part)


def _marked(plate: Plate, text: str) -> tuple[Solid, bool]:
    """The plate's solid with the mark raised on its face, where it has room for one."""
    letters = mark_in(plate.room, text)
    if letters is None:
        return plate.solid, False
    raised = upright(letters, plate.offset_mm - plate.thickness_mm / 2, plate.offset_mm + RAISED_MM)
    rotation = np.column_stack([plate.rotation.T, np.zeros(3)])
    return united([plate.solid, raised.transform(rotation)]), True


def _board(
    plate: Plate, solid: Solid, pose: Pose, before: list[Plate], marked: bool, job: BoardsJob
) -> Board:
    same = sum(other.kind == plate.kind for other in before)
    prints, cuts = on_bed(solid, plate.rotation, plate.offset_mm, plate.thickness_mm, job.bed_mm)
    name = f"{pose.letter}-{plate.kind.replace(' ', '-')}" + (f"-{same + 1}" if same else "")
    return Board(
        name=name,
        piece=pose.letter,
        kind=plate.kind,
        mesh=from_manifold(solid),
        off=np.asarray(read_only(-plate.rotation[2])),
        prints=tuple(prints),
        cuts=cuts,
        marked=marked,
        says=_says(plate, pose),
    )


def _says(plate: Plate, pose: Pose) -> str:
    up = np.array(pose.up)
    rise = float(plate.rotation[2] @ up)
    if plate.kind == "base":
        return "Under everything: stand the cottle on its line and seal it; the spare stands inside."
    if plate.kind == "lid":
        return "On top: lay it on as soon as the plaster is level, before it thickens, and press it down to the master."
    if plate.kind == "flange" and rise > 0.3:
        return "Underneath, on blocks: the master stands through it; stand the cottle on its line; seal both with clay."
    if plate.kind == "flange":
        return "Upright, up the middle of the cottle: the master through it; seal its edges with clay."
    if rise > 0.3:
        return "Underneath, on blocks: the master's end stands through it; stand the cottle on its line."
    return "Upright, at the end: seal it with clay; it comes off along the mold before the piece leaves the flange."


def _tag(text: str, pose: Pose, job: BoardsJob) -> Board:
    outline, letters = tag(text)
    solid = united([upright(outline, 0.0, TAG_MM), upright(letters, TAG_MM / 2, TAG_MM + RAISED_MM)])
    prints, cuts = on_bed(solid, FLAT, TAG_MM, TAG_MM, job.bed_mm)
    says = "Stick it flat to the inside of the cottle, letters inward: the mark is cast into the piece's outside."
    return Board(
        f"{pose.letter}-tag", pose.letter, "tag", from_manifold(solid), None, tuple(prints), cuts, True, says
    )


def _inserts(pieces: Pieces, job: BoardsJob, finish: PiecesJob) -> list[Board]:
    """One insert for each size of natch: two knobs foot to foot."""
    sizes: dict[float, list[Natch]] = {}
    for joint in pieces.joints:
        for natch in joint.natches:
            sizes.setdefault(round(natch.diameter_mm, 3), []).append(natch)
    found = []
    for number, natches in enumerate(sizes.values(), 1):
        one = Natch(
            (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), natches[0].diameter_mm, natches[0].tip_mm, natches[0].depth_mm
        )
        halves = [
            plug(
                way.where,
                way.axis,
                radius=way.diameter_mm / 2,
                tip_radius=way.tip_mm / 2,
                length=way.depth_mm,
                root=0.0,
            )
            for way in (one, turned_over(one))
        ]
        solid = united(halves)
        prints, cuts = on_bed(solid, FLAT, one.depth_mm, 2 * one.depth_mm, job.bed_mm)
        says = f"Print {len(natches)}: one for each natch of {one.diameter_mm:.0f} mm; they lie loose in their sockets."
        found.append(
            Board(
                f"insert-{number}", "", "insert", from_manifold(solid), None, tuple(prints), cuts, False, says
            )
        )
    return found


def _bed_findings(boards: list[Board]) -> tuple[Finding, ...]:
    split = [board.name for board in boards if board.cuts]
    if not split:
        return ()
    says = f"Larger than the printer's bed, so cut across and joined with 3 mm pins: {', '.join(split)}."
    return (Finding("note", "boards-split", says, remedy="Glue them on a flat table; fill the joints."),)
