"""Narrowing and sweeping: angles, volumes and shapes by formula."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.easing import Narrowing, half_widths, patches, split_across, swept
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import is_solid
from tests.forms import from_trimesh, grooved, turned

UP = np.array([0.0, 0.0, 1.0])
LEVEL = np.eye(3)[:2]
SECTIONS = 96


def drum(radius: float = 40.0, height: float = 80.0) -> Mesh:
    return turned([(0, 0), (radius, 0), (radius, height), (0, height)], sections=SECTIONS)


def narrowing(half: tuple[float, float], *, still: float = 0.0, high: float = 80.0) -> Narrowing:
    return Narrowing(UP, LEVEL, np.zeros(2), np.array(half), still, 0.0, high)


def walls(mesh: Mesh) -> np.ndarray:
    return np.abs(mesh.normals[:, 2]) < 0.5


def test_walls_tell_their_half_width_and_middle() -> None:
    around = drum().transformed(trimesh.transformations.translation_matrix([7.0, -3.0, 5.0]))
    middle, half = half_widths(around, walls(around), LEVEL)
    np.testing.assert_allclose(middle, [7, -3], atol=1e-9)
    np.testing.assert_allclose(half, 40 * np.cos(np.pi / SECTIONS), atol=1e-9)  # the facets' distance
    box = from_trimesh(trimesh.creation.box(bounds=[[-30, -20, 0], [50, 20, 60]]))
    middle, half = half_widths(box, walls(box), LEVEL)
    np.testing.assert_allclose((middle, half), ([10, 0], [40, 20]), atol=1e-9)


def test_a_lone_wall_is_measured_from_the_middle_and_a_missing_one_moves_nothing() -> None:
    box = from_trimesh(trimesh.creation.box(bounds=[[-30, -20, 0], [50, 20, 60]]))
    middle, half = half_widths(box, box.normals[:, 0] > 0.5, LEVEL)
    assert (middle[0], half[0]) == pytest.approx((10, 40))
    assert np.isinf(half[1])
    one = Narrowing(UP, LEVEL, middle, half, 0.0, 0.0, 60.0)
    np.testing.assert_array_equal(one.moved(box.vertices, 3.0)[:, 1], box.vertices[:, 1])


@pytest.mark.parametrize("angle", [0.5, 2.0, 5.0])
def test_a_narrowed_box_has_that_draft_on_every_wall_and_the_frustum_s_volume(angle: float) -> None:
    box = from_trimesh(trimesh.creation.box(bounds=[[-40, -20, 0], [40, 20, 80]]))
    one = narrowing((40.0, 20.0))
    eased = Mesh(one.moved(box.vertices, angle), box.faces)
    draft = np.degrees(np.arcsin(eased.normals[walls(eased)] @ UP))
    np.testing.assert_allclose(draft, angle, atol=1e-9)
    slope = np.tan(np.radians(angle))
    # integral of (80 - 2 t slope)(40 - 2 t slope) over the height
    h = 80.0
    assert eased.volume == pytest.approx(80 * 40 * h - 120 * slope * h**2 + 4 * slope**2 * h**3 / 3)
    assert one.farthest(box.vertices, angle) == pytest.approx(np.hypot(h * slope, h * slope))
    assert np.tan(np.radians(one.most_deg)) == pytest.approx(20 / 2 / h)


def test_what_lies_beyond_the_ends_moves_with_them() -> None:
    one = narrowing((40.0, 40.0), still=20.0, high=60.0)
    places = np.array([[40.0, 0, 20], [40, 0, 60], [40, 0, 75]])
    moved = one.moved(places, 2.0)
    np.testing.assert_allclose(moved[:, 0], 40 - np.tan(np.radians(2)) * np.array([0, 40, 40]))
    np.testing.assert_array_equal(moved[:, 2], places[:, 2])


def test_a_taper_that_turns_the_form_inside_out_is_refused() -> None:
    with pytest.raises(ValueError, match="inside out"):
        narrowing((1.0, 1.0)).moved(drum().vertices, 3.0)


def test_cutting_faces_keeps_the_surface_and_knows_the_whole_ones() -> None:
    mesh = grooved(sections=SECTIONS)
    for direction, offset in ((UP, 35.0), (np.array([0.6, 0.8, 0.0]), 1.0)):
        cut, source = split_across(mesh, direction, offset)
        side = (cut.vertices @ direction - offset)[cut.faces]
        assert ((side.min(axis=1) > -1e-9) | (side.max(axis=1) < 1e-9)).all()
        assert (cut.volume, cut.area) == pytest.approx((mesh.volume, mesh.area))
        assert is_solid(cut)
        kept = source >= 0
        np.testing.assert_array_equal(cut.faces[kept], mesh.faces[source[kept]])
        assert (source < 0).any()
        assert len(cut.faces) > len(mesh.faces)
    assert split_across(mesh, UP, 200.0)[0] is mesh


def test_patches_hang_together_by_sides_not_by_corners() -> None:
    box = trimesh.creation.box(extents=[2, 2, 2])
    mesh = from_trimesh(trimesh.util.concatenate([box, box.copy().apply_translation([10, 0, 0])]))
    ends = np.abs(mesh.normals[:, 2]) > 0.5
    label = patches(mesh, ends)
    assert set(label[ends]) == {0, 1, 2, 3}
    assert (np.bincount(label[ends]) == 2).all()
    assert (label[~ends] == -1).all()


def test_a_swept_annulus_is_a_ring_of_pappus_volume() -> None:
    mesh = grooved(sections=SECTIONS)
    floor = (mesh.normals[:, 2] > 0.5) & (np.abs(mesh.centroids[:, 2] - 30) < 1e-9)
    ring = swept(mesh, floor, UP, 38.0)
    assert is_solid(ring)
    polygon = SECTIONS / (2 * np.pi) * np.sin(2 * np.pi / SECTIONS)
    assert ring.volume == pytest.approx(2 * np.pi * 37 * (6 * 8) * polygon)
    assert ring.bounds[:, 2].tolist() == [30.0, 38.0]
