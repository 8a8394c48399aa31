"""Stretching: foot and rim to the last bit, the zone evenly, closed surfaces stay closed, volumes by Pappus."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import is_solid
from moldprep.geometry.stretching import split_at, stretched
from tests.forms import from_trimesh, turned

PROFILE = [(0.0, 0.0), (30.0, 0.0), (45.0, 40.0), (20.0, 90.0), (28.0, 120.0), (0.0, 120.0)]
FORM = turned(PROFILE, sections=48)


def pappus(profile: list[tuple[float, float]], sections: int) -> float:
    """Volume of the polygon-turned profile: pi / 3 (r r + r R + R R) h, with the inscribed polygon's area."""
    area = sections / 2 * np.sin(2 * np.pi / sections)
    pairs = pairwise(profile)
    return float(sum(area * (b[1] - a[1]) / 3 * (a[0] ** 2 + a[0] * b[0] + b[0] ** 2) for a, b in pairs))


def radius_at(z: float) -> float:
    r, heights = zip(*PROFILE[1:-1], strict=True)
    return float(np.interp(z, heights, r))


@given(low=st.floats(1, 100), span=st.floats(2, 100), by=st.floats(-0.9, 3))
def test_the_volume_is_that_of_the_stretched_profile(low: float, span: float, by: float) -> None:
    high = min(low + span, 119.0)
    added = by * (high - low)
    made = stretched(FORM, low, high, added)
    assert is_solid(made)

    def moved(z: float) -> float:
        return z if z <= low else z + added if z >= high else low + (z - low) * (1 + by)

    corners = sorted({*(z for _, z in PROFILE[1:-1]), low, high})
    profile = [(0.0, 0.0), *((radius_at(z), moved(z)) for z in corners), (0.0, 120.0 + added)]
    assert made.volume == pytest.approx(pappus(profile, 48), rel=1e-9)
    assert made.extents[2] == pytest.approx(120 + added, abs=1e-9)


def test_beyond_the_zone_nothing_changes_but_its_height() -> None:
    """Sections by another library: the same outlines at the same heights below, 15 higher above."""
    made = stretched(FORM, 50, 70, 15)
    before, after = (trimesh.Trimesh(m.vertices, m.faces, process=False) for m in (FORM, made))
    for z, shift in ((20.0, 0.0), (49.0, 0.0), (71.0, 15.0), (110.0, 15.0)):
        one = before.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
        other = after.section(plane_origin=[0, 0, z + shift], plane_normal=[0, 0, 1])
        assert one.length == pytest.approx(other.length, abs=1e-9)
    kept = made.vertices[: len(FORM.vertices)]
    foot = FORM.vertices[:, 2] <= 50
    assert (kept[foot] == FORM.vertices[foot]).all()
    rim = FORM.vertices[:, 2] >= 70
    assert np.abs(kept[rim] - FORM.vertices[rim] - [0, 0, 15]).max() <= 1e-9


def test_new_vertices_lie_in_the_plane_and_the_surface_is_the_same() -> None:
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=3, radius=40))
    cut = split_at(ball, 7.3)
    new = cut.vertices[len(ball.vertices) :]
    assert len(new) and (new[:, 2] == 7.3).all()
    assert cut.volume == pytest.approx(ball.volume, rel=1e-12) and cut.area == pytest.approx(
        ball.area, rel=1e-12
    )
    z = cut.vertices[cut.faces][:, :, 2]
    assert not ((z.min(axis=1) < 7.3) & (z.max(axis=1) > 7.3)).any()


def test_a_plane_through_corners_cuts_what_crosses_it_in_two() -> None:
    box = from_trimesh(trimesh.creation.icosphere(subdivisions=1, radius=10))
    height = float(np.unique(box.vertices[:, 2].round(9))[2])
    snapped = Mesh(
        np.where(np.abs(box.vertices - [0, 0, height]) < 1e-8, [0, 0, height], box.vertices), box.faces
    )
    cut = split_at(snapped, height)
    assert is_solid(cut) and cut.volume == pytest.approx(snapped.volume, rel=1e-12)


@pytest.mark.parametrize(("low", "high", "by"), [(50, 50, 3), (50, 40, 3), (20, 40, -20), (20, 40, -30)])
def test_a_zone_that_vanishes_is_refused(low: float, high: float, by: float) -> None:
    with pytest.raises(ValueError, match="cannot be stretched"):
        stretched(FORM, low, high, by)
