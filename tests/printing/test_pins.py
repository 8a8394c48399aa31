"""Pins: clear of the surface, and one way only."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from moldprep.geometry.outlines import circle_outline, section
from moldprep.printing.pins import CLEAR_MM, HOLE_FIT_MM, pair_in, pins_at
from tests.printing.shapes import mushroom, table

PIN = 4.0
TURNED_OUTLINE = 2.0
"""A turned outline within this of itself can be glued that way unnoticed, mm."""
BETWEEN_TURNS = 0.36
"""Turns are tried a degree apart: half a degree at 41 mm from the centre, mm."""


def polygon(sides: int, radius: float) -> shapely.Polygon:
    angle = np.arange(sides) * 2 * np.pi / sides
    return shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))


OUTLINES = {
    "circle": shapely.Polygon(circle_outline((3.0, -2.0), 20.0)),
    "small circle": shapely.Polygon(circle_outline((0.0, 0.0), 8.5)),
    "square": shapely.box(0, 0, 30, 30),
    "oblong": shapely.box(0, 0, 80, 16),
    "hexagon": polygon(6, 25.0),
    "triangle": polygon(3, 30.0),
    "ellipse": shapely.affinity.scale(polygon(96, 20.0), 1.0, 0.6),
    "L": shapely.box(0, 0, 40, 16).union(shapely.box(0, 0, 16, 40)),
    "ring": polygon(96, 40.0).difference(polygon(96, 20.0)),
}


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES)
def test_two_pins_stand_clear_and_let_no_turned_outline_close(outline: shapely.Polygon) -> None:
    pins = pair_in(outline, outline, PIN)
    assert pins is not None
    edge = shapely.distance(shapely.boundary(outline), shapely.points(pins))
    assert (edge >= (PIN + HOLE_FIT_MM) / 2 + CLEAR_MM - 1e-6).all()
    assert shapely.contains_xy(outline, *pins.T).all()
    assert np.hypot(*(pins[0] - pins[1])) >= 1.5 * PIN
    centre = np.array(shapely.Polygon(outline.exterior).centroid.coords[0])
    rim = outline.exterior
    ring = shapely.get_coordinates(shapely.segmentize(rim, 0.5)) - centre
    for angle in np.radians(np.arange(0.5, 360, 1.7)):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        if (
            shapely.distance(rim, shapely.points(ring @ turn.T + centre)).max()
            > TURNED_OUTLINE - BETWEEN_TURNS
        ):
            continue
        turned = (pins - centre) @ turn.T + centre
        if np.hypot(*(turned - pins).T).max() < PIN / 2 + BETWEEN_TURNS:
            continue  # still in its own holes
        miss = np.hypot(*(turned[:, None] - pins[None]).transpose(2, 0, 1)).min(axis=1).max()
        assert miss >= PIN / 2 - BETWEEN_TURNS


@pytest.mark.parametrize("outline", [polygon(96, 4.0), shapely.box(0, 0, 100, 7)], ids=["dot", "lath"])
def test_a_joint_too_narrow_has_none(outline: shapely.Polygon) -> None:
    assert pair_in(outline, outline, PIN) is None


def test_holes_stay_inside_the_form_over_their_whole_depth() -> None:
    mesh = mushroom()
    pins, bare = pins_at(mesh, 60.0, low=0.0, high=100.0, pin_mm=PIN)
    assert len(pins) == 2
    assert bare == 0
    for pin in pins:
        assert pin.depth_mm == 8.0
        for height in np.linspace(60 - pin.depth_mm, 60 + pin.depth_mm, 9):
            hole = shapely.Point(pin.where[:2]).buffer(pin.hole_mm / 2 + CLEAR_MM - 0.01)
            assert section(mesh, float(height)).covers(hole)


def test_each_patch_of_a_joint_has_its_own_or_is_counted_bare() -> None:
    """Legs of 10 x 10 are too thin for two pins of 4 mm, and hold two of 1.5 mm."""
    assert pins_at(table(), 20.0, low=0.0, high=50.0, pin_mm=4.0) == ((), 4)
    pins, bare = pins_at(table(), 20.0, low=0.0, high=50.0, pin_mm=1.5)
    assert (len(pins), bare) == (8, 0)
