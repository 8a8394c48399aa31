"""Axis of revolution: turned forms whose axis is known, with and without a handle."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.axis import axis_of_revolution
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import union
from tests.forms import from_trimesh, tumbler, turned

EXACT_DEG, EXACT_MM = 1e-3, 1e-3
"""An inscribed polygon of revolution is symmetric: only rounding and the solver's stop are left."""
HANDLED_DEG, HANDLED_MM = 0.1, 0.1
"""A handle keeps a vanishing weight: the half of `_TURNING` that is left to it pulls the axis this far."""


def vase(sections: int = 128) -> Mesh:
    height = np.linspace(0, 120, 61)
    return turned([(0, 0), *((30 + 10 * np.sin(h / 20), h) for h in height), (0, 120)], sections=sections)


def handled(size: float) -> Mesh:
    ring = trimesh.creation.torus(major_radius=size, minor_radius=5, major_sections=48, minor_sections=24)
    ring.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    ring.apply_translation([38 + size / 2, 0, 60])
    return union([vase(), from_trimesh(ring)])


def posed(mesh: Mesh, seed: int) -> tuple[Mesh, np.ndarray]:
    matrix = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))
    matrix[:3, 3] = [12.0, -7.0, 31.0]
    return mesh.transformed(matrix), matrix


def missed(point: np.ndarray, direction: np.ndarray, matrix: np.ndarray) -> tuple[float, float]:
    """Angle in degrees to the turned z axis, and distance from it, mm."""
    axis = matrix[:3, 2]
    sine = np.linalg.norm(np.cross(direction, axis))
    return float(np.degrees(np.arcsin(sine))), float(np.linalg.norm(np.cross(point - matrix[:3, 3], axis)))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("form", ["tumbler", "vase"])
def test_the_axis_of_a_turned_form_is_found_in_any_pose(form: str, seed: int) -> None:
    mesh, matrix = posed(tumbler(sections=96, rings=20) if form == "tumbler" else vase(), seed)
    found = axis_of_revolution(mesh)
    angle, distance = missed(np.array(found.point), np.array(found.direction), matrix)
    assert angle < EXACT_DEG and distance < EXACT_MM
    assert found.share == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("size", [20.0, 30.0])
def test_a_handle_does_not_bend_the_axis(size: float, seed: int) -> None:
    mesh, matrix = posed(handled(size), seed)
    found = axis_of_revolution(mesh)
    angle, distance = missed(np.array(found.point), np.array(found.direction), matrix)
    assert angle < HANDLED_DEG and distance < HANDLED_MM
    body = 1 - (handled(size).area - vase().area) / handled(size).area
    assert found.share == pytest.approx(body, abs=0.1)  # the handle's roots hide some of the body


def test_a_sphere_has_the_axis_that_is_preferred() -> None:
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=4, radius=30))
    for wanted in ((0.0, 0.0, 1.0), (0.6, 0.0, 0.8)):
        found = axis_of_revolution(ball, prefer=wanted)
        assert np.allclose(found.direction, wanted, atol=1e-2)
        assert np.linalg.norm(found.point) < 0.05


def test_a_cylinder_is_turned_about_its_own_axis_not_screwed() -> None:
    found = axis_of_revolution(from_trimesh(trimesh.creation.cylinder(radius=20, height=90, sections=64)))
    assert np.allclose(found.direction, (0, 0, 1), atol=1e-6) and np.allclose(found.point, 0, atol=1e-6)


def test_a_box_says_that_little_of_it_is_turned() -> None:
    box = from_trimesh(trimesh.creation.box((60, 80, 100)).subdivide_to_size(4.0))
    assert axis_of_revolution(box).share < 0.5


def test_finer_faces_do_not_move_the_axis() -> None:
    coarse, fine = axis_of_revolution(handled(20.0)), handled(20.0)
    mesh = trimesh.Trimesh(fine.vertices, fine.faces, process=False).subdivide()
    again = axis_of_revolution(from_trimesh(mesh))
    assert np.allclose(coarse.direction, again.direction, atol=2e-3)
    assert np.allclose(coarse.point[:2], again.point[:2], atol=HANDLED_MM)
