"""Upright outlines and creases in upright planes against formulas and against trimesh's own sections."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.creases import CreaseField, crease_edges
from moldprep.geometry.mesh import Floats, Mesh
from moldprep.geometry.profile import upright_creases, upright_profile
from tests.forms import from_trimesh, turned

UPRIGHT = np.eye(3)
EXACT = 1e-9
"""The outline of flat-sided forms, relative: rounding alone, for planes off every edge."""
HAIR = 1e-5
"""mm; the planes are taken 1e-6 beyond their offsets, and outlines change by a few times that."""


def box() -> Mesh:
    """30 wide, 20 deep, 40 high, standing on z = 0."""
    mesh = from_trimesh(trimesh.creation.box((30, 20, 40)))
    return Mesh(mesh.vertices + np.array([0.0, 0.0, 20.0]), mesh.faces)


def ball(radius: float, *, sections: int = 256) -> Mesh:
    angle = np.linspace(-np.pi / 2, np.pi / 2, sections)
    return turned([(radius * np.cos(a), radius * np.sin(a)) for a in angle], sections=sections)


def section_length(mesh: Mesh, normal: Floats, offset: float, low: float, high: float) -> float:
    """trimesh: the section's length between two heights, each segment clipped by hand."""
    solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    lines = trimesh.intersections.mesh_plane(solid, normal, normal * offset)
    total = 0.0
    for one, two in lines:
        bottom, top = sorted((one[2], two[2]))
        inside = max(0.0, min(top, high) - max(bottom, low))
        total += np.linalg.norm(two - one) * (inside / (top - bottom) if top > bottom else 0.0)
    return float(total)


def test_a_box_shows_its_two_walls_in_each_layer_and_its_ends_in_the_end_layers() -> None:
    length = upright_profile(
        box(), UPRIGHT, 0.0, offsets=np.array([-5.0, 4.0]), levels=np.array([0, 10, 40.0])
    )
    assert length == pytest.approx(np.tile([[2 * 10 + 20], [2 * 30 + 20]], 2), rel=EXACT)
    across = upright_profile(box(), UPRIGHT, 90.0, offsets=np.array([3.0]), levels=np.array([0, 40.0]))
    assert across == pytest.approx(np.array([[2 * 40 + 2 * 30]]), rel=EXACT)


def test_a_plane_on_a_box_face_shows_what_lies_just_beyond_it() -> None:
    length = upright_profile(box(), UPRIGHT, 0.0, offsets=np.array([-15.0, 15.0]), levels=np.array([0, 40.0]))
    assert length[0] == pytest.approx([2 * 40 + 2 * 20, 0.0], rel=EXACT)


def test_a_level_stretch_counts_to_the_layer_above_it() -> None:
    step = turned([(0, 0), (30, 0), (30, 20), (20, 20), (20, 50), (0, 50)], sections=4)  # corners on the axes
    lower, upper = upright_profile(step, UPRIGHT, 90.0, offsets=np.zeros(1), levels=np.array([0, 20, 50.0]))[
        :, 0
    ]
    assert lower == pytest.approx(2 * 20 + 2 * 30, abs=HAIR)  # walls and foot
    assert upper == pytest.approx(2 * 30 + 2 * 20 + 2 * 10, abs=HAIR)  # walls, rim, ledge


@pytest.mark.parametrize("low", [0.0, 25.0])
def test_through_its_axis_a_cone_shows_its_slant_height_twice(low: float) -> None:
    cone = turned([(0, 0), (30, 0), (0, 40)], sections=64)  # slant height 50
    levels = np.array([low, 32.0, 40.0])
    length = upright_profile(cone, UPRIGHT, 90.0, offsets=np.zeros(1), levels=levels)[:, 0]
    foot = 60.0  # a level stretch below the lowest level counts to the lowest layer
    assert length == pytest.approx([2 * 50 * (32 - low) / 40 + foot, 2 * 10], abs=HAIR)


@pytest.mark.parametrize("offset", [-20.0, 0.0, 7.0, 24.0])
def test_a_ball_shows_a_circle_and_its_zones_arcs(offset: float) -> None:
    radius, levels = 30.0, np.array([-30.0, -5.0, 3.0, 30.0])
    within = np.sqrt(radius**2 - offset**2)
    angle = np.arcsin(np.clip(levels / within, -1, 1))
    length = upright_profile(ball(radius), UPRIGHT, 33.0, offsets=np.array([offset]), levels=levels)[:, 0]
    # chords and facets pull the outline inside by r (1 - cos(pi / 256)) twice, steeply cut ones by more
    assert length == pytest.approx(2 * within * np.diff(angle), rel=2e-3)


@pytest.mark.parametrize("seed", range(6))
def test_on_a_rough_form_every_layer_agrees_with_trimesh(seed: int) -> None:
    random = np.random.default_rng(seed)
    stone = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
    stone.vertices *= random.uniform(0.8, 1.2, (len(stone.vertices), 1))
    mesh = from_trimesh(stone)
    levels = np.sort(np.append(random.uniform(-20, 20, 3), [-30, 30]))
    azimuth, offsets = float(random.uniform(0, 180)), np.sort(random.uniform(-15, 15, 3))
    normal = np.array([np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth)), 0.0])
    found = upright_profile(mesh, UPRIGHT, azimuth, offsets=offsets, levels=levels)
    for o, offset in enumerate(offsets):
        for k in range(len(levels) - 1):
            expected = section_length(mesh, normal, float(offset), levels[k], levels[k + 1])
            assert found[k, o] == pytest.approx(expected, abs=100 * HAIR)  # some hundred segments


def test_turning_the_form_and_the_frame_changes_nothing() -> None:
    mesh, levels, offsets = ball(30.0, sections=48), np.linspace(-30, 30, 7), np.array([-11.0, 2.0, 13.0])
    turn = trimesh.transformations.rotation_matrix(1.1, [1, 2, 3])
    one = upright_profile(mesh, UPRIGHT, 25.0, offsets=offsets, levels=levels)
    other = upright_profile(mesh.transformed(turn), turn[:3, :3].T, 25.0, offsets=offsets, levels=levels)
    assert other == pytest.approx(one, rel=1e-6)


def creases_of(mesh: Mesh) -> Floats:
    return CreaseField(mesh, crease_edges(mesh, angle_deg=30)).ends


def test_the_creases_in_a_box_face_are_its_four_edges() -> None:
    length = upright_creases(
        creases_of(box()),
        UPRIGHT,
        0.0,
        offsets=np.array([-15.0, 0.0, 14.9, 15.1, 15.5]),
        levels=np.array([0, 10, 40.0]),
        within=0.2,
    )
    whole = np.array([[2 * 10 + 20], [2 * 30 + 20]])  # as the outline: level edges to the layer above them
    assert length == pytest.approx(whole * [1, 0, 1, 1, 0], rel=EXACT)


def test_a_plane_through_two_opposite_edges_of_a_box_finds_both_and_nothing_else() -> None:
    toward = np.degrees(np.arctan2(20, 30))  # the diagonal of the plan
    length = upright_creases(
        creases_of(box()),
        UPRIGHT,
        toward + 90,
        offsets=np.zeros(1),
        levels=np.array([0, 15, 40.0]),
        within=0.2,
    )
    assert length[:, 0] == pytest.approx([2 * 15, 2 * 25], rel=EXACT)


def test_creases_that_only_cross_a_plane_do_not_run_in_it() -> None:
    rims = creases_of(turned([(0, 0), (30, 0), (30, 40), (0, 40)], sections=16))  # chords of 11.7 mm
    length = upright_creases(rims, UPRIGHT, 4.0, offsets=np.zeros(1), levels=np.array([0, 40.0]), within=0.2)
    assert length.sum() == 0
