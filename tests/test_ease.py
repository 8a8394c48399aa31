"""Ease: the smallest taper and the least fill by formula, free by the same study, measured by another library."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import igl
import numpy as np
import pytest
import trimesh

from moldprep.cottle import Block, choose_block
from moldprep.ease import Ease, Offer, as_drawn, offer_ease
from moldprep.ease.taper import HAIR_DEG, STEP_DEG
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import from_manifold, is_solid, to_manifold, united
from moldprep.job import CottleJob, EaseJob, FormJob, PiecesJob, PullJob, ShrinkageJob, StandJob, TargetJob
from moldprep.master import master_from_bytes
from moldprep.parting import Candidate, Layer, Parting, locked_in
from moldprep.pieces import Pieces, cut_pieces
from moldprep.pull import LOCKED, TIGHT
from moldprep.sizing import Sizing, size_master
from moldprep.stand import Stand, stand_master
from tests.forms import disc_on_stem, from_trimesh, tumbler, turned

FLOOR = 25.0
SECTIONS = 128
PULL = PullJob()
AS_USUAL = EaseJob()
BARE = PiecesJob(natches="none", chamfer_mm=0)
APOTHEM = np.cos(np.pi / SECTIONS)
"""Of the polygon that stands for a circle of radius 1."""
POLYGON = SECTIONS / (2 * np.pi) * np.sin(2 * np.pi / SECTIONS)
"""Its area, of the circle's."""


def drum(radius: float = 40.0, height: float = 80.0) -> Mesh:
    return turned([(0, 0), (radius, 0), (radius, height), (0, height)], sections=SECTIONS)


def wall_at(height: float) -> float:
    """Radius of the tumbler."""
    return 30 + height / 10


def grooved_tumbler(deep: float) -> Mesh:
    """A groove from 50 to 60 mm, so deep under its lower lip."""
    root = wall_at(50) - deep
    return turned(
        [(0, 0), (30, 0), (wall_at(50), 50), (root, 50), (root, 60), (wall_at(60), 60), (40, 100), (0, 100)],
        sections=SECTIONS,
    )


def stood(form: Mesh) -> Stand:
    top = float(form.bounds[1, 2])
    return Stand("rim", False, "test", np.eye(4), form, form, (), top, top, 0.0, FLOOR, 0.0)


Case = tuple[Stand, Block, Parting, Pieces]


def case(stand: Stand, *layers: Layer) -> Case:
    """The form in pieces that were chosen by hand, their reach read as the parting reads it."""
    block = choose_block(stand, CottleJob(kind="box"), wall_mm=25.0)
    chosen = Candidate((0.0, 0.0, 1.0), layers, "split-layers", 0, 0.0, 0.0, 0.0, (), 0.0, "by hand")
    spots = locked_in(stand.mesh, chosen, PULL.tolerance_mm, block=block)
    chosen = replace(chosen, reach_mm=spots[0].reach_mm if spots else 0.0)
    parting = Parting(chosen, (), None, None, ())  # type: ignore[arg-type]
    return stand, block, parting, cut_pieces(stand, block, parting, PULL, BARE)


def one_piece(form: Mesh) -> Case:
    return case(stood(form), Layer(-FLOOR, float(form.bounds[1, 2]), "down"))


def eased(given: Case, job: EaseJob = AS_USUAL) -> Ease:
    return offer_ease(*given, job, pull=PULL)


def only(found: Ease, kind: str) -> Offer:
    (offer,) = [offer for offer in found.offers if offer.kind == kind]
    return offer


def assert_lets_go(offer: Offer, *layers: Layer, tight: bool) -> None:
    """The offered form, put through the stages anew, is free, and where asked not tight."""
    stand, _, parting, pieces = case(stood(offer.mesh), *layers)
    assert is_solid(offer.mesh)
    assert parting.chosen.reach_mm == 0
    assert not (pieces.face_class == LOCKED).any()
    area = float(stand.mesh.areas[pieces.face_class == TIGHT].sum())
    assert area == pytest.approx(offer.tight_after_mm2, abs=1e-6)
    if not tight:
        assert area == 0


def assert_measured(offer: Offer, form: Mesh) -> None:
    """The deviation is what libigl measures from the form to the offered surface."""
    square = igl.point_mesh_squared_distance(
        np.array(form.vertices), np.array(offer.mesh.vertices), offer.mesh.faces.astype(np.int64)
    )[0]
    np.testing.assert_allclose(offer.deviation, np.sqrt(square), atol=1e-6)
    points, _ = trimesh.sample.sample_surface(
        trimesh.Trimesh(form.vertices, form.faces, process=False), 4000, seed=1
    )
    square = igl.point_mesh_squared_distance(
        np.array(points), np.array(offer.mesh.vertices), offer.mesh.faces.astype(np.int64)
    )[0]
    spacing = form.extents.max() / 100
    assert np.sqrt(square.max()) - spacing <= offer.greatest_mm
    assert offer.greatest_mm >= offer.deviation.max()


# --- nothing to ease ----------------------------------------------------------------------------


def test_a_free_form_gets_no_offers_and_no_words() -> None:
    assert eased(one_piece(tumbler(sections=SECTIONS))) == Ease((), ())


def test_a_ball_is_not_tight_for_the_draft_it_lacks_at_its_seam() -> None:
    ball = trimesh.creation.uv_sphere(radius=40, count=[32, 64])
    ball.apply_translation([0, 0, 40])
    layers = Layer(-FLOOR, 40, "down"), Layer(40, 80, "up")
    assert eased(case(stood(from_trimesh(ball)), *layers)) == Ease((), ())


# --- taper --------------------------------------------------------------------------------------


@pytest.mark.parametrize("least", [1.0, 2.0, 2.4])
def test_a_straight_drum_is_tapered_by_the_least_draft(least: float) -> None:
    """Each wall turns by the angle; the foot's edge, h tan a inside the old one, is h sin a from it."""
    pull = PullJob(least_draft_deg=least)
    form, height, slope = drum(), 80.0, np.tan(np.radians(least + HAIR_DEG))
    given = one_piece(form)
    pieces = cut_pieces(*given[:3], pull, BARE)
    offer = only(offer_ease(*given[:3], pieces, EaseJob(), pull=pull), "taper")
    assert offer.taper_deg == pytest.approx(least + HAIR_DEG)
    foot = np.hypot(*offer.mesh.vertices[offer.mesh.vertices[:, 2] < 1e-9, :2].T).max()
    assert foot == pytest.approx(40 - height * slope / APOTHEM)
    assert offer.greatest_mm == pytest.approx(height * np.sin(np.radians(offer.taper_deg)), rel=1 - APOTHEM)
    shares = np.array([1.0, 1 - height * slope / 40 / APOTHEM])
    frustum = np.pi * height / 3 * 40**2 * (1 + shares[1] + shares[1] ** 2) * POLYGON
    assert offer.mesh.volume == pytest.approx(frustum)
    assert offer.volume_mm3 == pytest.approx(frustum - form.volume)
    assert offer.tight_before_mm2 == pytest.approx(2 * np.pi * 40 * height, rel=1e-3)
    assert offer.tight_after_mm2 == 0
    assert_measured(offer, form)


def test_a_tapered_drum_keeps_its_rim_and_says_so() -> None:
    offer = only(eased(one_piece(drum())), "taper")
    rim = offer.mesh.vertices[:, 2] > 80 - 1e-9
    np.testing.assert_array_equal(offer.mesh.vertices[rim], drum().vertices[rim])
    assert offer.says.startswith("Taper of 2.0° about the vertical, 2.8 mm at the most")
    assert "the rim stays" in offer.says
    assert_lets_go(offer, Layer(-FLOOR, 80, "down"), tight=False)


def test_between_two_pieces_the_seam_stays_and_the_drum_narrows_both_ways() -> None:
    layers = Layer(-FLOOR, 30, "down"), Layer(30, 80, "up")
    form = drum()
    offer = only(eased(case(stood(form), *layers)), "taper")
    slope = np.tan(np.radians(2 + HAIR_DEG)) / APOTHEM
    for height, reach in ((0, 30), (30, 0), (80, 50)):
        level = offer.mesh.vertices[np.abs(offer.mesh.vertices[:, 2] - height) < 1e-9]
        assert np.hypot(*level[:, :2].T).max() == pytest.approx(40 - reach * slope)
    assert offer.greatest_mm == pytest.approx(50 * np.sin(np.radians(2 + HAIR_DEG)), rel=1 - APOTHEM)
    assert_lets_go(offer, *layers, tight=False)
    assert_measured(offer, form)


def test_halves_of_a_box_taper_about_their_pull_and_its_foot_stays_level() -> None:
    form = from_trimesh(trimesh.creation.box(bounds=[[-30, -20, 0], [30, 20, 60]]))
    layer = Layer(-FLOOR, 60, "split", 0.0, 0.0)
    offer = only(eased(case(stood(form), layer)), "taper")
    assert offer.taper_deg == pytest.approx(2 + HAIR_DEG)
    ends = np.abs(offer.mesh.vertices[:, 0]) > 30 - 1e-9
    narrow = 20 - 30 * np.tan(np.radians(2 + HAIR_DEG))
    np.testing.assert_allclose(np.abs(offer.mesh.vertices[ends, 1]), narrow)
    np.testing.assert_array_equal(offer.mesh.vertices[:8, 2], form.vertices[:, 2])
    assert offer.volume_mm3 == pytest.approx(-2 * 60 * 30 * (20 - narrow))
    assert_lets_go(offer, layer, tight=True)  # the level foot slides on the plaster as before


def test_a_form_that_narrows_upward_is_turned_just_past_upright_or_more() -> None:
    """Walls that lean the wrong way by a degree lock 80 tan 1 = 1.4 mm; a taper brings them back."""
    lean = np.tan(np.radians(1.0))
    form = turned([(0, 0), (40 + 80 * lean, 0), (40, 80), (0, 80)], sections=SECTIONS)
    given = one_piece(form)
    assert given[2].chosen.reach_mm == pytest.approx(80 * lean, abs=0.1)
    offer = only(eased(given, EaseJob(most_fill_mm=0)), "taper")
    # it may stay locked by less than the tolerance over the height
    least = 1.0 - np.degrees(np.arctan(PULL.tolerance_mm / 80))
    assert least - STEP_DEG <= offer.taper_deg <= 1.0 + 2 * STEP_DEG
    assert offer.locked_before_mm2 > 0.9 * 2 * np.pi * 40 * 80
    assert not locked_in(offer.mesh, given[2].chosen, PULL.tolerance_mm, block=given[1])


def test_where_no_taper_is_enough_a_finding_says_so_and_none_is_offered_when_none_is_wanted() -> None:
    found = eased(one_piece(drum()), EaseJob(most_taper_deg=1.9))
    assert found.offers == ()
    (finding,) = found.findings
    assert (finding.level, finding.code) == ("note", "no-taper")
    assert "1.9°" in finding.says and "most_taper_deg" in finding.remedy
    assert "draft" in finding.says and "lets" not in finding.says  # the drum drags, but is not locked
    assert eased(one_piece(drum()), EaseJob(most_taper_deg=0)) == Ease((), ())


def test_a_slim_rod_is_tapered_no_further_than_half_way_to_its_middle() -> None:
    """3 degrees over 200 mm are 10.5 mm: more than the rod's radius of 6, and 2 degrees more than half."""
    found = eased(one_piece(drum(6.0, 200.0)))
    assert [finding.code for finding in found.findings] == ["no-taper"]
    offer = only(eased(one_piece(drum(15.0, 200.0))), "taper")
    assert offer.taper_deg == pytest.approx(2 + HAIR_DEG)


# --- fill ---------------------------------------------------------------------------------------


@lru_cache
def groove_offer(deep: float) -> Offer:
    return only(eased(one_piece(grooved_tumbler(deep))), "fill")


@pytest.mark.parametrize("deep", [0.4, 0.9, 2.5])
def test_a_groove_is_filled_upright_from_its_lower_lip_by_pappus(deep: float) -> None:
    offer, form = groove_offer(deep), grooved_tumbler(deep)
    ring = 2 * np.pi * (wall_at(50) - deep / 2) * (deep * 10) * POLYGON
    assert offer.volume_mm3 == pytest.approx(ring)
    assert offer.greatest_mm == pytest.approx(deep * APOTHEM)
    assert f"50 to 60 mm above the foot: {ring:.0f} mm³, at most {deep:.1f} mm" in offer.says
    assert offer.locked_before_mm2 > 0 and offer.locked_after_mm2 == 0
    assert_measured(offer, form)


def test_a_filled_groove_lets_go_and_all_else_is_as_it_was() -> None:
    offer, form = groove_offer(0.9), grooved_tumbler(0.9)
    assert_lets_go(offer, Layer(-FLOOR, 100, "down"), tight=True)
    beside = (form.vertices[:, 2] < 50 - 1e-9) | (form.vertices[:, 2] > 60 + 1e-9)
    there = {tuple(point) for point in offer.mesh.vertices}
    assert all(tuple(point) in there for point in form.vertices[beside])
    assert offer.deviation[beside].max() < 1e-12
    # the filled ring stands upright: that much more is tight
    assert offer.tight_after_mm2 == pytest.approx(2 * np.pi * wall_at(50) * 10, rel=1e-3)


def test_a_lug_on_a_leaning_wall_is_filled_up_to_the_wall() -> None:
    """Above a lug that stands out g at its top the upright fill meets the wall g / tan a higher."""
    lean = np.tan(np.radians(5.0))
    low = np.array([[x, y, 0] for x in (-30, 30) for y in (-30, 30)])
    high = low * (30 + 100 * lean) / 30 + [0, 0, 100]
    block = from_trimesh(trimesh.convex.convex_hull(np.vstack([low, high])))
    top, wide, out = 50.0, 12.0, 0.8
    face = 30 + top * lean + out
    lug = trimesh.convex.convex_hull(
        [[x, y, z] for y in (-wide / 2, wide / 2) for x, z in ((20, 10), (30, 10), (face, top), (20, top))]
    )
    form = from_manifold(united([to_manifold(block), to_manifold(from_trimesh(lug))]))
    found = eased(one_piece(form))
    offer = only(found, "fill")
    assert offer.volume_mm3 == pytest.approx(wide * out**2 / lean / 2, rel=1e-6)
    assert offer.greatest_mm <= out
    assert offer.greatest_mm >= out * np.cos(np.radians(5)) - form.extents.max() / 100
    assert_lets_go(offer, Layer(-FLOOR, 100, "down"), tight=True)
    assert [finding.code for finding in found.findings] == ["no-taper"]


def test_a_dent_in_one_half_is_filled_along_that_half_s_pull() -> None:
    """A square notch in the side wall, 10 to 20 mm off the seam, 1 deep: the half's pull is x."""
    box = trimesh.creation.box(bounds=[[-30, -20, 0], [30, 20, 60]])
    whole = to_manifold(from_trimesh(box))
    notch = to_manifold(from_trimesh(trimesh.creation.box(bounds=[[10, 19, 20], [20, 25, 35]])))
    form = from_manifold(whole - notch)
    layer = Layer(-FLOOR, 60, "split", 0.0, 0.0)
    offer = only(eased(case(stood(form), layer), EaseJob(most_taper_deg=0)), "fill")
    assert offer.volume_mm3 == pytest.approx(10 * 15 * 1)
    assert offer.mesh.volume == pytest.approx(60 * 40 * 60)
    assert_lets_go(offer, layer, tight=True)


@pytest.mark.parametrize("azimuth", [0.0, 37.0])
def test_a_foot_recess_between_halves_is_filled_whole_without_a_crack_at_the_seam(azimuth: float) -> None:
    """Plaster in a foot recess cannot leave sideways; both halves' fills meet at the seam."""
    deep, radius = 2.0, 20.0
    form = turned([(0, deep), (radius, deep), (radius, 0), (30, 0), (34, 80), (0, 80)], sections=SECTIONS)
    layer = Layer(-FLOOR, 80, "split", azimuth, 0.0)
    offer = only(eased(case(stood(form), layer)), "fill")
    assert offer.volume_mm3 == pytest.approx(np.pi * radius**2 * deep * POLYGON)
    assert offer.greatest_mm == pytest.approx(deep)
    assert offer.locked_before_mm2 > 0 and offer.locked_after_mm2 == 0
    assert offer.says.startswith("Fill 2 undercuts 0 to 2 mm above the foot")
    solid = turned([(0, 0), (30, 0), (34, 80), (0, 80)], sections=SECTIONS)
    assert offer.mesh.area == pytest.approx(solid.area)  # no walls are left inside
    assert_lets_go(offer, layer, tight=True)


def test_an_undercut_too_deep_gets_no_fill_and_words_why() -> None:
    found = eased(one_piece(grooved_tumbler(2.5)), EaseJob(most_fill_mm=2.0))
    assert found.offers == ()
    finding = next(finding for finding in found.findings if finding.code == "fill-too-deep")
    assert "2.5 mm deep" in finding.says and "most_fill_mm" in finding.remedy
    assert 50 <= finding.where[0][2] <= 60


def test_a_disc_on_its_stem_upside_down_is_another_form_not_one_to_ease() -> None:
    turned_over = disc_on_stem(sections=SECTIONS).transformed(np.diag([1.0, -1, -1, 1]))
    form = Mesh(turned_over.vertices + np.array([0, 0, 60]), turned_over.faces)
    found = eased(one_piece(form))
    assert found.offers == ()
    assert [finding.code for finding in found.findings] == ["fill-too-deep"]


# --- with spare and shrinkage -------------------------------------------------------------------


def sized(mesh: Mesh) -> Sizing:
    data = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(file_type="stl")
    master = master_from_bytes(data, file_type="stl", name="form", form=FormJob())
    return size_master(master, ShrinkageJob(total_percent=12.0, height_percent=10.0), TargetJob())


def with_spare(sizing: Sizing) -> Case:
    stand = stand_master(sizing, StandJob(opening="rim"), wall_mm=25.0)
    return case(stand, Layer(-stand.floor_mm, stand.top_mm, "down"))


@pytest.mark.parametrize("form", [drum(), grooved_tumbler(0.9)])
def test_an_offer_brought_back_to_the_file_s_scale_plans_as_offered(form: Mesh) -> None:
    sizing = sized(form)
    given = with_spare(sizing)
    found = eased(given)
    offer = found.offers[0]
    assert given[0].spare_mm > 0
    assert offer.mesh.bounds[1, 2] == pytest.approx(given[0].rim_mm)  # without the spare
    again = sized(as_drawn(offer, sizing))
    assert again.factor == sizing.factor
    assert again.mesh.volume == pytest.approx(offer.mesh.volume, rel=1e-5)  # STL is single precision
    stand, _, parting, pieces = with_spare(again)
    assert parting.chosen.reach_mm == 0
    if offer.kind == "taper":
        assert stand.mesh.areas[pieces.face_class == TIGHT].sum() < 1e-3 * stand.mesh.area


def test_offers_come_least_deviation_first_and_are_the_same_each_time() -> None:
    lean = np.tan(np.radians(1.0))
    form = turned([(0, 0), (40 + 80 * lean, 0), (40, 80), (0, 80)], sections=SECTIONS)
    first, second = eased(one_piece(form)), eased(one_piece(form))
    assert [offer.kind for offer in first.offers] == [offer.kind for offer in second.offers]
    figures = [offer.greatest_mm for offer in first.offers]
    assert figures == sorted(figures) and len(figures) == 2
    for one, other in zip(first.offers, second.offers, strict=True):
        assert one.mesh.vertices.tobytes() == other.mesh.vertices.tobytes()
        assert one.mesh.faces.tobytes() == other.mesh.faces.tobytes()
        assert not one.deviation.flags.writeable
