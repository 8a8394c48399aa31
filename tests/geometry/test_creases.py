"""Crease edges and the loops they make, on forms whose edges are known."""

from __future__ import annotations

import numpy as np
import pytest
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
