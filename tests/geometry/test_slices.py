"""Slices, level lines and upright outlines against formulas and shapely's sections."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.columns import rotation_for
from moldprep.geometry.outlines import section
from moldprep.geometry.profile import upright_profile
from moldprep.geometry.slices import Slicer, cut_slices, level_lines
from tests.forms import chord_error, from_trimesh, grooved, turned


def ring_on_stem():  # type: ignore[no-untyped-def]
    """A torus (radii 40 and 10) standing on edge: its slices near the middle are two discs apart."""
    torus = trimesh.creation.torus(major_radius=40, minor_radius=10, major_sections=96, minor_sections=48)
    torus.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    return from_trimesh(torus)


@pytest.mark.parametrize("axis", [(0, 0, 1), (1, 0, 0), (0.3, -0.5, 0.8)])
def test_areas_and_lengths_are_those_of_the_section(axis: tuple[float, float, float]) -> None:
    mesh, rotation = ring_on_stem(), rotation_for(axis)
    heights = np.array([-31.7, -3.3, 0.17, 22.9])
    slices = cut_slices(mesh, heights, rotation=rotation)
    expected = [section(mesh, height, rotation=rotation) for height in heights]
    assert slices.areas == pytest.approx([area.area for area in expected])
    assert slices.lengths == pytest.approx([area.length for area in expected])


def test_every_slice_is_closed_to_the_last_bit() -> None:
    slices = cut_slices(ring_on_stem(), np.linspace(-49, 49, 57))
    for k in range(len(slices.heights)):
        cut = slices.between(k, k + 1)
        begin, end = (sorted(map(tuple, points)) for points in (cut.begin, cut.end))
        assert begin == end


@pytest.mark.parametrize("axis", [(0, 0, 1), (0.3, -0.5, 0.8)])
def test_a_slicer_cuts_the_same_slices_to_the_last_bit(axis: tuple[float, float, float]) -> None:
    mesh, rotation = ring_on_stem(), rotation_for(axis)
    slicer = Slicer(mesh, rotation)
    own = mesh.vertices @ rotation[2]  # heights of vertices among them
    for heights in ([-31.7], [0.17, 0.18], [float(own[100])], [float(own.min()), 3.0], [500.0]):
        one, other = slicer.cut(heights), cut_slices(mesh, heights, rotation=rotation)
        for name in ("heights", "start", "begin", "end"):
            assert np.array_equal(getattr(one, name), getattr(other, name))


@pytest.mark.parametrize("azimuth", [0.0, 17.0, 90.0, 133.0])
def test_lines_across_a_disc_are_its_chords(azimuth: float) -> None:
    radius, sections = 30.0, 512
    disc = from_trimesh(trimesh.creation.cylinder(radius=radius, height=20, sections=sections))
    across = np.linspace(-25, 25, 21)
    met = level_lines(cut_slices(disc, [0.0]), azimuth, across=across)
    half = np.sqrt(radius**2 - across**2)
    # a chord is short by the sagitta over the slope with which it meets the circle
    error = chord_error(radius, sections) * radius / half.min() + 1e-9
    assert np.abs(met.high[0] - half).max() < error and np.abs(met.low[0] + half).max() < error
    assert not met.gap.any()


def test_a_line_beside_the_form_meets_nothing() -> None:
    met = level_lines(cut_slices(grooved(sections=64), [20.0]), 0.0, across=np.array([-50.0, 0.0, 50.0]))
    assert met.low[0].tolist()[::2] == [np.inf, np.inf] and met.high[0].tolist()[::2] == [-np.inf, -np.inf]
    assert np.isfinite(met.low[0, 1]) and not met.gap.any()


def test_the_gap_between_two_discs_is_seen_along_their_line_only() -> None:
    slices = cut_slices(ring_on_stem(), [0.013])
    along = level_lines(slices, 0.0, across=np.array([-1.0, 0.0, 1.0]))
    # sections of the tube by z = 0 are its meridian circles; facets sag by less than 0.06 each side
    assert along.gap[0, 1] == pytest.approx(2 * (40 - 10), abs=0.12)
    assert not level_lines(slices, 90.0, across=np.linspace(-45, 45, 31)).gap.any()


def test_the_upright_outline_of_a_turned_form_is_twice_its_profile() -> None:
    mesh = turned([(0, 0), (30, 0), (40, 100), (0, 100)], sections=256)
    levels = np.array([0.0, 20.0, 100.0])
    length = upright_profile(mesh, np.eye(3), 90.0, offsets=np.array([0.0]), levels=levels)
    wall = 2 * np.hypot(10, 100)
    # the foot counts to the first layer, the rim to the last; chords shorten the radii a little
    expected = [2 * 30 + 0.2 * wall, 2 * 40 + 0.8 * wall]
    assert length[:, 0] == pytest.approx(expected, abs=4 * chord_error(40, 256))
    beside = upright_profile(mesh, np.eye(3), 90.0, offsets=np.array([-60.0, 60.0]), levels=levels)
    assert not beside.any()
