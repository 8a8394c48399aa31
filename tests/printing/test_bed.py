"""What fits a bed, and how sections lie on it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from moldprep.geometry.mesh import Mesh
from moldprep.job import PrinterJob
from moldprep.printing import laid_out
from moldprep.printing.bed import best_turn, fits_between
from tests.printing.shapes import box, mushroom, printed, waisted

BED = (150.0, 150.0, 100.0)


def oblong(length: float, width: float, turn_deg: float) -> np.ndarray:
    corners = np.array([(0, 0), (length, 0), (length, width), (0, width)], dtype=float)
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return corners @ np.array([[c, s], [-s, c]])


@pytest.mark.parametrize(
    ("length", "width", "fits"), [(150, 150, True), (151, 40, True), (180, 32, True), (180, 33, False)]
)
@pytest.mark.parametrize("turn", [0, 45, 90])
def test_a_bar_lies_across_the_bed_where_it_is_too_long(
    length: float, width: float, turn: float, fits: bool
) -> None:
    """At 45 degrees a bar takes (length + width) / sqrt 2 both ways: 212 mm fit in 150."""
    points = oblong(length, width, turn)
    degrees, found = best_turn(points, BED)
    assert found == fits
    if fits:
        turned = points @ np.array(
            [[np.cos(np.radians(a)) for a in (degrees, degrees + 90)],
             [np.sin(np.radians(a)) for a in (degrees, degrees + 90)]]
        )  # fmt: skip
        assert (np.ptp(turned, axis=0) <= 150 + 1e-6).all()


def test_slabs_fit_as_their_own_width_and_height_allow() -> None:
    heights = np.array([0.0, 30, 60, 80, 100])
    fits = fits_between(mushroom(), heights, (110.0, 110.0, 65.0))
    # the cap is 120 across from 60 to where its dome is 110 across: 60 + 40 sqrt(1 - (55/60)^2) = 76
    free = {(0, 1), (0, 2), (1, 2), (3, 4)}
    assert {(int(i), int(j)) for i, j in zip(*np.nonzero(fits), strict=True)} == free


def overlap(one: Mesh, other: Mesh) -> bool:
    low = np.maximum(one.bounds[0, :2], other.bounds[0, :2])
    high = np.minimum(one.bounds[1, :2], other.bounds[1, :2])
    return bool((high - low > 1e-9).all())


@pytest.mark.parametrize("bed", [(220.0, 220.0, 250.0), (125.0, 125.0, 250.0), (100.0, 100.0, 45.0)])
@pytest.mark.parametrize("form", [mushroom, waisted])
def test_sections_lie_side_by_side_inside_their_beds(form, bed) -> None:  # type: ignore[no-untyped-def]
    plan = printed(form(), PrinterJob(bed_mm=bed))
    laid = laid_out(plan, bed)
    assert [one.name for one in laid] == [section.name for section in plan.sections]
    assert {one.bed for one in laid} == set(range(1, max(one.bed for one in laid) + 1))
    for one, section in zip(laid, plan.sections, strict=True):
        assert one.fits == section.fits_bed
        assert one.mesh.bounds[0, 2] == pytest.approx(0)
        assert (one.mesh.bounds[0] > -1e-9).all()
        assert one.mesh.volume == pytest.approx(section.mesh.volume)
        if one.fits:
            assert (one.mesh.bounds[1] <= np.array(bed) + 1e-6).all()
        else:
            assert [other for other in laid if other.bed == one.bed] == [one]
    for one, other in combinations(laid, 2):
        assert one.bed != other.bed or not overlap(one.mesh, other.mesh)


def test_small_sections_share_a_bed_and_large_ones_do_not() -> None:
    plan = printed(mushroom())
    assert [one.bed for one in laid_out(plan, (220.0, 220.0, 250.0))] == [1, 1]
    assert sorted(one.bed for one in laid_out(plan, (125.0, 125.0, 250.0))) == [1, 2]


def test_an_inverted_section_is_turned_over_not_mirrored() -> None:
    section = printed(waisted()).sections[1]
    assert section.attitude == "inverted"
    assert section.printed.volume == pytest.approx(section.mesh.volume)
    middle = section.printed.centre_of_mass[2]
    assert middle == pytest.approx(section.top_mm - section.mesh.centre_of_mass[2])
    level = np.isclose(section.printed.vertices[:, 2], 0)
    assert np.hypot(*section.printed.vertices[level, :2].T).max() == pytest.approx(45, rel=1e-3)


def test_a_box_needs_no_turn() -> None:
    assert best_turn(box((0, 0, 0), (100, 50, 10)).vertices[:, :2], (110.0, 60.0, 10.0)) == (0.0, True)
