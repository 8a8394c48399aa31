"""The pull study: draft by formula, classes by geometry, the search by forms whose best pull is known."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.enclosed import enclosed_faces
from moldprep.geometry.mesh import Mesh
from moldprep.job import PullJob
from moldprep.pull import (
    FREE,
    LOCKED,
    SEAM_BAND_MM,
    TIGHT,
    Pull,
    classify,
    direction_name,
    judge_pull,
    search_axes,
)
from tests.forms import from_trimesh, grooved, tumbler, turned

UP = (0.0, 0.0, 1.0)
JOB = PullJob()


def judged(form: Mesh, direction: tuple[float, float, float] = UP, job: PullJob = JOB) -> Pull:
    return judge_pull(form, direction, job, enclosed=enclosed_faces(form))


def walls(form: Mesh) -> np.ndarray:
    return np.abs(form.normals[:, 2]) < 0.5


def test_draft_of_a_frustum_is_its_taper() -> None:
    """atan(10 / 100) = 5.711 degrees; a facet of an n-gon stands steeper by the chord's cosine."""
    sections = 256
    form = tumbler(sections=sections)
    draft = judged(form).draft_deg[walls(form)]
    facet = np.degrees(np.arctan(np.cos(np.pi / sections) * 10 / 100))
    assert np.degrees(np.arctan(10 / 100)) == pytest.approx(5.711, abs=5e-4)
    assert draft == pytest.approx(facet, abs=1e-9)


def test_a_tumbler_is_free_upward_and_says_so() -> None:
    pull = judged(tumbler())
    assert (pull.face_class == FREE).all()
    assert pull.verdict.startswith("Comes out of a one-piece mold upward")
    assert f"{pull.pitch_mm:.2f} mm" in pull.verdict
    assert (pull.gap_mm3, pull.reach_mm, pull.one_way_reach_mm, pull.places) == (0, 0, 0, ())


def test_a_tumbler_of_a_million_faces_has_no_locked_wall() -> None:
    taper = 100 * np.tan(np.radians(2))
    form = turned(
        [(0, 0), *[(30 + taper * t, 100 * t) for t in np.linspace(0, 1, 501)], (0, 100)], sections=1000
    )
    kind, _ = classify(form, np.array(UP), JOB, enclosed=np.zeros(len(form.faces), bool))
    assert not (kind == LOCKED).any()


def test_a_straight_cylinder_is_tight_on_all_its_wall_and_nowhere_else() -> None:
    form = turned([(0, 0), (30, 0), (30, 100), (0, 100)], sections=128)
    pull = judged(form)
    assert (pull.face_class == np.where(walls(form), TIGHT, FREE)).all()
    circumference = 2 * 128 * 30 * np.sin(np.pi / 128)
    assert pull.tight_mm2 == pytest.approx(100 * circumference)


def test_a_seam_band_of_a_sphere_is_not_tight() -> None:
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=5, radius=50))
    pull = judged(ball)
    band = 2 * 50 * np.sin(np.radians(JOB.least_draft_deg))
    assert band < 2 * SEAM_BAND_MM  # so the band is excused
    assert pull.tight_mm2 == 0 and not (pull.face_class == LOCKED).any()


def test_a_groove_is_one_numbered_place_with_its_depth_and_height() -> None:
    form = grooved()
    pull = judged(form)
    (place,) = pull.places
    assert place.number == 1 and 30 <= place.where[2] <= 40
    assert pull.verdict.startswith("Locked, up: 1 place, the deepest 6.0 mm at (")
    at_groove = (form.centroids[:, 2] >= 30) & (form.centroids[:, 2] <= 40)
    deep = at_groove & (np.hypot(*form.centroids[:, :2].T) < 39)
    assert (pull.face_class[deep] == LOCKED).all()
    assert not (pull.face_class[~at_groove] == LOCKED).any()


@pytest.mark.parametrize("seed", range(3))
def test_turning_the_form_turns_the_answer(seed: int) -> None:
    """The same form in another pose, pulled along the turned axis: same classes, same volumes."""
    generator = np.random.default_rng(seed)
    turn = trimesh.transformations.random_rotation_matrix(generator.random(3))
    form = grooved(sections=96)
    before, after = judged(form), judged(form.transformed(turn), tuple(turn[:3, :3] @ UP))
    assert (before.face_class == after.face_class).mean() > 0.999
    assert after.gap_mm3 == pytest.approx(before.gap_mm3, rel=0.01)
    assert after.reach_mm == pytest.approx(before.reach_mm, abs=2 * JOB.tolerance_mm)


def test_a_stricter_least_draft_never_flags_less() -> None:
    form = from_trimesh(trimesh.creation.icosphere(subdivisions=4, radius=30).apply_scale([1, 1, 3]))
    areas = [judged(form, job=PullJob(least_draft_deg=least)).tight_mm2 for least in (1.0, 3.0, 8.0, 20.0)]
    assert areas == sorted(areas)
    assert areas[-1] > 0


def test_volumes_go_with_the_cube_of_the_scale() -> None:
    form = grooved(sections=96)
    double = Mesh(form.vertices * 2, form.faces)
    assert judged(double).gap_mm3 == pytest.approx(8 * judged(form).gap_mm3, rel=1e-6)


def test_the_boss_under_a_foot_and_the_eye_of_a_ring_ask_for_more_draft() -> None:
    recessed = turned([(0, 6), (20, 6), (20.4, 0), (30, 0), (40, 80), (0, 80)])  # recess draft 3.8 degrees
    enclosed = enclosed_faces(recessed)
    inside = walls(recessed) & (recessed.centroids[:, 2] < 6) & (np.hypot(*recessed.centroids[:, :2].T) < 21)
    assert enclosed[inside].all()
    assert not enclosed[walls(recessed) & ~inside].any()
    job = PullJob(least_draft_deg=2, least_draft_inside_deg=5)
    kind, _ = classify(recessed, np.array(UP), job, enclosed=enclosed)
    assert (kind[inside] == FREE).all()  # 6 mm tall: no taller than a seam band
    deep = turned([(0, 12), (20, 12), (20.8, 0), (30, 0), (40, 80), (0, 80)])
    inside = walls(deep) & (deep.centroids[:, 2] < 12) & (np.hypot(*deep.centroids[:, :2].T) < 21)
    kind, _ = classify(deep, np.array(UP), job, enclosed=enclosed_faces(deep))
    assert (kind[inside] == TIGHT).all()


def test_the_search_finds_the_axis_of_a_tilted_torus() -> None:
    axis = np.array([0.3, -0.5, 0.8]) / np.linalg.norm([0.3, -0.5, 0.8])
    ring = trimesh.creation.torus(40, 10, major_sections=128, minor_sections=64)
    ring.apply_transform(trimesh.geometry.align_vectors([0, 0, 1], axis))
    best = search_axes(from_trimesh(ring), JOB)[0]
    # closer than the search's last step in the tangent plane, or suggested by a principal axis
    assert abs(np.dot(best.direction, axis)) > np.cos(np.radians(0.75))
    assert best.gap_mm3 < 1e-4 * ring.volume


def test_up_is_always_judged_and_kept_axes_stand_apart() -> None:
    table = search_axes(grooved(sections=64), JOB)
    axes = np.array([row.direction for row in table])
    assert any(np.allclose(axis, UP) for axis in axes)
    between = np.abs(axes @ axes.T)[~np.eye(len(axes), dtype=bool)]
    assert between.max() < np.cos(np.radians(10))  # 15 degrees, less what turning the best may close up
    assert list(table) == sorted(table, key=lambda row: row.gap_mm3 > 1)


def test_names_of_directions() -> None:
    assert direction_name((0, 0, -1)) == "up"
    assert direction_name((-1, 0, 0)) == "left-right"
    assert direction_name((0, 1, 0)) == "front-back"
    assert direction_name((1, 1, 0)) == "level at 45° from x"
    assert direction_name((0, 1, 1)) == "tilted 45° from up toward 90°"
