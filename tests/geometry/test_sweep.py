"""What a body runs into on its way: boxes, rings and balls whose overlaps are formulas."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import to_manifold
from moldprep.geometry.sweep import GROWTH, Overlap, slid_overlaps, swept_overlaps
from tests.forms import from_trimesh, grooved

TOLERANCE = 0.15
GRAIN = 0.5
LINES = 251
FINE = TOLERANCE / 3
UP = np.array([0.0, 0.0, 1.0])


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    return from_trimesh(trimesh.creation.box(bounds=[low, high]))


def ring(inner: float, outer: float, low: float, high: float) -> Mesh:
    made = trimesh.creation.annulus(inner, outer, high - low, sections=256)
    made.apply_translation([0, 0, (low + high) / 2])
    return from_trimesh(made)


def swept(
    body: Mesh, *obstacles: Mesh, way: np.ndarray = UP, seed: int = 0, grain: float = GRAIN
) -> list[Overlap]:
    u, v = np.random.default_rng(seed).uniform(0.1, 0.9, 2)
    shift = (float(u), float(v))
    return swept_overlaps(body, way, obstacles, tolerance=TOLERANCE, grain=grain, lines=LINES, shift=shift)


def turn(seed: int) -> np.ndarray:
    """A turn of space, (4, 4)."""
    return trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))


def read_to(length: float) -> float:
    """Error of a width across a form `length` long, mm: the column nearest to the middle of the inscribed
    circle is up to 0.71 pitches off, which counts twice, and one pitch is taken off for the edge."""
    return 2.5 * length / LINES


# --- columns ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_ledge_holds_as_wide_as_it_overhangs_whichever_way_the_body_leaves(seed: int) -> None:
    """A box 50 x 30 x 10 under a ledge over its last 6 mm: 6 wide, 10 long, 6 x 30 x 10 large."""
    pose = turn(seed)
    body, ledge = (
        part.transformed(pose) for part in (box((0, 0, 0), (50, 30, 10)), box((44, -5, 15), (70, 35, 25)))
    )
    (found,) = swept(body, ledge, way=pose[:3, 2], seed=seed)
    assert found.lateral_mm == pytest.approx(6, abs=read_to(50))
    assert found.along_mm == pytest.approx(10)
    assert found.volume_mm3 == pytest.approx(6 * 30 * 10, rel=read_to(50) / 6)
    x, y, z = pose[:3, :3].T @ np.array(found.where)
    assert z == pytest.approx(10)  # its top strikes
    assert x == pytest.approx(47, abs=read_to(50))
    assert 3 - read_to(50) < y < 27 + read_to(50)


@pytest.mark.parametrize("overhang", [0.08, 0.2, 0.35, 0.6])
def test_narrow_ledges_are_read_at_a_third_of_the_tolerance(overhang: float) -> None:
    body, ledge = box((0, 0, 0), (50, 30, 10)), box((50 - overhang, -5, 15), (70, 35, 25))
    (found,) = swept(body, ledge)
    assert found.lateral_mm == pytest.approx(overhang, abs=2 * FINE)
    assert found.pitch_mm <= FINE * (1 + 1e-9)
    assert found.where is not None
    assert found.where[0] == pytest.approx(50 - overhang / 2, abs=2 * FINE)
    assert found.where[2] == pytest.approx(10)


def test_plaster_in_a_groove_is_held_as_deep_as_the_groove() -> None:
    """Radius 34 to 40, 10 high: pi (40^2 - 34^2) 10."""
    body, form = ring(34, 60, 30, 40), grooved()
    (found,) = swept(body, form)
    pitch = found.pitch_mm
    assert found.lateral_mm == pytest.approx(6, abs=read_to(120))
    assert found.volume_mm3 == pytest.approx(np.pi * (40**2 - 34**2) * 10, rel=2 * pitch / 6)
    assert found.where is not None
    assert np.hypot(*found.where[:2]) == pytest.approx(37, abs=pitch)
    assert found.where[2] == pytest.approx(40)


def test_the_place_is_that_of_the_widest_hold() -> None:
    """A post of 3 and a post of 9 over a plate."""
    plate = box((0, 0, 0), (80, 80, 5))
    posts = trimesh.util.concatenate(
        [
            trimesh.creation.box(bounds=[(10, 10, 20), (13, 13, 30)]),
            trimesh.creation.box(bounds=[(60, 50, 20), (69, 59, 30)]),
        ]
    )
    (found,) = swept(plate, from_trimesh(posts))
    assert found.lateral_mm == pytest.approx(9, abs=read_to(80))
    assert found.where == pytest.approx((64.5, 54.5, 5), abs=read_to(80))
    assert found.volume_mm3 == pytest.approx((81 + 9) * 5, rel=0.15)


def test_each_obstacle_has_a_reading_of_its_own() -> None:
    body = box((0, 0, 0), (40, 40, 10))
    above, below, beside = (
        box((0, 0, 12), (40, 8, 20)),
        box((0, 0, -20), (40, 40, 0)),
        box((40, 0, 0), (80, 40, 50)),
    )
    over, under, at_side = swept(body, above, below, beside)
    assert over.lateral_mm == pytest.approx(8, abs=read_to(40))
    for clear in (under, at_side):
        assert (clear.lateral_mm, clear.along_mm, clear.volume_mm3, clear.where) == (0, 0, 0, None)


@pytest.mark.parametrize("seed", range(3))
def test_what_stands_behind_or_touches_does_not_hold(seed: int) -> None:
    """Faces turned out of the axes touch within rounding only."""
    pose = turn(seed + 10)
    body = box((0, 0, 0), (50, 40, 20)).transformed(pose)
    around = [box((0, 0, -30), (50, 40, 0)), box((50, 0, -30), (90, 40, 60)), box((0, -30, -30), (50, 0, 60))]
    for found in swept(body, *(part.transformed(pose) for part in around), way=pose[:3, 2], seed=seed):
        assert found.lateral_mm <= FINE * (1 + 1e-9)


def test_a_film_of_less_than_a_grain_is_counted_but_no_lock() -> None:
    """20 x 20 mm, 0.001 mm thick: 0.4 mm3."""
    thick = 1e-3
    body, under = box((0, 0, 0), (20, 20, 5)), box((0, 0, -5), (20, 20, thick))
    (found,) = swept(body, under)
    assert (found.lateral_mm, found.where) == (0.0, None)
    assert found.along_mm == pytest.approx(thick)
    assert found.volume_mm3 == pytest.approx(400 * thick, rel=read_to(20) / 10)
    (found,) = swept(body, under, grain=0.1)
    assert found.lateral_mm == pytest.approx(20, abs=read_to(20))


@pytest.mark.parametrize("seed", range(6))
def test_a_sliver_along_a_level_face_is_read_the_same_wherever_the_columns_stand(seed: int) -> None:
    """0.02 mm wide, 100 long, 40 tall: 80 mm3. Rows of columns beside it would find all of it or nothing."""
    wide = 0.02
    body, wall = box((0, 0, 0), (100, 60, 40)), box((-10, 60 - wide, 41), (110, 90, 50))
    (found,) = swept(body, wall, seed=seed)
    assert found.lateral_mm <= FINE * (1 + 1e-9)
    pitch = 100 / LINES
    expected = wide * 100 / pitch**2
    # of the askew rows that cross the sliver each has a column in it or none: an error of a few columns
    assert found.volume_mm3 / (40 * pitch**2) == pytest.approx(expected, abs=0.5 * expected)


def test_under_a_ball_the_shadow_is_its_disc() -> None:
    radius = 12.0
    ball = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    ball.apply_translation([20, 20, 40])
    (found,) = swept(box((0, 0, 0), (60, 40, 10)), from_trimesh(ball))
    assert found.lateral_mm == pytest.approx(2 * radius, abs=read_to(60))
    assert found.volume_mm3 == pytest.approx(np.pi * radius**2 * 10, rel=read_to(60) / radius)
    assert found.where == pytest.approx((20, 20, 10), abs=read_to(60))


# --- sliding copies -----------------------------------------------------------------------------


def test_copies_overlap_by_what_they_have_slid_into() -> None:
    """Box 20 x 30, 10 tall, under a plate from 15 to 18: at distance d the overlap along is that of
    [d, d + 10] with [15, 18]."""
    body, plate = to_manifold(box((0, 0, 0), (20, 30, 10))), to_manifold(box((-5, -5, 15), (50, 50, 18)))
    copies = list(slid_overlaps(body, UP, [plate], first=0.1, last=100, grain=GRAIN))
    distances = [copy.distance_mm for copy in copies]
    assert distances == pytest.approx([0.1 * GROWTH**k for k in range(len(copies))])
    assert distances[-2] < 100 <= distances[-1]
    for copy in copies:
        deep = max(0.0, min(copy.distance_mm + 10, 18) - max(copy.distance_mm, 15))
        assert copy.volume_mm3 == pytest.approx(20 * 30 * deep, abs=1e-6)
        assert copy.lateral_mm == pytest.approx(20 if deep else 0, abs=0.02)
    assert any(copy.lateral_mm for copy in copies)


def test_copies_add_up_over_obstacles_and_the_widest_place_counts() -> None:
    body = to_manifold(box((0, 0, 0), (40, 40, 10)))
    over = [to_manifold(box((0, 0, 9), (5, 40, 30))), to_manifold(box((28, 0, 9), (40, 40, 30)))]
    first = next(slid_overlaps(body, UP, over, first=1.0, last=50, grain=GRAIN))
    assert first.volume_mm3 == pytest.approx((5 + 12) * 40 * 2)
    assert first.lateral_mm == pytest.approx(12, abs=0.02)


def test_copies_that_overlap_by_less_than_a_grain_have_no_width() -> None:
    body, speck = to_manifold(box((0, 0, 0), (40, 40, 10))), to_manifold(box((5, 5, 9), (5.5, 5.5, 30)))
    first = next(slid_overlaps(body, UP, [speck], first=0.9, last=50, grain=GRAIN))
    assert first.volume_mm3 == pytest.approx(0.25 * 1.9)
    assert first.lateral_mm == 0
