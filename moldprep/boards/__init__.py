"""Stage 10: what the pieces are poured on: boards to print, or the master bedded in clay.

By default the first piece has boards and the rest is poured against set plaster, with plates only where
its neighbours are still missing; a board for every piece on request. `sides` says which faces want a
plate, `plates` makes them, `marks` letters them, `bed` lays them on the printer's bed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..cottle import Block
from ..findings import Finding
from ..geometry.lettering import lettering
from ..geometry.mesh import Floats, Mesh, read_only
from ..geometry.solids import from_manifold, placed, to_manifold, united
from ..job import BoardsJob, PiecesJob
from ..pieces import SAME_WAY, Natch, Pieces, plug_for, turned_over
from ..poses import Pose
from ..sizing import Sizing
from ..stand import Stand
from ..working import SILENT, Watch
from .bed import Bed, on_bed
from .marks import RAISED_MM, mark_in, tag
from .plates import Plate, opposites, plate_for, upright
from .sides import Side, sides

TAG_MM = 1.2
"""Thickness of a tag: thin enough to bend to a ring."""
SPREAD_SHARE = 1e-3
"""Setting expansion differs from pour to pour by about this share of a length: 0.2 mm over 200."""
FLAT = np.eye(3)


@dataclass(frozen=True, eq=False)
class Board:
    """One board to print.

    name: the letters of its pieces and its kind. kind: "flange", "end plate", "base", "lid", "tag" or
    "insert". serves: letters of the pieces that are poured on or against it, none for inserts.
    marked: letters of those whose mark it casts. mesh: in its place, casting pose (tags and inserts: as
    printed). off: unit way in which it comes off the plaster, None for those without a place. prints:
    as they lie on the bed, face up: parts that the master keeps apart, and what `cuts` across it make
    of a board that the bed is too small for. says: what to do with it.
    """

    name: str
    kind: str
    serves: tuple[str, ...]
    marked: tuple[str, ...]
    mesh: Mesh = field(repr=False)
    off: Floats | None
    prints: tuple[Mesh, ...] = field(repr=False)
    cuts: int
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
    bed_mm: Bed,
    watch: Watch = SILENT,
) -> Boards:
    """The plates for the first piece, or for each, those that later pieces want too, and tags with the mark
    for pieces that no plate marks. Without boards, or where the master is bedded in clay, only inserts."""
    found: list[Board] = []
    unmarked: list[Finding] = []
    if job.way == "boards":
        by_letter = {piece.letter: piece for piece in pieces.pieces}
        texts = {pose.letter: mark_text(name, pose.letter, sizing, job) for pose in poses}
        texts, unmarked = _legible(texts)
        wanted, form = sides(poses, pieces, block, job), to_manifold(stand.mesh)
        for k, side in enumerate(wanted):
            watch.step(k, len(wanted))
            served = [by_letter[letter] for letter in side.serves]
            knobs = _knobs_below(side, wanted)
            plate = plate_for(side, served, form, block, job, finish, bed_mm=bed_mm, clear_of=knobs)
            found.append(_board(plate, texts, found, bed_mm))
        marked = {letter for board in found for letter in board.marked}
        found += [_tag(texts[pose.letter], pose, bed_mm) for pose in poses if _wants_tag(pose, texts, marked)]
    if finish.natches == "insert":
        found += _inserts(pieces, finish, bed_mm)
    return Boards(tuple(found), (*unmarked, *_bed_findings(found), *_spread(poses, block, job)))


def mark_text(name: str, letter: str, sizing: Sizing, job: BoardsJob) -> str:
    """What the mark says: form, piece, size of the fired piece (else of the master), date."""
    if job.mark is not None:
        return f"{job.mark} {letter}".strip() if job.mark.strip() else ""
    size = "×".join(f"{side:.0f}" for side in (sizing.fired_size_mm or sizing.master_size_mm))
    return " ".join(part for part in (name, letter, size, job.date) if part)


def _legible(texts: dict[str, str]) -> tuple[dict[str, str], list[Finding]]:
    """The texts that can be lettered; none, and a finding, where the letters have no sign for something."""
    try:
        for text in texts.values():
            lettering(text, size=1.0)
    except ValueError as problem:
        says = f"The mold carries no mark: {problem}."
        return dict.fromkeys(texts, ""), [
            Finding("warn", "no-mark", says, remedy='Give a mark of plain letters: mark = "...".')
        ]
    return texts, []


def _knobs_below(side: Side, wanted: list[Side]) -> list[Natch]:
    """Knobs of the plate that an upright one stands on; they are the other pieces', and it shapes its own."""
    if abs(side.rise) > SAME_WAY:
        return []
    below = [one for one in wanted if one.rise > SAME_WAY and set(one.serves) & set(side.serves)]
    return [natch for one in below for natch in opposites(one)[0]]


def _wants_tag(pose: Pose, texts: dict[str, str], marked: set[str]) -> bool:
    return bool(texts[pose.letter]) and pose.letter not in marked


def _board(plate: Plate, texts: dict[str, str], before: Sequence[Board], bed_mm: Bed) -> Board:
    """The plate as a board, with the marks of its pieces where it has room and they have none yet."""
    side, solid, marked = plate.side, plate.solid, []
    done = {letter for board in before for letter in board.marked}
    for letter, room in zip(side.serves, plate.rooms, strict=True):
        letters = mark_in(room, texts[letter]) if letter not in done else None
        if letters is not None:
            low, high = side.offset_mm - plate.thickness_mm / 2, side.offset_mm + RAISED_MM
            solid = united([solid, placed(upright(letters, low, high), plate.rotation)])
            marked.append(letter)
    printed = on_bed(solid, plate.rotation, side.offset_mm, plate.thickness_mm, bed_mm)
    name = f"{''.join(side.serves)}-{side.kind.replace(' ', '-')}"
    same = sum(board.kind == side.kind and board.serves == side.serves for board in before)
    return Board(
        name=name + (f"-{same + 1}" if same else ""),
        kind=side.kind,
        serves=side.serves,
        marked=tuple(marked),
        mesh=from_manifold(solid),
        off=np.asarray(read_only(-side.normal)),
        prints=printed.parts,
        cuts=printed.cuts,
        says=_says(plate),
    )


def _says(plate: Plate) -> str:
    kind, rise = plate.side.kind, plate.side.rise
    if kind == "base":
        return "Under everything: stand the cottle on its line and seal it; the spare stands inside."
    if kind == "lid":
        return "On top: lay it on as soon as the plaster is level, before it thickens, and press it down to the master."
    if kind == "flange" and rise > 0.3:
        return "Underneath, on blocks: the master stands through it; stand the cottle on its line; seal both with clay."
    if kind == "flange":
        return "Upright, up the middle of the cottle: the master through it; seal its edges with clay; it comes off last."
    if rise > 0.3:
        return (
            "Underneath, on blocks: the master's end stands through it; stand the cottle on its line; take it off "
            "before the flange, and put it back under the next piece."
        )
    return "Upright, at the end: seal it with clay; it comes off along the mold before the piece leaves the flange."


def _tag(text: str, pose: Pose, bed_mm: Bed) -> Board:
    outline, letters = tag(text, longest=max(bed_mm[:2]))
    solid = united([upright(outline, 0.0, TAG_MM), upright(letters, TAG_MM / 2, TAG_MM + RAISED_MM)])
    says = "Stick it flat to the inside of the cottle, letters inward: the mark is cast into the piece's outside."
    name, letter = f"{pose.letter}-tag", (pose.letter,)
    printed = on_bed(solid, FLAT, TAG_MM, TAG_MM, bed_mm)
    return Board(name, "tag", letter, letter, from_manifold(solid), None, printed.parts, printed.cuts, says)


def _inserts(pieces: Pieces, finish: PiecesJob, bed_mm: Bed) -> list[Board]:
    """One insert for each size of natch: two knobs foot to foot."""
    sizes: dict[float, list[Natch]] = {}
    for joint in pieces.joints:
        for natch in joint.natches:
            sizes.setdefault(round(natch.diameter_mm, 3), []).append(natch)
    found = []
    for number, natches in enumerate(sizes.values(), 1):
        one = replace(natches[0], where=(0.0, 0.0, 0.0), axis=(0.0, 0.0, 1.0))
        solid = united([plug_for(way, root=0.0) for way in (one, turned_over(one))])
        printed = on_bed(solid, FLAT, one.depth_mm, 2 * one.depth_mm, bed_mm)
        says = f"Print {len(natches)}: one for each natch of {one.diameter_mm:.0f} mm; they lie loose in their sockets."
        mesh = from_manifold(solid)
        found.append(
            Board(f"insert-{number}", "insert", (), (), mesh, None, printed.parts, printed.cuts, says)
        )
    return found


def _bed_findings(boards: list[Board]) -> tuple[Finding, ...]:
    cut = [board.name for board in boards if board.cuts]
    if not cut:
        return ()
    says = f"Larger than the printer's bed, so cut across and joined with 3 mm pins: {', '.join(cut)}."
    return (Finding("note", "boards-split", says, remedy="Glue them on a flat table; fill the joints."),)


def _spread(poses: tuple[Pose, ...], block: Block, job: BoardsJob) -> tuple[Finding, ...]:
    """Pieces poured apart do not expand alike."""
    if not (job.way == "boards" and job.each_piece and len(poses) > 1):
        return ()
    longest = float(max(*np.ptp(block.outline, axis=0), block.top_mm - block.bottom_mm))
    says = (
        f"Every piece is poured on its own boards: their plaster expands unequally, so seams may be off by "
        f"{SPREAD_SHARE * longest:.1f} mm over {longest:.0f} mm."
    )
    remedy = "Mix all pieces from one batch at one temperature, or pour against set plaster."
    return (Finding("note", "boards-for-each", says, remedy=remedy),)
