"""Distances from a surface: by formula, by libigl's own tree, and along whole forms."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh

from moldprep.geometry.deviation import distances, greatest_distance, samples, surface_of, vertex_distances
from moldprep.geometry.mesh import Mesh
from tests.forms import chord_error, from_trimesh, grooved, turned

ROUNDING = 1e-12
SECTIONS = 128


def by_libigl(points: np.ndarray, mesh: Mesh) -> np.ndarray:
    square = igl.point_mesh_squared_distance(points, np.array(mesh.vertices), mesh.faces.astype(np.int64))[0]
    return np.asarray(np.sqrt(square))


def scattered(count: int, *, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(scale=40, size=(count, 3))


def test_distances_from_a_box_are_the_formula_s() -> None:
    """Outside: the length of what lies beyond the faces; inside: to the nearest face."""
    half = np.array([10.0, 20.0, 30.0])
    mesh = from_trimesh(trimesh.creation.box(extents=2 * half))
    points = scattered(2000)
    off = np.abs(points) - half
    outside, inside = np.linalg.norm(np.maximum(off, 0), axis=1), np.maximum(-off.max(axis=1), 0)
    np.testing.assert_allclose(distances(points, surface_of(mesh)), outside + inside, atol=1e-11)


@pytest.mark.parametrize("mesh", [grooved(sections=64), turned([(0, 0), (30, 5), (0, 80)], sections=500)])
def test_distances_equal_libigl_s_with_slender_fans_and_all(mesh: Mesh) -> None:
    points = np.vstack([scattered(1500), mesh.centroids, mesh.vertices])
    np.testing.assert_allclose(distances(points, surface_of(mesh)), by_libigl(points, mesh), atol=1e-9)


def test_places_on_the_surface_are_at_no_distance() -> None:
    mesh = grooved(sections=64)
    surface = surface_of(mesh)
    assert distances(mesh.vertices, surface).max() < ROUNDING
    assert distances(samples(mesh), surface).max() < 1e-9


def test_the_greatest_distance_is_one_sided() -> None:
    """A spike stands 7 out of a plate: from the spike 7, from the plate nothing but beside the spike."""
    plate = from_trimesh(trimesh.creation.box(bounds=[[-50, -50, -4], [50, 50, 0]]))
    spike = from_trimesh(trimesh.creation.box(bounds=[[-1, -1, -1], [1, 1, 7]]))
    assert greatest_distance(spike, plate) == pytest.approx(7.0, abs=ROUNDING)
    far = np.hypot(*(np.array([50.0, 50.0]) - 1))
    assert greatest_distance(plate, spike) == pytest.approx(np.hypot(far, 3.0), abs=1e-9)


def test_the_greatest_distance_lies_inside_a_large_face() -> None:
    """The middle of a dented lid is farthest from the lid, and no vertex of the lid is there."""
    whole = from_trimesh(trimesh.creation.box(bounds=[[-20, -20, 0], [20, 20, 30]]))
    dented = turned([(0, 0), (60, 0), (60, 30), (15, 30), (0, 18)], sections=SECTIONS)
    lid = Mesh(whole.vertices, whole.faces[whole.normals[:, 2] > 0.5])
    (depth,) = distances([[0, 0, 30]], surface_of(dented))
    assert distances(lid.vertices, surface_of(dented)).max() < ROUNDING
    found = greatest_distance(lid, dented)
    # the nearest place of a cone 15 wide and 12 deep: 12 cos of its wall's lean
    assert depth == pytest.approx(12 * 15 / np.hypot(12, 15), abs=chord_error(15, SECTIONS))
    assert depth - 0.4 <= found <= depth + ROUNDING  # samples are a 100th of 40 apart


def test_scaled_spheres_lie_apart_by_the_difference_of_their_radii() -> None:
    small = trimesh.creation.icosphere(subdivisions=4, radius=40)
    large = Mesh(np.array(small.vertices) * 1.05, np.array(small.faces))
    apart = distances(large.vertices, surface_of(from_trimesh(small)))
    np.testing.assert_allclose(apart, 2.0, atol=1e-9)  # vertex stands over vertex, the nearest place


def test_flat_faces_are_passed_over_and_nothing_is_refused_as_a_surface() -> None:
    mesh = Mesh(np.eye(3), np.array([[0, 1, 2], [0, 0, 1]]))
    assert distances([[0, 0, 0]], surface_of(mesh)) == pytest.approx([1 / np.sqrt(3)])
    with pytest.raises(ValueError, match="without area"):
        surface_of(Mesh(np.eye(3), np.array([[0, 0, 1]])))


def test_vertices_that_both_surfaces_have_are_not_asked_and_all_others_are() -> None:
    mesh = grooved(sections=64)
    moved = mesh.vertices.copy()
    moved[::3] *= 1.01
    changed = Mesh(moved[::-1].copy(), len(moved) - 1 - mesh.faces)
    found = vertex_distances(mesh, changed, surface_of(changed))
    np.testing.assert_allclose(found, distances(mesh.vertices, surface_of(changed)), atol=1e-9)
    assert (found[::3][1:] > 0.1).any()
