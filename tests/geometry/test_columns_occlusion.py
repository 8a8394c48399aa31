"""Per-face occlusion against Embree, brute force, and forms whose answer is plain."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.columns.occlusion import face_blocked
from moldprep.geometry.mesh import Mesh
from tests.forms import disc_on_stem, from_trimesh, grooved, turned

UP = np.array((0.0, 0.0, 1.0))
OFFSET = 0.02


def knobbly(subdivisions: int) -> Mesh:
    ball = trimesh.creation.icosphere(subdivisions)
    x, y, z = ball.vertices.T
    radius = 30 * (1 + 0.3 * np.sin(3 * x + 1) * np.cos(4 * y) + 0.1 * np.sin(7 * z))
    return Mesh(np.array(ball.vertices) * radius[:, None], np.array(ball.faces))


def lathe(draft_deg: float, around: int, rings: int) -> Mesh:
    """A tumbler, radius 30 at the foot, 100 high, its wall cut into rings."""
    z = np.linspace(0, 100, rings + 1)
    wall = np.column_stack([30 + z * np.tan(np.radians(draft_deg)), z])
    return turned([(0.0, 0.0), *map(tuple, wall), (0.0, 100.0)], sections=around)


def brute_force(mesh: Mesh, direction: np.ndarray, offset: float) -> np.ndarray:
    """(m, 2) by every ray against every triangle (Moller and Trumbore 1997)."""
    start = mesh.centroids + offset * mesh.normals
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    blocked = np.zeros((len(start), 2), bool)
    for way, sign in enumerate((1, -1)):
        ray = sign * direction / np.linalg.norm(direction)
        across = np.cross(ray, c - a)
        det = np.einsum("ij,ij->i", b - a, across)
        safe = np.where(det == 0, np.inf, det)
        for i, at in enumerate(start):
            u = np.einsum("ij,ij->i", at - a, across) / safe
            turned_to = np.cross(at - a, b - a)
            v = turned_to @ ray / safe
            depth = np.einsum("ij,ij->i", c - a, turned_to) / safe
            blocked[i, way] = np.any((det != 0) & (u >= 0) & (v >= 0) & (u + v <= 1) & (depth > 0))
    return blocked


@pytest.mark.parametrize("direction", [(0, 0, 1), (1, 0.3, 0.2), (-0.4, 1, -2)])
def test_faces_are_blocked_as_every_ray_against_every_triangle_says(direction: tuple[float, ...]) -> None:
    mesh = knobbly(3)
    along = np.array(direction, dtype=float)
    np.testing.assert_array_equal(face_blocked(mesh, along, offset=OFFSET), brute_force(mesh, along, OFFSET))


@pytest.mark.parametrize("form", ["knobbly", "torus", "grooved"])
def test_faces_are_blocked_as_embree_says(form: str) -> None:
    pytest.importorskip(
        "embreex", reason="Embree has no wheel for this processor; brute force is tested above"
    )
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    torus = from_trimesh(trimesh.creation.torus(20, 7, major_sections=96, minor_sections=48))
    mesh = {"knobbly": knobbly(5), "torus": torus, "grooved": grooved()}[form]
    along = np.array((0.3, -0.2, 1.0)) / np.linalg.norm((0.3, -0.2, 1.0))
    rays = RayMeshIntersector(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False))
    start = mesh.centroids + OFFSET * mesh.normals
    theirs = np.column_stack(
        [rays.intersects_any(start, np.tile(sign * along, (len(start), 1))) for sign in (1, -1)]
    )
    different = np.any(face_blocked(mesh, along, offset=OFFSET) != theirs, axis=1)
    assert different.sum() <= 1e-4 * len(start)  # single precision at grazing edges


@pytest.mark.parametrize("draft_deg", [0.0, 0.1, 2.0])
def test_no_wall_of_a_fine_tumbler_is_locked(draft_deg: float) -> None:
    """Two hundred thousand faces, most of which no column of a common grid would meet."""
    mesh = lathe(draft_deg, 400, 250)
    wall = np.abs(mesh.normals[:, 2]) < 0.5
    blocked = face_blocked(mesh, UP, offset=OFFSET)
    assert wall.sum() == 2 * 400 * 250
    assert not blocked[wall, 1].any()  # it widens upward: its plaster leaves downward
    assert not blocked.all(axis=1).any()
    if draft_deg == 0:
        assert not blocked[wall].any()  # upright: free both ways


def test_only_the_groove_of_a_grooved_cylinder_is_locked() -> None:
    mesh = grooved()
    x, y, z = mesh.centroids.T
    inside = (z > 30 - 1e-9) & (z < 40 + 1e-9) & (np.hypot(x, y) < 39.9)
    np.testing.assert_array_equal(face_blocked(mesh, UP, offset=OFFSET).all(axis=1), inside)


def test_the_stem_under_a_disc_is_blocked_upward_only() -> None:
    mesh = disc_on_stem()
    stem = (np.abs(mesh.normals[:, 2]) < 0.5) & (mesh.centroids[:, 2] < 50)
    blocked = face_blocked(mesh, UP, offset=OFFSET)
    assert blocked[stem, 0].all()
    assert not blocked[stem, 1].any()
    np.testing.assert_array_equal(face_blocked(mesh, -UP, offset=OFFSET), blocked[:, ::-1])


@pytest.mark.parametrize("lip", [0.01, 0.05])
def test_an_overhang_up_to_the_offset_is_forgiven(lip: float) -> None:
    mesh = turned(
        [(0, 0), (40 + lip, 0), (40 + lip, 5), (40, 5), (40, 40), (40 + lip, 40), (40 + lip, 45), (0, 45)]
    )
    radius = np.hypot(*mesh.centroids[:, :2].T)
    wall = (np.abs(mesh.normals[:, 2]) < 0.5) & (mesh.centroids[:, 2] > 5) & (mesh.centroids[:, 2] < 40)
    assert radius[wall].max() <= 40
    assert face_blocked(mesh, UP, offset=OFFSET).all(axis=1)[wall].all() == (lip > OFFSET)
    assert face_blocked(mesh, UP, offset=OFFSET)[wall].any() == (lip > OFFSET)


def test_threads_change_nothing_and_faces_without_area_read_free() -> None:
    mesh = knobbly(4)
    flat = Mesh(mesh.vertices, np.concatenate([mesh.faces, [[0, 0, 1], [5, 5, 5]]]))
    one, three = (face_blocked(flat, (1, 2, 3), offset=OFFSET, workers=workers) for workers in (1, 3))
    np.testing.assert_array_equal(one, three)
    assert not one[-2:].any()


def test_a_form_far_from_the_origin_reads_the_same() -> None:
    mesh = knobbly(3)
    far = mesh.transformed(trimesh.transformations.translation_matrix((1e4, -1e4, 5e3)))
    np.testing.assert_array_equal(face_blocked(mesh, UP, offset=OFFSET), face_blocked(far, UP, offset=OFFSET))


def test_an_offset_that_is_no_length_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        face_blocked(grooved(), UP, offset=0.0)
