"""The stand: which opening a form chooses, what its spare looks like, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.errors import FormError, JobError
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import section, signed_area
from moldprep.geometry.solids import parts, to_manifold, union
from moldprep.job import StandJob
from moldprep.sizing import Sizing
from moldprep.stand import LEAST_ACROSS_MM, LINES, Stand, stand_master
from tests.forms import chord_error, from_trimesh, tumbler, turned

WALL = 30.0
SECTIONS = 96
BALL = 50.0


def stood(form: Mesh, **job: object) -> Stand:
    x, y, z = (float(value) for value in form.extents)
    sizing = Sizing(0, 0, None, (1, 1, 1), 1, (x, y, z), (x, y, z), form, form)
    return stand_master(sizing, StandJob(**job), wall_mm=WALL)  # type: ignore[arg-type]


def ball() -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=5, radius=BALL)
    made.apply_translation([0, 0, BALL])
    return from_trimesh(made)


def vase() -> Mesh:
    """A foot of radius 30, a belly of 40, a neck of 12."""
    return turned([(0, 0), (30, 0), (40, 50), (12, 110), (12, 130), (0, 130)], sections=SECTIONS)


def figurine() -> Mesh:
    """A pointed form on a flat base of radius 25."""
    return turned([(0, 0), (25, 0), (30, 30), (0, 80)], sections=SECTIONS)


def cup(*, floor: float = 6.0) -> Mesh:
    """A cup with its inside modelled: wall 4 thick."""
    return turned([(0, 0), (30, 0), (40, 90), (36, 90), (26, floor), (0, floor)], sections=SECTIONS)


def with_ear(rise: float) -> Mesh:
    """The tumbler with an upright bar beside it that rises above its rim."""
    bar = trimesh.creation.box([20, 10, 60])
    bar.apply_translation([48, 0, 100 + rise - 30])  # it cuts 2 mm into the rim
    form = union([tumbler(sections=SECTIONS), from_trimesh(bar)])
    low, high = form.bounds
    return Mesh(form.vertices - [(low[0] + high[0]) / 2, 0, 0], form.faces)


def codes(stand: Stand) -> list[str]:
    return [finding.code for finding in stand.findings]


# --- the opening --------------------------------------------------------------------------------


def test_a_flat_top_is_the_rim() -> None:
    stand = stood(tumbler(sections=SECTIONS))
    assert (stand.opening, stand.chosen_by_form, stand.rim_mm) == ("rim", True, 100)
    assert "80 mm across" in stand.reason
    assert np.allclose(stand.turn, np.eye(4))
    assert stand.findings == ()


def test_a_neck_goes_before_a_larger_foot() -> None:
    assert stood(vase()).opening == "rim"


def test_a_figurine_is_turned_over_onto_its_head() -> None:
    form = figurine()
    stand = stood(form)
    assert stand.opening == "foot" and stand.rim_mm == pytest.approx(80)
    turned_over = form.vertices @ stand.turn[:3, :3].T + stand.turn[:3, 3]
    assert stand.form.vertices == pytest.approx(turned_over)
    assert stand.form.vertices[:, 1] == pytest.approx(-form.vertices[:, 1])  # over about x
    assert stand.form.volume == pytest.approx(form.volume)  # turned, not mirrored
    assert stand.form.bounds[0, 2] == pytest.approx(0, abs=1e-9)


def test_a_neck_narrower_than_the_least_is_not_chosen_but_may_be_asked_for() -> None:
    radius = LEAST_ACROSS_MM / 2 - 1
    form = turned([(0, 0), (30, 0), (40, 50), (radius, 110), (0, 110)], sections=SECTIONS)
    assert stood(form).opening == "foot"
    asked = stood(form, opening="rim")
    assert asked.opening == "rim" and not asked.chosen_by_form
    assert codes(asked) == ["narrow-opening"]
    assert asked.findings[0].where[0] == pytest.approx((0, 0, 110), abs=1e-6)


@pytest.mark.parametrize("asked", [None, "rim", "foot"])
def test_a_ball_is_refused_with_the_command_that_cures(asked: str | None) -> None:
    with pytest.raises(FormError) as caught:
        stood(ball(), opening=asked)
    assert caught.value.code == "no-opening"
    assert "--opening made --opening-diameter 30" in caught.value.remedy
    assert "--opening-at" in caught.value.remedy


def test_the_shoulder_round_a_knob_is_no_rim() -> None:
    """A level shoulder with a pointed knob in its middle: slip cannot go in there."""
    form = turned([(0, 0), (40, 0), (40, 60), (10, 60), (0, 70)], sections=SECTIONS)
    assert stood(form).opening == "foot"
    with pytest.raises(FormError, match="no flat, level top"):
        stood(form, opening="rim")


@pytest.mark.parametrize("asked", [None, "rim"])
def test_a_cup_with_its_inside_is_refused_with_the_cure(asked: str | None) -> None:
    with pytest.raises(FormError) as caught:
        stood(cup(), opening=asked)
    assert caught.value.code == "hollow-form"
    assert "84 mm deep" in str(caught.value)
    assert "Fill it solid" in caught.value.remedy


def test_a_cup_drawn_upside_down_is_refused_too() -> None:
    with pytest.raises(FormError, match="seen from below") as caught:
        stood(cup().transformed(np.diag([1.0, -1, -1, 1])).transformed(_lift(90)))
    assert caught.value.code == "hollow-form"


def test_a_shallow_recess_in_the_opening_is_filled_and_said() -> None:
    depth = 4.0
    form = turned([(0, 0), (30, 0), (40, 90), (36, 90), (34, 90 - depth), (0, 90 - depth)], sections=SECTIONS)
    stand = stood(form)
    assert codes(stand) == ["recess-filled"]
    assert "4.0 mm deep" in stand.findings[0].says and "--opening made" in stand.findings[0].remedy
    whole = turned([(0, 0), (30, 0), (40, 90), (0, 90)], sections=SECTIONS)
    assert stand.form.volume == pytest.approx(whole.volume)
    assert to_manifold(stand.mesh).genus() == 0


@pytest.mark.parametrize("degrees", [0.2, 0.9])
def test_a_rim_that_leans_a_little_is_still_the_rim(degrees: float) -> None:
    lean = trimesh.transformations.rotation_matrix(np.radians(degrees), [1, 0, 0])
    form = tumbler(sections=SECTIONS).transformed(lean)
    form = Mesh(form.vertices - [0, 0, form.bounds[0, 2]], form.faces)
    stand = stood(form)
    assert stand.opening == "rim"
    assert stand.rim_mm == pytest.approx(100 + 30 * np.sin(np.radians(degrees)), abs=0.1)
    assert stand.findings == ()
    assert to_manifold(stand.mesh).volume() == pytest.approx(stand.mesh.volume)


def test_the_top_of_a_flat_dome_is_no_rim() -> None:
    """Radius of curvature 900: level within a degree over 31 mm, but nowhere flat."""
    dome = [(900 * np.sin(a), 60 + 900 * (np.cos(a) - np.cos(0.05))) for a in np.linspace(0.05, 0, 60)]
    form = turned([(0, 0), (40, 0), *dome[:-1], (0, dome[-1][1])], sections=SECTIONS)
    assert stood(form).opening == "foot"
    with pytest.raises(FormError, match="no flat, level top"):
        stood(form, opening="rim")


# --- the spare ----------------------------------------------------------------------------------


def test_the_spare_is_a_frustum_that_flares_by_its_angle() -> None:
    stand = stood(tumbler(sections=SECTIONS), spare_depth_mm=25.0, spare_flare_deg=8.0)
    assert (stand.rim_mm, stand.top_mm, stand.spare_mm) == (100, 125, 25)
    # each side moves out by depth x tan(flare): the polygon grows by its inner radius
    inner = 40 * np.cos(np.pi / SECTIONS)
    grown = (inner + 25 * np.tan(np.radians(8))) / inner
    area = signed_area(stand.opening_outlines[0])
    assert area == pytest.approx(SECTIONS / 2 * 40**2 * np.sin(2 * np.pi / SECTIONS))
    assert stand.mesh.volume - stand.form.volume == pytest.approx(25 / 3 * area * (1 + grown + grown**2))
    wall = (stand.mesh.centroids[:, 2] > 100.1) & (np.abs(stand.mesh.normals[:, 2]) < 0.9)
    assert np.degrees(np.arcsin(-stand.mesh.normals[wall, 2])) == pytest.approx(8, abs=1e-6)


def test_the_rim_stays_as_drawn_and_the_mesh_one_closed_solid() -> None:
    form = tumbler(sections=SECTIONS)
    stand = stood(form)
    rim = form.vertices[np.abs(form.vertices[:, 2] - 100) < 1e-9]
    edge = rim[np.hypot(*rim[:, :2].T) > 1]
    at_rim = stand.mesh.vertices[np.unique(stand.mesh.faces)]
    at_rim = at_rim[np.abs(at_rim[:, 2] - 100) < 1e-9]
    assert {tuple(point) for point in at_rim} == {tuple(point) for point in edge}
    solid = to_manifold(stand.mesh)
    assert len(parts(solid)) == 1
    assert solid.volume() == pytest.approx(stand.mesh.volume)


def test_without_a_spare_the_form_is_the_master() -> None:
    stand = stood(tumbler(sections=SECTIONS), spare=False)
    assert stand.mesh is stand.form
    assert (stand.top_mm, stand.spare_mm) == (100, 0)


def test_a_square_opening_flares_alike_on_all_sides() -> None:
    box = trimesh.creation.box([60, 40, 50])
    box.apply_translation([0, 0, 25])
    stand = stood(from_trimesh(box), spare_depth_mm=20.0, spare_flare_deg=45.0)
    assert stand.mesh.extents[:2] == pytest.approx([100, 80])


def test_a_notched_outline_that_cannot_flare_stands_upright_and_says_so() -> None:
    """A slit 1 mm wide closes when its sides move out by more than half a millimetre."""
    outline = np.array(
        [[-30, -30], [30, -30], [30, 30], [0.5, 30], [0.5, -10], [-0.5, -10], [-0.5, 30], [-30, 30.0]]
    )
    shape = trimesh.creation.extrude_polygon(trimesh.path.polygons.Polygon(outline), 50)
    stand = stood(from_trimesh(shape))
    assert codes(stand) == ["spare-flare"]
    assert "it flares 0.0°" in stand.findings[0].says
    assert stand.mesh.volume - stand.form.volume == pytest.approx(20 * signed_area(outline))


@pytest.mark.parametrize("rise", [2.0, 25.0])
def test_what_rises_above_the_rim_gets_a_wall_of_plaster_over_it(rise: float) -> None:
    stand = stood(with_ear(rise))
    assert stand.opening == "rim"
    assert stand.rim_mm == pytest.approx(100)
    assert stand.top_mm == pytest.approx(100 + rise + WALL)
    assert codes(stand) == ["rises-above-rim"]  # and none that the notch in the rim hinders the flare
    assert len(parts(to_manifold(stand.mesh))) == 1
    flared = 40 + (rise + WALL) * np.tan(np.radians(10))
    assert -stand.mesh.bounds[0, 0] - stand.form.extents[0] / 2 == pytest.approx(flared - 40, rel=1e-2)
    with pytest.raises(JobError) as caught:
        stood(with_ear(rise), spare=False)
    assert caught.value.code == "spare-needed"


def test_floor_and_recess() -> None:
    form = turned([(0, 5), (20, 5), (22, 0), (30, 0), (40, 90), (0, 90)], sections=SECTIONS)
    assert stood(form).foot_recess_mm == pytest.approx(5)
    assert stood(tumbler(sections=SECTIONS)).foot_recess_mm == 0
    assert stood(form).floor_mm == WALL
    assert stood(form, floor_mm=12.0).floor_mm == 12


# --- an opening that is made --------------------------------------------------------------------


@pytest.mark.parametrize("side", ["z", "-z", "x", "-x", "y", "-y"])
def test_a_made_opening_reaches_into_a_ball_to_where_its_round_lies_within(side: str) -> None:
    """At radius a the ball's top lies at R + sqrt(R^2 - a^2) above its lowest point."""
    radius = 15.0
    stand = stood(ball(), opening="made", opening_diameter_mm=2 * radius, opening_at=side)
    drop = BALL - np.sqrt(BALL**2 - radius**2)
    pitch = 2 * radius / LINES
    slope = radius / np.sqrt(BALL**2 - radius**2)
    assert stand.rim_mm == pytest.approx(2 * BALL - drop, abs=pitch * slope + BALL * 1e-3)
    assert stand.top_mm == pytest.approx(stand.rim_mm + 20)
    assert np.hypot(*stand.opening_outlines[0].T) == pytest.approx(radius)
    solid = to_manifold(stand.mesh)
    assert len(parts(solid)) == 1 and solid.genus() == 0
    assert section(stand.mesh, stand.top_mm - 1e-6).area == pytest.approx(
        np.pi * (radius + 20 * np.tan(np.radians(10))) ** 2, rel=1e-3
    )


def test_a_made_opening_on_a_lying_ring_stands_on_its_tube() -> None:
    form = from_trimesh(trimesh.creation.torus(40, 12, major_sections=64, minor_sections=64))
    form = Mesh(form.vertices - [0, 0, form.bounds[0, 2]], form.faces)
    stand = stood(form, opening="made", opening_diameter_mm=8.0)
    assert np.hypot(*stand.opening_outlines[0].mean(axis=0)) == pytest.approx(40, abs=0.1)
    drop = 12 - np.sqrt(12**2 - 4**2)
    assert stand.rim_mm == pytest.approx(
        24 - drop, abs=0.1
    )  # chords of the tube: 12 (1 - cos(pi/64)) = 0.014


@pytest.mark.parametrize("side, axis", [("x", 0), ("-x", 0), ("y", 1), ("-y", 1), ("z", 2), ("-z", 2)])
def test_the_side_asked_for_comes_to_the_top(side: str, axis: int) -> None:
    cone = turned([(0, 0), (30, 0), (0, 60)], sections=SECTIONS)
    stand = stood(cone, opening="made", opening_diameter_mm=10.0, opening_at=side)
    up = np.zeros(3)
    up[axis] = -1 if side.startswith("-") else 1
    assert stand.turn[:3, :3] @ up == pytest.approx([0, 0, 1])
    assert np.linalg.det(stand.turn[:3, :3]) == pytest.approx(1)
    low, high = stand.form.bounds
    assert low[2] == pytest.approx(0, abs=1e-9)
    assert (low + high)[:2] == pytest.approx(0, abs=1e-9)


def test_a_made_opening_in_the_floor_of_a_gallery_leaves_the_gallery_to_be_cast() -> None:
    form = turned([(0, 0), (40, 0), (40, 80), (34, 80), (34, 72), (0, 72)], sections=SECTIONS)
    stand = stood(form, opening="made", opening_diameter_mm=50.0)
    assert stand.rim_mm == pytest.approx(72)
    assert stand.top_mm == pytest.approx(80 + WALL)
    assert stand.form.volume == pytest.approx(form.volume)
    assert codes(stand) == ["rises-above-rim"]


@pytest.mark.parametrize(
    "job, code",
    [
        ({"opening_diameter_mm": None}, "opening-diameter"),
        ({"opening_diameter_mm": 120.0}, "opening-misses"),
        ({"opening_diameter_mm": 30.0, "spare": False}, "spare-needed"),
    ],
)
def test_impossible_made_openings_say_the_cure(job: dict[str, object], code: str) -> None:
    with pytest.raises(JobError) as caught:
        stood(ball(), opening="made", **job)
    assert caught.value.code == code
    assert caught.value.remedy


# --- properties ---------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", [0.8, 3.0])
def test_a_larger_or_smaller_form_stands_alike(scale: float) -> None:
    form = vase()
    small, large = stood(form), stood(Mesh(form.vertices * scale, form.faces))
    assert large.rim_mm == pytest.approx(scale * small.rim_mm)
    assert large.opening == small.opening


def test_the_order_of_faces_does_not_matter() -> None:
    form = vase()
    order = np.random.default_rng(3).permutation(len(form.faces))
    one, other = stood(form), stood(Mesh(form.vertices, form.faces[order]))
    assert one.mesh.volume == pytest.approx(other.mesh.volume)
    assert (one.rim_mm, one.top_mm) == pytest.approx((other.rim_mm, other.top_mm))


def test_chords_are_the_only_error_of_the_opening() -> None:
    stand = stood(tumbler(sections=SECTIONS))
    away = np.hypot(*stand.opening_outlines[0].T)
    assert away.max() == pytest.approx(40)
    middles = (stand.opening_outlines[0] + np.roll(stand.opening_outlines[0], 1, axis=0)) / 2
    assert 40 - np.hypot(*middles.T).min() == pytest.approx(chord_error(40, SECTIONS))


def _lift(height: float) -> np.ndarray:
    matrix = np.eye(4)
    matrix[2, 3] = height
    return matrix
