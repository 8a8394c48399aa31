"""The distance field: against formulas and libigl; volumes of offsets, discs and nesting by formula."""

from __future__ import annotations

import igl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from moldprep.geometry.discs import inscribed_disc, widest_radius
from moldprep.geometry.distance import (
    DistanceField,
    climbed,
    distance_field,
    joined_to,
    layer_volumes,
    volume_below,
)
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.nesting import nesting_gap
from moldprep.job import FormJob
from moldprep.master import master_from_bytes
from tests.forms import chord_error, turned
from tests.npm_meshes import bunny

SECTIONS = 256
RADIUS, HEIGHT, WALL = 40.0, 120.0, 4.0
SINGLE = 1e-4
"""Single precision leaves this much of a field in mm."""


def cylinder(*, sections: int = SECTIONS, rings: int = 1) -> Mesh:
    wall = [(RADIUS, HEIGHT * t) for t in np.linspace(0, 1, rings + 1)]
    return turned([(0, 0), *wall, (0, HEIGHT)], sections=sections)


def open_top(mesh: Mesh, *, pitch: float = 1.0) -> DistanceField:
    return distance_field(mesh, mesh.normals[:, 2] < 0.99, pitch=pitch, layer=float(mesh.bounds[1, 2]))


def inner(distances: DistanceField) -> np.ndarray:
    """(k, 3) grid points inside the form."""
    return distances.place(np.argwhere(distances.values > 0))


@pytest.fixture(scope="module")
def hare() -> Mesh:
    return master_from_bytes(bunny(), file_type="obj", name="b", form=FormJob(up="y", size_mm=120)).mesh


@pytest.fixture(scope="module")
def hare_field(hare: Mesh) -> DistanceField:
    every = np.ones(len(hare.faces), bool)
    return distance_field(hare, every, pitch=1.25, layer=float(hare.bounds[1, 2]))


def test_the_field_of_the_bunny_is_that_of_libigl(hare: Mesh, hare_field: DistanceField) -> None:
    points = inner(hare_field)[::7]
    square, _, _ = igl.point_mesh_squared_distance(points, hare.vertices, hare.faces.astype(np.int64))
    error = hare_field.at(points) - np.sqrt(square)
    assert error.min() > -SINGLE
    assert np.mean(error < SINGLE) > 0.995
    near = square < (3 * WALL) ** 2  # where walls are looked for
    assert error[near].max() < 0.1 * hare_field.pitch
    assert error.max() < 0.2 * hare_field.pitch


def test_inside_and_outside_of_the_bunny_are_those_of_libigl(hare: Mesh, hare_field: DistanceField) -> None:
    index = np.argwhere(np.abs(hare_field.values) > 0.01)[::29]
    signed, _, _, _ = igl.signed_distance(
        hare_field.place(index),
        hare.vertices,
        hare.faces.astype(np.int64),
        igl.SIGNED_DISTANCE_TYPE_WINDING_NUMBER,
    )
    assert np.array_equal(hare_field.values[tuple(index.T)] > 0, signed < 0)


def test_beside_the_faces_the_field_of_the_bunny_is_signed(hare: Mesh, hare_field: DistanceField) -> None:
    values = hare_field.values
    index = np.argwhere((values < 0) & (values > -hare_field.pitch))[::17]
    signed, _, _, _ = igl.signed_distance(
        hare_field.place(index),
        hare.vertices,
        hare.faces.astype(np.int64),
        igl.SIGNED_DISTANCE_TYPE_WINDING_NUMBER,
    )
    assert values[tuple(index.T)] == pytest.approx(-signed, abs=SINGLE)


@pytest.mark.parametrize(("sections", "rings"), [(SECTIONS, 1), (512, 200)])
def test_an_open_cylinder_is_as_deep_as_its_wall_and_floor_are_far(sections: int, rings: int) -> None:
    distances = open_top(cylinder(sections=sections, rings=rings))
    points = inner(distances)
    expected = np.minimum(RADIUS - np.hypot(points[:, 0], points[:, 1]), points[:, 2])
    error = np.abs(distances.at(points) - expected)
    chord = chord_error(RADIUS, sections)
    near = expected < 3 * WALL
    assert np.quantile(error[near], 0.999) < chord + SINGLE
    assert error[near].max() < chord + 0.1 * distances.pitch
    assert error.max() < 0.2 * distances.pitch  # on the axis everything is equally near


def test_no_layer_lies_above_the_form_and_one_lies_in_the_given_plane() -> None:
    mesh = cylinder()
    distances = distance_field(mesh, np.ones(len(mesh.faces), bool), pitch=1.3, layer=50.0)
    assert distances.heights.max() <= HEIGHT
    assert np.abs(distances.heights - 50.0).min() < 1e-9


@pytest.mark.parametrize("pitch", [0.7, 1.0, 1.7])
def test_the_offset_of_an_open_cylinder_holds_what_the_formula_says(pitch: float) -> None:
    distances = open_top(cylinder(), pitch=pitch)
    area = np.pi * (RADIUS - WALL) ** 2
    volumes = layer_volumes(distances, WALL)
    assert volumes.sum() == pytest.approx(area * (HEIGHT - WALL), rel=2e-3)
    below = volume_below(distances, volumes, [0.0, 30.3, 77.7])
    assert below == pytest.approx([0.0, area * (30.3 - WALL), area * (77.7 - WALL)], rel=2e-3, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda n: np.linalg.norm(n) > 0.1),
    st.floats(-0.8, 0.8),
)
def test_what_a_plane_cuts_from_a_cell_is_exact(normal: tuple[float, float, float], offset: float) -> None:
    corners = np.indices((2, 2, 2)).transpose(1, 2, 3, 0) - 0.5
    values = (corners @ np.array(normal) + offset).astype(np.float32)
    share = layer_volumes(DistanceField(np.zeros(3), 1.0, values), 0.0).sum()
    # the share by inclusion and exclusion over the cube's corners, for |n| of three non-zero parts
    n = np.maximum(np.abs(np.array(normal)), 1e-3)
    value = (corners @ (np.sign(np.where(np.array(normal) == 0, 1, normal)) * n) + offset).ravel()
    sign = (-1.0) ** np.indices((2, 2, 2)).sum(axis=0).ravel() * np.prod(
        np.sign(np.where(np.array(normal) == 0, 1, normal))
    )
    exact = -float((sign * np.maximum(value, 0) ** 3).sum()) / (6 * np.prod(n))
    assert share == pytest.approx(exact, abs=0.01)


def test_a_hollow_that_is_shut_off_is_not_joined() -> None:
    two = turned([(0, 0), (30, 0), (30, 30), (3, 50), (3, 55), (30, 75), (30, 100), (0, 100)])
    distances = open_top(two)
    seeds = np.zeros(distances.values.shape, bool)
    seeds[:, :, -1] = True
    joined = joined_to(distances, WALL, seeds)
    heights = distances.heights[np.flatnonzero(joined.any(axis=(0, 1)))]
    assert heights.min() > 55
    assert joined_to(distances, 1.5, seeds).any(axis=(0, 1))[int(20 - distances.origin[2])]


def test_a_point_climbs_to_the_middle_of_a_bar() -> None:
    bar = turned([(0, 0), (6, 0), (6, 80), (0, 80)])
    place, depth = climbed(bar, np.ones(len(bar.faces), bool), (2.1, -1.7, 40.0), reach=20.0, step=0.5)
    assert depth == pytest.approx(6, abs=0.03)
    assert np.hypot(*place[:2]) < 0.05


def test_the_largest_disc_of_an_ellipse_and_of_a_square() -> None:
    x, y = np.meshgrid(np.arange(-40, 40.5), np.arange(-30, 30.5), indexing="ij")
    origin = np.array([-40.0, -30.0])
    ellipse = 1 - (x / 31.3) ** 2 - (y / 17.7) ** 2
    disc = inscribed_disc(ellipse, 0.0, origin=origin, pitch=1.0)
    assert disc.radius == pytest.approx(17.7, abs=0.02)
    square = 12.25 - np.maximum(np.abs(x - 3.3), np.abs(y + 2.6))
    disc = inscribed_disc(square, 0.0, origin=origin, pitch=1.0)
    assert disc.radius == pytest.approx(12.25, abs=0.02)
    assert disc.middle == pytest.approx((3.3, -2.6), abs=0.03)
    assert widest_radius(square >= 0, 1.0) == pytest.approx(12.25, abs=1.0)


def test_no_disc_fits_into_nothing() -> None:
    assert inscribed_disc(np.full((5, 5), -1.0), 0.0, origin=np.zeros(2), pitch=1.0).radius == 0
    assert widest_radius(np.zeros((5, 5), bool), 1.0) == 0


def test_a_smaller_cylinder_stands_in_a_larger_one_with_the_gap_of_the_formula() -> None:
    distances = open_top(cylinder())

    def gap(small: float) -> float:
        return nesting_gap(distances, (0.0, 0.0), large=1.0, small=small, level=WALL, rim=HEIGHT)

    assert gap(0.7) == pytest.approx(RADIUS - WALL - 0.7 * RADIUS, abs=0.05)
    assert gap(0.95) == pytest.approx(RADIUS - WALL - 0.95 * RADIUS, abs=0.05)
