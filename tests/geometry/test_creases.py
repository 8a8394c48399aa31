"""Crease edges and the loops they make, on forms whose edges are known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from moldprep.geometry.creases import CreaseField, crease_edges, crease_loops, level_creases
from moldprep.geometry.mesh import Mesh
from tests.forms import from_trimesh, grooved, turned

UP = (0.0, 0.0, 1.0)


def prism(sides: int, radius: float = 30.0, height: float = 50.0) -> Mesh:
    return from_trimesh(trimesh.creation.cylinder(radius=radius, height=height, sections=sides))


def polygon_length(radius: float, sides: int) -> float:
    return 2 * sides * radius * np.sin(np.pi / sides)


def test_a_cylinder_has_two_creases_that_wind_once_round() -> None:
    mesh = prism(128)
    loops = crease_loops(mesh, crease_edges(mesh, angle_deg=30), UP)
    assert [(loop.low, loop.high, loop.turns) for loop in loops] == [(-25, -25, 1), (25, 25, 1)]
    assert [loop.length for loop in loops] == pytest.approx([polygon_length(30, 128)] * 2)


def test_edges_softer_than_the_angle_are_none() -> None:
    mesh = prism(24)  # 15 degrees between facets, 90 at the rims
    assert len(crease_edges(mesh, angle_deg=14)) == 3 * 24
    assert len(crease_edges(mesh, angle_deg=16)) == 2 * 24
    assert len(crease_edges(mesh, angle_deg=91)) == 0


def test_at_the_corners_of_a_cube_the_chains_still_use_every_edge_once() -> None:
    mesh = from_trimesh(trimesh.creation.box((20, 20, 20)))
    edges = crease_edges(mesh, angle_deg=30)
    assert len(edges) == 12
    loops = crease_loops(mesh, edges, UP)
    walked = [
        tuple(sorted((int(a), int(b))))
        for loop in loops
        for a, b in zip(loop.vertices, np.roll(loop.vertices, -1), strict=True)
    ]
    assert len(walked) == len(set(walked))


def test_a_loop_beside_the_axis_does_not_wind_round_it() -> None:
    mesh = prism(64)
    edges = crease_edges(mesh, angle_deg=30)
    assert [loop.turns for loop in crease_loops(mesh, edges, UP, through=(100, 0, 0))] == [0, 0]


def test_a_slanted_loop_winds_round_too() -> None:
    mesh = prism(64)
    sheared = mesh.vertices.copy()
    sheared[:, 2] += 0.2 * sheared[:, 0]
    tilted = Mesh(sheared, mesh.faces)
    loops = crease_loops(tilted, crease_edges(tilted, angle_deg=30), UP)
    assert [loop.turns for loop in loops] == [1, 1]
    assert [loop.high - loop.low for loop in loops] == pytest.approx([12.0, 12.0], rel=2e-3)


def test_level_creases_of_a_groove_stand_at_its_four_edges_and_the_ends() -> None:
    mesh = grooved(sections=128)
    heights, lengths = level_creases(mesh, crease_edges(mesh, angle_deg=30), UP, within=0.2)
    assert heights == pytest.approx([0, 30, 40, 80])
    outer, inner = polygon_length(40, 128), polygon_length(34, 128)
    assert lengths == pytest.approx([outer, outer + inner, outer + inner, outer])


def test_points_on_a_crease_are_told_from_points_beside_it() -> None:
    mesh = prism(128)
    field = CreaseField(mesh, crease_edges(mesh, angle_deg=30))
    points = np.array([[30.0, 0, 25], [30.0, 0, 24.6], [0, 0, 25.0]])
    assert field.near(points, 0.2).tolist() == [True, False, False]


def test_a_smooth_form_has_no_creases() -> None:
    angle = np.linspace(-np.pi / 2, np.pi / 2, 90)
    ball = turned([(30 * np.cos(a), 30 * np.sin(a)) for a in angle], sections=128)
    edges = crease_edges(ball, angle_deg=30)
    assert len(edges) == 0 and crease_loops(ball, edges, UP) == ()
    assert not CreaseField(ball, edges).near(ball.vertices, 0.2).any()


def test_the_edge_of_a_ring_between_two_cones_is_level_and_as_long_as_its_polygon() -> None:
    mesh = turned([(0, 0), (20, 0), (45, 37.3), (10, 100), (0, 100)], sections=96)
    heights, lengths = level_creases(mesh, crease_edges(mesh, angle_deg=30), UP, within=0.2)
    assert heights == pytest.approx([0, 37.3, 100])
    assert lengths == pytest.approx([polygon_length(radius, 96) for radius in (20, 45, 10)])


@pytest.mark.parametrize("half_angle", [20.0, 40.0])
def test_the_rim_of_a_cone_bends_by_a_right_angle_and_its_half_angle(half_angle: float) -> None:
    """Foot and wall of a cone meet at 90 degrees less the half angle inside: 90 + half angle from flat."""
    height = 30 / np.tan(np.radians(half_angle))
    mesh = turned([(0, 0), (30, 0), (0, height)], sections=256)
    facet = 0.1  # degrees: half a facet's turn of 1.4 degrees shows this little at the rim
    assert len(crease_edges(mesh, angle_deg=90 + half_angle - facet)) == 256
    assert len(crease_edges(mesh, angle_deg=90 + half_angle + facet)) == 0


def test_two_ball_caps_meet_in_a_crease_short_of_a_fold_by_twice_their_slope() -> None:
    """Caps of a ball of radius 50 cut at radius 30 slope by arcsin(3 / 5) at their edge: 180 less twice that."""
    slope = np.arcsin(0.6)
    arc = [(50 * np.sin(a), 50 * np.cos(a) - 40) for a in np.linspace(0, slope, 200)]
    mesh = turned([*[(r, -z) for r, z in arc[:-1]], *arc[::-1]], sections=128)
    bend, chord = 180 - 2 * np.degrees(slope), np.degrees(slope) / 199
    # the last facets stand at the middle of their arcs, half a chord flatter each; the polygon adds less
    assert len(crease_edges(mesh, angle_deg=bend + 2 * chord)) == 0
    (loop,) = crease_loops(mesh, crease_edges(mesh, angle_deg=bend - 0.1), UP)
    assert [loop.low, loop.high] == pytest.approx([0, 0], abs=1e-9) and loop.turns == 1
    assert loop.length == pytest.approx(polygon_length(30, 128))


def test_nearness_to_a_crease_agrees_with_shapely() -> None:
    """Level creases of a box seen from above are the sides of a rectangle: shapely measures to those."""
    mesh = from_trimesh(trimesh.creation.box((20, 14, 0.001)))
    field = CreaseField(mesh, crease_edges(mesh, angle_deg=30))
    sides = shapely.box(-10, -7, 10, 7).exterior
    points = np.random.default_rng(0).uniform([-12, -9], [12, 9], (2000, 2))
    distance = shapely.distance(shapely.points(points), sides)
    near = field.near(np.column_stack([points, np.zeros(2000)]), 0.5)
    spacing = 0.125  # creases are sampled every quarter millimetre
    assert near[distance < 0.5].all() and not near[distance > 0.5 + spacing + 0.001].any()
