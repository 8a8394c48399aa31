"""Air beneath overhangs, by formula on simple solids, whole and in slabs."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.columns import Intervals, cast, frame_for, solid_intervals
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.overhang import overhangs, support_mm3, support_table
from moldprep.geometry.solids import difference, from_manifold, prism, to_manifold, united
from tests.forms import from_trimesh, turned
from tests.parting.forms import bud_vase
from tests.printing.shapes import mushroom, table, tee, waisted

UP = (0.0, 0.0, 1.0)
FILM = 0.1
COLUMNS = 0.01
"""Of a volume: edges that fall between columns 256 across."""


def columns(mesh: Mesh, direction: tuple[float, float, float] = UP, lines: int = 256) -> Intervals:
    return solid_intervals(cast(mesh, frame_for(mesh, direction, lines=lines)))


def support(mesh: Mesh, *, inverted: bool = False, limit: float = 45.0) -> float:
    solid = columns(mesh)
    up, down = overhangs(mesh, solid, limit_deg=limit)
    return support_mm3(down, bed=-solid.top) if inverted else support_mm3(up, bed=solid.bottom)


def test_a_table_needs_the_air_between_its_legs() -> None:
    assert support(table()) == pytest.approx((80 * 60 - 4 * 100) * 40, rel=COLUMNS)
    assert support(table(), inverted=True) == 0


def test_a_tee_needs_the_air_under_its_arms() -> None:
    assert support(tee()) == pytest.approx(60 * 30 * 50, rel=COLUMNS)
    assert support(tee(), inverted=True) == 0


def test_a_sphere_needs_what_lies_under_its_cap_of_45_degrees() -> None:
    """Over r < R sin 45 the air is R - sqrt(R^2 - r^2): pi s^2 R - 2 pi/3 (R^3 - (R^2 - s^2)^(3/2)), s = R sin 45."""
    radius, rings = 40.0, 200
    angle = np.linspace(0, np.pi, rings + 1)  # rings of 0.9 degrees: one ends at 45
    ball = turned([(radius * np.sin(a), radius - radius * np.cos(a)) for a in angle], sections=256)
    s = radius * np.sin(np.pi / 4)
    air = np.pi * s**2 * radius - 2 * np.pi / 3 * (radius**3 - (radius**2 - s**2) ** 1.5)
    assert support(ball) == pytest.approx(air, rel=COLUMNS)
    assert support(ball, inverted=True) == pytest.approx(air, rel=COLUMNS)


@pytest.mark.parametrize(("lean", "hangs"), [(40, False), (45, False), (46, True), (60, True)])
def test_a_cone_on_its_tip_hangs_over_from_the_limit_on(lean: float, hangs: bool) -> None:
    """Under a cone of radius r and height h on its tip the air is two thirds of the cylinder."""
    height = 40.0
    radius = height * np.tan(np.radians(lean))
    cone = turned([(0, 0), (radius, height), (0, height)], sections=512)
    air = 2 / 3 * np.pi * radius**2 * height
    assert support(cone) == pytest.approx(air if hangs else 0, rel=COLUMNS)
    assert support(cone, inverted=True) == 0


def test_support_ends_on_the_solid_below() -> None:
    """A lid 30 x 30 held by a post 10 across over a plate: the air reaches down to the plate only."""
    boxes = [((0, 0, 0), (30, 30, 10)), ((10, 10, 9), (20, 20, 31)), ((0, 0, 30), (30, 30, 40))]
    solids = [to_manifold(from_trimesh(trimesh.creation.box(bounds=b))) for b in boxes]
    assert support(from_manifold(united(solids))) == pytest.approx((900 - 100) * 20, rel=COLUMNS)


def test_overhanging_area_is_that_of_the_faces() -> None:
    mesh = mushroom()
    up, down = overhangs(mesh, columns(mesh), limit_deg=45.0)
    for places, way in ((up, -1), (down, 1)):
        lean = way * mesh.normals[:, 2]
        above = mesh.centroids[:, 2] > 1 if way < 0 else np.ones(len(lean), bool)
        hangs = mesh.areas[(lean > np.sin(np.radians(45.05))) & above].sum()
        assert places.area[np.abs(places.height) > 1].sum() == pytest.approx(hangs, rel=COLUMNS)


def by_hand(solid: Intervals, normals: np.ndarray, low: float, high: float, *, inverted: bool) -> float:
    """Support of the slab between two heights, each column's stretches clipped and looked at in turn."""
    total, steep = 0.0, np.sin(np.radians(45.05))
    for column in np.unique(solid.column):
        own = range(solid.start[column], solid.start[column + 1])
        stretches = [(solid.low[k], solid.high[k], solid.face_low[k], solid.face_high[k]) for k in own]
        if inverted:
            a, b = -high, -low
            stretches = [(-s[1], -s[0], s[3], s[2]) for s in stretches[::-1]]
        else:
            a, b = low, high
        below = a
        for begin, end, face, _ in stretches:
            lean = normals[face, 2] * (1 if inverted else -1)
            if a < begin < b - FILM and lean > steep:
                total += begin - below
            below = max(below, min(end, b))
    return total * solid.frame.pitch**2


@pytest.mark.parametrize(
    "form",
    [mushroom, waisted, lambda: bud_vase(recess=8.0), tee],
    ids=["mushroom", "waisted", "bud-vase", "tee"],
)
def test_the_table_of_slabs_is_each_slab_counted_column_by_column(form) -> None:  # type: ignore[no-untyped-def]
    mesh = form()
    solid = columns(mesh, lines=40)
    top = float(mesh.bounds[1, 2])
    levels = np.unique([0, 7.5, 20, 40.0, 50, 55, 60, 0.8 * top, top])
    up, down = overhangs(mesh, solid, limit_deg=45.0)
    upright = support_table(up, levels, film=FILM)[0]
    inverted = support_table(down, -levels[::-1], film=FILM)[0][::-1, ::-1].T
    for i, j in combinations(range(len(levels)), 2):
        for table_mm3, turned_over in ((upright, False), (inverted, True)):
            counted = by_hand(solid, mesh.normals, levels[i], levels[j], inverted=turned_over)
            assert table_mm3[i, j] == pytest.approx(counted, abs=1e-6 * top**3)


def test_a_slab_of_the_table_is_the_slab_cut_out() -> None:
    """The slab as a solid of its own, with columns of its own."""
    mesh = mushroom()
    levels = np.array([0, 33.0, 75.0, 100])
    up, _ = overhangs(mesh, columns(mesh), limit_deg=45.0)
    plan = np.array([(-99.0, -99), (99, -99), (99, 99), (-99, 99)])
    slab = from_manifold(
        difference(to_manifold(mesh), united([prism(plan, -9, 33.0), prism(plan, 75.0, 150.0)]))
    )
    wide = 25 - 5 * 33 / 60  # of the stem, at the cut; the air round it stands on the bed and on the stem
    expected = np.pi * 27 * (60**2 - (wide**2 + wide * 20 + 20**2) / 3)
    found = support_table(up, levels, film=FILM)[0][1, 2]
    assert support(slab) == pytest.approx(found, rel=COLUMNS)
    assert found == pytest.approx(expected, rel=COLUMNS)
