"""Thickness along lines, thin patches and edge angles: plates, fins and wedges whose figures are formulas."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.mesh import Bools, Floats, Mesh
from moldprep.geometry.solids import Solid, difference, from_traced, split, to_traced
from moldprep.geometry.thickness import (
    MOST_TAPER_DEG,
    PlaneEdges,
    Stretches,
    edges_in_plane,
    stretches,
    thin_patches,
    wedge_deg,
)
from tests.forms import from_trimesh

LINES = 160
HELD = 15.0
ROUNDING = 1e-6


def box(low: tuple[float, ...], high: tuple[float, ...]) -> Mesh:
    return from_trimesh(trimesh.creation.box(bounds=[low, high]))


def leaning(mesh: Mesh, degrees: float, axis: tuple[float, float, float] = (0, 1, 0)) -> Mesh:
    return mesh.transformed(trimesh.transformations.rotation_matrix(np.radians(degrees), axis))


def none_of(mesh: Mesh) -> Bools:
    return np.zeros(len(mesh.faces), bool)


def hollowed(whole: Mesh, *hollows: Mesh) -> tuple[Mesh, Bools]:
    """The whole less the hollows, and which of its faces the hollows left."""
    solid, marked = to_traced(whole)[0], none_of(whole)
    marks = []
    for hollow in hollows:
        cutter, mark = to_traced(hollow)
        solid = difference(solid, cutter)
        marks.append(mark)
    mesh = from_traced(solid, -1)[0]
    marked = np.any([from_traced(solid, mark)[1] >= 0 for mark in marks], axis=0)
    return mesh, marked


def between(along: Stretches, most: float = 10.0) -> Bools:
    return along.low_marked & along.high_marked & (along.thickness < most)


# --- thickness ----------------------------------------------------------------------------------


@pytest.mark.parametrize("degrees", [0, 20, 47])
def test_a_plate_is_as_thick_as_it_is_however_it_leans_to_the_line(degrees: float) -> None:
    plate = leaning(box((-40, -30, -3), (40, 30, 3)), degrees)
    along = stretches(plate, (0, 0, 1), none_of(plate), lines=LINES)
    met = along.thickness[np.isfinite(along.thickness)]
    assert met == pytest.approx(6.0, abs=ROUNDING)
    # what is left out are the two narrow sides, 6 mm of 80
    assert len(met) > 0.8 * len(along.thickness)


def test_faces_that_lean_to_each_other_more_than_a_wall_does_have_no_thickness() -> None:
    for taper, wall in ((MOST_TAPER_DEG - 2, True), (MOST_TAPER_DEG + 2, False)):
        half = 40 * np.tan(np.radians(taper / 2))
        corners = [(0, y, 0) for y in (-20, 20)] + [(40, y, z) for y in (-20, 20) for z in (-half, half)]
        wedge = from_trimesh(trimesh.convex.convex_hull(np.array(corners, dtype=float)))
        along = stretches(wedge, (0, 0, 1), none_of(wedge), lines=LINES)
        assert np.isfinite(along.thickness).all() == wall
        assert np.isfinite(along.thickness).any() == wall


def test_each_end_of_a_stretch_knows_whether_its_face_is_marked() -> None:
    mesh, marked = hollowed(box((-30, -30, 0), (30, 30, 40)), box((-10, -10, 12), (10, 10, 50)))
    along = stretches(mesh, (0, 0, 1), marked, lines=LINES)
    hollow = np.abs(along.middles(np.arange(len(along.thickness)))[:, :2]).max(axis=1) < 10
    assert along.high_marked[hollow].all() and not along.low_marked.any()
    assert not along.high_marked[~hollow].any()
    assert along.thickness[hollow] == pytest.approx(12.0, abs=ROUNDING)
    ends = along.ends(np.flatnonzero(hollow), high=np.ones(hollow.sum(), bool))
    assert ends[:, 2] == pytest.approx(12.0, abs=ROUNDING)


# --- patches ------------------------------------------------------------------------------------


def test_the_plate_between_two_recesses_is_one_patch_of_its_thickness_and_depth() -> None:
    gap, deep = 5.0, 24.0
    mesh, marked = hollowed(
        box((-60, -60, 0), (60, 60, 50)),
        box((-25 - gap / 2, -40, 50 - deep), (-gap / 2, 40, 60)),
        box((gap / 2, -40, 50 - deep), (25 + gap / 2, 40, 60)),
    )
    along = stretches(mesh, (1, 0, 0), marked, lines=LINES)
    (patch,) = thin_patches(along, between(along), held_mm=HELD, width_mm=4)
    pitch = along.intervals.frame.pitch
    assert patch.thickness == pytest.approx(gap, abs=ROUNDING)
    assert patch.typical == pytest.approx(gap, abs=ROUNDING)
    assert patch.across == pytest.approx(80, abs=2 * pitch)
    assert patch.rise == pytest.approx(deep, abs=pitch)  # nearer to the bottom than to the ends
    assert abs(patch.where[0]) < ROUNDING


@pytest.mark.parametrize(("long", "rise"), [(200.0, 24.0), (30.0, 15.0)])
def test_a_plate_stands_out_from_the_nearest_solid_that_holds_it(long: float, rise: float) -> None:
    """Held at the bottom and at both ends: by the bottom when long, by the ends when short."""
    mesh, marked = hollowed(
        box((-60, -130, 0), (60, 130, 50)),
        box((-30, -long / 2, 26), (-3, long / 2, 60)),
        box((3, -long / 2, 26), (30, long / 2, 60)),
    )
    along = stretches(mesh, (1, 0, 0), marked, lines=LINES)
    (patch,) = thin_patches(along, between(along), held_mm=HELD, width_mm=4)
    assert patch.rise == pytest.approx(rise, abs=along.intervals.frame.pitch)


@pytest.mark.parametrize(("high", "found"), [(3.0, 0), (8.0, 1)])
def test_a_patch_has_room_for_a_spot_of_the_width_asked_for(high: float, found: int) -> None:
    mesh, marked = hollowed(
        box((-60, -60, 0), (60, 60, 50)),
        box((-30, -40, 50 - high), (-3, 40, 60)),
        box((3, -40, 50 - high), (30, 40, 60)),
    )
    along = stretches(mesh, (1, 0, 0), marked, lines=LINES)
    assert len(thin_patches(along, between(along), held_mm=HELD, width_mm=5)) == found


def test_two_patches_come_thinnest_first() -> None:
    mesh, marked = hollowed(
        box((-90, -60, 0), (90, 60, 50)),
        box((-60, -40, 20), (-35, 40, 60)),
        box((-28, -40, 20), (0, 40, 60)),  # 7 mm on
        box((4, -40, 20), (40, 40, 60)),  # 4 mm on
    )
    along = stretches(mesh, (1, 0, 0), marked, lines=LINES)
    found = thin_patches(along, between(along), held_mm=HELD, width_mm=4)
    assert [patch.thickness for patch in found] == pytest.approx([4, 7], abs=ROUNDING)


# --- edges in a plane ---------------------------------------------------------------------------


def test_a_plate_that_nothing_thicker_holds_rises_by_its_own_width() -> None:
    plate = box((0, 0, 0), (30, 20, 3))
    along = stretches(plate, (0, 0, 1), np.ones(len(plate.faces), bool), lines=LINES)
    (patch,) = thin_patches(along, between(along), held_mm=HELD, width_mm=3)
    assert patch.thickness == pytest.approx(3, abs=ROUNDING)
    assert patch.rise == patch.across == pytest.approx(30, abs=along.intervals.frame.pitch)


def cut_cone(apex_deg: float, height: float) -> tuple[Solid, int]:
    """A cone of 40 mm height standing on z = 0, hollowed out of a block that is cut at a height."""
    cone = trimesh.creation.cone(radius=40 * np.tan(np.radians(apex_deg)), height=40, sections=256)
    form, mark = to_traced(from_trimesh(cone))
    return difference(to_traced(box((-90, -90, -20), (90, 90, 70)))[0], form), mark


@pytest.mark.parametrize("apex_deg", [10.0, 45.0, 70.0])
def test_the_block_around_a_cone_has_the_cones_angles_where_a_level_plane_cuts_it(apex_deg: float) -> None:
    """Half angle a at the apex: 90 + a above the plane, 90 - a below; both round the whole section."""
    height = 10.0
    solid, mark = cut_cone(apex_deg, height)
    for piece, expected, side in zip(
        split(solid, (0, 0, 1), height), (90 + apex_deg, 90 - apex_deg), (True, False), strict=True
    ):
        mesh, source = from_traced(piece, mark)
        edges = edges_in_plane(mesh, source >= 0, (0, 0, 1), height)
        assert (edges.ahead == side).all()
        # a chord polygon of 256 sides is 1e-4 short of its circle
        around = 2 * np.pi * (40 - height) * np.tan(np.radians(apex_deg))
        assert edges.length.sum() == pytest.approx(around, rel=2e-4)
        angle = wedge_deg(edges, mesh.normals[edges.face], (0, 0, 1), within_mm=1.5)
        # the mean over 1.5 mm either way of a circle of radius 5.3 is 1.3 % short across: 0.13 degrees
        assert angle == pytest.approx(expected, abs=0.15)


def test_marked_faces_that_lie_in_the_plane_have_no_edge_there() -> None:
    foot = box((-20, -20, 0), (20, 20, 40))
    solid = to_traced(box((-50, -50, -30), (50, 50, 40)))[0]
    form, mark = to_traced(foot)
    below = split(difference(solid, form), (0, 0, 1), 0.0)[1]
    mesh, source = from_traced(below, mark)
    edges = edges_in_plane(mesh, source >= 0, (0, 0, 1), 0.0)
    assert len(edges.length) == 0
    assert len(wedge_deg(edges, np.zeros((0, 3)), (0, 0, 1), within_mm=1.5)) == 0


def test_single_facets_are_averaged_away_and_long_walls_are_not() -> None:
    """A saw of facets 0.2 mm wide, 90 + 60 and 90 - 60 by turns, is a wall at 90; a 10 mm facet counts."""
    turn = np.radians(60) * np.resize([1.0, -1.0], 100)
    normals: Floats = np.column_stack([np.cos(turn), np.zeros(100), np.sin(turn)])
    middle = np.column_stack([np.zeros(100), 0.2 * np.arange(100), np.zeros(100)])
    half = np.array([0, 0.1, 0])
    edges = PlaneEdges(np.arange(100), middle - half, middle + half, np.ones(100, bool))
    # an odd number of facets within reach leaves one too many: 1 of about 15, sin(60)/(15 cos(60)) = 7 deg
    assert wedge_deg(edges, normals, (0, 0, 1), within_mm=1.5)[8:-8] == pytest.approx(90, abs=8)
    wide = PlaneEdges(np.arange(2), 50 * (middle[:2] - half), 50 * (middle[:2] + half), np.ones(2, bool))
    assert wedge_deg(wide, normals[:2], (0, 0, 1), within_mm=1.5) == pytest.approx([30, 150], abs=ROUNDING)


def test_points_along_edges_include_both_ends_and_lie_no_farther_apart_than_asked() -> None:
    begin, end = np.zeros((2, 3)), np.array([[10.0, 0, 0], [0, 2.0, 0]])
    edges = PlaneEdges(np.arange(2), begin, end, np.ones(2, bool))
    points = edges.points(np.arange(2), step=3)
    assert points[:5, 0] == pytest.approx([0, 2.5, 5, 7.5, 10])
    assert points[5:, 1] == pytest.approx([0, 2])
