"""Poses and cottles: how each pour stands, what is under it, and how much cottle, strap and clay it wants."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from moldprep.cottling import (
    FREEBOARD_MM,
    GRIP_MM,
    OVERLAP_MM,
    STEP_MM,
    STRAP_EVERY_MM,
    CottleNeed,
    cottle_needs,
)
from moldprep.geometry.columns import rotation_for
from moldprep.job import BoardsJob, CottleKind
from moldprep.poses import Pose
from tests.poured import Mold, mold

BOARDS = BoardsJob()
BEDDED = BoardsJob(way="bedded")
MOLDS: list[tuple[str, CottleKind | None]] = [
    ("tumbler", None),
    ("sphere", None),
    ("bud-vase", "ring"),
    ("bud-vase", "box"),
    ("mug", None),
]


def needs(form: Mold) -> list[tuple[Pose, CottleNeed]]:
    poses = form.poses(BOARDS)
    return list(zip(poses, cottle_needs(poses, form.pieces, form.block), strict=True))


# --- poses --------------------------------------------------------------------------------------


def test_one_piece_is_poured_with_its_spare_down_and_plaster_over_the_foot() -> None:
    form = mold("tumbler")
    (pose,) = form.poses(BOARDS)
    assert pose.up == (0, 0, -1) and pose.stance == "upside down"
    assert -pose.base_mm == pytest.approx(form.stand.top_mm)  # on the opening plane
    assert pose.open_mm == pytest.approx(form.stand.floor_mm)  # a floor over the foot, which is at 0
    assert "spare sealed to the board" in pose.says and "over its closed end" in pose.says


def test_halves_between_boards_lie_on_their_seam_face() -> None:
    """Up is the pull, the seam lies at the base, and the open side is the board-flat back of the block."""
    form = mold("bud-vase", "box")
    first, second, _ = form.poses(BOARDS)
    for pose in (first, second):
        piece = form.piece(pose.letter)
        assert pose.stance == "lying" and pose.up == pytest.approx(piece.pull)
        assert pose.base_mm == pytest.approx(0, abs=1e-6)  # the seam goes through the axis
        assert pose.open_mm == pytest.approx(float(np.max(form.block.outline @ np.array(pose.up[:2]))))
    assert "turned over: on the soaped seam face of B" in second.says


@pytest.mark.parametrize("kind", ["ring", "box"])
def test_the_foot_piece_comes_last_on_the_assembled_halves(kind: CottleKind) -> None:
    form = mold("bud-vase", kind)
    poses = form.poses(BOARDS)
    foot = poses[-1]
    assert foot.name == "foot" and foot.up == (0, 0, -1) and foot.against == ("B", "C")
    assert "on the soaped B and C banded together" in foot.says
    halves = [form.piece(pose.letter).mesh for pose in poses[:-1]]
    assert -foot.base_mm == pytest.approx(min(mesh.bounds[0, 2] for mesh in halves))
    assert foot.open_mm == pytest.approx(form.stand.floor_mm)


@pytest.mark.parametrize("of", MOLDS)
def test_a_pose_turns_the_piece_onto_its_base(of: tuple[str, CottleKind | None]) -> None:
    """A rotation, no mirroring; the piece lies between base and open side but for its knobs."""
    form = mold(*of)
    for pose in form.poses(BOARDS):
        turn = rotation_for(pose.up)
        assert turn @ turn.T == pytest.approx(np.eye(3)) and np.linalg.det(turn) == pytest.approx(1)
        piece = form.piece(pose.letter)
        level = (piece.mesh.vertices @ turn.T)[:, 2]
        knob = max(
            (
                natch.depth_mm
                for joint in form.pieces.joints
                for natch in joint.natches
                if joint.knob == pose.letter
            ),
            default=0.0,
        )
        assert pose.base_mm - knob - 1e-6 <= level.min() <= pose.base_mm + 1e-6
        assert level.max() == pytest.approx(pose.open_mm, abs=1e-6)
        below = piece.mesh.areas[piece.mesh.normals @ np.array(pose.up) < -0.999].sum()
        assert below > 0  # it stands on a face, not on an edge


@pytest.mark.parametrize("of", MOLDS)
def test_each_piece_is_poured_against_those_before_it_that_it_meets(
    of: tuple[str, CottleKind | None],
) -> None:
    form = mold(*of)
    poses = form.poses(BOARDS)
    assert sorted(pose.letter for pose in poses) == [piece.letter for piece in form.pieces.pieces]
    for k, pose in enumerate(poses):
        before = {other.letter for other in poses[:k]}
        meets = {
            letter
            for joint in form.pieces.joints
            for letter in (joint.socket, joint.knob)
            if pose.letter in (joint.socket, joint.knob)
        }
        assert set(pose.against) == before & meets
        assert ("every joint face" in pose.separator) == bool(before)


def test_the_piece_with_sockets_is_poured_before_the_one_with_knobs() -> None:
    form = mold("bud-vase", "ring")
    order = [pose.letter for pose in form.poses(BOARDS)]
    assert all(order.index(joint.socket) < order.index(joint.knob) for joint in form.pieces.joints)


# --- bedded in clay -----------------------------------------------------------------------------


def test_a_whole_master_is_bedded_up_to_its_seam() -> None:
    """Upside down, from the top of the spare to the seam; the other piece stands on set plaster."""
    form = mold("sphere")
    first, second = form.poses(BEDDED)
    seam = form.pieces.joints[0].offset_mm
    assert first.bedding_mm == pytest.approx(form.stand.top_mm - seam)
    assert f"bedded in clay {first.bedding_mm:.0f} mm deep" in first.says
    assert second.bedding_mm is None and "on the soaped B" in second.says


def test_lying_halves_are_bedded_to_the_axis_with_a_wall_at_the_foot_s_seam() -> None:
    form = mold("bud-vase", "box")
    first, second, foot = form.poses(BEDDED)
    radius = float(np.abs(form.stand.mesh.vertices @ np.array(first.up)).max())
    assert first.bedding_mm == pytest.approx(radius, rel=1e-6)
    assert second.bedding_mm is None and foot.bedding_mm is None
    for pose in (first, second):
        assert "a smooth wall of clay at the level seam to A" in pose.says
    assert all("an end plate at the level seam to A" in pose.says for pose in form.poses(BOARDS)[:2])


def test_standing_halves_are_both_bedded_up_to_the_foot_s_seam() -> None:
    form = mold("bud-vase", "ring")
    first, second, foot = form.poses(BEDDED)
    (seam,) = {joint.offset_mm for joint in form.pieces.joints if joint.normal[2] < -0.999}
    assert first.bedding_mm == second.bedding_mm == pytest.approx(-seam)  # the foot is at 0
    assert foot.bedding_mm is None
    assert "wall of clay up the middle" in first.says and "wall of clay taken away" in second.says


def test_with_boards_nothing_is_bedded() -> None:
    assert all(pose.bedding_mm is None for of in MOLDS for pose in mold(*of).poses(BOARDS))


# --- cottles ------------------------------------------------------------------------------------


@pytest.mark.parametrize("of", MOLDS)
def test_the_cottle_covers_the_plaster_with_freeboard_and_grip(
    of: tuple[str, CottleKind | None],
) -> None:
    for pose, need in needs(mold(*of)):
        fill = pose.open_mm - pose.base_mm
        grip = GRIP_MM if pose.against and pose.stance != "standing" else 0.0
        assert fill + FREEBOARD_MM + grip <= need.height_mm < fill + FREEBOARD_MM + grip + STEP_MM
        assert need.height_mm % STEP_MM == 0
        assert need.straps >= 2 and need.straps * STRAP_EVERY_MM >= need.height_mm


@pytest.mark.parametrize("stem", ["tumbler", "sphere"])
def test_a_ring_s_strip_is_pi_d_and_its_overlap(stem: str) -> None:
    form = mold(stem)
    (diameter,) = form.block.inner_mm
    for _, need in needs(form):
        length = np.pi * diameter + OVERLAP_MM
        assert form.block.kind == need.kind == "ring" and need.boards == ()
        assert length - 0.5 <= need.sheet_mm < length + STEP_MM
        assert need.seal_mm == pytest.approx(np.pi * diameter, rel=1e-3)


def test_a_flange_up_the_middle_is_sealed_on_both_sides() -> None:
    form = mold("bud-vase", "ring")
    (first, one), (_, other), _ = needs(form)
    assert one.seal_mm - other.seal_mm == pytest.approx(2 * (first.open_mm - first.base_mm))


def test_boards_round_a_lying_half_are_as_long_as_it() -> None:
    """Across it the cottle's width; along it from the foot's seam to the opening plane."""
    form = mold("bud-vase", "box")
    (_, one), (_, other), (_, foot) = needs(form)
    (seam,) = {-joint.offset_mm for joint in form.pieces.joints if joint.normal[2] < -0.999}
    wide, long = form.block.inner_mm[0], form.block.top_mm - seam
    for need in (one, other):
        assert need.boards == pytest.approx((wide, long)) and need.sheet_mm == 0
        assert need.seal_mm == pytest.approx(2 * (wide + long))
    assert foot.boards == form.block.inner_mm
    assert foot.seal_mm == pytest.approx(2 * sum(form.block.inner_mm))


def test_pours_follow_their_order() -> None:
    """Halves from one side, then the other, then what closes them: never a piece on nothing."""
    for of in MOLDS:
        poses = mold(*of).poses(BOARDS)
        assert not poses[0].against
        assert all(later.against for _, later in pairwise(poses))
