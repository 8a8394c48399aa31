"""The proof of release: molds broken on purpose are caught, good ones pass, both with both witnesses."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
import trimesh

from moldprep.cottle import choose_block
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import Solid, difference, from_manifold, to_manifold, united
from moldprep.geometry.sweep import GROWTH
from moldprep.job import CottleJob, PiecesJob, PullJob
from moldprep.parting import Layer
from moldprep.pieces import Joint, Natch, Piece, Pieces, cut_pieces, plug_for
from moldprep.release import LINES, MASTER, Release, prove_release, release_in_order
from moldprep.stand import Stand
from tests.forms import from_trimesh, grooved, tumbler, turned
from tests.molds import Mold, parted, stood
from tests.samples import FOLDER, catalog, planned

sys.path.append(str(FOLDER.parent))
from sample_meshes import lofts, make

TOLERANCE = 0.15
FINE = TOLERANCE / 3
WALL, FLOOR = 36.0, 30.0
NEAR = 2.0


@cache
def sample(stem: str) -> Mold:
    """Of one of the samples, its outer edges sharp."""
    made = planned(stem)
    pieces = cut_pieces(made.stand, made.block, made.parting, made.job.pull, PiecesJob(chamfer_mm=0))
    release = prove_release(made.stand, pieces, made.parting, tolerance_mm=made.job.pull.tolerance_mm)
    return Mold(made.stand, made.block, made.parting, pieces, release)


def cut(form: Mesh, *layers: Layer, natches: str = "cast") -> tuple[Stand, Pieces]:
    stand = stood(form, FLOOR)
    block = choose_block(stand, CottleJob(kind="box"), wall_mm=WALL)
    job = PiecesJob(natches=natches, chamfer_mm=0)  # type: ignore[arg-type]
    return stand, cut_pieces(stand, block, parted(*layers), PullJob(), job)


def proved(stand: Stand, pieces: Pieces) -> Release:
    return prove_release(stand, pieces, parted(), tolerance_mm=TOLERANCE)


def proved_in_order(stand: Stand, pieces: tuple[Piece, ...]) -> Release:
    return release_in_order(stand.mesh, pieces, parted(), tolerance_mm=TOLERANCE)


def reshaped(piece: Piece, solid: Solid) -> Piece:
    mesh = from_manifold(solid)
    return replace(piece, mesh=mesh, volume_mm3=mesh.volume, form_face=np.full(len(mesh.faces), -1))


def set_in(pieces: Pieces, natch: Natch, *, knob: str, socket: str, extra: Solid | None = None) -> Pieces:
    """The pieces with one more natch, and more of the knob's plaster where its root needs it."""
    plug = plug_for(natch) if extra is None else united([plug_for(natch), extra])
    made = []
    for piece in pieces.pieces:
        solid = to_manifold(piece.mesh)
        if piece.letter == knob:
            piece = reshaped(piece, united([solid, plug]))
        elif piece.letter == socket:
            piece = reshaped(piece, difference(solid, plug))
        made.append(piece)
    return replace(pieces, pieces=tuple(made))


def caught(found: Release, letter: str, holder: str) -> tuple[float, np.ndarray]:
    """The proof of the piece that is held, by both witnesses; how wide, and where."""
    proof = next(proof for proof in found.proofs if proof.letter == letter)
    assert not found.opens and not proof.released
    assert proof.blocked_by == holder
    assert proof.lateral_mm > TOLERANCE
    assert max(one.lateral_mm for one in proof.slid) > TOLERANCE
    first = next(proof for proof in found.proofs if not proof.released)
    (finding,) = found.findings
    assert (finding.level, finding.code) == ("stop", "not-released")
    assert f"Piece {first.letter} ({first.name})" in finding.says and finding.remedy
    assert finding.where == (first.where,)
    assert proof.where is not None
    return proof.lateral_mm, np.array(proof.where)


def assert_opens(found: Release) -> None:
    assert found.opens and found.whole and found.findings == ()
    for proof in found.proofs:
        assert proof.released and proof.blocked_by == ""
        assert proof.lateral_mm <= TOLERANCE  # columns
        distances = [one.distance_mm for one in proof.slid]
        assert distances == pytest.approx([TOLERANCE * GROWTH**k for k in range(len(distances))])
        assert distances[-1] > 200
        assert max(one.lateral_mm for one in proof.slid) <= TOLERANCE  # copies


# --- good molds ---------------------------------------------------------------------------------


@pytest.mark.parametrize("stem", ["sphere", "bud-vase", "tumbler"])
def test_good_molds_open_by_both_witnesses(stem: str) -> None:
    mold = sample(stem)
    assert_opens(mold.release)
    assert mold.release.order == tuple(piece.letter for piece in mold.pieces.pieces)
    assert mold.release.missing_mm3 == pytest.approx(0, abs=1e-6 * mold.pieces.block_volume_mm3)


def turned_volume(name: str, low: float, high: float) -> float:
    """Of a sample of revolution between two heights, by Pappus' second theorem: 2 pi x area x its centroid."""
    half = shapely.Polygon(lofts.sampled(make.PROFILES[name], 4000))
    part = shapely.intersection(half, shapely.box(0, low, 1e3, high))
    return float(2 * np.pi * part.centroid.x * part.area)


def frustum(wide: float, narrow: float, height: float) -> float:
    return float(np.pi * height / 3 * (wide**2 + narrow**2 + wide * narrow))


def plugs(pieces: Pieces, letter: str) -> float:
    """What knobs add to a piece less what its sockets take; of 48 sides."""
    sides = 48 / 2 * np.sin(2 * np.pi / 48) / np.pi
    total = 0.0
    for joint in pieces.joints:
        sign = {joint.knob: 1, joint.socket: -1}.get(letter, 0)
        for one in joint.natches:
            total += sign * sides * frustum(one.diameter_mm / 2, one.tip_mm / 2, one.depth_mm)
    return total


def test_the_pieces_of_a_sphere_by_formula() -> None:
    """Half a ball each, and in the upper one an upright spare, which takes the cap's place."""
    mold, radius, rim = sample("sphere"), 50.0, 15.0
    area, stand = mold.block.area_mm2, mold.stand
    half = 2 / 3 * np.pi * radius**3
    top, foot = mold.pieces.pieces
    chords = catalog()["sphere"]["smooth_volume_mm3"] - catalog()["sphere"]["volume_mm3"]
    cap_height = radius - np.sqrt(radius**2 - rim**2)
    cap = np.pi * cap_height**2 * (3 * radius - cap_height) / 3
    spare = np.pi * rim**2 * stand.spare_mm
    expected = area * (radius + stand.floor_mm) - half + plugs(mold.pieces, "B")
    assert foot.volume_mm3 == pytest.approx(expected, abs=chords)
    expected = area * (stand.top_mm - radius) - (half - cap + spare) + plugs(mold.pieces, "A")
    assert top.volume_mm3 == pytest.approx(expected, abs=chords)


def test_two_halves_and_a_foot_of_the_bud_vase_by_formula() -> None:
    mold = sample("bud-vase")
    area, stand = mold.block.area_mm2, mold.stand
    seam = mold.parting.chosen.layers[0].high_mm
    foot, front, back = mold.pieces.pieces
    entry = catalog()["bud-vase"]
    chords = entry["smooth_volume_mm3"] - entry["volume_mm3"]
    expected = area * (seam + stand.floor_mm) - turned_volume("bud_vase", 0, seam) + plugs(mold.pieces, "A")
    assert foot.volume_mm3 == pytest.approx(expected, abs=chords)
    rim = 18.0
    spare = frustum(rim, rim + 20 * np.tan(np.radians(10)), 20)
    halves = area * (stand.top_mm - seam) - turned_volume("bud_vase", seam, stand.rim_mm) - spare
    for piece in (front, back):
        assert piece.volume_mm3 == pytest.approx(halves / 2 + plugs(mold.pieces, piece.letter), abs=chords)


def test_the_one_piece_of_the_tumbler_by_formula() -> None:
    mold = sample("tumbler")
    (piece,) = mold.pieces.pieces
    entry, rim = catalog()["tumbler"], 39.0
    spare = frustum(rim, rim + 20 * np.tan(np.radians(10)), 20)
    expected = mold.block.area_mm2 * mold.block.fill_mm - turned_volume("tumbler", 0, 110) - spare
    # the spare is a polygon of 96 sides like the form: its share of the form's chords by volume
    chords = (entry["smooth_volume_mm3"] - entry["volume_mm3"]) * (1 + spare / entry["volume_mm3"])
    assert piece.volume_mm3 == pytest.approx(expected, abs=chords)


# --- order and the master's way out -------------------------------------------------------------


def test_the_blocking_matrix_says_which_natches_hold_what() -> None:
    """The foot's knobs stand in the halves: pulled aside first, each half is held as deep as a knob is long."""
    mold = sample("bud-vase")
    blocking = np.array(mold.release.blocking)
    assert blocking.shape == (3, 4)  # three pieces; their holders, and last the master
    depth = next(joint for joint in mold.pieces.joints if joint.knob == "A").natches[0].depth_mm
    read = 2.5 * 200 / LINES
    assert blocking[1:, 0] == pytest.approx(depth, abs=read)
    assert (np.delete(blocking, 0, axis=1) <= TOLERANCE).all() and (blocking[0] <= TOLERANCE).all()


@pytest.mark.parametrize("order", [(1, 2, 0), (1, 0, 2)])
def test_a_foot_natch_holds_halves_that_are_taken_first(order: tuple[int, ...]) -> None:
    mold = sample("bud-vase")
    pieces = tuple(mold.pieces.pieces[k] for k in order)
    found = proved_in_order(mold.stand, pieces)
    assert found.order == tuple(piece.letter for piece in pieces)
    width, where = caught(found, "B", "A")
    foot = [natch for joint in mold.pieces.joints if joint.knob == "A" for natch in joint.natches]
    assert width == pytest.approx(foot[0].depth_mm, abs=2.5 * 200 / LINES)
    sides = np.array([natch.where for natch in foot])[:, :2] - where[:2]
    assert np.linalg.norm(sides, axis=1).min() < foot[0].diameter_mm / 2 + NEAR
    seam = foot[0].where[2]
    assert seam - NEAR < where[2] < seam + foot[0].depth_mm + NEAR


def test_the_master_has_its_own_way_out_of_the_last_piece() -> None:
    stand, pieces = cut(tumbler(sections=128), Layer(-FLOOR, 100, "down"))
    assert_opens(proved(stand, pieces))
    stand, pieces = cut(grooved(sections=128), Layer(-FLOOR, 80, "down"))
    found = proved(stand, pieces)
    width, where = caught(found, "A", MASTER)
    assert width == pytest.approx(6, abs=2.5 * 160 / LINES)  # the groove's depth
    assert 34 < np.hypot(*where[:2]) < 40
    assert where[2] == pytest.approx(30, abs=NEAR)  # going down, its plaster strikes the groove's floor
    assert "the master holds it" in found.findings[0].says and "6." in found.findings[0].says


def test_the_master_is_held_by_the_last_piece_only() -> None:
    """Halves free the groove; in a foot piece that reaches over it, the same groove locks."""
    form = grooved(sections=128)
    assert_opens(proved(*cut(form, Layer(-FLOOR, 80, "split", 0.0, 0.0))))
    found = proved(*cut(form, Layer(-FLOOR, 35, "down"), Layer(35, 80, "split", 0.0, 0.0)))
    assert [proof.released for proof in found.proofs] == [False, True, True]
    caught(found, "A", MASTER)


# --- molds broken on purpose --------------------------------------------------------------------


def ball(radius: float = 40.0) -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=5, radius=radius)
    made.apply_translation([0, 0, radius])
    return from_trimesh(made)


def test_a_plane_moved_by_5_mm_is_caught() -> None:
    """Plaster between equator and seam is held by r - sqrt(r^2 - 5^2) = 0.314 mm."""
    radius = 40.0
    assert_opens(proved(*cut(ball(radius), Layer(-FLOOR, radius, "down"), Layer(radius, 80, "up"))))
    for seam, letter in ((radius + 5, "B"), (radius - 5, "A")):
        found = proved(*cut(ball(radius), Layer(-FLOOR, seam, "down"), Layer(seam, 80, "up")))
        width, where = caught(found, letter, MASTER)
        sag = 1.5**2 / 8 / radius  # edges of the ball are up to 1.5 mm long
        expected = radius - np.sqrt(radius**2 - 25)
        assert width == pytest.approx(expected, abs=2.5 * FINE + sag)
        copies = max(one.lateral_mm for proof in found.proofs for one in proof.slid)
        assert TOLERANCE < copies <= expected + sag + 0.02
        assert radius - 0.5 < np.hypot(*where[:2]) < radius
        assert min(seam, radius) - NEAR < where[2] < max(seam, radius) + NEAR


def lying() -> tuple[Stand, Pieces, Joint]:
    """A ball in two pieces with natches."""
    stand, pieces = cut(ball(), Layer(-FLOOR, 40, "down"), Layer(40, 80, "up"))
    (joint,) = pieces.joints
    assert (joint.socket, joint.knob) == ("B", "A") and len(joint.natches) == 3
    return stand, pieces, joint


def test_a_natch_across_the_pull_is_caught() -> None:
    """On the side of a lug that hangs into the lower piece: held by its diameter, or its length if less."""
    stand, pieces, _ = lying()
    x, y = 52.0, -52.0  # a corner of the block, clear of the ball
    across = Natch((x, y, 30.0), (1.0, 0.0, 0.0), 8.0, 6.0, 5.0)
    lug = trimesh.creation.box(bounds=[(x - 8, y - 6, 24), (x, y + 6, 41)])
    broken = set_in(pieces, across, knob="A", socket="B", extra=to_manifold(from_trimesh(lug)))
    found = proved(stand, broken)
    width, where = caught(found, "A", "B")
    assert width == pytest.approx(5, abs=2.5 * 160 / LINES)  # 5 long and 8 to 6 wide, seen from above
    assert np.linalg.norm(where - (x + 2.5, y, 30)) < 4 + NEAR
    straight = replace(across, where=(x + 4, y, 40.0), axis=(0.0, 0.0, -1.0))
    assert_opens(proved(stand, set_in(pieces, straight, knob="A", socket="B")))


def test_a_natch_that_leans_by_more_than_its_draft_is_caught() -> None:
    stand, pieces, _ = lying()
    upright = Natch((52.0, -52.0, 40.0), (0.0, 0.0, -1.0), 10.0, 10 - 2 * 6 * np.tan(np.radians(15)), 6.0)
    widths = []
    for lean in (0, 10, 25, 45):
        turn = np.radians(lean)
        natch = replace(upright, axis=(float(np.sin(turn)), 0.0, float(-np.cos(turn))))
        found = proved(stand, set_in(pieces, natch, knob="A", socket="B"))
        if lean < 15:
            assert_opens(found)
        else:
            widths.append(caught(found, "A", "B")[0])
    assert widths[1] > widths[0]


def test_two_natched_split_layers_are_caught() -> None:
    """Upper halves leave sideways over knobs of the lower ones."""
    form = turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=96)
    layers = Layer(-FLOOR, 60, "split", 0.0, 0.0), Layer(60, 120, "split", 0.0, 0.0)
    stand, pieces = cut(form, *layers)
    assert_opens(proved(stand, pieces))
    assert [piece.name for piece in pieces.pieces][:1] == ["upper left"]
    between = Natch((-55.0, 20.0, 60.0), (0.0, 0.0, 1.0), 12.0, 8.8, 6.0)
    found = proved(stand, set_in(pieces, between, knob="C", socket="A"))
    width, where = caught(found, "A", "C")
    assert width == pytest.approx(6, abs=2.5 * 180 / LINES)
    assert np.hypot(*(where - between.where)[:2]) < 6 + NEAR and 60 - NEAR < where[2] < 66 + NEAR
    turned_over = replace(between, axis=(0.0, 0.0, -1.0))  # knobs of the upper in the lower ones: no better
    caught(proved(stand, set_in(pieces, turned_over, knob="A", socket="C")), "A", "C")


@pytest.mark.parametrize("missing", [0, 1, 2])
def test_a_missing_piece_is_caught(missing: int) -> None:
    mold = sample("bud-vase")
    left = tuple(piece for k, piece in enumerate(mold.pieces.pieces) if k != missing)
    found = proved(mold.stand, replace(mold.pieces, pieces=left))
    gone = mold.pieces.pieces[missing].volume_mm3
    assert not found.opens and not found.whole
    assert found.missing_mm3 == pytest.approx(gone, rel=1e-6)
    finding = found.findings[0]
    assert (finding.level, finding.code) == ("stop", "not-whole")
    assert f"{gone / 1000:.1f} mL" in finding.says and finding.remedy


def test_a_piece_in_the_place_of_another_is_caught() -> None:
    mold = sample("bud-vase")
    foot, front, _ = mold.pieces.pieces
    found = proved(mold.stand, replace(mold.pieces, pieces=(foot, front, front)))
    assert not found.opens


def test_a_lock_too_small_for_the_columns_is_named_by_the_copies() -> None:
    """A post 0.4 mm across over a plate 160 mm wide stands between columns 0.6 mm apart, or does not."""
    stand, pieces, _ = lying()
    natch = Natch((52.0, -52.0, 30.0), (1.0, 0.0, 0.0), 0.5, 0.4, 5.0)
    lug = to_manifold(from_trimesh(trimesh.creation.box(bounds=[(44, -58, 24), (52, -46, 41)])))
    found = proved(stand, set_in(pieces, natch, knob="A", socket="B", extra=lug))
    proof = found.proofs[0]
    assert not proof.released and proof.blocked_by == "B"
    assert proof.where is not None
    assert np.linalg.norm(np.array(proof.where) - (54.5, -52, 30)) < 2.5 + NEAR
