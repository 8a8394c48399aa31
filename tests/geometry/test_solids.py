"""Solids: volumes by formula, booleans that add up, faces found again after cuts."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.errors import FormError
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import circle_outline, signed_area
from moldprep.geometry.solids import (
    difference,
    filled,
    from_manifold,
    from_traced,
    intersection,
    is_solid,
    parts,
    prism,
    split,
    to_manifold,
    to_traced,
    triangulated,
    union,
    united,
)
from tests.forms import from_trimesh, tumbler

ROUNDING = 1e-9
"""Relative: booleans work in double precision and only move points to a hair of the form's size."""


def box(size: tuple[float, float, float], at: tuple[float, float, float] = (0, 0, 0)) -> Mesh:
    made = trimesh.creation.box(size)
    made.apply_translation(at)
    return from_trimesh(made)


def test_a_mesh_comes_back_from_a_solid_with_its_volume() -> None:
    form = tumbler(sections=64, rings=5)
    assert from_manifold(to_manifold(form)).volume == pytest.approx(form.volume, rel=ROUNDING)


def test_an_open_mesh_is_refused_with_code_and_cure() -> None:
    form = tumbler(sections=32)
    opened = Mesh(form.vertices, form.faces[1:])
    with pytest.raises(FormError) as caught:
        to_manifold(opened)
    assert caught.value.code == "not-solid"
    assert "two faces" in caught.value.remedy
    assert is_solid(form) and not is_solid(opened)


def test_overlaps_are_counted_once() -> None:
    """Two cubes of side 2 that overlap by half: 8 + 8 - 4."""
    assert union([box((2, 2, 2)), box((2, 2, 2), (1, 0, 0))]).volume == pytest.approx(12, rel=ROUNDING)


def test_bodies_that_share_a_face_become_one() -> None:
    joined = united([to_manifold(box((2, 2, 2))), to_manifold(box((2, 2, 2), (2, 0, 0)))])
    assert len(parts(joined)) == 1
    assert joined.volume() == pytest.approx(16, rel=ROUNDING)


@pytest.mark.parametrize("spread", [1.0, 1.5, 0.5])
def test_a_prism_is_a_frustum_of_its_outline(spread: float) -> None:
    """Volume h/3 A (1 + s + s^2) with A the outline's area; about the outline's centroid."""
    outline = circle_outline((7.0, -3.0), 30.0)
    solid = prism(outline, 10.0, 60.0, spread=spread)
    assert solid.volume() == pytest.approx(
        50 / 3 * signed_area(outline) * (1 + spread + spread**2), rel=ROUNDING
    )
    top = from_manifold(solid).vertices
    top = top[top[:, 2] > 59.9, :2]
    assert top.mean(axis=0) == pytest.approx([7, -3], abs=1e-6)
    assert np.hypot(*(top - [7, -3]).T) == pytest.approx(30 * spread, abs=1e-6)


def test_a_prism_with_a_hole() -> None:
    square = np.array([[0.0, 0], [10, 0], [10, 10], [0, 10]])
    hole = np.array([[4.0, 4], [4, 6], [6, 6], [6, 4]])  # clockwise
    assert prism([square, hole], 0, 3).volume() == pytest.approx(3 * 96, rel=ROUNDING)


@pytest.mark.parametrize("low, high", [(5.0, 5.0), (6.0, 5.0)])
def test_a_prism_without_height_is_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="encloses nothing"):
        prism(circle_outline((0, 0), 5.0), low, high)


@pytest.mark.parametrize("seed", range(4))
def test_split_parts_add_up_and_lie_on_their_sides(seed: int) -> None:
    generator = np.random.default_rng(seed)
    solid = to_manifold(tumbler(sections=48, rings=4))
    normal = generator.normal(size=3)
    normal /= np.linalg.norm(normal)
    offset = float(normal @ [0, 0, 50] + generator.uniform(-10, 10))
    ahead, behind = split(solid, normal, offset)
    assert ahead.volume() + behind.volume() == pytest.approx(solid.volume(), rel=ROUNDING)
    assert (from_manifold(ahead).vertices @ normal).min() >= offset - 1e-6
    assert (from_manifold(behind).vertices @ normal).max() <= offset + 1e-6


def test_difference_and_intersection_share_out_a_solid() -> None:
    one, other = to_manifold(box((4, 4, 4))), to_manifold(tumbler(sections=24))
    assert difference(one, other).volume() + intersection(one, other).volume() == pytest.approx(
        64, rel=ROUNDING
    )


def test_parts_come_largest_first() -> None:
    apart = to_manifold(union([box((1, 1, 1)), box((3, 3, 3), (9, 0, 0)), box((2, 2, 2), (0, 9, 0))]))
    assert [round(part.volume()) for part in parts(apart)] == [27, 8, 1]


def test_faces_are_found_again_after_cuts() -> None:
    """Each traced triangle lies in the plane of its own face, looks the other way, and nothing is lost."""
    form = tumbler(sections=40, rings=6)
    solid, mark = to_traced(form)
    body = difference(prism(circle_outline((0, 0), 70.0), -20, 120), solid)
    area = np.zeros(len(form.faces))
    for half in split(body, (1.0, 0.0, 0.0), 3.0):
        mesh, source = from_traced(half, mark)
        on = source >= 0
        assert np.einsum("ij,ij->i", mesh.normals[on], form.normals[source[on]]) == pytest.approx(
            -1, abs=1e-9
        )
        heights = np.einsum(
            "ij,ij->i", mesh.centroids[on] - form.centroids[source[on]], form.normals[source[on]]
        )
        assert np.abs(heights).max() < 1e-6
        area += np.bincount(source[on], weights=mesh.areas[on], minlength=len(area))
    assert area == pytest.approx(form.areas, rel=1e-6)


def test_filled_counts_overlapping_outlines_once_and_keeps_holes() -> None:
    square = np.array([[0.0, 0], [2, 0], [2, 2], [0, 2]])
    assert sum(signed_area(loop) for loop in filled([square, square + np.array([1, 0])])) == pytest.approx(6)
    ring = filled([3 * square, (square + np.array([2, 2]))[::-1]])
    assert sorted(signed_area(loop) for loop in ring) == pytest.approx([-4, 36])


def test_triangles_cover_a_notched_outline() -> None:
    outline = np.array([[0.0, 0], [4, 0], [4, 4], [2, 1], [0, 4]])
    triangles = triangulated(outline)
    assert triangles.shape == (3, 3)
    areas = [signed_area(outline[triangle]) for triangle in triangles]
    assert min(areas) > 0
    assert sum(areas) == pytest.approx(signed_area(outline))


def test_a_prism_ends_exactly_where_it_is_asked_to() -> None:
    """A form that ends level with its block must open it: a rounding short of level makes it a void inside."""
    square = np.array([(-9.0, -9.0), (9.0, -9.0), (9.0, 9.0), (-9.0, 9.0)])
    generator = np.random.default_rng(7)
    for low, high in zip(-generator.uniform(1, 60, 200), generator.uniform(1, 300, 200), strict=True):
        block = prism(square * 3, low, high)
        assert set(np.unique(from_manifold(block).vertices[:, 2])) == {low, high}
        level = prism(square, 0.0, high)
        (left,) = parts(difference(block, level))
        assert left.volume() == pytest.approx(54**2 * (high - low) - 18**2 * high)
