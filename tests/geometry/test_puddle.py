"""Puddles: cups, bowls, bottles and troughs by formula, spill levels and volumes against brute force.

Sources: a plane cuts from a cylinder an ungula; over a half disc it is Archimedes' hoof, 2/3 R^2 h (The Method,
proposition 13). A ball's cap is pi h^2 (3 R - h) / 3. Pappus: a turned area is worth the way of its middle.
"""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush
from itertools import combinations

import numpy as np
import pytest
import shapely
from scipy.spatial import ConvexHull, HalfspaceIntersection

from moldprep.geometry.puddle import Hollow, joined_share, left_standing, standing
from moldprep.geometry.waterline import waterline

SHARE, LEAST_MM3 = 0.01, 500.0
"""What a puddle may be off by: 1 % or 0.5 mL, whichever is larger."""
PITCH = 1.25

Field = Callable[..., np.ndarray]


def near(volume: float) -> object:
    return pytest.approx(volume, rel=SHARE, abs=LEAST_MM3)


def on_grid(field: Field, reach: float, low: float, top: float, *, pitch: float = PITCH) -> Hollow:
    """A field of x, y, z, the grid askew to its axis; open at z = top."""
    count = int(np.ceil((top - low) / pitch)) + 3
    side = int(np.ceil(2 * reach / pitch)) + 6
    origin = np.array([-side / 2 * pitch + 0.3, -side / 2 * pitch - 0.2, top - (count - 1) * pitch])
    axes = [origin[k] + pitch * np.arange(n) for k, n in enumerate((side, side, count))]
    values = field(*np.meshgrid(*axes, indexing="ij"))
    return Hollow(origin, pitch, values.astype(np.float32))


def turned_hollow(profile: list[tuple[float, float]], wall: float, *, pitch: float = PITCH) -> Hollow:
    """What lies further than the wall within the solid of an (r, z) profile, whose last point is the opening's edge."""
    line = shapely.LineString(profile)
    area = shapely.Polygon([*profile, (0, profile[-1][1] + 9), (0, profile[0][1])])
    top = profile[-1][1]

    def field(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
        r = np.hypot(x, y)
        # the field is one of (r, z): looked up where it is fine
        rs, zs = np.arange(0, r.max() + 0.2, 0.1), z[0, 0]
        table_r, table_z = np.meshgrid(rs, zs, indexing="ij")
        distance = shapely.distance(line, shapely.points(table_r, table_z))
        table = np.where(shapely.contains_xy(area, table_r, table_z), distance, -distance)
        at = r / 0.1
        k = np.minimum(at.astype(int), len(rs) - 2)
        layer = np.broadcast_to(np.arange(len(zs)), r.shape)
        return (1 - at + k) * table[k, layer] + (at - k) * table[k + 1, layer] - wall

    return on_grid(field, max(r for r, _ in profile), profile[0][1], top, pitch=pitch)


def leaned(degrees: float, azimuth: float = 0.4) -> np.ndarray:
    """Gravity when the opening is so far from straight up."""
    a = np.radians(degrees)
    return np.array([np.sin(a) * np.cos(azimuth), np.sin(a) * np.sin(azimuth), -np.cos(a)])


def ungula(radius: float, begins: float, slope: float) -> float:
    """Over the part u > begins of a disc, as high as slope (u - begins)."""
    root = np.sqrt(radius**2 - begins**2)
    segment = radius**2 * np.arccos(begins / radius) - begins * root
    return float(slope * (2 / 3 * root**3 - begins * segment))


def cap(radius: float, height: float) -> float:
    return float(np.pi * height**2 * (3 * radius - height) / 3)


def cup(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Radius 36, its floor at 0."""
    return np.minimum(36 - np.hypot(x, y), z)


# --- by formula ---------------------------------------------------------------------------------


def test_half_a_disc_makes_the_hoof() -> None:
    assert ungula(30, 0, 2) == pytest.approx(2 / 3 * 30**2 * 60)


@pytest.mark.parametrize("lean", [0, 5, 15, 30, 39, 45, 60, 75, 85, 90])
def test_a_cup_that_leans_holds_the_ungula_beneath_its_lip(lean: float) -> None:
    height, radius = 60.0, 36.0
    slope = np.tan(np.radians(lean)) if lean < 90 else np.inf
    dry = radius - height / slope if slope else -np.inf  # the floor is dry up to there
    whole = np.pi * radius**2 * (height - radius * slope)
    exact = 0.0 if lean == 90 else whole if dry <= -radius else ungula(radius, dry, slope)
    assert left_standing(on_grid(cup, 36, 0, height), leaned(lean)) == near(exact)


@pytest.mark.parametrize("lean", [90.5, 110, 150, 180])
def test_a_cup_turned_over_holds_nothing(lean: float) -> None:
    assert left_standing(on_grid(cup, 36, 0, 60), leaned(lean)) < 1


@pytest.mark.parametrize("lean", [0, 10, 25, 40, 60, 80])
def test_a_hemisphere_that_leans_holds_a_cap(lean: float) -> None:
    radius = 40.0
    bowl = on_grid(lambda x, y, z: radius - np.sqrt(x**2 + y**2 + (z - radius) ** 2), radius, 0, radius)
    exact = cap(radius, radius * (1 - np.sin(np.radians(lean))))
    assert left_standing(bowl, leaned(lean)) == near(exact)


@pytest.mark.parametrize("lean", [28, 40, 55])
def test_a_dish_with_a_well_keeps_two_puddles(lean: float) -> None:
    """The dish's against its side, and a cap in the well."""
    radius, deep, well = 45.0, 12.0, 18.0

    def field(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
        dish = np.minimum(radius - np.hypot(x, y), z)
        return np.maximum(dish, well - np.sqrt(x**2 + y**2 + z**2))

    slope = np.tan(np.radians(lean))
    against = ungula(radius, radius - deep / slope, slope)
    within = cap(well, well * (1 - np.sin(np.radians(lean))))
    found = standing(on_grid(field, radius, -well, deep, pitch=1.0), leaned(lean))
    assert sorted(one.volume for one in found.puddles if one.volume > 50) == [
        near(one) for one in sorted((against, within))
    ]
    assert found.volume == near(against + within)
    lowest = min(found.puddles, key=lambda one: float(np.hypot(*one.lowest[:2]))).lowest
    assert lowest == pytest.approx(well * leaned(lean), abs=1.5 * PITCH)


@pytest.mark.parametrize("tilt", [0, 10, 30, 50, 65])
def test_a_bottle_keeps_slip_on_its_shoulder(tilt: float) -> None:
    """Nearly upside down. The lip is round, of the wall's radius, about the plaster's own edge; the surface
    touches it and meets the shoulder a wall times tan(tilt / 2) further in."""
    body, neck, wall, shoulder = 40.0, 18.0, 4.0, 70.0
    profile = [(0, 0), (body, 0), (body, shoulder), (neck, shoulder), (neck, 95)]
    angle = np.radians(tilt)
    begins = neck - wall * np.tan(angle / 2)
    exact = ungula(body - wall, begins, np.tan(angle))
    assert left_standing(turned_hollow(profile, wall), leaned(180 - tilt)) == near(exact)


def test_an_inturned_rim_keeps_a_trough() -> None:
    """Straight down: a ring between r 28 and 42, 30 deep, and what lies between its lip's quarter round and it."""
    wall = 3.0
    profile = [(0, 0), (45, 0), (45, 80), (25, 80), (25, 50), (20, 50), (20, 95)]
    ring = np.pi * (42**2 - 28**2) * 30
    corner = wall**2 * (1 - np.pi / 4)
    middle = 25 + wall / 6 / (1 - np.pi / 4)  # of a square less the quarter disc about its inner corner
    exact = ring + 2 * np.pi * middle * corner
    found = standing(turned_hollow(profile, wall, pitch=1.0), leaned(180))
    assert found.volume == near(exact)
    assert found.puddles[0].depth == pytest.approx(30, abs=0.6)


@pytest.mark.parametrize("lean", [40, 55])
def test_a_blind_handle_keeps_what_lies_beyond_its_root(lean: float) -> None:
    """A tube of radius 9 and length 75, its axis `lean` from the opening's, out of a cylinder of radius 30; it spills over the
    highest point of its root, and a plane askew to a cylinder cuts it where it crosses the axis."""
    body, tube, length = 30.0, 9.0, 75.0
    tilt = np.radians(lean)

    def field(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
        pot = np.minimum(body - np.hypot(x, y), z + 30)
        along = x * np.sin(tilt) + z * np.cos(tilt)
        away = np.hypot(x * np.cos(tilt) - z * np.sin(tilt), y)
        return np.maximum(pot, np.minimum(np.minimum(tube - away, length - along), along))

    root = body / np.tan(tilt) + tube / np.sin(tilt)
    exact = np.pi * tube**2 * (length - root / np.cos(tilt))
    assert length - root / np.cos(tilt) > tube * np.tan(tilt)  # its end is all wet
    assert left_standing(on_grid(field, 75, -30, 75), leaned(180)) == near(exact)


def test_what_stays_does_not_care_which_way_the_grid_lies() -> None:
    profile = [(0, 0), (40, 0), (40, 70), (18, 70), (18, 95)]
    bottle = turned_hollow(profile, 4)
    left = [left_standing(bottle, leaned(150, azimuth)) for azimuth in np.linspace(0, 2 * np.pi, 9)]
    assert left == [near(float(np.mean(left)))] * 9


def test_a_finer_grid_comes_nearer() -> None:
    exact = cap(40, 40 * (1 - np.sin(np.radians(20))))

    def off(pitch: float) -> float:
        bowl = on_grid(lambda x, y, z: 40 - np.sqrt(x**2 + y**2 + (z - 40) ** 2), 40, 0, 40, pitch=pitch)
        return abs(left_standing(bowl, leaned(20)) - exact)

    assert off(1.5) < off(3.0) / 3  # second order: a quarter


# --- against brute force ------------------------------------------------------------------------


def random_hollow(seed: int) -> Hollow:
    values = np.random.default_rng(seed).normal(size=(8, 8, 8)).astype(np.float32)
    values[:2] = values[-2:] = values[:, :2] = values[:, -2:] = values[:, :, :2] = -1
    return Hollow(np.array([3.0, -2.0, 7.0]), 0.5, values)


def tetrahedra(hollow: Hollow) -> list[list[tuple[int, int, int]]]:
    """Kuhn's six of every cell, from the orders in which its axes may be walked."""
    found = []
    nx, ny, nz = hollow.values.shape
    for cell in np.ndindex(nx - 1, ny - 1, nz - 1):
        for order in ((0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)):
            corner, walk = list(cell), [cell]
            for axis in order:
                corner[axis] += 1
                walk.append(tuple(corner))  # type: ignore[arg-type]
            found.append(walk)
    return found  # type: ignore[return-value]


def clipped(hollow: Hollow, walk: list[tuple[int, int, int]]) -> np.ndarray:
    """(k, 3) corners, in cells, of the part of a tetrahedron in which the linear field is not negative."""
    value = [float(hollow.values[one]) for one in walk]
    corners = [np.array(one, float) for one, v in zip(walk, value, strict=True) if v >= 0]
    for a, b in combinations(range(4), 2):
        if (value[a] >= 0) != (value[b] >= 0):
            share = value[a] / (value[a] - value[b])
            corners.append(np.array(walk[a]) + share * (np.array(walk[b]) - np.array(walk[a])))
    return np.array(corners).reshape(-1, 3)


@pytest.mark.parametrize("seed", range(4))
def test_volumes_and_spills_are_those_of_all_ways_through_all_tetrahedra(seed: int) -> None:
    """Every two corners of a clipped tetrahedron are joined; each is flooded from the open layer, and what
    lies beneath the flood's level in it is measured by its hull."""
    hollow = random_hollow(seed)
    gravity = np.random.default_rng(100 + seed).normal(size=3)
    up = -gravity / np.linalg.norm(gravity)
    bodies = [corners for walk in tetrahedra(hollow) if len(corners := clipped(hollow, walk)) > 0]
    names: dict[tuple[float, ...], int] = {}
    joined: dict[int, set[int]] = {}
    members = []
    for corners in bodies:
        own = [names.setdefault(tuple(np.round(one, 6)), len(names)) for one in corners]
        members.append(own)
        for one in own:
            joined.setdefault(one, set()).update(own)
    places = np.array(list(names))
    height = places @ up
    open_layer = np.flatnonzero(places[:, 2] > hollow.values.shape[2] - 1 - 1e-9)
    spill = np.full(len(places), np.inf)
    queue: list[tuple[float, int]] = []
    for one in open_layer.tolist():
        spill[one] = height[one]
        heappush(queue, (spill[one], one))
    while queue:
        level, one = heappop(queue)
        for other in joined[one]:
            if max(level, height[other]) < spill[other]:
                spill[other] = max(level, height[other])
                heappush(queue, (spill[other], other))
    total = 0.0
    for corners, own in zip(bodies, members, strict=True):
        wet = [spill[one] for one in own if height[one] < spill[one] < np.inf]
        if wet and len(corners) >= 4 and np.linalg.matrix_rank(corners[1:] - corners[0], tol=1e-9) == 3:
            total += beneath(corners, up, max(wet))
    assert total > 0
    assert left_standing(hollow, gravity) == pytest.approx(total * hollow.pitch**3, rel=1e-3)
    found = standing(hollow, gravity)
    assert found.volume == pytest.approx(left_standing(hollow, gravity), rel=1e-9)
    for one in found.puddles:
        at = tuple(np.rint((one.lowest - hollow.origin) / hollow.pitch).astype(float))
        surface = hollow.pitch * spill[names[at]] + up @ hollow.origin
        assert one.spill == pytest.approx(surface, abs=1e-3)


def beneath(corners: np.ndarray, up: np.ndarray, level: float) -> float:
    """Volume of a hull below a level."""
    hull = ConvexHull(corners)
    heights = corners @ up
    if level >= heights.max():
        return float(hull.volume)
    lowest = corners[heights.argmin()]
    middle = corners.mean(axis=0)
    share = 0.5 * min(1.0, (level - heights.min()) / (middle @ up - heights.min()))
    within = lowest + share * (middle - lowest)
    planes = np.vstack([hull.equations, [*up, -level]])
    return float(ConvexHull(HalfspaceIntersection(planes, within).intersections).volume)


# --- edges and pictures -------------------------------------------------------------------------


def test_a_pocket_that_is_not_joined_holds_nothing() -> None:
    def field(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
        return np.maximum(np.minimum(10 - np.hypot(x, y), z - 30), 8 - np.sqrt(x**2 + y**2 + (z - 10) ** 2))

    alone = on_grid(field, 12, 0, 50)
    assert left_standing(alone, leaned(0)) == near(np.pi * 100 * 20)
    assert left_standing(alone, leaned(0)) < np.pi * 100 * 20 + 200


def test_a_pass_that_a_grid_loses_is_told_by_what_is_joined() -> None:
    """Two chambers of 12 mm joined by a pipe of 2 mm beside the axis."""

    def field(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
        away = np.hypot(x, y)
        chambers = np.minimum(12 - away, np.maximum(z - 40, np.minimum(20 - z, z)))
        return np.maximum(chambers, np.minimum(1 - np.hypot(x - 2, y - 2), z - 5))

    assert joined_share(on_grid(field, 15, 0, 60, pitch=0.5)) == 1
    assert 0.4 < joined_share(on_grid(field, 15, 0, 60, pitch=4.0)) < 0.6


def test_gravity_needs_a_direction() -> None:
    with pytest.raises(ValueError, match="direction"):
        left_standing(on_grid(cup, 36, 0, 60), [0, 0, 0])


def test_the_section_of_a_leaning_cup_is_its_rectangle_and_the_water_in_it() -> None:
    hollow = on_grid(cup, 36, 0, 60)
    gravity = leaned(30)
    along = np.array([np.cos(0.4), np.sin(0.4)])
    area, wet = waterline(hollow, standing(hollow, gravity), gravity, middle=np.zeros(2), along=along)
    assert area.area == pytest.approx(72 * 60, rel=0.01)
    slope = np.tan(np.radians(30))
    exact = shapely.Polygon([(-36, 0), (36, 0), (36, 60), (-36, 60 - 72 * slope)])
    assert wet.symmetric_difference(exact).area < 0.02 * exact.area
    assert shapely.get_num_geometries(wet) == 1
