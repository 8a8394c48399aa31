"""The cottle: sizes by formula, the ring at hand, what wastes least, the wall on the real form."""

from __future__ import annotations

from math import ceil

import numpy as np
import pytest
import trimesh

from moldprep.cottle import SHEET_GAIN, STEP_MM, Block, choose_block
from moldprep.errors import JobError
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import signed_area
from moldprep.geometry.solids import union
from moldprep.job import CottleJob
from moldprep.stand import Stand
from tests.forms import from_trimesh, turned

WALL = 30.0
FLOOR = 25.0
SECTIONS = 256
ROUND_UP = 1.0
"""Inner sizes are rounded up to whole millimetres."""


def stood(form: Mesh) -> Stand:
    """The form as it is, without a spare."""
    top = float(form.bounds[1, 2])
    return Stand("rim", False, "test", np.eye(4), form, form, (), top, top, 0.0, FLOOR, 0.0)


def block(form: Mesh, **job: object) -> Block:
    return choose_block(stood(form), CottleJob(**job), wall_mm=WALL)  # type: ignore[arg-type]


def cylinder(radius: float, height: float = 80.0) -> Mesh:
    return turned([(0, 0), (radius, 0), (radius, height), (0, height)], sections=SECTIONS)


def slab(width: float, depth: float, *, turn: float = 0.0, height: float = 60.0) -> Mesh:
    made = trimesh.creation.box([width, depth, height])
    made.apply_translation([0, 0, height / 2])
    made.apply_transform(trimesh.transformations.rotation_matrix(np.radians(turn), [0, 0, 1]))
    return from_trimesh(made)


def triangle(side: float) -> Mesh:
    angle = np.radians([90, 210, 330])
    corners = side / np.sqrt(3) * np.column_stack([np.cos(angle), np.sin(angle)])
    return from_trimesh(trimesh.creation.extrude_polygon(trimesh.path.polygons.Polygon(corners), 60))


# --- sizes --------------------------------------------------------------------------------------


def test_a_cylinder_gets_a_ring_a_wall_larger() -> None:
    found = block(cylinder(40))
    assert (found.kind, found.inner_mm) == ("ring", (140,))
    assert found.area_mm2 == pytest.approx(np.pi * 70**2, rel=1e-3)  # the outline is a polygon
    assert found.centre == pytest.approx((0, 0), abs=1e-6)
    assert (found.bottom_mm, found.top_mm, found.fill_mm) == (-FLOOR, 80, 80 + FLOOR)
    assert found.volume_mm3 == pytest.approx(found.area_mm2 * 105)


@pytest.mark.parametrize("size", [80.0, 100.0, 254.0])
def test_single_precision_in_a_file_does_not_cost_a_millimetre(size: float) -> None:
    """float32 at 254 mm is off by up to 8e-6 mm; at which places depends on the turn of the facets."""
    turn = trimesh.transformations.rotation_matrix(0.3, [0, 0, 1], [7.7, 3.3, 0])
    form = cylinder(size / 2).transformed(turn)
    filed = Mesh(form.vertices.astype(np.float32).astype(float), form.faces)
    noise = np.abs(filed.vertices - form.vertices).max()
    assert 1e-7 < noise < 2e-5
    assert block(filed, kind="ring").inner_mm == (size + 2 * WALL,)
    box = slab(size, size).transformed(trimesh.transformations.translation_matrix([0.1, 0.7, 0]))
    filed = Mesh(box.vertices.astype(np.float32).astype(float), box.faces)
    assert block(filed, kind="box").inner_mm == (size + 2 * WALL,) * 2


def test_a_ring_round_a_triangle_is_its_circumcircle_and_two_walls() -> None:
    """Equilateral, side 100: smallest circle of radius 57.735."""
    found = block(triangle(100), kind="ring")
    assert found.inner_mm == (ceil(2 * (57.735 + WALL)),)


def test_sizes_are_rounded_up_and_never_down() -> None:
    found = block(slab(100.2, 60.0), kind="box")
    assert found.inner_mm == (ceil(100.2 + 2 * WALL), 120)
    assert found.least_wall_mm == pytest.approx(WALL)
    assert found.least_wall_mm >= WALL - 1e-6


def test_a_box_stands_square_to_a_square_form() -> None:
    found = block(slab(140, 90))
    assert (found.kind, found.inner_mm, found.turn_deg) == ("box", (200, 150), 0)
    assert found.area_mm2 == pytest.approx(200 * 150)


@pytest.mark.parametrize("turn", [30.0, -20.0])
def test_a_box_turns_with_a_form_that_stands_askew(turn: float) -> None:
    found = block(slab(140, 60, turn=turn), kind="box")
    assert found.turn_deg == pytest.approx(turn)
    assert found.inner_mm == pytest.approx((200, 120), abs=ROUND_UP)
    along = found.outline[1] - found.outline[0]
    assert np.degrees(np.arctan2(along[1], along[0])) == pytest.approx(turn)
    assert np.linalg.norm(along) == pytest.approx(found.inner_mm[0])


def test_a_box_that_gains_little_by_turning_stays_square_to_the_axes() -> None:
    """Turned by 1 degree: 140.9 x 92.4 instead of 140 x 90, less than the gain asked for."""
    assert block(slab(140, 90, turn=1.0), kind="box").turn_deg == 0


def test_a_sheet_hugs_the_hull_with_round_corners() -> None:
    """Steiner: girth P + 2 pi w and area A + P w + pi w^2, with w widened to a whole girth."""
    found = block(slab(100, 60), kind="sheet")
    girth = ceil(2 * 160 + 2 * np.pi * WALL)
    wall = (girth - 320) / (2 * np.pi)
    assert found.inner_mm == (girth,)
    # round corners are drawn in chords of a 64th of a quarter turn
    assert found.area_mm2 == pytest.approx(6000 + 320 * wall + np.pi * wall**2, rel=1e-4)
    assert found.least_wall_mm == pytest.approx(wall, abs=1e-2)


@pytest.mark.parametrize("kind", ["ring", "box", "sheet"])
@pytest.mark.parametrize("seed", range(3))
def test_every_cottle_keeps_the_wall_round_any_form(kind: str, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(40, 3)) * [30, 20, 20]
    form = from_trimesh(trimesh.convex.convex_hull(points - points.min(axis=0)))
    found = block(form, kind=kind)
    chord = 0.02  # rings and round corners are polygons inside their curves
    assert found.least_wall_mm >= WALL - chord
    assert found.least_wall_mm <= WALL + ROUND_UP
    assert signed_area(found.outline) == pytest.approx(found.area_mm2)
    assert found.greatest_wall_mm >= found.least_wall_mm
    assert found.evenness == pytest.approx(found.least_wall_mm / found.greatest_wall_mm)


# --- the rings at hand --------------------------------------------------------------------------


def test_the_smallest_ring_that_fits_is_taken() -> None:
    found = block(cylinder(40), rings_mm=(200.0, 120.0, 150.0, 139.0))
    assert (found.kind, found.inner_mm) == ("ring", (150,))
    assert found.least_wall_mm == pytest.approx(75 - 40, abs=0.02)


def test_a_ring_that_fits_exactly_is_taken() -> None:
    assert block(cylinder(40), rings_mm=(140.0,)).inner_mm == (140,)


def test_without_a_ring_that_fits_boards_are_taken_and_said() -> None:
    found = block(cylinder(40), rings_mm=(120.0, 139.0))
    assert found.kind != "ring"
    (finding,) = found.findings
    assert finding.code == "rings-too-small"
    assert "140 mm" in finding.says and "139 mm" in finding.says


def test_a_ring_asked_for_that_is_not_at_hand_is_refused_with_the_size_needed() -> None:
    with pytest.raises(JobError) as caught:
        block(cylinder(40), kind="ring", rings_mm=(120.0,))
    assert caught.value.code == "no-ring-fits"
    assert "140 mm" in caught.value.says and "120 mm" in caught.value.says
    assert caught.value.remedy


# --- what wastes least --------------------------------------------------------------------------


def test_options_are_compared_by_their_plaster() -> None:
    form = slab(140, 90)
    found = block(form)
    assert found.options[0].kind == found.kind
    assert {option.kind for option in found.options} == {"ring", "box", "sheet"}
    for option in found.options:
        again = block(form, kind=option.kind)
        assert option.plaster_mm3 == pytest.approx(again.volume_mm3 - form.volume)
        assert option.inner_mm == again.inner_mm
        assert option.least_wall_mm == pytest.approx(again.least_wall_mm)


@pytest.mark.parametrize("width", [90.0, 160.0, 240.0, 400.0])
def test_a_sheet_is_chosen_only_when_it_saves_its_share(width: float) -> None:
    """Two posts at opposite corners of a plate: the hull leaves the other corners free."""
    posts = [
        from_trimesh(trimesh.creation.box([20, 20, 60], trimesh.transformations.translation_matrix(at)))
        for at in ([-width / 2, -width / 4, 30], [width / 2, width / 4, 30])
    ]
    bar = slab(np.hypot(width, width / 2), 5, turn=float(np.degrees(np.arctan(0.5))))
    found = block(union([*posts, bar]))
    plaster = {option.kind: option.plaster_mm3 for option in found.options}
    stiff = min(plaster["ring"], plaster["box"])
    assert (found.kind == "sheet") == (plaster["sheet"] < (1 - SHEET_GAIN) * stiff)
    if found.kind != "sheet":
        assert plaster[found.kind] == stiff


def test_the_job_s_wall_goes_before_the_rule_s() -> None:
    found = block(cylinder(40), wall_mm=20.0)
    assert (found.wall_mm, found.inner_mm) == (20, (120,))


# --- the wall on the real form ------------------------------------------------------------------


def test_the_wall_of_a_cylinder_in_its_ring_is_even() -> None:
    found = block(cylinder(40, height=100))
    assert found.least_wall_mm == pytest.approx(WALL, abs=0.02)
    # sampled: at most half a step beside the nearest point
    sampled = np.hypot(WALL, STEP_MM / 2) - WALL + 0.05
    assert found.greatest_wall_mm == pytest.approx(WALL, abs=sampled)
    assert found.evenness > 0.99


def test_the_wall_of_a_square_in_its_ring_is_least_at_its_corners() -> None:
    """Half diagonal 50 sqrt 2, half side 50: the difference is the spread of the wall."""
    found = block(slab(100, 100), kind="ring")
    (diameter,) = found.inner_mm
    assert found.least_wall_mm == pytest.approx(diameter / 2 - 50 * np.sqrt(2), abs=0.02)
    assert found.greatest_wall_mm == pytest.approx(diameter / 2 - 50, abs=0.1)


def test_a_long_neck_stands_far_from_its_cottle() -> None:
    """Belly of radius 50 and neck of radius 15: far up the neck the wall is 80 - 15."""
    form = turned([(0, 0), (50, 0), (50, 40), (15, 40), (15, 200), (0, 200)], sections=SECTIONS)
    found = block(form)
    assert found.kind == "ring" and found.inner_mm == (160,)
    assert found.greatest_wall_mm == pytest.approx(80 - 15, abs=0.1)
    assert found.least_wall_mm == pytest.approx(WALL, abs=0.02)
