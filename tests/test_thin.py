"""Thin and sharp plaster: slots, skins, eyes and cut balls whose figures are formulas."""

from __future__ import annotations

import re

import numpy as np
import pytest
import trimesh

from moldprep.cottle import choose_block
from moldprep.errors import Point
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import difference, from_manifold, to_manifold
from moldprep.job import CottleJob, PiecesJob, PullJob
from moldprep.parting import Candidate, Layer, Parting
from moldprep.pieces import cut_pieces
from moldprep.stand import Stand
from moldprep.thin import FEATHER_DEG, HEIGHT_STEP_MM, LEAST_WALL_MM, LINES, Thin, find_thin
from moldprep.working import Watch
from tests.forms import from_trimesh, tumbler, turned
from tests.samples import planned

UP: Point = (0.0, 0.0, 1.0)
FLOOR = 25.0
WALL = 25.0
RADIUS = 40.0
RINGS = 128
RING_DEG = 180 / RINGS
"""A facet of the ball leans by up to this from the ball itself."""
ROUNDING = 1e-6
BARE = PiecesJob(natches="none", chamfer_mm=0)


def box(low: tuple[float, ...], high: tuple[float, ...]) -> Mesh:
    return from_trimesh(trimesh.creation.box(bounds=[low, high]))


def leaning(mesh: Mesh, degrees: float, axis: Point) -> Mesh:
    return mesh.transformed(trimesh.transformations.rotation_matrix(np.radians(degrees), axis))


def lifted(mesh: Mesh, height: float) -> Mesh:
    return Mesh(mesh.vertices + np.array([0, 0, height]), mesh.faces)


def less(whole: Mesh, *cutters: Mesh) -> Mesh:
    solid = to_manifold(whole)
    for cutter in cutters:
        solid = difference(solid, to_manifold(cutter))
    return from_manifold(solid)


def ball(*, count: int = RINGS) -> Mesh:
    made = trimesh.creation.uv_sphere(radius=RADIUS, count=[count, 2 * count])
    made.apply_translation([0, 0, RADIUS])
    return from_trimesh(made)


def thin(
    form: Mesh, *layers: Layer, axis: Point = UP, wall: float = WALL, floor: float = FLOOR, tall: float = 0.0
) -> Thin:
    """What is found in a mold of the form, parted by hand in a box; `tall`: plaster above the form."""
    top = float(form.bounds[1, 2]) + tall
    stand = Stand("rim", False, "test", np.eye(4), form, form, (), top, top, 0.0, floor, 0.0)
    block = choose_block(stand, CottleJob(kind="box"), wall_mm=wall)
    chosen = Candidate(axis, layers, "split-layers", 0, 0.0, 0.0, 0.0, (), 0.0, "by hand")
    parting = Parting(chosen, (), None, None, ())  # type: ignore[arg-type]
    return find_thin(stand, block, parting, cut_pieces(stand, block, parting, PullJob(), BARE))


def codes(found: Thin) -> list[str]:
    return [finding.code for finding in found.findings]


def pitch_of(form: Mesh) -> float:
    """Between columns across the block of a form."""
    return float(form.extents.max() + 2 * WALL) / LINES


# --- nothing to say -----------------------------------------------------------------------------


def test_a_tumbler_has_none() -> None:
    assert thin(tumbler(), Layer(-FLOOR, 100, "down")) == Thin((), ())
    split = thin(tumbler(), Layer(-FLOOR, 0, "down"), Layer(0, 100, "split", 90.0, 0.0))
    assert split == Thin((), ())  # a flat foot in the plane of the seam, its wall near square to it


@pytest.mark.parametrize("stem", ["tumbler", "mug", "sphere"])
def test_samples_with_square_seams_and_a_wide_eye_have_none(stem: str) -> None:
    plan = planned(stem)
    assert find_thin(plan.stand, plan.block, plan.parting, plan.pieces) == Thin((), ())


# --- tongues and walls --------------------------------------------------------------------------


def slotted(width: float, deep: float, *, long: float = 120.0) -> Mesh:
    """A block 120 x 120 x 90 with a slot in its foot: the plaster in it is a plate that stands on the floor."""
    return less(
        box((-60, -60, 0), (60, 60, 90)), box((-width / 2, -long / 2, -5), (width / 2, long / 2, deep))
    )


@pytest.mark.parametrize("turn", [0.0, 22.5, 37.0])
def test_plaster_in_a_deep_slot_is_a_tongue_whichever_way_the_slot_runs(turn: float) -> None:
    width, deep = 6.0, 40.0
    form = leaning(slotted(width, deep, long=110.0), turn, UP)
    found = thin(form, Layer(-FLOOR, 90, "down"))
    (place,) = found.places
    assert codes(found) == ["thin-tongue"]
    assert (place.kind, place.piece) == ("tongue", "A")
    assert place.figure == pytest.approx(width, abs=ROUNDING)
    # each of its two ends is read to a column, seen at up to 22.5 degrees
    assert place.extent_mm == pytest.approx(deep, abs=1.5 * pitch_of(form))
    normal = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn)), 0])
    assert abs(np.array(place.where) @ normal) < ROUNDING and 0 < place.where[2] < deep
    assert "6.0 mm thick" in found.findings[0].says and "Widen" in found.findings[0].remedy


@pytest.mark.parametrize(("deep", "code"), [(8.0, []), (20.0, ["thin-wall"]), (30.0, ["thin-tongue"])])
def test_ribs_are_sound_plates_thin_and_tall_plates_tongues(deep: float, code: list[str]) -> None:
    """A plate 6 mm thick: up to 12 mm high it is relief, over 24 mm a tongue, between them a thin wall."""
    found = thin(slotted(6.0, deep, long=110.0), Layer(-FLOOR, 90, "down"))
    assert codes(found) == code
    assert [place.figure for place in found.places] == pytest.approx([6.0] * len(code), abs=ROUNDING)


def test_a_plate_thicker_than_the_limit_may_be_as_tall_as_it_likes() -> None:
    assert codes(thin(slotted(16.0, 80.0, long=110.0), Layer(-FLOOR, 90, "down"))) == []


@pytest.mark.parametrize("lean", [15.0, 30.0])
def test_a_leaning_plate_keeps_its_thickness(lean: float) -> None:
    slot = leaning(box((-3, -50, -40), (3, 50, 40)), lean, (0, 1, 0))
    form = less(box((-60, -60, 0), (60, 60, 90)), slot)
    found = thin(form, Layer(-FLOOR, 90, "down"))
    (place,) = found.places
    assert place.kind == "tongue"
    assert place.figure == pytest.approx(6.0, abs=ROUNDING)


@pytest.mark.parametrize("eye", [8.0, 12.0])
def test_plaster_in_a_narrow_eye_is_a_tongue_as_long_as_half_the_eye(eye: float) -> None:
    """A thick ring on its edge, parted through its middle: a pin of the eye's width from each half."""
    thick = 120.0
    ring = trimesh.creation.annulus(r_min=eye / 2, r_max=40, height=thick, sections=256)
    form = leaning(from_trimesh(ring), 90, (1, 0, 0))
    form = lifted(form, 40)
    found = thin(form, Layer(-FLOOR, 80, "split", 90.0, 0.0), tall=30.0)
    assert codes(found) == ["thin-tongue"] * 2
    for place in found.places:
        # faces within 22.5 degrees of square count (twice that from each other); a chord there is
        # eye x cos^2 thick, between 0.853 of the eye and all of it
        assert np.cos(np.radians(22.5)) ** 2 * eye - 0.01 <= place.figure <= eye
        assert place.extent_mm == pytest.approx(thick / 2, abs=2 * pitch_of(form))
        assert np.hypot(place.where[0], place.where[2] - 40) < eye / 2


def test_a_wide_eye_is_no_tongue() -> None:
    torus = trimesh.creation.torus(major_radius=35, minor_radius=12, major_sections=128, minor_sections=64)
    form = leaning(from_trimesh(torus), 90, (1, 0, 0))
    form = lifted(form, 47)
    assert thin(form, Layer(-FLOOR, 94, "split", 90.0, 0.0), tall=30.0) == Thin((), ())


def test_plaster_that_the_cottle_leaves_thin_is_a_wall_however_low_it_stands() -> None:
    form = box((-30, -30, 0), (30, 30, 90))
    found = thin(form, Layer(-FLOOR, 90, "down"), wall=8.0)
    assert codes(found) == ["thin-wall"]
    assert {place.kind for place in found.places} == {"wall"}
    assert [place.figure for place in found.places] == pytest.approx([8.0] * len(found.places), abs=ROUNDING)
    assert 1 <= len(found.places) <= 3
    assert "cottle.wall_mm" in found.findings[0].remedy
    assert thin(form, Layer(-FLOOR, 90, "down"), wall=LEAST_WALL_MM) == Thin((), ())


def test_a_thin_floor_is_a_wall_where_the_foot_stands() -> None:
    found = thin(box((-30, -30, 0), (30, 30, 90)), Layer(-7, 90, "down"), floor=7.0)
    (place,) = found.places
    assert place.figure == pytest.approx(7.0, abs=ROUNDING)
    assert place.where[2] == pytest.approx(-3.5, abs=ROUNDING)
    assert place.extent_mm == pytest.approx(60, abs=2 * pitch_of(box((-30, -30, 0), (30, 30, 90))))


def test_plaster_between_a_shelf_of_the_form_and_a_seam_is_a_wall() -> None:
    """A form that is 80 across below 40 mm and 40 across above, with the seam 3 mm over its shelf."""
    form = turned([(0, 0), (40, 0), (40, 40), (20, 40), (20, 90), (0, 90)])
    found = thin(form, Layer(-FLOOR, 43, "down"), Layer(43, 90, "split", 90.0, 0.0))
    walls = [place for place in found.places if place.kind == "wall"]
    assert len(walls) >= 1 and {place.piece for place in walls} == {"A"}
    assert [place.figure for place in walls] == pytest.approx([3.0] * len(walls), abs=ROUNDING)
    assert walls[0].where[2] == pytest.approx(41.5, abs=ROUNDING)
    assert "Move the seam" in found.findings[0].remedy


# --- feather edges ------------------------------------------------------------------------------


@pytest.mark.parametrize("latitude", [0.0, 40.0, 50.0, 65.0, -60.0])
def test_a_ball_cut_off_its_equator_leaves_a_sharp_edge_on_the_piece_that_reaches_over_it(
    latitude: float,
) -> None:
    """Cut at height h over the middle: 90 - asin(h/R) degrees on the lower piece, 90 + asin(h/R) above."""
    height = RADIUS * (1 + np.sin(np.radians(latitude)))
    found = thin(
        ball(), Layer(-FLOOR, height, "down"), Layer(height, 2 * RADIUS, "up"), floor=FLOOR, tall=30.0
    )
    sharp = [place for place in found.places if place.kind == "feather"]
    if 90 - abs(latitude) >= FEATHER_DEG:
        assert sharp == []
        return
    (place,) = sharp
    assert place.piece == ("B" if latitude > 0 else "A")  # A is the top piece
    assert place.figure == pytest.approx(90 - abs(latitude), abs=RING_DEG)
    around = 2 * np.pi * RADIUS * np.cos(np.radians(latitude))
    assert place.extent_mm == pytest.approx(around, rel=0.01)  # a facet's sagitta inside the circle
    assert place.where[2] == pytest.approx(height, abs=ROUNDING)
    (finding,) = [finding for finding in found.findings if finding.code == "feather-edge"]
    assert f"{height:.1f} mm" in finding.says and f"piece {place.piece}" in finding.says
    assert codes(found) == ["feather-edge"]  # the same plaster is not a thin wall as well


@pytest.mark.parametrize("side", [1, -1])
def test_the_cure_names_the_nearest_height_where_the_wall_stands_square_enough(side: int) -> None:
    """On a ball: the height of 45 degrees, R sin 45 from its middle."""
    height = RADIUS * (1 + side * np.sin(np.radians(60)))
    found = thin(ball(), Layer(-FLOOR, height, "down"), Layer(height, 80, "up"), tall=30.0)
    (finding,) = found.findings
    named = re.search(r"([\d.]+) mm (higher|lower), to ([\d.]+) mm", finding.remedy)
    assert named is not None
    assert named[2] == ("lower" if side > 0 else "higher")
    ring = RADIUS * np.radians(RING_DEG)  # heights are told apart by rings of facets
    best = RADIUS * (1 + side * np.sin(np.radians(FEATHER_DEG)))
    assert float(named[3]) == pytest.approx(best, abs=HEIGHT_STEP_MM + ring)
    assert float(named[1]) == pytest.approx(abs(float(named[3]) - height), abs=0.1)


def test_an_upright_seam_off_the_middle_is_sharp_too() -> None:
    """Parted at y = R sin 60: 30 degrees on the half that reaches back over the ball, all round."""
    offset = RADIUS * np.sin(np.radians(60))
    found = thin(ball(), Layer(-FLOOR, 110, "split", 90.0, offset), tall=30.0)
    sharp = [place for place in found.places if place.kind == "feather"]
    (place,) = sharp
    assert place.figure == pytest.approx(30, abs=2 * RING_DEG)
    assert place.where[1] == pytest.approx(offset, abs=ROUNDING)
    assert "upright seam" in found.findings[-1].says


@pytest.mark.parametrize("height", [0.0, 10.0])
def test_a_square_dish_with_walls_at_30_degrees_is_sharp_at_its_foot_and_above(height: float) -> None:
    """Long straight edges, 30 degrees on the halves that lie over the seam; named once, not as a wall too.

    A seam in the plane of the foot meets its edge, 60 mm a side; 10 mm higher it is 2 x 10 / tan 30 longer.
    """
    low, high, up = 30.0, 30.0 + 30 / np.tan(np.radians(30)), 30.0
    corners = [(x * r, y * r, z) for r, z in ((low, 0), (high, up)) for x in (-1, 1) for y in (-1, 1)]
    dish = from_trimesh(trimesh.convex.convex_hull(np.array(corners, dtype=float)))
    found = thin(dish, Layer(-FLOOR, height, "down"), Layer(height, up, "split", 90.0, 0.0))
    assert codes(found) == ["feather-edge"]
    assert {place.piece for place in found.places} == {"B", "C"}
    side = 2 * (low + height / np.tan(np.radians(30)))
    assert sum(place.extent_mm for place in found.places) == pytest.approx(4 * side, abs=ROUNDING)
    # at the corners two walls are averaged, which can only make the mean less sharp
    assert [place.figure for place in found.places] == pytest.approx([30, 30], abs=0.01)
    assert "no height nearby" in found.findings[0].remedy


def test_rough_facets_do_not_make_an_edge() -> None:
    """A ball of 0.9 mm facets jittered by 0.3 mm, cut where its wall leans 20 degrees: 70, not 45."""
    smooth = ball(count=144)
    rng = np.random.default_rng(7)
    centre = np.array([0, 0, RADIUS])
    out = (smooth.vertices - centre) / RADIUS
    form = Mesh(smooth.vertices + out * rng.uniform(-0.3, 0.3, (len(out), 1)), smooth.faces)
    height = RADIUS * (1 + np.sin(np.radians(20)))
    lean = form.normals[np.ptp(np.sign(form.vertices[form.faces, 2] - height), axis=1) > 0][:, 2]
    assert (np.degrees(np.arcsin(lean)) > FEATHER_DEG).any()  # single facets are sharp
    found = thin(form, Layer(-FLOOR, height, "down"), Layer(height, 80, "up"), tall=30.0)
    assert [place for place in found.places if place.kind == "feather"] == []


def test_a_sharp_edge_of_the_pitcher_is_one_on_the_form_itself() -> None:
    """The level seam grazes the underside of the handle; the form's own facet there says the angle."""
    plan = planned("pitcher")
    found = find_thin(plan.stand, plan.block, plan.parting, plan.pieces)
    assert codes(found) == ["feather-edge"]
    form = plan.stand.mesh
    for place in found.places:
        section = plan.parting.chosen.planes_mm[0]
        assert place.where[2] == pytest.approx(section, abs=ROUNDING)
        crossed = np.ptp(np.sign(form.vertices[form.faces, 2] - section), axis=1) > 0
        near = np.linalg.norm(form.centroids - place.where, axis=1) < 4
        steepest = np.degrees(np.arcsin(np.abs(form.normals[crossed & near, 2]))).max()
        assert place.figure >= 90 - steepest - ROUNDING  # a mean is no sharper than its sharpest facet
        assert place.figure < FEATHER_DEG


def test_the_watch_is_told_piece_by_piece() -> None:
    steps: list[tuple[int, int]] = []

    class Told(Watch):
        def step(self, done: int, of: int) -> None:
            steps.append((done, of))

    plan = planned("tumbler")
    find_thin(plan.stand, plan.block, plan.parting, plan.pieces, watch=Told())
    assert steps == [(0, 1), (1, 1)]
