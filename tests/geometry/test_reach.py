"""Reach against forms whose reach is plain from their drawing."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.mesh import Mesh
from moldprep.geometry.reach import locked_spots
from tests.forms import chord_error, disc_on_stem, from_trimesh, grooved, tumbler, turned

TOLERANCE = 0.15
UP = (0.0, 0.0, 1.0)


def reach_error(pitch: float, radius: float) -> float:
    """Half a diagonal at either end of the distance, and the polygon's chord."""
    return np.sqrt(2) * pitch + chord_error(radius, 256)


@pytest.mark.parametrize("way", ["pair", "plus", "minus"])
def test_a_groove_six_deep_reads_six_whichever_way_the_plaster_goes(way: str) -> None:
    (spot,) = locked_spots(grooved(), UP, way=way, tolerance=TOLERANCE)
    assert spot.reach_mm == pytest.approx(6.0, abs=reach_error(spot.pitch_mm, 40))
    assert 30 <= spot.where[2] <= 40
    assert np.hypot(*spot.where[:2]) == pytest.approx(34, abs=1.0)  # at the groove's ground
    # the polygon's own area, exact; columns sample the shadow's rim to a pitch either way
    ring = np.pi * (40**2 - 34**2) * np.sin(2 * np.pi / 256) / (2 * np.pi / 256)
    rim = 2 * np.pi * (40 + 34) * (80 / 128) / 8  # an eighth of a pitch on average along both rims
    assert spot.area_mm2 == pytest.approx(ring, abs=rim)


def test_a_disc_over_its_stem_reads_its_overhang_and_only_for_plaster_that_goes_up() -> None:
    (spot,) = locked_spots(disc_on_stem(), UP, way="plus", tolerance=TOLERANCE)
    assert spot.reach_mm == pytest.approx(25.0, abs=reach_error(spot.pitch_mm, 50))
    assert locked_spots(disc_on_stem(), UP, way="minus", tolerance=TOLERANCE) == ()
    assert locked_spots(disc_on_stem(), UP, way="pair", tolerance=TOLERANCE) == ()


def test_a_bead_on_a_stem_reads_its_height_over_the_stem() -> None:
    bead = trimesh.creation.torus(12, 4, major_sections=128, minor_sections=64)
    bead.apply_translation([0, 0, 40])
    stem = trimesh.creation.cylinder(12, 80, sections=128)
    stem.apply_translation([0, 0, 40])
    form = from_trimesh(trimesh.boolean.union([bead, stem], engine="manifold"))
    sideways = locked_spots(form, (1.0, 0.0, 0.0), way="pair", tolerance=TOLERANCE)
    assert sideways == ()  # a turned form with one axis opens along any level axis
    (spot,) = locked_spots(form, UP, way="plus", tolerance=TOLERANCE)
    assert spot.reach_mm == pytest.approx(4.0, abs=reach_error(spot.pitch_mm, 16) + chord_error(4, 64))


@pytest.mark.parametrize("depth", [0.1, 0.3, 0.6, 1.0])
def test_a_shallow_groove_is_locked_when_it_is_deeper_than_the_tolerance(depth: float) -> None:
    form = turned(
        [(0, 0), (40, 0), (40, 30), (40 - depth, 30), (40 - depth, 32), (40, 32), (40, 80), (0, 80)]
    )
    spots = locked_spots(form, UP, way="pair", tolerance=TOLERANCE)
    if depth < TOLERANCE:
        assert spots == ()
    else:
        assert spots[0].reach_mm == pytest.approx(depth, abs=reach_error(spots[0].pitch_mm, 40))


def test_upright_walls_of_a_turned_form_are_not_locked_by_their_facets() -> None:
    form = turned([(0, 0), (30, 0), (30, 100), (0, 100)], sections=64)
    for angle in (0.0, 1e-5, 1e-4):
        tilted = form.transformed(trimesh.transformations.rotation_matrix(angle, [1, 0.3, 0]))
        assert locked_spots(tilted, UP, way="minus", tolerance=TOLERANCE) == ()


def test_a_64_gon_cylinder_split_off_its_facets_is_not_locked() -> None:
    form = turned([(0, 0), (30, 0), (30, 100), (0, 100)], sections=64)
    for azimuth in np.radians([0.0, 1.1, 2.8]):
        pull = (np.cos(azimuth), np.sin(azimuth), 0.0)
        assert locked_spots(form, pull, way="plus", tolerance=TOLERANCE, span=(0.02, np.inf)) == ()
        assert locked_spots(form, pull, way="minus", tolerance=TOLERANCE, span=(-np.inf, 0.02)) == ()


def test_span_cuts_the_plaster_but_not_what_bars_it() -> None:
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=4, radius=50))
    # plaster of the upper half, going up: free; a plane 5 mm below the equator locks its rim
    assert locked_spots(ball, UP, way="plus", tolerance=TOLERANCE, span=(0.0, np.inf)) == ()
    (spot,) = locked_spots(ball, UP, way="plus", tolerance=TOLERANCE, span=(-5.0, np.inf))
    lip = 50 - np.sqrt(50**2 - 5**2)
    facets = 50 * (
        1 - np.cos(np.radians(2.2))
    )  # an icosphere of 4 subdivisions has edges of up to 4.3 degrees
    assert spot.reach_mm == pytest.approx(lip, abs=TOLERANCE / 3 * np.sqrt(2) + facets)


def test_turning_form_and_pull_together_changes_nothing() -> None:
    form = grooved(sections=96)
    turn = trimesh.transformations.rotation_matrix(0.7, [0.3, -1, 0.5])
    (spot,) = locked_spots(form.transformed(turn), turn[:3, :3] @ UP, way="pair", tolerance=TOLERANCE)
    assert spot.reach_mm == pytest.approx(6.0, abs=np.sqrt(2) * spot.pitch_mm + chord_error(40, 96))


def test_a_million_face_tumbler_of_two_degrees_is_free() -> None:
    rings = np.linspace(0, 1, 501)
    taper = 100 * np.tan(np.radians(2))
    wall = [(30 + taper * t, 100 * t) for t in rings]
    form: Mesh = turned([(0, 0), *wall, (0, 100)], sections=1000)
    assert len(form.faces) > 1_000_000
    assert locked_spots(form, UP, way="minus", tolerance=TOLERANCE) == ()


def test_a_tumbler_upside_down_is_locked_all_round() -> None:
    (spot,) = locked_spots(tumbler(), UP, way="plus", tolerance=TOLERANCE)
    # plaster thinner than the tolerance along the pull gives way: its foot is read that much higher
    assert spot.reach_mm == pytest.approx(10.0, abs=0.1 * TOLERANCE + reach_error(spot.pitch_mm, 40))
