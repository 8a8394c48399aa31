"""Outlines: sections and shadows by formula and by a second engine; enclosing figures by cited values."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from moldprep.geometry.columns import rotation_for
from moldprep.geometry.flood import pooled_depth
from moldprep.geometry.levels import level_ends, without_pocket
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import (
    across,
    areas,
    boundary_loops,
    chained,
    circle_outline,
    enclosing_circle,
    enclosing_rectangle,
    hull,
    outlines,
    polygons,
    section,
    sections,
    signed_area,
    silhouette,
)
from moldprep.geometry.solids import from_manifold, prism, to_manifold
from tests.forms import from_trimesh, tumbler, turned

ROUNDING = 1e-9
"""Relative: both ways follow the same edges in double precision."""


def ngon_area(radius: float, sides: int) -> float:
    """Area of a regular polygon inscribed in a circle: n/2 r^2 sin(2 pi / n)."""
    return sides / 2 * radius**2 * np.sin(2 * np.pi / sides)


def torus() -> Mesh:
    return from_trimesh(trimesh.creation.torus(40, 10, major_sections=64, minor_sections=32))


def scattered(seed: int) -> Mesh:
    """A closed form without symmetry: the hull of points on a ball."""
    points = np.random.default_rng(seed).normal(size=(60, 3))
    return from_trimesh(trimesh.convex.convex_hull(30 * points / np.linalg.norm(points, axis=1)[:, None]))


# --- sections -----------------------------------------------------------------------------------


@pytest.mark.parametrize("height", [10.0, 33.3, 50.0, 99.0])
def test_a_frustum_is_cut_in_its_own_polygon(height: float) -> None:
    form = tumbler(sections=64)
    assert section(form, height).area == pytest.approx(ngon_area(30 + height / 10, 64), rel=ROUNDING)


@pytest.mark.parametrize("height", [0.0, 4.0, 9.9])
def test_a_lying_torus_is_cut_in_a_ring_as_manifold_cuts_it(height: float) -> None:
    form = torus()
    cut = section(form, height)
    assert len(cut.interiors) == 1
    assert cut.area == pytest.approx(to_manifold(form).slice(height + 1e-12).area(), rel=1e-6)


def test_an_upright_plane_through_a_torus_cuts_two_discs() -> None:
    rotation = rotation_for((1.0, 0.0, 0.0))
    cut = section(torus(), 0.0, rotation=rotation)
    assert len(shapely.get_parts(cut)) == 2
    assert cut.area == pytest.approx(2 * ngon_area(10, 32), rel=ROUNDING)


def test_a_plane_beside_the_form_cuts_nothing() -> None:
    below, above = sections(tumbler(sections=16), [-1.0, 100.1])
    assert below.is_empty and above.is_empty


@pytest.mark.parametrize("seed", range(3))
def test_sections_add_up_to_the_volume(seed: int) -> None:
    """Between two vertices a section's area is a quadratic in the height: Simpson's rule is exact."""
    form = scattered(seed)
    levels = np.unique(form.vertices[:, 2])
    low, high = levels[:-1], levels[1:]
    hair = 1e-9 * (high - low)  # stay within the slab: a vertex in the plane counts as above
    a, b, c = (
        [part.area for part in sections(form, at)] for at in (low + hair, (low + high) / 2, high - hair)
    )
    volume = ((high - low) / 6 * (np.array(a) + 4 * np.array(b) + np.array(c))).sum()
    assert volume == pytest.approx(form.volume, rel=1e-6)


# --- shadows ------------------------------------------------------------------------------------


@pytest.mark.parametrize("direction", [(0, 0, 1), (1, 0, 0), (0.3, -0.5, 0.8)])
@pytest.mark.parametrize("make", [torus, lambda: scattered(7)], ids=["torus", "scattered"])
def test_a_silhouette_is_the_union_of_its_triangles(make, direction) -> None:  # type: ignore[no-untyped-def]
    form, rotation = make(), rotation_for(direction)
    local = (form.vertices @ rotation.T)[:, :2]
    triangles = [shapely.Polygon(local[face]) for face in form.faces]
    shadow = shapely.union_all([t for t in triangles if t.area > 1e-9])
    found = silhouette(form, rotation=rotation)
    # shapely loses slivers along the edges of its union; they are thinner than a millionth of the form
    assert found.area == pytest.approx(shadow.area, rel=1e-6)
    assert found.symmetric_difference(shadow).area < 1e-5 * shadow.area


def test_manifold_projects_the_same_shadow() -> None:
    form = torus()
    assert silhouette(form).area == pytest.approx(to_manifold(form).project().area(), rel=1e-6)


# --- loops --------------------------------------------------------------------------------------


def test_polygons_keep_areas_only() -> None:
    """A spike has no area and repairing its ring leaves a line; squares that touch in an edge leave one too."""
    spiked = np.array([[0.0, 0], [4, 0], [4, 2], [7, 2], [4, 2], [4, 4], [0, 4]])
    beside = np.array([[4.0, 0], [6, 0], [6, 4], [4, 4]])
    found = polygons([spiked, beside])
    assert {part.geom_type for part in shapely.get_parts(found)} == {"Polygon"}
    assert found.area == pytest.approx(16 + 8)
    assert found.length == pytest.approx(20)
    touching = shapely.intersection(shapely.box(0, 0, 4, 4), shapely.box(4, 0, 6, 4))
    assert touching.length > 0 and areas(touching).is_empty
    mixed = shapely.GeometryCollection([shapely.box(0, 0, 1, 1), shapely.LineString([(3, 3), (4, 4)])])
    assert areas(mixed).equals(shapely.box(0, 0, 1, 1))


def test_loops_round_a_patch_run_counter_clockwise_and_its_hole_clockwise() -> None:
    ring = prism(
        [np.array([[0.0, 0], [9, 0], [9, 9], [0, 9]]), np.array([[3.0, 3], [3, 6], [6, 6], [6, 3]])], 0, 1
    )
    mesh = from_manifold(ring)
    patch = mesh.faces[mesh.normals[:, 2] > 0.5]
    areas = sorted(signed_area(mesh.vertices[loop, :2]) for loop in boundary_loops(patch))
    assert areas == pytest.approx([-9, 81])


def test_loops_that_touch_in_a_point_stay_apart() -> None:
    eight = np.array([[0, 1], [1, 2], [2, 0], [0, 3], [3, 4], [4, 0]])
    assert sorted(sorted(loop.tolist()) for loop in chained(eight)) == [[0, 1, 2], [0, 3, 4]]


def test_chains_that_do_not_close_are_no_loops() -> None:
    loops = chained(np.array([[7, 8], [8, 9], [1, 2], [2, 1]]))
    assert [sorted(loop.tolist()) for loop in loops] == [[1, 2]]


def test_outlines_come_largest_first_and_counter_clockwise() -> None:
    area = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(5, 5, 8, 8)])
    assert [signed_area(outline) for outline in outlines(area)] == pytest.approx([9, 1])


# --- enclosing figures --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "points, centre, radius",
    [
        ([(0, 0), (0, 1), (2, 0)], (1, 0.5), np.sqrt(5) / 2),  # right angle: the hypotenuse is the diameter
        ([(0, 0), (10, 0), (5, 1)], (5, 0), 5),  # obtuse: the longest side is the diameter
        ([(0, 0), (100, 0), (50, 50 * np.sqrt(3))], (50, 50 / np.sqrt(3)), 100 / np.sqrt(3)),  # side / sqrt 3
    ],
)
def test_smallest_circle_round_a_triangle(points, centre, radius) -> None:  # type: ignore[no-untyped-def]
    found, size = enclosing_circle(points)
    assert found == pytest.approx(centre, abs=1e-6)
    assert size == pytest.approx(radius, rel=ROUNDING)


@pytest.mark.parametrize("seed", range(5))
def test_the_smallest_circle_holds_all_points_and_rests_on_two_or_more(seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(40, 2)) * [30, 10]
    centre, radius = enclosing_circle(points)
    away = np.hypot(*(points - centre).T)
    assert away.max() == pytest.approx(radius, rel=1e-6)
    assert (away > radius * (1 - 1e-6)).sum() >= 2


@pytest.mark.parametrize("turn", [0.0, 17.0, -40.0, 44.0])
def test_the_smallest_rectangle_turns_with_its_points(turn: float) -> None:
    inside = np.random.default_rng(1).uniform(-1, 1, size=(30, 2))
    points = np.vstack([inside, [[-1, -1], [1, -1], [1, 1], [-1, 1]]]) * [20, 8]
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    centre, sides, found = enclosing_rectangle(points @ np.array([[c, s], [-s, c]]) + [5, -2])
    assert centre == pytest.approx((5, -2), abs=1e-9)
    assert sides == pytest.approx((40, 16))
    assert found == pytest.approx(turn, abs=1e-9)


def test_the_rectangle_of_a_right_triangle_is_its_legs() -> None:
    """Along the legs 3 x 4 = 12, along the hypotenuse 5 x 2.4 = 12 as well: the axes win the tie."""
    _, sides, turn = enclosing_rectangle([(0, 0), (3, 0), (0, 4)])
    assert (sides, turn) == ((3, 4), 0)


@pytest.mark.parametrize("radius", [2.0, 40.0, 400.0])
def test_a_circle_s_chords_stay_within_their_error(radius: float) -> None:
    outline = circle_outline((3.0, 4.0), radius, chord_error=0.01)
    middles = (outline + np.roll(outline, 1, axis=0)) / 2
    assert np.hypot(*(outline - [3, 4]).T) == pytest.approx(radius)
    assert radius - np.hypot(*(middles - [3, 4]).T).min() <= 0.01 + 1e-9
    assert signed_area(outline) > 0


def test_points_on_a_line_have_no_hull() -> None:
    with pytest.raises(ValueError, match="on one line"):
        hull([(0, 0), (1, 1), (2, 2)])


def test_across_is_the_lesser_side() -> None:
    assert across(np.array([[0.0, 0], [30, 0], [30, 12], [0, 12]])) == pytest.approx(12)


# --- level ends and pools -----------------------------------------------------------------------


def test_level_ends_are_found_with_their_holes() -> None:
    """A pot with a rim 5 wide and its inside 20 deep: the rim, and the floor of the inside."""
    ends = level_ends(turned([(0, 0), (30, 0), (30, 50), (25, 50), (25, 30), (0, 30)], sections=48))
    assert [(end.height, len(end.holes)) for end in ends] == [(50, 1), (30, 0)]
    assert [end.across_mm for end in ends] == pytest.approx([60, 50], rel=0.01)


def test_a_filled_pocket_is_gone_and_the_form_closed() -> None:
    form = turned([(0, 0), (30, 0), (30, 50), (25, 50), (25, 30), (0, 30)], sections=48)
    filled, end, depth = without_pocket(form, level_ends(form)[0])
    assert depth == pytest.approx(20)
    assert to_manifold(filled).volume() == pytest.approx(50 * ngon_area(30, 48), rel=ROUNDING)
    assert filled.areas[end.faces].sum() == pytest.approx(ngon_area(30, 48))
    assert (filled.vertices[end.loop, 2] == 50).all()


def test_water_stands_up_to_the_lowest_place_of_the_rim() -> None:
    height = np.full((7, 7), 1.0)
    height[1:6, 1:6] = 5.0
    height[2:5, 2:5] = 2.0
    height[3, 1] = 4.0  # a notch in the rim
    depth = pooled_depth(height)
    assert depth[2:5, 2:5] == pytest.approx(2.0)
    assert depth.sum() == pytest.approx(9 * 2.0)


def test_bottomless_ground_outside_holds_nothing_and_inside_an_eye_is_inf() -> None:
    height = np.full((7, 7), -np.inf)
    height[1:6, 1:6] = 5.0
    assert (pooled_depth(height) == 0).all()
    height[3, 3] = -np.inf
    assert pooled_depth(height)[3, 3] == np.inf
    assert np.isfinite(np.delete(pooled_depth(height).ravel(), 24)).all()
