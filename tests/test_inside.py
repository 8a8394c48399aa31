"""The cast's inside: capacities by formula, libigl on the bunny, throat, closing places, weights."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import igl
import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy import ndimage

from moldprep.errors import JobError
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import union
from moldprep.inside import Inside, capacity_at, cast_inside, weights_at
from moldprep.job import CastJob, FormJob, ShrinkageJob, StandJob, TargetJob
from moldprep.master import Master, master_from_bytes
from moldprep.sizing import Sizing, size_master
from moldprep.stand import Stand, stand_master
from tests.forms import from_trimesh, tumbler, turned
from tests.npm_meshes import bunny

PLASTER_WALL = 30.0
WALL = 4.0
HALF_PERCENT = 0.005
SECTIONS = 384

Profile = list[tuple[float, float]]


def stood(form: Mesh, stand: StandJob, shrinkage: ShrinkageJob) -> tuple[Stand, Sizing]:
    sizing = size_master(Master("form", form, (), "mm", "", ()), shrinkage, TargetJob())
    return stand_master(sizing, stand, wall_mm=PLASTER_WALL), sizing


def inside_of(
    form: Mesh,
    *,
    stand: StandJob = StandJob(),  # noqa: B008
    shrinkage: ShrinkageJob = ShrinkageJob(),  # noqa: B008
    fitted_scale: float = 1.0,
    modelled: Mesh | None = None,
    **cast: object,
) -> Inside:
    placed, sizing = stood(form, stand, shrinkage)
    job = CastJob(**cast)  # type: ignore[arg-type]
    sizing = replace(sizing, modelled=modelled)
    return cast_inside(placed, sizing, job, fitted_scale=fitted_scale)


def cup() -> Mesh:
    """80 mm wide, 120 mm high."""
    return turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=SECTIONS)


def bottle(neck: float) -> Mesh:
    """A belly of radius 40 under a straight neck."""
    return turned([(0, 0), (40, 0), (40, 60), (neck, 100), (neck, 120), (0, 120)], sections=SECTIONS)


def two_lobes() -> Mesh:
    """Two lobes of radius 30, joined by a neck 6 mm wide and 5 mm long."""
    return turned(
        [(0, 0), (30, 0), (30, 30), (3, 50), (3, 55), (30, 75), (30, 100), (0, 100)], sections=SECTIONS
    )


def with_bar(size: tuple[float, float, float], middle: tuple[float, float, float]) -> Mesh:
    bar = trimesh.creation.box(size)
    bar.apply_translation(middle)
    return union([tumbler(sections=SECTIONS), from_trimesh(bar)])


@cache
def plain_cup() -> Inside:
    return inside_of(cup())


def codes(inside: Inside) -> list[str]:
    return [finding.code for finding in inside.findings]


# --- capacity by formula ------------------------------------------------------------------------


@pytest.mark.parametrize("spare", [True, False])
def test_a_cylinder_holds_what_its_inner_cylinder_does(spare: bool) -> None:
    inside = inside_of(cup(), stand=StandJob(spare=spare))
    assert inside.capacity_ml == pytest.approx(np.pi * 36**2 * 116 / 1000, rel=HALF_PERCENT)


@pytest.mark.parametrize("wall", [2.0, 4.0, 7.5])
def test_a_frustum_holds_the_frustum_that_lies_a_wall_inside_it(wall: float) -> None:
    inside = inside_of(tumbler(sections=SECTIONS), wall_mm=wall)
    level = wall / np.cos(np.arctan(0.1))
    low, high = 30 + 0.1 * wall - level, 40 - level
    frustum = np.pi * (100 - wall) / 3 * (low**2 + low * high + high**2)
    assert inside.capacity_ml == pytest.approx(frustum / 1000, rel=HALF_PERCENT)


def test_a_bowl_holds_half_of_the_smaller_ball() -> None:
    arc = np.linspace(-np.pi / 2, 0, 200)
    bowl = turned([(50 * np.cos(a), 50 + 50 * np.sin(a)) for a in arc] + [(0, 50)], sections=SECTIONS)
    stand = StandJob(opening="rim")
    assert inside_of(bowl, stand=stand).capacity_ml == pytest.approx(
        2 / 3 * np.pi * 46**3 / 1000, rel=HALF_PERCENT
    )


def test_half_an_ellipsoid_holds_what_steiner_says() -> None:
    """V - S w + M w^2 - 4/3 pi w^3 of a prolate ellipsoid, halved at its equator: Steiner's formula inward."""
    a, c, w = 45.0, 70.0, WALL
    arc = np.linspace(-np.pi / 2, 0, 300)
    form = turned([(a * np.cos(t), c + c * np.sin(t)) for t in arc] + [(0, c)], sections=SECTIONS)
    e = np.sqrt(1 - a**2 / c**2)
    area = 2 * np.pi * a**2 * (1 + c / (a * e) * np.arcsin(e))
    focus = np.sqrt(c**2 - a**2)
    curvature = 2 * np.pi * (c + a**2 / focus * np.log((c + focus) / a))
    volume = 4 / 3 * np.pi * (a**2 * c - w**3) - area * w + curvature * w**2
    inside = inside_of(form, stand=StandJob(opening="rim"))
    assert inside.capacity_ml == pytest.approx(volume / 2 / 1000, rel=HALF_PERCENT)


def test_the_bunny_holds_what_libigl_counts() -> None:
    hare = master_from_bytes(bunny(), file_type="obj", name="b", form=FormJob(up="y", size_mm=120)).mesh
    stand = StandJob(opening="made", opening_diameter_mm=40, opening_at="-z")
    placed, sizing = stood(hare, stand, ShrinkageJob())
    inside = cast_inside(placed, sizing, CastJob())  # type: ignore[arg-type]
    mesh = placed.mesh
    step = 1.1
    low, high = mesh.bounds
    axes = [np.arange(a + step / 3, b, step) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    points = grid.reshape(-1, 3)
    vertices, faces = np.array(mesh.vertices), mesh.faces.astype(np.int64)
    plaster = faces[~(mesh.vertices[mesh.faces][:, :, 2] > placed.top_mm - 1e-6).all(axis=1)]
    signed = igl.fast_winding_number(vertices, faces, points) > 0.5
    square = np.zeros(len(points))
    square[signed] = igl.point_mesh_squared_distance(points[signed], vertices, plaster)[0]
    hollow = (np.sqrt(square) >= WALL).reshape(grid.shape[:3])
    label, _ = ndimage.label(hollow)
    joined = label == np.bincount(label[label > 0]).argmax()
    held = np.count_nonzero(joined & (grid[..., 2] <= placed.rim_mm)) * step**3 / 1000
    assert inside.capacity_ml == pytest.approx(held, rel=HALF_PERCENT)
    assert not inside.vessel


# --- brim, fill, shrinkage ----------------------------------------------------------------------


def test_a_low_spout_sets_the_brim() -> None:
    inside = inside_of(cup(), spill_mm=90.0)
    assert inside.spill_mm == 90
    assert inside.capacity_ml == pytest.approx(np.pi * 36**2 * 86 / 1000, rel=HALF_PERCENT)
    # the clay does not care where the spout is
    assert inside.clay_ml == pytest.approx(plain_cup().clay_ml, rel=1e-6)


def test_the_spout_scales_with_the_form() -> None:
    inside = inside_of(cup(), spill_mm=60.0, fitted_scale=1.5)
    assert inside.spill_mm == 90


@pytest.mark.parametrize("spill", [-5.0, 0.0, 130.0])
def test_a_spout_that_is_not_on_the_form_is_refused(spill: float) -> None:
    with pytest.raises(JobError) as refused:
        inside_of(cup(), spill_mm=spill)
    assert refused.value.code == "spill-height"


def test_the_fill_curve_of_a_cylinder_is_a_line_above_its_floor() -> None:
    inside = inside_of(cup(), shrinkage=ShrinkageJob(total_percent=12, height_percent=13))
    curve = inside.fill
    assert curve is not None and curve.fired_ml is not None and curve.fired_height_mm is not None
    radius = 40 / 0.88 - WALL
    expected = np.pi * radius**2 * np.maximum(curve.height_mm - WALL, 0) / 1000
    layer = np.pi * radius**2 * inside.distances.pitch / 1000  # where the floor lies in it is not resolved
    assert curve.wet_ml == pytest.approx(expected, rel=HALF_PERCENT, abs=0.25 * layer)
    assert curve.fired_ml == pytest.approx(curve.wet_ml * 0.88**2 * 0.87, rel=1e-9)
    assert curve.fired_height_mm == pytest.approx(curve.height_mm * 0.87, rel=1e-9)
    assert curve.fired_height_mm[-1] == pytest.approx(120)
    assert curve.wet_ml[-1] == pytest.approx(inside.capacity_ml)


@pytest.mark.parametrize("expansion", [0.0, 0.2])
def test_the_cavity_is_the_master_as_printed_and_as_the_plaster_grew(expansion: float) -> None:
    shrinkage = ShrinkageJob(total_percent=12, plaster_expansion_percent=expansion, print_shrink_percent=0.3)
    inside = inside_of(cup(), shrinkage=shrinkage)
    assert inside.growth == pytest.approx((1 + expansion / 100) * (1 - 0.003))
    # whatever the chain, the wet cast must be the fired piece over (1 - S)
    wet = np.pi * (40 / 0.88 - WALL) ** 2 * (120 / 0.88 - WALL) / 1000
    assert inside.capacity_ml == pytest.approx(wet, rel=HALF_PERCENT)
    assert inside.fired_capacity_ml == pytest.approx(inside.capacity_ml * (1 - 0.3185), rel=1e-4)


def test_without_shrinkage_nothing_fired_is_said() -> None:
    inside = plain_cup()
    assert inside.fired_capacity_ml is None and inside.fired_share is None
    assert inside.fill is not None and inside.fill.fired_ml is None


# --- other sizes --------------------------------------------------------------------------------


def test_the_seven_tenths_size_of_a_cup_holds_less_than_its_cube() -> None:
    """An 80 x 120 mm cup with a wall of 4 mm at 0.7: 30.7 % of the first, not 34.3."""
    share = capacity_at(plain_cup(), 0.7, wall_mm=WALL) / plain_cup().capacity_ml
    exact = (0.7 * 40 - 4) ** 2 * (0.7 * 120 - 4) / (36**2 * 116)
    assert 100 * exact == pytest.approx(30.7, abs=0.05)
    assert share == pytest.approx(exact, rel=HALF_PERCENT)


@pytest.mark.parametrize("scale", [0.5, 1.6])
def test_one_field_serves_every_size(scale: float) -> None:
    form, stand = bottle(15.0), StandJob(opening="rim")
    first = inside_of(form, stand=stand)
    again = inside_of(Mesh(form.vertices * scale, form.faces), stand=stand)
    assert capacity_at(first, scale, wall_mm=WALL) == pytest.approx(again.capacity_ml, rel=3e-3)
    assert weights_at(first, scale, wall_mm=WALL).fired_g == pytest.approx(again.weights.fired_g, rel=3e-3)


def test_at_its_own_size_it_is_what_it_is() -> None:
    assert capacity_at(plain_cup(), 1.0, wall_mm=WALL) == pytest.approx(plain_cup().capacity_ml, rel=1e-9)
    weights = weights_at(plain_cup(), 1.0, wall_mm=WALL)
    assert weights.fired_g == pytest.approx(plain_cup().weights.fired_g, rel=1e-9)


# --- clay and slip ------------------------------------------------------------------------------


def test_weights_are_those_of_the_shell() -> None:
    inside = inside_of(cup(), water_percent=20.0, solids_g_ml=2.6, loss_on_ignition_percent=8.0)
    shell = np.pi * (40**2 * 120 - 36**2 * 116) / 1000
    wet = shell / (0.8 / 2.6 + 0.2)
    assert inside.weights.wet_g == pytest.approx(wet, rel=HALF_PERCENT)
    assert inside.weights.dry_g == pytest.approx(0.8 * inside.weights.wet_g)
    assert inside.weights.fired_g == pytest.approx(0.92 * inside.weights.dry_g)
    assert inside.weights.loss_on_ignition == 0.08


def test_slip_fills_the_mold_and_what_stays_is_clay_and_water() -> None:
    inside = inside_of(cup(), stand=StandJob(spare=False), slip_g_ml=1.80, water_percent=20.0)
    assert inside.slip_ml == pytest.approx(np.pi * 40**2 * 120 / 1000, rel=1e-3)
    # n = 0.2121 for slip of 1.80, solids of 2.6 and 20 % water left in the cast
    assert inside.slip_kept_ml == pytest.approx(1.2121 * inside.clay_ml, rel=1e-4)


def test_the_spare_takes_slip_and_no_weight() -> None:
    bare = inside_of(cup(), stand=StandJob(spare=False))
    spared = inside_of(cup(), stand=StandJob(spare=True, spare_depth_mm=20, spare_flare_deg=0))
    assert spared.weights.wet_g == pytest.approx(bare.weights.wet_g, rel=1e-3)
    assert spared.slip_ml - bare.slip_ml == pytest.approx(np.pi * 40**2 * 20 / 1000, rel=1e-3)
    wall = np.pi * (40**2 - 36**2) * 20 / 1000
    kept = spared.slip_kept_ml - bare.slip_kept_ml
    assert kept == pytest.approx(wall * bare.slip_kept_ml / bare.clay_ml, rel=0.03)


def test_what_rises_beside_the_opening_is_weighed() -> None:
    size, x = (20.0, 7.0, 60.0), 48.0
    ear = inside_of(with_bar(size, (x, 0.0, 90.0)))
    without = inside_of(tumbler(sections=SECTIONS))
    outside = ear.outer_mm3 - without.outer_mm3
    assert outside > 0.9 * 7 * 60 * 15
    assert ear.clay_ml - without.clay_ml == pytest.approx(outside / 1000, rel=0.05)  # 7 mm turn solid


def test_a_solid_cast_has_no_inside() -> None:
    inside = inside_of(cup(), mode="solid")
    assert inside.capacity_ml == 0 and inside.fill is None and inside.closing == () and inside.findings == ()
    assert inside.clay_ml == pytest.approx(np.pi * 40**2 * 120 / 1000, rel=1e-3)
    assert capacity_at(inside, 1.3, wall_mm=WALL) == 0
    assert weights_at(inside, 2.0, wall_mm=WALL).wet_g == pytest.approx(8 * inside.weights.wet_g)


# --- throat and closing places ------------------------------------------------------------------


@pytest.mark.parametrize("neck", [15.0, 10.0, 6.2])
def test_the_throat_is_the_neck_less_twice_the_wall(neck: float) -> None:
    inside = inside_of(bottle(neck), stand=StandJob(opening="rim"))
    assert inside.throat_mm == pytest.approx(2 * (neck - WALL), abs=0.1)
    assert codes(inside) == ([] if neck > 11.5 else ["throat-narrow"])


def test_a_neck_below_a_flared_lip_is_the_throat() -> None:
    lipped = turned([(0, 0), (40, 0), (40, 60), (12, 90), (12, 100), (22, 120), (0, 120)], sections=SECTIONS)
    inside = inside_of(lipped)
    assert inside.throat_mm == pytest.approx(2 * (12 - WALL), abs=0.1)
    assert 89 < inside.throat_at[2] < 101


def test_a_plate_is_as_open_as_it_is_wide() -> None:
    plate = turned([(0, 0), (60, 0), (80, 20), (0, 20)], sections=SECTIONS)
    inside = inside_of(plate)
    assert inside.throat_mm == pytest.approx(2 * (80 - WALL * np.sqrt(2)), abs=0.3)
    assert codes(inside) == []


def test_a_mouth_that_closes_is_a_stop() -> None:
    inside = inside_of(bottle(3.5), stand=StandJob(opening="rim"))
    assert inside.capacity_ml == 0 and inside.throat_mm == 0
    stop = next(finding for finding in inside.findings if finding.level == "stop")
    assert stop.code == "opening-closes"


def test_a_neck_between_two_lobes_closes_and_is_named() -> None:
    inside = inside_of(two_lobes())
    (neck,) = inside.closing
    assert neck.across_mm == pytest.approx(6.0, abs=0.1)
    assert neck.time == pytest.approx((3 / WALL) ** 2, abs=0.03)
    assert np.hypot(*neck.where[:2]) < 0.1 and 50 <= neck.where[2] <= 55
    assert codes(inside) == ["hollow-severed"]
    z = np.linspace(55, 100, 20001)
    lean = 27 / 20
    radius = np.minimum(30 - WALL, 3 + lean * (z - 55) - WALL * np.hypot(1, lean))
    upper = float(np.trapezoid(np.pi * np.maximum(radius, 0) ** 2, z)) / 1000
    assert inside.capacity_ml == pytest.approx(upper, rel=HALF_PERCENT)
    lower = (
        upper + np.pi * 26**2 * (30 - WALL - 25) / 1000
    )  # its straight part has a floor, the upper one none
    assert neck.traps_ml == pytest.approx(lower, rel=0.02)


def test_a_wider_neck_stays_open() -> None:
    open_neck = turned(
        [(0, 0), (30, 0), (30, 30), (6, 50), (6, 55), (30, 75), (30, 100), (0, 100)], sections=SECTIONS
    )
    inside = inside_of(open_neck)
    assert "hollow-severed" not in codes(inside)


def test_a_thin_handle_turns_solid_and_corners_do_not() -> None:
    inside = inside_of(with_bar((40.0, 6.0, 30.0), (40.0, 0.0, 50.0)))
    (place,) = inside.closing
    assert place.across_mm == pytest.approx(6.0, abs=0.1)
    assert place.time == pytest.approx((3 / WALL) ** 2, abs=0.03)
    assert place.where[0] - inside.throat_at[0] > 35
    assert place.traps_ml == 0
    assert codes(inside) == ["closes-solid"]
    assert plain_cup().closing == ()


def modelled_inside(radius: float, floor: float) -> Mesh:
    """An inner cylinder with rings of vertices on wall and floor."""
    across = [(radius * t, floor) for t in np.linspace(0, 1, 8)]
    up = [(radius, floor + (120 - floor) * t) for t in np.linspace(0, 1, 12)[1:]]
    return turned([*across, *up, (0, 120)], sections=48)


@pytest.mark.parametrize(("radius", "floor"), [(34.0, 12.0), (36.0, 4.0), (37.0, 3.0)])
def test_a_modelled_inside_is_compared_with_the_cast(radius: float, floor: float) -> None:
    modelled = modelled_inside(radius, floor)
    inside = inside_of(cup(), modelled=modelled)
    assert inside.deviation is not None
    x, y, z = modelled.vertices.T
    expected = np.where(z < 120 - 1e-6, np.minimum(40 - np.hypot(x, y), z) - WALL, 0.0)
    pitch = inside.distances.pitch
    crease = np.abs(40 - np.hypot(x, y) - z) < 2 * pitch  # there the field has an edge between grid points
    error = np.abs(inside.deviation - expected)
    assert error[~crease].max() < 0.02
    assert error.max() < 0.5 * pitch


def test_a_thick_base_is_named_and_an_inside_that_the_cast_has_is_not() -> None:
    thick = inside_of(cup(), modelled=modelled_inside(34.0, 12.0))
    finding = next(one for one in thick.findings if one.code == "inside-differs")
    assert "8.0 mm less clay" in finding.says
    assert finding.where[0][2] == pytest.approx(12)
    assert codes(inside_of(cup(), modelled=modelled_inside(36.0, 4.0))) == []


def test_the_same_form_gives_the_same_figures() -> None:
    again: Inside = inside_of(cup())
    values: NDArray[np.float32] = again.distances.values
    assert values.tobytes() == plain_cup().distances.values.tobytes()
    assert again.weights == plain_cup().weights
