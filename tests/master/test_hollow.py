"""Hollow forms filled: volumes by the formulas of what they were turned from, every opening named."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import trimesh

from moldprep.errors import FormError
from moldprep.files.read import read_master
from moldprep.geometry.lips import RIDGE_MM
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import difference, from_manifold, is_solid, parts, to_manifold, union, united
from moldprep.job import FormJob, Job, ShrinkageJob, StandJob, TargetJob, job_from_dict
from moldprep.master import Master, master_from_bytes
from moldprep.master.hollow import Filled, filled_hollow
from moldprep.sizing import size_master
from moldprep.stand import Stand, stand_master
from tests.forms import from_trimesh, tumbler, turned
from tests.samples import FOLDER, catalog

SECTIONS = 96
PAPPUS = SECTIONS / 2 * np.sin(2 * np.pi / SECTIONS)
"""Area of the polygon of SECTIONS sides in a circle of radius 1: pi, chord error included."""


def turned_volume(profile: list[tuple[float, float]]) -> float:
    """Volume of the solid that the test's turned mesh is: frusta with polygons for circles, up less down."""
    stretches = pairwise(profile)
    return PAPPUS * sum((b[1] - a[1]) * (a[0] ** 2 + a[0] * b[0] + b[0] ** 2) / 3 for a, b in stretches)


def arc(r: float, z: float, radius: float, begin: float, end: float, steps: int) -> list[tuple[float, float]]:
    """(r, z) points on an arc, degrees from outward, counter-clockwise."""
    angle = np.radians(np.linspace(begin, end, steps + 1))
    return [(r + radius * float(np.cos(a)), z + radius * float(np.sin(a))) for a in angle]


def torus_handle(x: float, z: float, *, ring: float, thick: float) -> Mesh:
    """An upright ring in the plane y = 0."""
    made = trimesh.creation.torus(ring, thick, major_sections=48, minor_sections=24)
    made.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    made.apply_translation([x, 0, z])
    return from_trimesh(made)


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    middle = (np.array(low) + high) / 2
    size = np.array(high) - low
    return from_trimesh(trimesh.creation.box(size, trimesh.transformations.translation_matrix(middle)))


def less(whole: Mesh, *cutters: Mesh) -> Mesh:
    solid = to_manifold(whole)
    for cutter in cutters:
        solid = difference(solid, to_manifold(cutter))
    return from_manifold(solid)


def codes(filled: Filled) -> list[str]:
    return [finding.code for finding in filled.findings]


def filled(form: Mesh) -> Filled:
    found = filled_hollow(form)
    assert found is not None and is_solid(found.mesh)
    return found


def rows(points: np.ndarray) -> set[tuple[float, ...]]:
    return set(map(tuple, points))


# ---------------------------------------------------------------- a mug

MUG = [(0, 0), (30, 0), (40, 90)]
MUG_INSIDE = [(36, 90), (26, 5), (0, 5)]


@cache
def mug() -> Mesh:
    """A flat lip; the handle's ring is cut off where it would reach into the inside."""
    inside = turned([(0, 5), (26, 5), (36, 90), (36.2, 91.7), (0, 91.7)], sections=SECTIONS)
    body = turned([*MUG, (0, 90)], sections=SECTIONS)
    return less(union([body, torus_handle(38, 50, ring=24, thick=5)]), inside)


def test_a_hollow_mug_is_filled_to_its_lip_and_keeps_its_handle() -> None:
    found = filled(mug())
    assert codes(found) == ["hollow-filled"]
    assert found.height_mm == pytest.approx(90, abs=1e-9)
    cavity = turned_volume([(0, 5), (26, 5), (36, 90), (0, 90)])
    assert found.volume_mm3 == pytest.approx(cavity, rel=1e-6)
    assert found.mesh.volume == pytest.approx(mug().volume + cavity, rel=1e-6)
    assert to_manifold(found.mesh).genus() == 1  # the handle's eye, and nothing else
    assert f"{cavity / 1000:.0f} mL" in found.findings[0].says and "85 mm deep" in found.findings[0].says
    assert "up to z = 90.0 mm" in found.findings[0].says


def test_the_outside_is_as_drawn_and_the_inside_is_handed_on() -> None:
    found = filled(mug())
    assert rows(found.mesh.vertices) <= rows(mug().vertices)
    assert rows(found.inside.vertices) <= rows(mug().vertices)
    gone = len(mug().vertices) - len(found.mesh.vertices)
    only_inside = rows(found.inside.vertices) - rows(found.mesh.vertices)
    assert gone == len(only_inside) and len(found.inside.faces) > SECTIONS
    slant = np.hypot(10, 85) * (26 + 36) / 2  # mean radius times slant height
    chord = np.sin(np.pi / SECTIONS) / (np.pi / SECTIONS)
    assert found.inside.area == pytest.approx(PAPPUS * 26**2 + 2 * np.pi * chord * slant, rel=1e-3)


def test_a_filled_mug_stands_in_its_mold_with_a_rim() -> None:
    form = filled(mug()).mesh
    stand = stand_master(
        size_master(Master("mug", form, (), "mm", "", ()), ShrinkageJob(), TargetJob()),
        StandJob(),
        wall_mm=20,
    )
    assert isinstance(stand, Stand) and stand.opening == "rim"
    assert stand.rim_mm == pytest.approx(90, abs=1e-6)


def test_a_vessel_drawn_upside_down_is_filled_from_below() -> None:
    form = mug().transformed(np.diag([1.0, -1, -1, 1]))
    found = filled(form)
    assert found.volume_mm3 == pytest.approx(filled(mug()).volume_mm3, rel=1e-9)
    assert found.height_mm == pytest.approx(-90) and "from below" in found.findings[0].says
    assert rows(found.mesh.vertices) <= rows(form.vertices)


def test_a_form_that_is_hollow_from_above_and_below_is_filled_from_both() -> None:
    whole = turned([(0, 0), (40, 0), (30, 50), (45, 110), (0, 110)], sections=SECTIONS)
    above = turned([(0, 52), (25, 52), (41, 110), (41, 115), (0, 115)], sections=SECTIONS)
    below = turned([(0, -5), (36, -5), (36, 0), (27, 46), (0, 46)], sections=SECTIONS)
    found = filled(less(whole, above, below))
    assert codes(found) == ["hollow-filled", "hollow-filled"]
    assert found.mesh.volume == pytest.approx(whole.volume, rel=1e-9)
    assert found.height_mm == pytest.approx(110)


# ---------------------------------------------------------------- a rounded lip

LIP = 3.0


@cache
def bowl(lean: float = 0.0) -> Mesh:
    """A wall 6 thick; a half-round lip of radius 3 round (57 - lean, 60)."""
    outside = [(0, 0), (40, 0), (60 - lean, 60)]
    return turned([*outside, *arc(57 - lean, 60, LIP, 0, 180, 24)[1:], (34, 6), (0, 6)], sections=SECTIONS)


def test_a_rounded_lip_is_filled_to_its_widest_outer_circle() -> None:
    found = filled(bowl())
    assert codes(found) == ["hollow-filled", "lip-cut"]
    assert found.height_mm == pytest.approx(60, abs=1e-9)
    assert f"{LIP:.1f} mm below its top" in found.findings[1].says
    assert "Round the lip by hand" in found.findings[1].remedy
    whole = turned_volume([(0, 0), (40, 0), (60, 60), (0, 60)])
    cavity = turned_volume([(0, 6), (34, 6), (54, 60), (0, 60)])
    assert found.mesh.volume == pytest.approx(whole, rel=1e-9)
    assert found.volume_mm3 == pytest.approx(cavity, rel=1e-9)
    radius, z = np.hypot(*bowl().vertices.T[:2]), bowl().vertices[:, 2]
    outside = bowl().vertices[(np.abs(radius - 40 - z / 3) < 1e-9) & (z <= 60)]
    assert len(outside) == 2 * SECTIONS and rows(outside) <= rows(found.mesh.vertices)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0])
@pytest.mark.parametrize("shift", [0.0, 3.7])
def test_the_answer_turns_and_moves_with_the_form(turn_deg: float, shift: float) -> None:
    turn = trimesh.transformations.rotation_matrix(np.radians(turn_deg), [0, 0, 1])
    turn[:3, 3] = shift, -2 * shift, shift
    found = filled(bowl().transformed(turn))
    assert found.height_mm == pytest.approx(60 + shift, abs=1e-6)
    assert found.mesh.volume == pytest.approx(filled(bowl()).mesh.volume, rel=1e-6)


def test_a_rough_lip_is_filled_like_a_smooth_one() -> None:
    """Roughness of 0.02 mm, as a scan has it: the widest circle moves by no more than that blurs it."""
    rough = trimesh.Trimesh(bowl().vertices, bowl().faces, process=False).subdivide().subdivide()
    noise = 0.02
    rough.vertices += np.random.default_rng(7).normal(0, noise, rough.vertices.shape)
    found = filled(from_trimesh(rough))
    assert codes(found) == ["hollow-filled", "lip-cut"]
    blur = np.sqrt(
        2 * LIP * 3 * noise
    )  # over such a height an arc of this radius draws in by three times the noise
    assert found.height_mm == pytest.approx(60, abs=blur)
    disc = np.pi * 60**2
    assert abs(found.mesh.volume - filled(bowl()).mesh.volume) < blur * disc
    assert to_manifold(found.mesh).genus() == 0


def test_a_handle_that_rises_above_a_rounded_lip_is_kept() -> None:
    """Only the lip is cut: the handle beside it stands as drawn."""
    handle = torus_handle(76, 50, ring=18, thick=4)
    found = filled(union([bowl(), handle]))
    assert codes(found) == ["hollow-filled", "lip-cut"] and found.height_mm == pytest.approx(60, abs=1e-6)
    assert found.mesh.bounds[1] == pytest.approx([98, 60, 72], abs=0.05)
    assert len(parts(to_manifold(found.mesh))) == 1 and to_manifold(found.mesh).genus() == 1
    far = handle.vertices[handle.vertices[:, 0] > 64]
    assert rows(far) <= rows(found.mesh.vertices)


def test_an_outside_that_closes_in_is_cut_only_where_its_rounding_ends() -> None:
    """The wall leans in by 10 degrees: its widest place is the foot, not the lip."""
    lean = 60 * np.tan(np.radians(10))
    end = [(57 - lean, 60.0)]
    form = turned(
        [
            (0, 0),
            (57 - lean + LIP * np.cos(np.radians(10)) + 60 * np.tan(np.radians(10)), 0),
            *arc(end[0][0], 60, LIP, 10, 180, 34),
            (46, 6),
            (0, 6),
        ],
        sections=SECTIONS,
    )
    found = filled(form)
    steps = 2 * 0.15 * 63 / 96  # two of the heights at which the outside is measured
    assert found.height_mm == pytest.approx(
        60 + LIP * np.sin(np.radians(12.5)), abs=LIP * np.radians(5) + steps
    )


def test_a_neck_on_a_sloping_shoulder_is_filled_to_its_crest() -> None:
    form = turned(
        [(0, 0), (50, 0), (50, 60), (20, 85), (18, 86), (16, 85), (46, 58), (46, 4), (0, 4)],
        sections=SECTIONS,
    )
    found = filled(form)
    assert found.height_mm == pytest.approx(86 - RIDGE_MM, abs=1e-9)
    cut = [(20, 85), (18 + 2 * RIDGE_MM, 86 - RIDGE_MM), (0, 86 - RIDGE_MM)]
    assert found.mesh.volume == pytest.approx(turned_volume([(0, 0), (50, 0), (50, 60), *cut]), rel=1e-9)


# ---------------------------------------------------------------- a jug

NOTCH, DROP = 16.0, 8.0


def cylinder_cup(height: float = 80.0, *, flat: float = 0.0) -> Mesh:
    return turned([(0, 0), (40, 0), (40, height), (36, height), (36, 5), (0, 5)], sections=SECTIONS)


def test_a_spout_below_the_lip_is_dammed_and_named() -> None:
    """A square cup 80 wide with walls 4, and a notch through one wall: the dam closes it flush."""
    cup = less(box((-40, -40, 0), (40, 40, 80)), box((-36, -36, 5), (36, 36, 90)))
    jug = less(cup, box((30, -NOTCH / 2, 80 - DROP), (50, NOTCH / 2, 90)))
    found = filled(jug)
    assert codes(found) == ["hollow-filled", "spout-dammed"]
    assert found.height_mm == pytest.approx(80, abs=1e-9)
    dammed = found.findings[1]
    assert f"{NOTCH:.0f} mm wide" in dammed.says and f"{DROP:.1f} mm deep" in dammed.says
    assert dammed.level == "warn" and dammed.where[0] == pytest.approx((40, 0, 80), abs=0.1)
    assert found.mesh.volume == pytest.approx(80**3, rel=1e-6)
    assert found.mesh.extents == pytest.approx([80, 80, 80])


def test_a_spout_of_a_round_jug_is_dammed_along_its_chord() -> None:
    jug = less(cylinder_cup(), box((30, -NOTCH / 2, 80 - DROP), (50, NOTCH / 2, 90)))
    found = filled(jug)
    assert codes(found) == ["hollow-filled", "spout-dammed"]
    half = NOTCH / 2
    segment = 40**2 * np.arcsin(half / 40) - half * np.sqrt(40**2 - half**2)
    assert found.mesh.volume == pytest.approx(
        turned_volume([(0, 0), (40, 0), (40, 80), (0, 80)]) - segment * DROP, abs=0.05 * segment * DROP
    )


def test_two_spouts_through_a_rounded_flaring_lip_are_dammed_within_the_wall() -> None:
    """The dams stand above the spouts' floors, so they miss what the wall flares out above these."""
    notches = [box((40, -8, 52), (80, 8, 90)), box((-80, -8, 52), (-40, 8, 90))]
    found = filled(less(bowl(), *notches))
    assert codes(found) == ["hollow-filled", "lip-cut", "spout-dammed", "spout-dammed"]
    assert found.height_mm == pytest.approx(60, abs=1e-6)
    missing = turned_volume([(0, 0), (40, 0), (60, 60), (0, 60)]) - found.mesh.volume
    flare, sag = 8 * 20 / 60, 60 - np.sqrt(60**2 - 8**2)
    assert 0 < missing < 2 * 16 * 8 * (flare + sag)
    assert to_manifold(found.mesh).genus() == 0 and len(parts(to_manifold(found.mesh))) == 1


def test_a_trough_that_stands_out_lower_than_the_lip_stays_open_before_its_dam() -> None:
    inside = box((-36, -36, 5), (36, 36, 90))
    cup, trough = box((-40, -40, 0), (40, 40, 80)), box((34, -9, 60), (62, 9, 76))
    found = filled(less(union([cup, trough]), inside, box((30, -6, 64), (70, 6, 90))))
    assert codes(found) == ["hollow-filled", "spout-dammed"]
    assert found.mesh.volume == pytest.approx(80**3 + 22 * (18 * 16 - 12 * 12), rel=1e-6)


def test_a_spout_that_rises_is_kept_and_named() -> None:
    """A tongue of the wall rises above the lip on one side; nothing else does."""
    tall = cylinder_cup(92)
    jug = less(
        tall,
        box((-60, -60, 80), (34, 60, 100)),
        box((30, 12, 80), (60, 60, 100)),
        box((30, -60, 80), (60, -12, 100)),
    )
    found = filled(jug)
    assert codes(found) == ["hollow-filled", "lip-rises"]
    assert found.height_mm == pytest.approx(80, abs=1e-9)
    assert found.volume_mm3 == pytest.approx(turned_volume([(0, 5), (36, 5), (36, 80), (0, 80)]), rel=1e-6)
    assert found.mesh.extents[2] == pytest.approx(92)
    assert found.mesh.volume == pytest.approx(jug.volume + found.volume_mm3, rel=1e-6)
    assert "12.0 mm above the fill" in found.findings[1].says


def test_a_lip_that_is_nowhere_level_is_refused_with_the_cure() -> None:
    half = less(cylinder_cup(), box((0, -50, 40), (50, 50, 90)))
    with pytest.raises(FormError, match="lip is not level") as caught:
        filled_hollow(half)
    assert caught.value.code == "hollow-form" and "Fill it solid" in caught.value.remedy


# ---------------------------------------------------------------- pierced walls


def lantern() -> Mesh:
    """A square lantern: a window 14 x 20 through two walls that face each other, 10 x 10 through a third."""
    cup = less(box((-40, -40, 0), (40, 40, 100)), box((-36, -36, 5), (36, 36, 110)))
    return less(cup, box((-50, -7, 40), (50, 7, 60)), box((-5, 20, 20), (5, 50, 30)))


def test_a_pierced_lantern_is_closed_flush_and_each_window_named() -> None:
    found = filled(lantern())
    assert codes(found) == ["hollow-filled", *3 * ["pierced-closed"]]
    assert found.mesh.volume == pytest.approx(80 * 80 * 100, rel=1e-9)
    windows = {finding.where[0]: finding for finding in found.findings[1:]}
    assert set(windows) == {(40.0, 0.0, 50.0), (-40.0, 0.0, 50.0), (0.0, 40.0, 25.0)}
    assert "20.0 by 14.0 mm" in windows[(40.0, 0.0, 50.0)].says
    assert "10.0 by 10.0 mm" in windows[(0.0, 40.0, 25.0)].says
    assert all(finding.level == "warn" and "leather-hard" in finding.remedy for finding in windows.values())
    assert to_manifold(found.mesh).genus() == 0


@pytest.mark.parametrize("count", [1, 5, 6])
def test_round_holes_in_a_round_wall_are_closed_flat(count: int) -> None:
    """Flat lids lie inside the round wall: by less than the lens that a chord of the hole's width cuts off."""
    hole = 5.0
    drills = []
    for k in range(count):
        drill = trimesh.creation.cylinder(hole, 60, sections=32)
        drill.apply_translation([0, 0, 40])
        drill.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
        drill.apply_translation([0, 0, 30])
        drill.apply_transform(trimesh.transformations.rotation_matrix(2 * np.pi * k / count + 0.1, [0, 0, 1]))
        drills.append(from_trimesh(drill))
    form = less(cylinder_cup(), *drills)
    found = filled(form)
    assert codes(found) == ["hollow-filled", *count * ["pierced-closed"]]
    missing = turned_volume([(0, 0), (40, 0), (40, 80), (0, 80)]) - found.mesh.volume
    sag = 40 - np.sqrt(40**2 - hole**2)
    assert -1e-6 < missing < count * np.pi * hole**2 * sag
    assert to_manifold(found.mesh).genus() == 0


def test_holes_in_a_wall_that_curves_both_ways_are_closed_flat() -> None:
    ball, hole, count = 45.0, 5.0, 7
    caps = [box((-100, -100, 32), (100, 100, 100)), box((-100, -100, -100), (100, 100, -38))]
    outer = less(from_trimesh(trimesh.creation.icosphere(4, ball)), *caps)
    inner = less(from_trimesh(trimesh.creation.icosphere(4, 41)), box((-50, -50, -50), (50, 50, -33)))
    drills = []
    for k in range(count):
        drill = trimesh.creation.cylinder(hole, 40, sections=32)
        drill.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
        drill.apply_translation([40, 0, 4])
        drill.apply_transform(trimesh.transformations.rotation_matrix(2 * np.pi * k / count, [0, 0, 1]))
        drills.append(from_trimesh(drill))
    found = filled(less(outer, inner, *drills))
    assert codes(found) == ["hollow-filled", *count * ["pierced-closed"]]
    assert all("10.0 by" in finding.says for finding in found.findings[1:])
    sag = ball - np.sqrt(ball**2 - hole**2)
    assert 0 < outer.volume - found.mesh.volume < count * np.pi * hole**2 * sag
    assert to_manifold(found.mesh).genus() == 0


def test_a_drain_hole_is_closed_under_the_foot() -> None:
    planter = turned([(8, 0), (40, 0), (45, 80), (41, 80), (36.5, 6), (8, 6), (8, 0)], sections=SECTIONS)
    found = filled(planter)
    assert codes(found) == ["hollow-filled", "pierced-closed"]
    assert found.mesh.volume == pytest.approx(turned_volume([(0, 0), (40, 0), (45, 80), (0, 80)]), rel=1e-9)
    assert found.findings[1].where[0] == pytest.approx((0, 0, 0), abs=1e-9)


def test_a_tube_spout_is_closed_at_its_end() -> None:
    body = box((-40, -40, 0), (40, 40, 100))
    tube = box((30, -8, 40), (70, 8, 56))
    pot = less(union([body, tube]), box((-36, -36, 5), (36, 36, 110)), box((30, -5, 43), (80, 5, 53)))
    found = filled(pot)
    assert codes(found) == ["hollow-filled", "pierced-closed"]
    assert found.findings[1].where[0] == pytest.approx((70, 0, 48))
    assert found.mesh.volume == pytest.approx(80 * 80 * 100 + 30 * 16 * 16, rel=1e-9)


# ---------------------------------------------------------------- what is left alone, and intake


def sample(stem: str) -> Mesh:
    entry = catalog()[stem]
    return read_master(FOLDER / entry["file"], job_from_dict(entry["job"]).form).mesh


@pytest.mark.parametrize("stem", ["bud-vase", "mug", "pitcher", "gallery-jar", "ring-vase", "relief-tile"])
def test_a_solid_form_is_left_alone(stem: str) -> None:
    assert not catalog()[stem]["hollow"]
    assert filled_hollow(sample(stem)) is None


def test_a_shallow_recess_in_the_rim_is_left_to_the_stand() -> None:
    form = turned([(0, 0), (30, 0), (40, 90), (36, 90), (34, 86), (0, 86)], sections=SECTIONS)
    assert filled_hollow(form) is None


def stl(mesh: Mesh) -> bytes:
    return bytes(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(file_type="stl"))


def read(mesh: Mesh, **form: object) -> Master:
    return master_from_bytes(stl(mesh), file_type="stl", name="form", form=FormJob(**form))  # type: ignore[arg-type]


def test_nothing_is_filled_without_consent_and_the_refusal_names_the_option() -> None:
    master = read(bowl())
    assert master.steps == () and master.inside is None
    assert master.mesh.volume == pytest.approx(bowl().volume, rel=1e-6)
    with pytest.raises(FormError) as caught:
        stand_master(size_master(master, Job().shrinkage, Job().target), StandJob(), wall_mm=20)
    assert "--fill-hollow" in caught.value.remedy and "form.fill_hollow" in caught.value.remedy


def test_with_consent_the_intake_fills_in_mm_and_z_up() -> None:
    """The same bowl in cm with y up."""
    turn = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0], [0, -1, 0, 0], [0, 0, 0, 10]]) / 10
    turn[3, 3] = 1
    master = read(bowl().transformed(turn), units="cm", up="y", fill_hollow=True)
    assert master.steps == ("fill-hollow",)
    assert [finding.code for finding in master.findings] == ["hollow-filled", "lip-cut"]
    assert master.mesh.volume == pytest.approx(turned_volume([(0, 0), (40, 0), (60, 60), (0, 60)]), rel=1e-5)
    assert master.inside is not None and master.inside.bounds[:, 2] == pytest.approx([6, 60], abs=1e-4)


def test_a_solid_form_is_the_same_with_and_without_consent() -> None:
    plain, asked = read(tumbler()), read(tumbler(), fill_hollow=True)
    assert (plain.mesh.vertices == asked.mesh.vertices).all() and (plain.mesh.faces == asked.mesh.faces).all()
    assert asked.inside is None and asked.findings == () and asked.steps == ()


def test_a_closed_cavity_is_filled_with_consent_and_said() -> None:
    outer, inner = tumbler(sections=SECTIONS), box((-10, -10, 30), (10, 10, 60))
    void = less(outer, inner)
    with pytest.raises(FormError) as caught:
        read(void)
    assert caught.value.code == "form-cavity" and "--fill-hollow" in caught.value.remedy
    master = read(void, fill_hollow=True)
    assert master.mesh.volume == pytest.approx(outer.volume, rel=1e-6)
    (finding,) = master.findings
    assert finding.code == "repair-fill-cavity" and "30 across" in finding.says
    assert finding.where[0] == pytest.approx((0, 0, 45))
    assert master.inside is not None and master.inside.volume == pytest.approx(-(20 * 20 * 30), rel=1e-6)


def test_a_body_inside_out_beside_the_form_is_still_refused() -> None:
    beside = box((100, 0, 0), (120, 20, 20))
    both = from_manifold(united([to_manifold(tumbler()), to_manifold(beside)]))
    away = both.vertices[both.faces][:, :, 0].min(axis=1) > 90
    faces = np.where(away[:, None], both.faces[:, ::-1], both.faces)
    with pytest.raises(FormError) as caught:
        read(Mesh(both.vertices, faces), fill_hollow=True)
    assert caught.value.code == "form-cavity"
