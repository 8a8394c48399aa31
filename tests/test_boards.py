"""Boards: read back from their STL and filled, they give the pieces; they come off, print and read right."""

from __future__ import annotations

import io
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
import shapely
import trimesh

from moldprep.boards import Board, mark_text
from moldprep.boards.bed import PIN_DEPTH, PIN_MM, Bed, on_bed
from moldprep.boards.marks import RAISED_MM, TURNS_DEG
from moldprep.cottling import GRIP_MM
from moldprep.geometry.columns import rotation_for
from moldprep.geometry.lettering import lettering
from moldprep.geometry.mesh import Floats, Mesh
from moldprep.geometry.outlines import section
from moldprep.geometry.solids import (
    Solid,
    difference,
    from_manifold,
    intersection,
    moved,
    parts,
    prism,
    split,
    to_manifold,
    united,
)
from moldprep.geometry.sweep import swept_overlaps
from moldprep.job import BoardsJob, CottleKind, PiecesJob
from moldprep.poses import Pose
from moldprep.sheet.meshes import stl_bytes
from tests.forms import from_trimesh
from tests.poured import BED, SHARP, Mold, mold

BLANK = BoardsJob(mark="")
EACH = BoardsJob(mark="", each_piece=True)
FILL = 1e-5
"""Of a piece's volume: how far a fill may differ from it."""
SINGLE_MM = 1e-4
"""STL keeps single precision: a coordinate of 200 mm is told to 1.5e-5."""
SKIN_MM = 0.002
"""Above what single precision rounds, below what anyone can pour."""
CRUMB_MM3 = 1e-3
"""Less is a rounding of the cut."""
TOLERANCE_MM = 0.15
MOLDS: list[tuple[str, CottleKind | None]] = [
    ("tumbler", None),
    ("sphere", None),
    ("bud-vase", "ring"),
    ("bud-vase", "box"),
    ("mug", None),
    ("gallery-jar", "ring"),
]
CASES = [
    pytest.param(
        mold_of, job, id=f"{mold_of[0]}-{mold_of[1] or 'chosen'}-{'each' if job.each_piece else 'first'}"
    )
    for mold_of in MOLDS
    for job in (BLANK, EACH)
    if mold_of[0] in ("sphere", "bud-vase") or not job.each_piece
]


class Put(NamedTuple):
    """A board as it stands, read back from its STL; levels along the way off of its face and its back."""

    board: Board
    solid: Solid
    off: Floats
    face_mm: float
    back_mm: float


class Poured(NamedTuple):
    """A fill, with the clay that keeps it from running out behind each board."""

    pose: Pose
    fill: Solid
    boards: tuple[Put, ...]
    clay: tuple[Solid, ...]


def reread(mesh: Mesh) -> trimesh.Trimesh:
    """The mesh as another program finds it in its STL."""
    return trimesh.load_mesh(io.BytesIO(stl_bytes(mesh, "test")), file_type="stl")


def put(board: Board) -> Put:
    assert board.off is not None
    found = reread(board.mesh)
    off = np.asarray(board.off)
    level = found.vertices @ off
    toward = found.face_normals @ off < -0.999
    heights = np.round(found.triangles_center[toward] @ off, 3)
    levels = np.unique(heights)
    areas = [found.area_faces[toward][heights == height].sum() for height in levels]
    return Put(
        board, to_manifold(from_trimesh(found)), off, float(levels[np.argmax(areas)]), float(level.max())
    )


def cottle(form: Mold, pose: Pose) -> Solid:
    """The room inside the cottle, built from its outline: up to the level that the pose is filled to, and
    down over what it stands on."""
    made = trimesh.creation.extrude_polygon(
        shapely.Polygon(form.block.outline), form.block.top_mm - form.block.bottom_mm
    )
    made.apply_translation([0, 0, form.block.bottom_mm])
    below = split(to_manifold(from_trimesh(made)), pose.up, pose.open_mm)[1]
    return split(below, pose.up, pose.base_mm - GRIP_MM)[0]


def filled(form: Mold, pose: Pose, boards: tuple[Put, ...], hard: list[Solid]) -> Poured:
    """Plaster in all of the cottle that is open to its top; clay behind each board wherever that is open."""
    room = difference(cottle(form, pose), to_manifold(form.stand.mesh))
    for solid in [*hard, *(one.solid for one in boards)]:
        room = difference(room, solid)
    clay = []
    for one in boards:
        # just below the face: there, sheets of no width do not join sockets to the gap round the master
        behind = split(room, one.off, one.face_mm + SKIN_MM)[0]
        back = split(cottle(form, pose), one.off, one.back_mm - 0.01)[0]
        below = [part for part in parts(behind) if part.volume() > CRUMB_MM3]
        leaks = [intersection(part, back).volume() > 0 for part in below]
        sockets = [part for part, leak in zip(below, leaks, strict=True) if not leak]
        clay.append(united([Solid(), *(part for part, leak in zip(below, leaks, strict=True) if leak)]))
        before = split(room, one.off, one.face_mm)[1]
        room = united([before, *(moved(part, -2 * SKIN_MM * one.off) for part in sockets)])
    up = np.array(pose.up)
    is_open = [
        part for part in parts(room) if np.max(from_manifold(part).vertices @ up) > pose.open_mm - 1e-3
    ]
    return Poured(pose, max(is_open, key=lambda part: part.volume()), boards, tuple(clay))


@cache
def pours(of: tuple[str, CottleKind | None], job: BoardsJob) -> tuple[Poured, ...]:
    """All pours of a mold in their order: each on its boards, against the pieces that are set."""
    form = mold(*of)
    boards = [put(board) for board in form.boards(job).boards if board.off is not None]
    found: list[Poured] = []
    for pose in form.poses(job):
        own = tuple(one for one in boards if pose.letter in one.board.serves)
        hard = [] if job.each_piece else [one.fill for one in found]
        if hard and pose.stance == "lying":  # the end plates of a half stay on until the other lies on it
            hard += [one.solid for done in found for one in done.boards if one.board.kind == "end plate"]
        found.append(filled(form, pose, own, hard))
    return tuple(found)


# --- what is poured is the piece ----------------------------------------------------------------


@pytest.mark.parametrize(("of", "job"), CASES)
def test_the_fill_is_the_piece(of: tuple[str, CottleKind | None], job: BoardsJob) -> None:
    """Volume and place: they have all in common but rounding; a natch is a hundred times what is allowed."""
    form = mold(*of)
    for one in pours(of, job):
        piece = to_manifold(form.piece(one.pose.letter).mesh)
        volume = piece.volume()
        common = intersection(one.fill, piece).volume()
        assert one.fill.volume() == pytest.approx(volume, rel=FILL), one.pose.letter
        assert common == pytest.approx(volume, rel=FILL), one.pose.letter


@pytest.mark.parametrize(("of", "job"), CASES)
def test_no_gap_beside_a_board_is_wider_than_the_fit(
    of: tuple[str, CottleKind | None], job: BoardsJob
) -> None:
    for one in pours(of, job):
        for board, clay in zip(one.boards, one.clay, strict=True):
            if clay.is_empty():
                continue
            rotation = rotation_for(board.off)
            open_below = section(from_manifold(clay), board.face_mm + 0.05, rotation=rotation)
            plaster = section(from_manifold(one.fill), board.face_mm - 0.05, rotation=rotation)
            gap = shapely.intersection(open_below, plaster)
            assert gap.buffer(-job.fit_mm / 2 - 0.03).is_empty, board.board.name


@pytest.mark.parametrize(("of", "job"), CASES)
def test_boards_come_off_plaster_and_master(of: tuple[str, CottleKind | None], job: BoardsJob) -> None:
    """Flanges last: past the fills that they serve, the master, and the boards that are still there."""
    form = mold(*of)
    found = pours(of, job)
    every = {one.board.name: one for pour in found for one in pour.boards}
    for name, one in every.items():
        served = [pour for pour in found if pour.pose.letter in one.board.serves]
        beside = [other for pour in served for other in pour.boards if other.board.name != name]
        assert all(intersection(one.solid, other.solid).volume() < 1e-2 for other in beside), name
        still = [other for other in beside if other.board.kind == "flange"]
        obstacles = [from_manifold(pour.fill) for pour in served]
        obstacles += [form.stand.mesh, *(from_manifold(other.solid) for other in still)]
        struck = swept_overlaps(
            from_manifold(one.solid),
            one.off,
            obstacles,
            tolerance=TOLERANCE_MM,
            grain=0.5,
            lines=199,
            shift=(0.37, 0.61),
        )
        assert max(overlap.lateral_mm for overlap in struck) <= TOLERANCE_MM, name


# --- what is printed ----------------------------------------------------------------------------


@pytest.mark.parametrize(("of", "job"), CASES)
def test_every_print_is_closed_lies_flat_and_fits_the_bed(
    of: tuple[str, CottleKind | None], job: BoardsJob
) -> None:
    for board in mold(*of).boards(job).boards:
        assert_printable(board)


def assert_printable(board: Board, bed_mm: Bed = BED) -> None:
    """Closed in both eyes; within the bed; nothing but pin holes hangs over by more than 45 degrees."""
    holes = 0.0
    for mesh in board.prints:
        found = reread(mesh)
        assert found.is_watertight and found.is_winding_consistent and found.volume > 0
        assert to_manifold(from_trimesh(found)).volume() == pytest.approx(mesh.volume, rel=1e-4)
        assert found.bounds[0] == pytest.approx([0, 0, 0], abs=SINGLE_MM)
        across, bed = sorted(found.extents[:2]), sorted(bed_mm[:2])
        assert across[0] <= bed[0] + SINGLE_MM and across[1] <= bed[1] + SINGLE_MM
        assert found.extents[2] <= bed_mm[2]
        hangs = (found.face_normals[:, 2] < -np.sqrt(0.5) - 1e-3) & (found.triangles_center[:, 2] > 1e-3)
        holes += float(found.area_faces[hangs].sum())
    pins = pin_count(board)
    assert holes <= pins * 2 * PIN_DEPTH * np.pi * PIN_MM / 2 + 1e-3, board.name


def pin_count(board: Board) -> int:
    """Pins whose holes make up what the prints lack of the board; holes that break out are no whole number."""
    round48 = 24 * np.sin(2 * np.pi / 48) * (PIN_MM / 2) ** 2  # area of 48 sides in a circle
    lacks = board.mesh.volume - sum(mesh.volume for mesh in board.prints)
    pins = lacks / (2 * PIN_DEPTH * round48)
    assert pins == pytest.approx(round(pins), abs=0.02), board.name
    return round(pins)


@pytest.mark.parametrize("bed_mm", [(150.0, 150.0, 200.0), (110.0, 190.0, 200.0), (80.0, 80.0, 80.0)])
def test_boards_cut_for_a_small_bed_keep_all_but_their_pin_holes(bed_mm: tuple[float, float, float]) -> None:
    job = BoardsJob(mark="", each_piece=True)
    found = mold("sphere").boards(job, bed_mm=bed_mm)
    assert [finding.code for finding in found.findings].count("boards-split") == 1
    for board in found.boards:
        assert board.cuts > 0 and pin_count(board) > 0
        assert_printable(board, bed_mm)


def test_the_square_tray_s_base_is_cut_and_pinned_by_itself() -> None:
    (board,) = mold("square-tray").boards(BLANK).boards
    assert len(board.prints) == 4
    assert_printable(board)
    assert pin_count(board) >= 3


def pin_holes(mesh: Mesh, axis: int, *, last: bool) -> set[tuple[float, float]]:
    """Along the cut and up: middles of the holes in an end of a part."""
    rotation = rotation_for(np.eye(3)[axis])
    level = mesh.bounds[1, axis] - 0.5 if last else mesh.bounds[0, axis] + 0.5
    found = set()
    for part in shapely.get_parts(section(mesh, level, rotation=rotation)):
        for ring in part.interiors:
            u, v = shapely.Polygon(ring).centroid.coords[0]
            place = np.array([u, v, level]) @ rotation
            found.add((round(float(place[1 - axis]), 2), round(float(place[2]), 2)))
    return found


def test_pins_of_two_parts_meet_and_fit_one_way() -> None:
    side, across, thickness = 300.0, 100.0, 6.0
    plate = prism(np.array([[0, 0], [side, 0], [side, across], [0, across]]), 0, thickness)
    printed = on_bed(plate, np.eye(3), thickness, thickness, (220, 220, 250))
    one, other = sorted(printed.parts, key=lambda part: -len(pin_holes(part, 0, last=True)))
    here, there = pin_holes(one, 0, last=True), pin_holes(other, 0, last=False)
    assert here == there and len(here) == 2
    assert {z for _, z in here} == {thickness / 2}
    along = np.array(sorted(y for y, _ in here))
    over = across - along  # a part turned over about the line through the cut
    assert np.abs(over[:, None] - along).min(axis=1).max() >= PIN_MM


def test_a_thin_plate_is_cut_without_pins() -> None:
    plate = prism(np.array([[0, 0], [300.0, 0], [300, 100], [0, 100]]), 0, 3.0)
    printed = on_bed(plate, np.eye(3), 3.0, 3.0, (220, 220, 250))
    assert sum(part.volume for part in printed.parts) == pytest.approx(plate.volume())
    assert printed.cuts == 1


# --- what the boards are made of ----------------------------------------------------------------


def test_the_hole_stands_off_the_master_by_the_fit() -> None:
    """The ball's equator has its radius; the hole is wider by the gap, chords of both allowed for."""
    form = mold("sphere")
    job = BoardsJob(mark="", fit_mm=0.5)
    (board,) = [board for board in form.boards(job).boards if board.kind == "flange"]
    rotation = rotation_for(np.array([0.0, 0, 1]))
    face = put(board).face_mm
    plate = max(
        shapely.get_parts(section(board.mesh, face + 1, rotation=rotation)), key=lambda part: part.area
    )
    hole = shapely.Polygon(max(plate.interiors, key=lambda ring: ring.length))
    ball = section(form.stand.mesh, face + 1e-3, rotation=rotation)
    assert shapely.distance(hole.exterior, ball) == pytest.approx(0.5, abs=0.01)
    assert shapely.hausdorff_distance(hole.exterior, ball.exterior) == pytest.approx(0.5, abs=0.05)


def test_the_cottle_s_line_runs_round_the_cottle() -> None:
    """A groove under the cottle's wall: its inner edge is the cottle's outline, it is 0.8 mm wide."""
    form = mold("tumbler")
    (board,) = form.boards(BLANK).boards
    one = put(board)
    flat = section(board.mesh, one.face_mm + 0.3, rotation=rotation_for(one.off))
    below = section(board.mesh, one.face_mm + 2.0, rotation=rotation_for(one.off))
    groove = shapely.difference(below, flat)
    turned = shapely.Polygon(form.block.outline @ rotation_for(one.off)[:2, :2].T)
    groove = max(shapely.get_parts(groove), key=lambda part: part.area)
    inner = shapely.Polygon(groove.interiors[0])
    assert shapely.hausdorff_distance(inner, turned) < 0.02
    assert groove.area == pytest.approx(0.8 * shapely.length(turned.exterior), rel=0.01)
    assert form.block.kind == "ring" and groove.area > 0


@pytest.mark.parametrize(
    ("of", "expected"),
    [
        (("tumbler", None), {"A-base"}),
        (("sphere", None), {"B-flange"}),
        (("bud-vase", "ring"), {"BC-end-plate", "B-flange"}),
        (("bud-vase", "box"), {"B-flange", "B-end-plate", "B-end-plate-2", "C-end-plate"}),
        (("mug", None), {"AB-base", "A-flange"}),
        (("gallery-jar", "ring"), {"CD-end-plate", "C-flange", "C-lid", "D-lid"}),
    ],
)
def test_a_plate_for_every_face_towards_a_piece_not_yet_poured(
    of: tuple[str, CottleKind | None], expected: set[str]
) -> None:
    assert {board.name for board in mold(*of).boards(BLANK).boards} == expected


def test_boards_for_each_piece_say_what_that_costs() -> None:
    """0.2 mm over 200: a thousandth of the longest side."""
    form = mold("bud-vase", "ring")
    found = form.boards(EACH)
    (finding,) = [finding for finding in found.findings if finding.code == "boards-for-each"]
    longest = max(form.block.inner_mm[0], form.block.fill_mm)
    assert f"{longest / 1000:.1f} mm over {longest:.0f} mm" in finding.says
    assert {letter for board in found.boards for letter in board.serves} == {"A", "B", "C"}


def test_bedded_in_clay_nothing_is_printed_but_inserts() -> None:
    form = mold("sphere")
    job = BoardsJob(way="bedded")
    assert form.boards(job).boards == ()


def test_an_insert_fills_two_sockets() -> None:
    """Two frusta foot to foot: 2 pi h (R^2 + R r + r^2) / 3, by polygons of 48 sides."""
    form = mold("sphere")
    (board,) = form.boards(BoardsJob(way="bedded"), PiecesJob(natches="insert")).boards
    natch = form.pieces.joints[0].natches[0]
    large, small = natch.diameter_mm / 2, natch.tip_mm / 2
    smooth = 2 * np.pi * natch.depth_mm * (large**2 + large * small + small**2) / 3
    share = 24 * np.sin(2 * np.pi / 48) / np.pi
    assert board.mesh.volume == pytest.approx(share * smooth, rel=1e-6)
    assert board.kind == "insert" and board.serves == () and board.off is None
    assert_printable(board)


# --- the mark -----------------------------------------------------------------------------------


def read_on_plaster(plain: Solid, board: Put) -> shapely.MultiPolygon:
    """What the board sinks into a plain face, as it looks from outside: the viewer's right is u."""
    rotation = rotation_for(board.off, up=(0.0, 1.0, 0.0) if abs(board.off[2]) > 0.9 else (0.0, 0.0, 1.0))
    level = board.face_mm - RAISED_MM / 2
    cast = from_manifold(difference(plain, board.solid))
    sunk = shapely.difference(
        *(section(solid, level, rotation=rotation) for solid in (from_manifold(plain), cast))
    )
    return shapely.MultiPolygon([part for part in shapely.get_parts(sunk) if part.area > 0.1])


def likeness(seen: shapely.MultiPolygon, text: str, size: float, turn: float, *, mirror: bool) -> float:
    """Common area over joined area, laid middle on middle."""
    letters = shapely.affinity.scale(lettering(text, size=size), -1 if mirror else 1, 1, origin=(0, 0))
    letters = shapely.affinity.rotate(letters, turn, origin=(0, 0))
    shift = np.array(seen.centroid.coords[0]) - np.array(letters.centroid.coords[0])
    letters = shapely.affinity.translate(letters, *shift)
    return float(shapely.intersection(seen, letters).area / shapely.union(seen, letters).area)


@pytest.mark.parametrize("of", [("tumbler", None), ("mug", None), ("bud-vase", "box")])
def test_the_mark_reads_on_the_plaster(of: tuple[str, CottleKind | None]) -> None:
    """Cast into an outside face, it is the lettering itself, and nothing like its mirror image."""
    job = BoardsJob(mark="F7R")
    form = mold(*of)
    marked = [put(board) for board in form.boards(job).boards if board.marked and board.off is not None]
    plain = {one.pose.letter: one for one in pours(of, BLANK)}
    assert marked
    for board in marked:
        for letter in board.board.marked:
            seen = read_on_plaster(plain[letter].fill, board)
            tries = [(size, turn) for size in (9.0, 8, 7, 6, 5) for turn in (*TURNS_DEG, 180, 270, -45, 225)]
            text = f"F7R {letter}"
            right = max(likeness(seen, text, size, turn, mirror=False) for size, turn in tries)
            wrong = max(likeness(seen, text, size, turn, mirror=True) for size, turn in tries)
            assert right > 0.9 and wrong < 0.7


@pytest.mark.parametrize("of", MOLDS)
def test_every_piece_is_marked_once(of: tuple[str, CottleKind | None]) -> None:
    form = mold(*of)
    marked = [letter for board in form.boards(BoardsJob()).boards for letter in board.marked]
    assert sorted(marked) == sorted(piece.letter for piece in form.pieces.pieces)
    assert not any(board.marked for board in form.boards(BLANK).boards)


def test_a_tag_reads_in_the_plaster_and_fits_the_bed() -> None:
    form = mold("sphere")
    job = BoardsJob(mark="a mold with quite a long name that goes on")
    bed = (180.0, 180.0, 100.0)
    tags = [board for board in form.boards(job, bed_mm=bed).boards if board.kind == "tag"]
    assert [tag.serves for tag in tags] == [("B",), ("A",)]
    for tag in tags:
        assert_printable(tag, bed)
        assert len(tag.prints) == 2 or tag.cuts == 0
        flat = section(tag.mesh, tag.mesh.bounds[1, 2] - RAISED_MM / 2)
        text = f"{job.mark} {tag.serves[0]}"
        seen = shapely.affinity.scale(flat, -1, 1, origin=(0, 0))  # the plaster is its mirror image
        assert max(likeness(seen, text, size, 0, mirror=False) for size in (7.0, 6, 5)) > 0.95


def test_the_mark_names_form_piece_size_and_date() -> None:
    form = mold("tumbler")
    words = mark_text("tumbler", "A", form.sizing, BoardsJob(date="2024-05-03")).split()
    size = form.sizing.fired_size_mm or form.sizing.master_size_mm
    assert words == ["tumbler", "A", "×".join(f"{side:.0f}" for side in size), "2024-05-03"]
    assert mark_text("tumbler", "A", form.sizing, BoardsJob(mark=" ")) == ""


def test_a_mark_without_glyphs_is_left_out_and_said() -> None:
    found = mold("tumbler").boards(BoardsJob(mark="杯"))
    (finding,) = found.findings
    assert finding.code == "no-mark" and finding.level == "warn" and "U+676F" in finding.says
    assert not any(board.marked for board in found.boards)


def test_same_boards_from_the_same_mold() -> None:
    form = mold("mug")
    one, other = form.boards(BoardsJob()), form.boards_made_anew(BoardsJob())
    assert [stl_bytes(a.mesh, a.name) for a in one.boards] == [
        stl_bytes(b.mesh, b.name) for b in other.boards
    ]
    assert SHARP.chamfer_mm == 0
