"""What lies near the surface of a solid, by formula."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import trimesh

from moldprep.formulas.printing import filament_g
from moldprep.geometry.shell import shell_volume
from moldprep.geometry.solids import union
from tests.forms import from_trimesh, turned
from tests.printing.shapes import box

T = 1.2
LARGE = 3e-4
"""Corners of the order of t^3, and chords, on forms 100 mm large."""


def test_the_cube_of_100_mm_takes_260_g() -> None:
    cube = box((0, 0, 0), (100, 100, 100))
    shell = shell_volume(cube, T)
    assert shell == pytest.approx(100**3 - (100 - 2 * T) ** 3, rel=LARGE)
    assert filament_g(cube.volume, shell, infill=0.15, density_g_ml=1.24) == pytest.approx(260.1, abs=0.05)


def test_a_ball_has_the_shell_between_two_balls() -> None:
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=5, radius=50.0))
    assert shell_volume(ball, T) == pytest.approx(4 / 3 * pi * (50**3 - (50 - T) ** 3), rel=1e-3)


def test_a_ring_has_the_shell_between_two_rings() -> None:
    """V = 2 pi^2 R (r^2 - (r - t)^2): a hole makes the surface's bending sum to nothing."""
    ring = from_trimesh(
        trimesh.creation.torus(major_radius=40, minor_radius=12, major_sections=256, minor_sections=128)
    )
    assert shell_volume(ring, T) == pytest.approx(2 * pi**2 * 40 * (12**2 - (12 - T) ** 2), rel=1e-3)


def test_a_cylinder_is_a_cylinder_inside() -> None:
    cylinder = turned([(0, 0), (30, 0), (30, 100), (0, 100)], sections=512)
    inner = pi * (30 - T) ** 2 * (100 - 2 * T)
    assert shell_volume(cylinder, T) == pytest.approx(pi * 30**2 * 100 - inner, rel=1e-3)


def test_an_inner_corner_adds_a_quarter_round() -> None:
    """An L of 60 x 60 less 30 x 30, 100 high: the inside is an L less a quarter of a circle at the inner edge."""
    corner = union([box((0, 0, 0), (60, 30, 100)), box((0, 0, 0), (30, 60, 100))])
    inner = (60 - 2 * T) ** 2 - 30**2 + (1 - pi / 4) * T**2
    expected = (60**2 - 30**2) * 100 - inner * (100 - 2 * T)
    assert shell_volume(corner, T) == pytest.approx(expected, rel=LARGE)


def test_cutting_faces_finer_changes_nothing() -> None:
    cube = trimesh.creation.box(extents=(40, 50, 60))
    fine = from_trimesh(cube.subdivide().subdivide())
    assert shell_volume(fine, T) == pytest.approx(shell_volume(from_trimesh(cube), T), rel=1e-12)


def test_a_shell_is_never_more_than_the_solid() -> None:
    plate = box((0, 0, 0), (100, 100, 1.5))
    assert shell_volume(plate, T) == pytest.approx(plate.volume)
    assert shell_volume(plate, 0.0) == 0
    with pytest.raises(ValueError, match="shell"):
        shell_volume(plate, np.nan)
