"""Many directions at once, and the coarse stand-in they are ranked on."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.errors import Cancelled
from moldprep.geometry.coarse import coarse
from moldprep.geometry.columns import cast, defects, frame_for, gap_mm3, solid_intervals
from moldprep.geometry.columns.directions import study_directions
from moldprep.geometry.mesh import Mesh
from moldprep.working import Watch
from tests.forms import grooved, turned

DIRECTIONS = np.concatenate([np.eye(3), np.random.default_rng(3).normal(size=(9, 3))])


def fine(profile: list[tuple[float, float]], rings: int, sections: int) -> Mesh:
    """A turned form whose profile is cut into equal steps."""
    corners = np.array(profile, dtype=float)
    length = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    at = np.union1d(np.linspace(0, length[-1], rings), length)
    points = np.column_stack([np.interp(at, length, corners[:, k]) for k in (0, 1)])
    points[[0, -1], 0] = 0
    return turned([tuple(point) for point in points], sections=sections)


def fine_vase() -> Mesh:
    z = np.linspace(0, 150, 40)
    return fine([(0, 0), *zip(30 + 18 * np.sin(z / 30), z, strict=True), (0, 150)], 300, 256)


class Stopping(Watch):
    """Cancels after so many directions."""

    def __init__(self, after: int) -> None:
        self.after, self.seen = after, 0

    def step(self, done: int, of: int) -> None:
        self.seen = done
        if done == self.after:
            raise Cancelled


def test_many_directions_give_what_each_gives_alone_on_any_number_of_threads() -> None:
    mesh = grooved()
    one, two = (study_directions(mesh, DIRECTIONS, lines=40, workers=workers) for workers in (1, 2))
    np.testing.assert_array_equal(one.gap_mm3, two.gap_mm3)
    np.testing.assert_array_equal(one.one_way_plus_mm3, two.one_way_plus_mm3)
    alone = [gap_mm3(solid_intervals(cast(mesh, frame_for(mesh, d, lines=40)))) for d in DIRECTIONS]
    np.testing.assert_allclose(one.gap_mm3, alone, rtol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(one.directions, axis=1), 1)


def test_turning_a_direction_round_swaps_the_two_single_pulls() -> None:
    there = study_directions(grooved(), DIRECTIONS, lines=120)
    back = study_directions(grooved(), -DIRECTIONS, lines=120)
    room = 2e-3 * grooved().volume  # the grid runs the other way: another sample
    np.testing.assert_allclose(there.one_way_plus_mm3, back.one_way_minus_mm3, atol=room)
    np.testing.assert_allclose(there.gap_mm3, back.gap_mm3, atol=room)


def test_a_watch_stops_the_work_between_directions() -> None:
    watch = Stopping(3)
    with pytest.raises(Cancelled):
        study_directions(grooved(), DIRECTIONS, lines=20, workers=2, watch=watch)
    assert watch.seen == 3


def test_a_coarse_stand_in_stays_closed_and_keeps_volume_and_corners() -> None:
    mesh = fine_vase()
    small = coarse(mesh, cells=64)
    assert len(small.faces) < len(mesh.faces) / 4
    for direction in DIRECTIONS[:6]:
        found = defects(cast(small, frame_for(small, direction, lines=100)))
        assert (found.odd, found.unbalanced) == (0, 0)
    assert small.volume == pytest.approx(mesh.volume, rel=2e-3)
    # rims stay sharp to a tenth of a cell, where means of vertices would round them by half a cell
    np.testing.assert_allclose(small.bounds, mesh.bounds, atol=0.1 * 150 / 64)


def test_gaps_of_the_stand_in_are_those_of_the_fine_form() -> None:
    """Within max(2 %, 1e-4 of the volume) and what sampling itself scatters at this pitch."""
    mesh = fine_vase()
    exact = study_directions(mesh, DIRECTIONS, lines=200).gap_mm3
    ranked = study_directions(coarse(mesh, cells=64), DIRECTIONS, lines=200).gap_mm3
    assert exact.max() > 0.005 * mesh.volume
    np.testing.assert_allclose(ranked, exact, rtol=0.03, atol=2e-4 * mesh.volume)


def test_the_walls_of_a_drop_out_form_stay_free_on_the_stand_in() -> None:
    tumbler = fine([(0, 0), (30, 0), (34, 100), (0, 100)], 300, 256)
    small = coarse(tumbler, cells=64)
    study = study_directions(small, np.eye(3), lines=100)
    assert study.gap_mm3.max() < 1e-5 * tumbler.volume
    assert study.one_way_plus_mm3[2] < 1e-3 * tumbler.volume


def test_a_small_mesh_comes_back_as_it_is_and_no_grid_is_refused() -> None:
    mesh = grooved()
    assert coarse(mesh, cells=96) is mesh
    with pytest.raises(ValueError, match="2 or more"):
        coarse(grooved(), cells=1)


def test_two_bodies_inside_one_another_stay_united_on_the_stand_in() -> None:
    balls = [trimesh.creation.icosphere(6, radius=20).apply_translation((x, 0, 0)) for x in (0, 15)]
    both = trimesh.util.concatenate(balls)
    mesh = Mesh(np.array(both.vertices), np.array(both.faces))
    volumes = []
    for form in (mesh, coarse(mesh, cells=48)):
        solid = solid_intervals(cast(form, frame_for(form, (1, 1, 1), lines=150)))
        volumes.append(float((solid.high - solid.low).sum()) * solid.frame.pitch**2)
    assert volumes[1] == pytest.approx(volumes[0], rel=3e-3)
