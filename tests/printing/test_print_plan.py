"""The print plan as a whole: solids, weights, comparison, words."""

from __future__ import annotations

from math import pi, sin

import numpy as np
import pytest
import trimesh

from moldprep.formulas.gypsum import adiabatic_rise_k
from moldprep.geometry.columns import cast, frame_for, solid_intervals
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.overhang import overhangs, support_mm3
from moldprep.geometry.solids import is_solid
from moldprep.job import PlasterJob, PrinterJob
from moldprep.printing import PrintPlan, Section, plan_print
from tests.parting.forms import about_z, bud_vase, parted, sphere, stood
from tests.printing.shapes import mushroom, pieces_of, printed, slab_on_edge, waisted
from tests.samples import planned

LOW_PRINTER = PrinterJob(bed_mm=(220, 220, 45))
CASES = {
    "mushroom": (mushroom, PrinterJob()),
    "waisted": (waisted, PrinterJob()),
    "low printer": (lambda: bud_vase(recess=8.0), LOW_PRINTER),
    "ball, low printer": (sphere, LOW_PRINTER),
}
SUPPORT_G_MM3 = 0.15 * 1.24e-3
"""15 % of the space filled (common practice) with PLA."""


def plan_of(case: str) -> tuple[Mesh, PrintPlan]:
    form, job = CASES[case]
    return form(), printed(form(), job)


def holes_mm3(section: Section, plan: PrintPlan) -> float:
    """Prisms of 48 sides, one for each pin at the section's two ends."""
    after = [s for s in plan.sections if s.bottom_mm == section.top_mm]
    pins = [*section.pins, *(pin for other in after for pin in other.pins)]
    return sum(24 * (pin.hole_mm / 2) ** 2 * sin(2 * pi / 48) * pin.depth_mm for pin in pins)


@pytest.mark.parametrize("case", CASES)
def test_sections_are_closed_solids_that_make_up_the_master(case: str) -> None:
    mesh, plan = plan_of(case)
    assert len(plan.sections) > 1
    assert [section.name for section in plan.sections] == [
        f"section-{k + 1}" for k in range(len(plan.sections))
    ]
    for section in plan.sections:
        assert is_solid(section.mesh)
        assert trimesh.Trimesh(section.mesh.vertices, section.mesh.faces, process=False).is_watertight
        assert section.mesh.bounds[:, 2] == pytest.approx([section.bottom_mm, section.top_mm])
        assert section.bodies == 1
    total = sum(section.mesh.volume + holes_mm3(section, plan) for section in plan.sections)
    assert total == pytest.approx(mesh.volume, rel=1e-6)
    assert sum(holes_mm3(section, plan) for section in plan.sections) > 0


@pytest.mark.parametrize("case", CASES)
def test_a_section_needs_the_support_that_its_own_solid_shows(case: str) -> None:
    _, plan = plan_of(case)
    for section in plan.sections:
        mesh = section.printed
        assert mesh.bounds[0, 2] == 0
        assert mesh.volume == pytest.approx(section.mesh.volume)
        solid = solid_intervals(cast(mesh, frame_for(mesh, (0.0, 0.0, 1.0), lines=300)))
        own = support_mm3(overhangs(mesh, solid, limit_deg=45.0)[0], bed=0.0)
        # holes that open downward bridge by themselves and are not counted; 1 % for edges between columns
        assert section.support_mm3 == pytest.approx(own, rel=0.01, abs=1.05 * holes_mm3(section, plan))
        assert section.support_g == pytest.approx(section.support_mm3 * SUPPORT_G_MM3)


def test_no_film_of_the_cap_stays_on_the_stem() -> None:
    """The cut runs in the plane of the cap's underside."""
    stem, cap = printed(mushroom()).sections
    assert (stem.top_mm, stem.joint, cap.joint) == (60.0, "foot", "crease")
    assert stem.mesh.extents[:2].max() <= 50.0
    assert stem.mesh.area == pytest.approx(
        pi * (25**2 + 20**2) + pi * 45 * np.hypot(60, 5) + sum(pi * p.hole_mm * p.depth_mm for p in cap.pins),
        rel=2e-3,
    )


def test_filament_of_a_stack_of_cylinders() -> None:
    """Two discs and a stem: each a shell of 1.2 mm and 15 % of the rest; pins' walls add a little."""
    plan = printed(waisted())
    expected = []
    for radius, height in ((45, 20), (15, 60), (45, 20)):
        whole = pi * radius**2 * height
        inner = pi * (radius - 1.2) ** 2 * (height - 2.4)
        expected.append((whole - inner + 0.15 * inner) * 1.24e-3)
    assert [s.top_mm - s.bottom_mm for s in plan.sections] == pytest.approx([20, 80])
    disc, stool = plan.sections
    assert stool.attitude == "inverted"
    walls = 4 * pi * 4.2 * 8 * 1.2 * 1.24e-3  # shell round two holes in each of the two sections
    assert disc.filament_g == pytest.approx(expected[0] + walls / 2, rel=5e-3)
    # glued in one, stem and upper disc hide a circle of the stem's width in each other
    hidden = 2 * pi * 13.8**2 * 1.2 * 0.85 * 1.24e-3
    assert stool.filament_g == pytest.approx(expected[1] + expected[2] - hidden + walls / 2, rel=5e-3)
    length = disc.filament_g / 1.24 / (pi * 1.75**2 / 4)
    assert disc.filament_m == pytest.approx(length)


def test_one_go_upright_fills_the_air_under_the_cap() -> None:
    mesh, plan = mushroom(), printed(mushroom())
    upright, inverted, lying = plan.attitudes
    assert (upright.attitude, inverted.attitude, lying.attitude) == ("upright", "inverted", "lying")
    stem = pi * 60 * (25**2 + 25 * 20 + 20**2) / 3
    assert upright.support_mm3 == pytest.approx(pi * 60**2 * 60 - stem, rel=0.01)
    under = mesh.normals[:, 2] < -sin(pi / 4)
    ledge = mesh.areas[under & (mesh.centroids[:, 2] > 1)].sum()
    assert upright.overhang_mm2 == pytest.approx(ledge, rel=0.01)
    assert inverted.up == (0, 0, -1)
    assert lying.up[2] == 0
    for way in plan.attitudes:
        assert way.support_g == pytest.approx(way.support_mm3 * SUPPORT_G_MM3)
        assert way.filament_g - way.support_g == pytest.approx(upright.filament_g - upright.support_g)
    assert plan.one_go.filament_g == min(way.filament_g for way in plan.attitudes)


@pytest.mark.parametrize("case", CASES)
def test_what_is_saved_is_the_difference_to_one_go(case: str) -> None:
    _, plan = plan_of(case)
    assert plan.filament_g == pytest.approx(sum(s.filament_g for s in plan.sections))
    assert plan.saved_g == pytest.approx(plan.one_go.filament_g - plan.filament_g)


def test_sections_save_filament_where_whole_prints_need_towers() -> None:
    """The waisted form upright in one go: a ring of air 60 high."""
    plan = printed(waisted())
    ring = pi * (45**2 - 15**2) * 60
    assert plan.attitudes[0].support_g == pytest.approx(ring * SUPPORT_G_MM3, rel=0.01)
    assert 0 < plan.saved_g < plan.attitudes[0].filament_g - plan.filament_g
    assert plan.support_g == 0


def test_a_form_that_stands_freely_is_not_cut() -> None:
    plan = printed(bud_vase(recess=0.0))
    assert len(plan.sections) == 1
    assert plan.sections[0].mesh is stood(bud_vase(recess=0.0)).mesh
    assert plan.saved_g == pytest.approx(0, abs=1e-9)
    assert plan.support_g == 0


def test_the_bud_vase_of_the_samples_fits_together() -> None:
    plan = planned("bud-vase")
    job = PrinterJob(bed_mm=(120, 120, 80))
    made = plan_print(plan.stand, plan.parting, plan.pieces, plan.job.plaster, job)
    assert all(section.fits_bed for section in made.sections)
    total = sum(section.mesh.volume + holes_mm3(section, made) for section in made.sections)
    assert total == pytest.approx(plan.stand.mesh.volume, rel=1e-6)
    assert not [finding for finding in made.findings if finding.level != "note"]


def test_the_same_input_gives_the_same_bytes() -> None:
    mesh = mushroom()
    again = plan_print(stood(mesh), parted(mesh), pieces_of(mesh), PlasterJob(), PrinterJob())
    first = printed(mesh)
    for one, other in zip(first.sections, again.sections, strict=True):
        assert one.mesh.vertices.tobytes() == other.mesh.vertices.tobytes()
        assert one.mesh.faces.tobytes() == other.mesh.faces.tobytes()
        assert one.pins == other.pins
    assert (first.steps, first.findings, first.filament_g) == (again.steps, again.findings, again.filament_g)


def test_turning_the_form_turns_the_sections() -> None:
    mesh = about_z(mushroom(), 33.0)
    plan, turned_plan = printed(mushroom()), printed(mesh)
    for one, other in zip(plan.sections, turned_plan.sections, strict=True):
        assert (one.bottom_mm, one.top_mm, one.attitude) == (other.bottom_mm, other.top_mm, other.attitude)
        assert other.mesh.volume == pytest.approx(one.mesh.volume)
        assert other.filament_g == pytest.approx(one.filament_g, rel=1e-3)
    assert turned_plan.attitudes[0].support_mm3 == pytest.approx(plan.attitudes[0].support_mm3, rel=0.01)


# --- findings and words -----------------------------------------------------------------------------


def codes(plan: PrintPlan) -> dict[str, str]:
    return {finding.code: finding.level for finding in plan.findings}


def test_a_section_larger_than_the_bed_is_named() -> None:
    plan = printed(mushroom(), PrinterJob(bed_mm=(100, 100, 200)))
    assert codes(plan)["section-bed"] == "warn"
    assert [section.fits_bed for section in plan.sections] == [True, False]
    (finding,) = (finding for finding in plan.findings if finding.code == "section-bed")
    assert "section-2 is 120 × 120 × 40 mm" in finding.says


def test_lower_sections_than_asked_are_named() -> None:
    plan = printed(waisted(), PrinterJob(bed_mm=(220, 220, 52), least_section_mm=51))
    assert codes(plan)["section-low"] == "note"
    assert all(section.fits_bed for section in plan.sections)


def test_a_joint_without_room_for_pins_is_named() -> None:
    plan = printed(waisted(), PrinterJob(bed_mm=(220, 220, 55), pin_mm=10.0))
    assert codes(plan)["no-pins"] == "note"
    assert any("no pins fit" in step for step in plan.steps)


def test_a_form_that_prints_better_lying_is_told_so() -> None:
    """A notched plate needs no support lying down; upright its notches do, or a cut for each."""
    plan = printed(slab_on_edge())
    assert plan.one_go.attitude == "lying"
    assert plan.one_go.support_mm3 == 0
    assert plan.saved_g < 0
    assert codes(plan)["print-whole"] == "note"


def test_hot_plaster_is_held_against_the_filament() -> None:
    plan = printed(mushroom(), PrinterJob(softens_c=50.0))
    assert plan.heat.hottest_c == pytest.approx(20 + adiabatic_rise_k(0.70))
    assert plan.heat.hottest_c == pytest.approx(52.7, abs=0.05)  # worked from Thermoddem's heat of hydration
    assert plan.heat.margin_k == pytest.approx(50 - 52.7, abs=0.05)
    assert codes(plan)["print-softens"] == "warn"
    cooler = printed(mushroom(), PrinterJob(softens_c=50.0), PlasterJob(water_temperature_c=15.0))
    assert "print-softens" not in codes(cooler)


def test_seal_and_release_are_reminded_of() -> None:
    words = " ".join(printed(mushroom()).steps)
    for word in ("seal", "Soap", "pins", "one way only", "Sand", "softens"):
        assert word in words
