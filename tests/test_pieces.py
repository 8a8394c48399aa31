"""The pieces: volumes by formula, one connected solid each, islands carried, faces under their own pull."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from moldprep.cottle import Block, choose_block
from moldprep.errors import Point
from moldprep.files.read import read_master
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import intersection, parts, to_manifold, union
from moldprep.job import CottleJob, PiecesJob, PullJob, job_from_dict
from moldprep.parting import Candidate, Layer, Parting
from moldprep.pieces import MOST_IMBALANCE, Pieces, cut_pieces
from moldprep.pull import FREE, LOCKED, SEAM_BAND_MM, TIGHT
from moldprep.stand import Stand
from tests.forms import disc_on_stem, from_trimesh, grooved, tumbler, turned
from tests.molds import mold_of
from tests.samples import FOLDER, catalog

UP: Point = (0.0, 0.0, 1.0)
WALL = 25.0
FLOOR = 25.0
SECTIONS = 128
JOB = PullJob()
BARE = PiecesJob(natches="none", chamfer_mm=0)
"""As the seams cut them: no natches, sharp edges."""


def stood(form: Mesh, *, opening: str = "rim", floor: float = FLOOR) -> Stand:
    """The form as it is: its highest point is the opening plane, there is no spare."""
    top = float(form.bounds[1, 2])
    return Stand(opening, False, "test", np.eye(4), form, form, (), top, top, 0.0, floor, 0.0)  # type: ignore[arg-type]


def boxed(stand: Stand) -> Block:
    return choose_block(stand, CottleJob(kind="box"), wall_mm=WALL)


def parted(*layers: Layer, axis: Point = UP) -> Parting:
    """A parting that was chosen by hand."""
    chosen = Candidate(axis, layers, "split-layers", 0, 0.0, 0.0, 0.0, (), 0.0, "by hand")
    return Parting(chosen, (), None, None, ())  # type: ignore[arg-type]


def cut(form: Mesh, *layers: Layer, axis: Point = UP, job: PullJob = JOB, **stand: object) -> Pieces:
    stood_form = stood(form, **stand)  # type: ignore[arg-type]
    return cut_pieces(stood_form, boxed(stood_form), parted(*layers, axis=axis), job, BARE)


def ball(radius: float = 40.0) -> Mesh:
    made = trimesh.creation.uv_sphere(radius=radius, count=[32, 64])
    made.apply_translation([0, 0, radius])
    return from_trimesh(made)


def recessed() -> Mesh:
    """A straight-sided pot with a recess 6 deep under its foot, radius 20 above and 21 below."""
    return turned([(0, 6), (20, 6), (21, 0), (30, 0), (34, 80), (0, 80)], sections=SECTIONS)


def names(pieces: Pieces) -> list[str]:
    return [piece.name for piece in pieces.pieces]


def assert_whole(pieces: Pieces, form: Mesh) -> None:
    """Every piece one connected solid; pieces and form fill the block; no two pieces share plaster."""
    solids = [to_manifold(piece.mesh) for piece in pieces.pieces]
    assert [len(parts(solid)) for solid in solids] == [1] * len(solids)
    filled = sum(solid.volume() for solid in solids) + form.volume
    assert filled == pytest.approx(pieces.block_volume_mm3, rel=MOST_IMBALANCE)
    assert pieces.balance <= MOST_IMBALANCE
    for k, solid in enumerate(solids):
        assert intersection(solid, to_manifold(form)).volume() < MOST_IMBALANCE * pieces.block_volume_mm3
        for other in solids[k + 1 :]:
            assert intersection(solid, other).volume() < MOST_IMBALANCE * pieces.block_volume_mm3


# --- volumes ------------------------------------------------------------------------------------


def test_one_piece_is_the_block_less_the_form() -> None:
    form = tumbler(sections=SECTIONS)
    found = cut(form, Layer(-FLOOR, 100, "down"))
    (piece,) = found.pieces
    width, depth = boxed(stood(form)).inner_mm
    assert (piece.name, piece.letter) == ("mold", "A")
    assert piece.pull == pytest.approx((0, 0, -1))
    assert piece.volume_mm3 == pytest.approx(width * depth * 125 - form.volume)
    assert found.findings == ()


def test_two_pieces_of_a_ball_by_the_cap_s_formula() -> None:
    """Cap pi h^2 (3R - h) / 3; the polygon's ball is smaller by its volume's share."""
    radius, height = 40.0, 25.0
    form = ball(radius)
    found = cut(form, Layer(-FLOOR, height, "down"), Layer(height, 2 * radius, "up"))
    assert_whole(found, form)
    assert names(found) == ["top", "foot"]
    width, depth = boxed(stood(form)).inner_mm
    cap = np.pi * height**2 * (3 * radius - height) / 3
    smooth = 4 / 3 * np.pi * radius**3
    chords = smooth - form.volume
    foot = found.pieces[1]
    assert foot.volume_mm3 == pytest.approx(width * depth * (height + FLOOR) - cap, abs=chords)
    assert foot.volume_mm3 > width * depth * (height + FLOOR) - cap


def test_halves_through_the_axis_are_alike() -> None:
    found = cut(grooved(sections=SECTIONS), Layer(-FLOOR, 80, "split", 0.0, 0.0))
    left, right = found.pieces
    assert (left.name, right.name) == ("left", "right")
    assert left.volume_mm3 == pytest.approx(right.volume_mm3, rel=1e-6)


def test_an_offset_moves_plaster_from_one_half_to_the_other() -> None:
    """Beyond the form, the slab between the planes is offset x depth x height."""
    form = tumbler(sections=SECTIONS)
    side = boxed(stood(form)).inner_mm[1]
    here, there = (
        cut(form, Layer(-FLOOR, 100, "split", 0.0, at)).pieces[1].volume_mm3 for at in (45.0, 50.0)
    )
    assert here - there == pytest.approx(5 * side * 125)


def test_four_pieces() -> None:
    form = recessed()
    found = cut(form, Layer(-FLOOR, 6, "down"), Layer(6, 50, "split", 90.0, 0.0), Layer(50, 80, "up"))
    assert names(found) == ["top", "foot", "front", "back"]
    assert [piece.letter for piece in found.pieces] == ["A", "B", "C", "D"]
    assert_whole(found, form)


@settings(max_examples=12, deadline=None)
@given(
    low=st.floats(-20, 38),
    high=st.floats(40, 99),
    azimuth=st.floats(0, 180),
    offset=st.floats(-15, 15),
)
def test_any_layers_share_out_the_block(low: float, high: float, azimuth: float, offset: float) -> None:
    form = tumbler(sections=32)
    found = cut(
        form,
        Layer(-FLOOR, low, "down"),
        Layer(low, high, "split", azimuth, offset),
        Layer(high, 100, "up"),
    )
    assert len(found.pieces) == 4
    assert_whole(found, form)


@pytest.mark.parametrize("axis", [(0.6, 0.0, 0.8), (1.0, 0.0, 0.0), (0.0, -0.6, 0.8)])
def test_a_leaning_stack_cuts_across_its_axis(axis: Point) -> None:
    form = ball()
    middle = float(np.dot(axis, [0, 0, 40]))
    found = cut(form, Layer(-200, middle, "down"), Layer(middle, 200, "up"), axis=axis)
    assert_whole(found, form)
    pulls = [piece.pull for piece in found.pieces]
    assert pulls[0] == pytest.approx(axis) and pulls[1] == pytest.approx([-value for value in axis])
    for piece in found.pieces:
        along = (piece.mesh.vertices @ np.array(axis) - middle) * np.dot(piece.pull, axis)
        assert along.min() > -1e-6


def test_layers_outside_the_block_make_no_pieces() -> None:
    found = cut(tumbler(sections=SECTIONS), Layer(-FLOOR, 100, "down"), Layer(100, 130, "up"))
    assert names(found) == ["mold"]


# --- islands ------------------------------------------------------------------------------------


@pytest.mark.parametrize("height", [1.0, 3.0, 5.5])
@pytest.mark.parametrize("azimuth", [0.0, 30.0])
def test_the_boss_in_a_foot_recess_goes_to_the_foot_piece(height: float, azimuth: float) -> None:
    """A plane through the recess cuts its boss off from the halves; only the foot piece can draw it."""
    form = recessed()
    found = cut(form, Layer(-FLOOR, height, "down"), Layer(height, 80, "split", azimuth, 0.0))
    assert_whole(found, form)
    assert found.findings == ()
    foot = found.pieces[0]
    assert foot.name == "foot"
    assert foot.mesh.bounds[1, 2] == pytest.approx(6)
    under = form.centroids[:, 2] < 6.01
    boss = under & (np.hypot(*form.centroids[:, :2].T) < 21)
    assert (found.face_piece[boss] == 0).all()


def test_a_boss_that_its_neighbour_cannot_draw_is_a_stop() -> None:
    """Recess of radius 12 below and 20 above: no pull frees the boss."""
    form = turned([(0, 6), (20, 6), (12, 0), (30, 0), (34, 80), (0, 80)], sections=SECTIONS)
    found = cut(form, Layer(-FLOOR, 3, "down"), Layer(3, 80, "split", 0.0, 0.0))
    assert {finding.code for finding in found.findings} == {"island"}
    stop = found.findings[0]
    assert stop.level == "stop" and stop.remedy
    assert 3 <= stop.where[0][2] <= 6
    assert found.balance <= MOST_IMBALANCE


# --- names and order ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "azimuth, expected",
    [
        (0.0, ["left", "right"]),
        (90.0, ["front", "back"]),
        (30.0, ["left", "right"]),
        (120.0, ["front", "back"]),
    ],
)
def test_halves_are_named_by_where_they_go(azimuth: float, expected: list[str]) -> None:
    """Seen from the front: -y is front, x is right."""
    found = cut(tumbler(sections=32), Layer(-FLOOR, 100, "split", azimuth, 0.0))
    assert names(found) == expected
    side = {"left": (0, -1), "right": (0, 1), "front": (1, -1), "back": (1, 1)}
    for piece in found.pieces:
        axis, sign = side[piece.name]
        assert piece.pull[axis] * sign > 0.5


def test_two_split_layers_are_told_apart_by_height() -> None:
    found = cut(tumbler(sections=32), Layer(-FLOOR, 40, "split", 0.0, 0.0), Layer(40, 100, "split", 0.0, 0.0))
    assert names(found) == ["upper left", "upper right", "lower left", "lower right"]


def test_two_split_layers_across_each_other_need_no_more_words() -> None:
    found = cut(
        tumbler(sections=32), Layer(-FLOOR, 40, "split", 90.0, 0.0), Layer(40, 100, "split", 0.0, 0.0)
    )
    assert names(found) == ["left", "right", "front", "back"]


def test_of_a_form_cast_base_up_the_lowest_piece_is_not_called_foot() -> None:
    form = ball()
    found = cut(form, Layer(-FLOOR, 40, "down"), Layer(40, 80, "up"), opening="foot")
    assert names(found) == ["top", "bottom"]


# --- faces --------------------------------------------------------------------------------------


def test_every_face_but_the_opening_touches_the_piece_on_its_side() -> None:
    form = grooved(sections=SECTIONS)
    found = cut(form, Layer(-FLOOR, 80, "split", 0.0, 0.0))
    opening = form.centroids[:, 2] > 80 - 1e-9
    assert ((found.face_piece == -1) == opening).all()
    x = form.centroids[:, 0]
    aside = ~opening & (np.abs(x) > 40 * np.sin(2 * np.pi / SECTIONS))  # beyond faces that may cross the seam
    level = np.abs(form.normals[:, 2]) > 0.5  # the fans of the flat foot reach across
    aside &= ~(level & (np.ptp(form.vertices[form.faces][..., 0], axis=1) > np.abs(x)))
    assert (found.face_piece[aside] == (x[aside] > 0)).all()


def test_faces_in_a_seam_plane_belong_to_the_piece_they_look_into() -> None:
    """The ceiling of a recess lies in the plane between foot and halves."""
    form = recessed()
    found = cut(form, Layer(-FLOOR, 6, "down"), Layer(6, 80, "split", 0.0, 0.0))
    ceiling = (np.abs(form.centroids[:, 2] - 6) < 1e-9) & (form.normals[:, 2] < -0.5)
    assert ceiling.any() and (found.face_piece[ceiling] == 0).all()


def test_a_block_without_floor_touches_no_foot() -> None:
    form = tumbler(sections=SECTIONS)
    found = cut(form, Layer(0, 100, "down"), floor=0.0)
    foot = form.normals[:, 2] < -0.5
    assert (found.face_piece[foot] == -1).all()


def test_least_draft_of_a_frustum_is_its_taper() -> None:
    """atan(10/100) = 5.711 degrees, less the chord: atan(cos(pi/n) 10/100)."""
    found = cut(tumbler(sections=SECTIONS), Layer(-FLOOR, 100, "down"))
    assert found.pieces[0].least_draft_deg == pytest.approx(
        np.degrees(np.arctan(np.cos(np.pi / SECTIONS) / 10)), abs=1e-6
    )
    assert (found.face_class == FREE).all()


def test_least_draft_of_a_ball_is_read_beyond_the_seam_band() -> None:
    """At a height t above the equator the draft is asin(t / R); the 1 % quantile of the sphere's area lies
    1 % of the judged height further on (Archimedes: area goes with height)."""
    radius = 40.0
    form = from_trimesh(trimesh.creation.icosphere(subdivisions=5, radius=radius))
    form = Mesh(form.vertices + np.array([0, 0, radius]), form.faces)
    found = cut(form, Layer(-FLOOR, radius, "down"), Layer(radius, 2 * radius, "up"))
    judged = SEAM_BAND_MM + 0.01 * (radius - SEAM_BAND_MM)
    facet = np.degrees(2 / radius)  # faces are up to 2 mm tall
    for piece in found.pieces:
        assert piece.least_draft_deg == pytest.approx(np.degrees(np.arcsin(judged / radius)), abs=facet / 2)


def test_a_groove_locks_a_single_piece_and_frees_halves() -> None:
    form = grooved(sections=SECTIONS)
    groove = (form.centroids[:, 2] >= 30 - 1e-9) & (form.centroids[:, 2] <= 40 + 1e-9)
    groove &= np.hypot(*form.centroids[:, :2].T) < 39.5
    single = cut(form, Layer(-FLOOR, 80, "down"))
    assert (single.face_class[groove] == LOCKED).all()
    assert not (single.face_class[~groove] == LOCKED).any()
    halves = cut(form, Layer(-FLOOR, 80, "split", 0.0, 0.0))
    assert not (halves.face_class == LOCKED).any()


def test_under_a_disc_only_the_piece_that_goes_down_is_free() -> None:
    form = disc_on_stem(sections=SECTIONS)
    underside = (np.abs(form.centroids[:, 2] - 50) < 1e-9) & (form.normals[:, 2] < -0.5)
    upward = cut(form, Layer(-FLOOR, 60, "up"))
    assert (upward.face_class[underside] == LOCKED).all()
    downward = cut(form, Layer(-FLOOR, 60, "down"))
    assert (downward.face_class[underside] == FREE).all()


def test_a_cylinder_split_off_its_facets_is_not_locked() -> None:
    """64 sides, the plane turned by a third of a facet: the facet that crosses it leans back a little."""
    form = turned([(0, 0), (40, 0), (40, 80), (0, 80)], sections=64)
    found = cut(form, Layer(-FLOOR, 80, "split", 360 / 64 / 3, 0.0))
    assert not (found.face_class == LOCKED).any()


def test_a_straight_wall_is_tight_and_its_seam_band_is_not_judged() -> None:
    form = turned([(0, 0), (30, 0), (30, 80), (0, 80)], sections=SECTIONS)
    one = cut(form, Layer(-FLOOR, 80, "down"))
    wall = np.abs(form.normals[:, 2]) < 0.5
    assert (one.face_class == np.where(wall, TIGHT, FREE)).all()
    halves = cut(form, Layer(-FLOOR, 80, "split", 0.0, 0.0))
    near = np.abs(form.centroids[:, 0]) < SEAM_BAND_MM
    assert (halves.face_class[wall] == FREE).all()
    foot = form.normals[:, 2] < -0.5  # a flat foot slides along sideways pulls
    assert (halves.face_class[foot & ~near] == TIGHT).all()
    assert (halves.face_class[foot & near] == FREE).all()


def test_a_stricter_least_draft_never_flags_less() -> None:
    form = ball()
    layers = Layer(-FLOOR, 40, "down"), Layer(40, 80, "up")
    tight = [
        form.areas[cut(form, *layers, job=PullJob(least_draft_deg=least)).face_class == TIGHT].sum()
        for least in (1.0, 5.0, 10.0, 20.0)
    ]
    assert tight == sorted(tight) and tight[-1] > 0


def test_a_handled_form_in_halves_keeps_each_piece_whole() -> None:
    """An upright ring on a body: the plaster in its eye belongs to both halves, none is an island."""
    ring = trimesh.creation.torus(25, 6, major_sections=48, minor_sections=24)
    ring.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    ring.apply_translation([45, 0, 50])
    form = union([turned([(0, 0), (35, 0), (35, 100), (0, 100)], sections=48), from_trimesh(ring)])
    found = cut(form, Layer(-FLOOR, 100, "split", 90.0, 0.0))
    assert_whole(found, form)
    assert not (found.face_class == LOCKED).any()
    across = cut(form, Layer(-FLOOR, 100, "split", 0.0, 0.0))
    assert (across.face_class == LOCKED).any()  # pulled along x, the eye holds its plaster


@pytest.mark.parametrize(("size", "percent"), [(120.0, 12.0), (110.0, 11.0), (250.0, 13.0), (87.3, 9.7)])
def test_the_form_is_taken_from_the_block_at_any_size(size: float, percent: float) -> None:
    """Sizes at which the opening once missed the block's top by a rounding and the form was left inside."""
    entry = catalog()["relief-tile"]
    job = job_from_dict({**entry["job"], "form": {"size_mm": size}, "shrinkage": {"total_percent": percent}})
    made = mold_of(read_master(FOLDER / entry["file"], job.form), job)
    (piece,) = made.pieces.pieces
    assert piece.poured_mm3 == pytest.approx(made.block.volume_mm3 - made.stand.mesh.volume, rel=1e-9)
    assert "volume-balance" not in [finding.code for finding in made.pieces.findings]
