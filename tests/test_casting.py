"""Casting: rates from trials, slip by Brongniart, the level, the plaster behind each patch, whole plans."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import log, pi, sqrt

import numpy as np
import pytest
import trimesh

from moldprep.casting import (
    Absorption,
    CastPlan,
    absorption,
    cast_rate,
    casts_a_bucket,
    curved_walls,
    half_thickness_mm,
    level_drop,
    mixed_slip,
    outside_of,
    plan_cast,
    slip_needed,
)
from moldprep.casting.rate import READING_MM, READING_WEIGHT
from moldprep.errors import JobError
from moldprep.formulas.clay import water_given_up
from moldprep.formulas.filtration import wall_in_hollow_mm, wall_on_boss_mm
from moldprep.formulas.gypsum import dry_density_kg_m3
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import section
from moldprep.geometry.solids import Solid, difference, from_traced, to_manifold, to_traced, union
from moldprep.inside import Inside, cast_inside
from moldprep.job import CastJob, PlasterJob, ShrinkageJob, StandJob, TargetJob, Trial, job_from_toml
from moldprep.master import Master
from moldprep.mixing import timing_of
from moldprep.pieces import Piece, Pieces
from moldprep.pour import PourPlan
from moldprep.sizing import size_master
from moldprep.stand import Stand, stand_master
from tests.forms import from_trimesh, turned
from tests.samples import planned

SECTIONS = 384
FLOOR = 30.0
PERCENT = 0.01
FEW_PERCENT = 0.04
"""Of a depth that points and patches measure."""
CAST = CastJob()
WATER = water_given_up(CAST.slip_g_ml, CAST.water_percent / 100, CAST.solids_g_ml)
TAKES = dry_density_kg_m3(0.70) / 1000 * (0.15 - 0.075)
"""Water that plaster takes from 7.5 to 15 % of its dry weight, mL/mL."""


@dataclass(frozen=True, eq=False)
class Made:
    """A form in a block of plaster that was drawn by hand."""

    stand: Stand
    inside: Inside
    pieces: Pieces

    def takes(self) -> Absorption:
        return absorption(self.inside, self.stand, self.pieces, PlasterJob(), outside=outside_of(self.pieces))

    def planned(self, job: CastJob = CAST) -> CastPlan:
        dry = self.pieces.pieces[0].volume_mm3 / 1000 * dry_density_kg_m3(0.70) / 1000
        pours = PourPlan((), 0, 0, 0, dry, 0, 0, "", 70, timing_of(PlasterJob()))
        return plan_cast(self.inside, self.stand, self.pieces, pours, job, PlasterJob())


def stood(form: Mesh, cast: CastJob, stand: StandJob) -> tuple[Stand, Inside]:
    sizing = size_master(Master("form", form, (), "mm", "", ()), ShrinkageJob(), TargetJob())
    placed = stand_master(sizing, stand, wall_mm=FLOOR)
    return placed, cast_inside(placed, sizing, cast)


def cuboid(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    return from_trimesh(trimesh.creation.box(bounds=[low, high]))


def finely(mesh: Mesh, longest: float) -> Mesh:
    """The same surface in faces no longer than that, welded."""
    cut = trimesh.remesh.subdivide_to_size(mesh.vertices, mesh.faces, max_edge=longest)
    return from_trimesh(trimesh.Trimesh(*cut, process=True))


def in_block(
    form: Mesh,
    block: Mesh,
    *,
    cast: CastJob = CAST,
    stand: StandJob = StandJob(spare=False),  # noqa: B008
) -> Made:
    placed, inside = stood(form, cast, stand)
    solid, mark = to_traced(placed.mesh)
    plaster = difference(to_manifold(block), solid)
    return Made(placed, inside, Pieces((_piece(plaster, mark),), (), block.volume, 0, 0, *_no_faces()))


def _piece(plaster: Solid, mark: int) -> Piece:
    mesh, form_face = from_traced(plaster, mark)
    return Piece("A", "mold", (0, 0, -1), mesh, form_face, mesh.volume, mesh.volume, 0, 0)


def _no_faces() -> tuple[np.ndarray, np.ndarray]:
    return np.zeros(0, np.int8), np.zeros(0, np.uint8)


@cache
def thin_on_one_side() -> Made:
    """A box of 80 x 80 x 100 with 38 mm of plaster about it, but 5 mm beyond x = 40."""
    form = finely(cuboid((-40, -40, 0), (40, 40, 100)), 6)
    return in_block(form, cuboid((-78, -78, -38), (45, 78, 100)))


@cache
def cup() -> Made:
    """80 mm wide, 120 mm high, 38 mm of plaster."""
    form = turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=SECTIONS)
    block = turned([(0, -38), (78, -38), (78, 120), (0, 120)], sections=SECTIONS)
    return in_block(form, block, cast=CastJob(slip_g_ml=1.80))


def codes(findings: tuple[object, ...]) -> list[str]:
    return [finding.code for finding in findings]  # type: ignore[attr-defined]


# --- rate ---------------------------------------------------------------------------------------


def test_three_casts_of_one_small_mold() -> None:
    """4 mm in 3, 3.5 and 4 minutes (hot-clay.com), k 5.33, 4.57, 4.00: sqrt k = sum(L sqrt t)/sum t."""
    rate = cast_rate((Trial(3, 4), Trial(3.5, 4), Trial(4, 4)))
    assert rate.rate == pytest.approx((4 * (sqrt(3) + sqrt(3.5) + 2) / 10.5) ** 2)
    assert rate.low < 4.00 < 5.33 < rate.high
    assert rate.trials == 3


def test_one_trial_is_as_sure_as_its_wall_can_be_read() -> None:
    """t with 4 degrees of freedom: 2.132 at 95 % (tabulated)."""
    rate = cast_rate((Trial(25, 5),))
    assert rate.rate == pytest.approx(1)
    reach = 2.132 * READING_MM / 5
    assert (rate.low, rate.high) == pytest.approx(((1 - reach) ** 2, (1 + reach) ** 2), rel=1e-3)
    assert rate.minutes(8) == pytest.approx((64, 64 / rate.high, 64 / rate.low))


def test_without_a_trial_the_time_spans_all_that_was_observed_and_says_so() -> None:
    """k of 0.5 to 5: 4 mm in 3.2 to 32 minutes."""
    rate = cast_rate(())
    assert rate.minutes(4) == pytest.approx((16 / sqrt(2.5), 3.2, 32))
    assert codes(rate.findings) == ["no-trial"]


def coverage(scatter: np.ndarray, minutes: tuple[float, ...], chance: np.random.Generator) -> float:
    """How often the interval holds the true rate; one case for each scatter."""
    held = []
    for sigma in scatter:
        true = chance.uniform(0.8, 5)
        walls = np.sqrt(true * np.array(minutes)) + chance.normal(0, sigma, len(minutes))
        rate = cast_rate(tuple(Trial(t, max(w, 0.1)) for t, w in zip(minutes, walls, strict=True)))
        held.append(rate.low <= true <= rate.high)
    return float(np.mean(held))


@pytest.mark.parametrize("minutes", [(12.0,), (8.0, 16.0), (5.0, 10.0, 20.0, 30.0, 10.0, 15.0)])
def test_the_interval_holds_the_true_rate_nine_times_in_ten(minutes: tuple[float, ...]) -> None:
    """Scatter as uncertain as the fit assumes: READING_MM^2 w/chi-squared_w; 3000 cases, standard error 0.0055."""
    chance = np.random.default_rng(4)
    scatter = READING_MM * np.sqrt(READING_WEIGHT / chance.chisquare(READING_WEIGHT, 3000))
    assert coverage(scatter, minutes, chance) == pytest.approx(0.90, abs=0.0165)


@pytest.mark.parametrize("sigma", [0.15, 0.3])
def test_the_interval_of_tidy_trials_is_on_the_safe_side(sigma: float) -> None:
    chance = np.random.default_rng(5)
    assert coverage(np.full(1500, sigma), (8.0, 16.0, 12.0), chance) >= 0.90


def test_a_fast_slip_in_one_short_trial_is_loose() -> None:
    rate = cast_rate((Trial(1, 1),))
    assert codes(rate.findings) == ["trials-loose"] and rate.low >= 0.5


def test_trials_stand_in_a_job_file() -> None:
    job = job_from_toml("[cast]\ntrials = [{ minutes = 10, wall_mm = 4.2 }]\n")
    assert job.cast.trials == (Trial(10, 4.2),)
    assert hash(job.cast) == hash(CastJob(trials=(Trial(10, 4.2),)))


# --- slip ---------------------------------------------------------------------------------------


def test_slip_from_dry_and_water() -> None:
    """A litre of 1.7 with grains of 2.5: 1166.7 g dry (GTZ 1991), its imperial pint 34 oz."""
    mix = mixed_slip(1000, CastJob(slip_g_ml=1.7, solids_g_ml=2.5))
    assert mix.dry_g == pytest.approx(1166.7, abs=0.05)
    assert mix.dry_g + mix.water_g == pytest.approx(mix.weight_g) == pytest.approx(1700)
    assert mix.dry_g / 2.5 + mix.water_g == pytest.approx(1000)
    assert mix.pint_oz == pytest.approx(34)


def test_a_us_pint_of_water_weighs_473_grams_or_16_7_ounces() -> None:
    """231 cubic inches are 8 pints; an ounce is 28.3495 g."""
    mix = mixed_slip(1000, CastJob(slip_g_ml=1.8))
    assert mix.us_pint_g / 1.8 == pytest.approx(231 * 2.54**3 / 8)
    assert mix.us_pint_oz / 1.8 == pytest.approx(473.176 / 28.3495, rel=1e-4)


def test_slip_as_heavy_as_its_grains_is_refused() -> None:
    with pytest.raises(JobError, match="cannot be made") as caught:
        mixed_slip(1000, CastJob(slip_g_ml=2.0, solids_g_ml=1.9))
    assert caught.value.code == "slip-density" and "1.75" in caught.value.remedy


def test_slip_to_have_ready_fills_the_mold_and_tops_it_up() -> None:
    inside = cup().inside
    share = water_given_up(1.80, 0.20, 2.6)
    clay = inside.slip_kept_ml / (1 + share)
    assert slip_needed(inside).volume_ml == pytest.approx(1.10 * (inside.slip_ml + share * clay))


def test_a_bucket_yields_what_each_cast_keeps() -> None:
    """Enough for n casts fills the mold once more after n - 1 have kept their share."""
    inside = cup().inside
    need, kept = slip_needed(inside).volume_ml, inside.slip_kept_ml
    assert casts_a_bucket(inside, need * 0.999) == 0
    assert casts_a_bucket(inside, need) == 1
    assert casts_a_bucket(inside, need + 4.5 * kept) == 5


# --- level --------------------------------------------------------------------------------------


def test_a_cup_s_level_sinks_by_its_clay_s_water() -> None:
    """n V / opening, at first 80 mm wide, at last 72; V of the drained cup by formula."""
    made = cup()
    clay = pi * (40**2 * 120 - 36**2 * 116) * made.inside.growth**3
    water = 0.2121 * clay
    drop = level_drop(made.stand, made.inside)
    size = made.inside.growth
    assert drop.water_ml == pytest.approx(water / 1000, rel=PERCENT)
    assert drop.first_mm == pytest.approx(water / (pi * 40**2 * size**2), rel=PERCENT)
    assert drop.last_mm == pytest.approx(water / (pi * (40 * size - 4) ** 2), rel=PERCENT)
    assert drop.needed_mm == pytest.approx(1.5 * (drop.last_mm or 0))


def test_the_level_in_a_flaring_spare_falls_to_where_the_water_is_gone() -> None:
    """Sections of the spare itself, summed from the opening plane down to the level."""
    form = turned([(0, 0), (40, 0), (25, 100), (0, 100)], sections=SECTIONS)
    stand, inside = stood(form, CAST, StandJob(spare_depth_mm=40, spare_flare_deg=20))
    drop = level_drop(stand, inside)
    assert drop.first_mm < 40
    heights = stand.top_mm - np.linspace(1e-4, drop.first_mm / inside.growth, 200)
    areas = [section(stand.mesh, height).area for height in heights.tolist()]
    lost = float(np.trapezoid(areas, -heights)) * inside.growth**3 / 1000
    assert lost == pytest.approx(drop.water_ml, rel=PERCENT)
    assert (drop.last_mm or 0) > drop.first_mm


def test_a_narrow_neck_must_be_topped_up() -> None:
    form = turned([(0, 0), (45, 0), (45, 80), (14, 110), (14, 130), (0, 130)], sections=SECTIONS)
    block = turned([(0, -30), (80, -30), (80, 150), (0, 150)], sections=SECTIONS)
    plan = in_block(form, block, stand=StandJob(spare_depth_mm=20)).planned()
    assert "spare-shallow" in codes(plan.findings)
    assert plan.drop.top_ups >= 2
    assert plan.drop.top_ups * 20.2 >= plan.drop.needed_mm > (plan.drop.top_ups - 1) * 20.0


def test_a_neck_that_all_but_closes_is_said_without_depths_beyond_all_measure() -> None:
    """9 mm of radius leave 1 mm beside a wall of 8: the drop in it would be metres."""
    form = turned([(0, 0), (9, 0), (9, 250), (0, 250)], sections=SECTIONS)
    block = turned([(0, -40), (60, -40), (60, 270), (0, 270)], sections=SECTIONS)
    thick = CastJob(wall_mm=8)
    plan = in_block(form, block, stand=StandJob(spare_depth_mm=20), cast=thick).planned(thick)
    (found,) = (one for one in plan.findings if one.code == "spare-shallow")
    assert plan.drop.last_mm is not None and plan.drop.last_mm > 1000
    assert found.level == "warn" and f"takes {plan.drop.water_ml:.0f} mL" in found.says
    assert f"{plan.drop.top_ups} times" not in found.remedy


def test_a_wide_cup_needs_no_topping_up() -> None:
    form = turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=SECTIONS)
    stand, inside = stood(form, CAST, StandJob())
    assert level_drop(stand, inside).top_ups == 0


# --- walls --------------------------------------------------------------------------------------


def test_the_wall_is_thicker_in_the_neck_and_thinner_on_the_foot_s_boss() -> None:
    """Darcy's law between cylinders: k t = 16 mm2; a neck of radius 20, a boss of radius 15."""
    form = turned(
        [(0, 6), (15, 6), (15, 0), (40, 0), (40, 60), (20, 90), (20, 110), (0, 110)], sections=SECTIONS
    )
    stand, inside = stood(form, CAST, StandJob())
    walls = curved_walls(inside, stand)
    size = inside.growth
    assert walls.hollow_mm == pytest.approx(wall_in_hollow_mm(16, 1, 20 * size), rel=PERCENT / 10)
    assert walls.boss_mm == pytest.approx(wall_on_boss_mm(16, 1, 15 * size), rel=PERCENT / 10)
    assert (walls.boss_mm or 0) < 4 < walls.hollow_mm


def test_a_solid_bar_is_clay_when_two_walls_meet_in_its_middle() -> None:
    form = cuboid((-15, -40, 0), (15, 40, 90))
    made = in_block(form, cuboid((-45, -70, -30), (45, 70, 90)), cast=CastJob(mode="solid"))
    half = 15 * made.inside.growth
    assert half_thickness_mm(made.inside) == pytest.approx(half, abs=made.inside.distances.pitch)
    plan = made.planned(CastJob(mode="solid", trials=(Trial(25, 5),)))
    assert plan.minutes[0] == pytest.approx(plan.wall_mm**2)
    assert plan.walls is None
    assert "spare-shallow" not in codes(plan.findings)


# --- what the plaster takes ---------------------------------------------------------------------


def test_the_plaster_behind_each_face_of_a_slab_is_its_thickness() -> None:
    """5 mm behind x = 40, 38 mm behind the floor; casts = density (15 % - 7.5 %) depth/(n wall)."""
    made = thin_on_one_side()
    takes, size = made.takes(), made.inside.growth
    middle = made.stand.mesh.centroids
    normal = made.stand.mesh.normals
    well_in = (np.abs(middle[:, 1]) < 30) & (middle[:, 2] > 10) & (middle[:, 2] < 90)
    thin = well_in & (normal[:, 0] > 0.9)
    assert np.median(takes.plaster_mm[thin]) == pytest.approx(5 * size, rel=FEW_PERCENT)
    assert np.median(takes.casts_until_wet[thin]) == pytest.approx(
        TAKES * 5 * size / (WATER * 4), rel=FEW_PERCENT
    )
    floor = (normal[:, 2] < -0.9) & (np.hypot(middle[:, 0], middle[:, 1]) < 12)
    assert np.median(takes.plaster_mm[floor]) == pytest.approx(38 * size, rel=FEW_PERCENT)


def test_a_thin_wall_shows_there_and_only_there() -> None:
    made = thin_on_one_side()
    takes = made.takes()
    mesh = made.stand.mesh
    touched = np.isfinite(takes.casts_until_wet)
    thin = mesh.normals[:, 0] > 0.9
    weak = touched & (takes.casts_until_wet < 1)
    assert not (weak & ~thin).any()
    assert mesh.areas[weak].sum() > 0.95 * mesh.areas[thin].sum()
    assert takes.casts_until_wet[touched & ~thin].min() > 3 * np.median(takes.casts_until_wet[thin])
    (finding,) = takes.findings
    assert finding.code == "plaster-soaked" and finding.level == "warn"
    assert finding.where[0][0] == pytest.approx(40, abs=0.1)
    assert takes.wall.plaster_mm == pytest.approx(5, rel=0.15)
    assert takes.casts_between[0] == 0


def test_faces_without_plaster_have_no_figure() -> None:
    made = thin_on_one_side()
    takes = made.takes()
    lid = made.stand.mesh.centroids[:, 2] > made.stand.top_mm - 1e-6
    assert np.isnan(takes.casts_until_wet[lid]).all()
    assert np.isfinite(takes.casts_until_wet[~lid]).all()


def test_an_even_mold_takes_the_ring_s_water_and_complains_of_nothing() -> None:
    """(2 R t + t^2)/2 R of plaster behind a round wall; no place worse than the floor's 38 mm."""
    made = cup()
    takes, size = made.takes(), made.inside.growth
    assert takes.findings == ()
    height = made.stand.mesh.centroids[:, 2]
    round_wall = np.abs(made.stand.mesh.normals[:, 2]) < 0.5
    assert np.isfinite(takes.plaster_mm[round_wall]).all() and height[round_wall].size
    assert takes.wall.plaster_mm == pytest.approx(38 * size, rel=0.06)
    assert takes.between is None
    share = water_given_up(1.80, 0.20, 2.6)
    ring = (2 * 40 * 38 + 38**2) / 80 * size
    assert takes.middle == pytest.approx(TAKES * ring / (share * 4 * (1 - 4 / 80)), rel=0.1)


def test_the_whole_mold_s_water_is_its_plaster_s() -> None:
    made = cup()
    takes, size = made.takes(), made.inside.growth
    plaster = pi * (78**2 * 158 - 40**2 * 120) * size**3 / 1000
    assert takes.holds_ml == pytest.approx(TAKES * plaster, rel=PERCENT)
    assert takes.water_ml == pytest.approx(
        0.2121 * pi * (40**2 * 120 - 36**2 * 116) / 1000 * size**3, rel=PERCENT
    )
    assert takes.whole == pytest.approx(takes.holds_ml / takes.water_ml)


def test_full_pores_at_seventy_hold_477_grams_a_kilogram() -> None:
    """Porosity 0.524 of 1097 kg/m3, filled with water of 998.2."""
    assert cup().takes().saturation == pytest.approx(0.477, abs=0.0005)


def test_a_fin_between_two_hollows_is_a_note_and_no_thin_wall() -> None:
    """Two boxes joined at their base, 6 mm apart above it: 3 mm of plaster behind each side of the fin."""
    towers = [
        cuboid((-43, -30, 0), (-3, 30, 80)),
        cuboid((3, -30, 0), (43, 30, 80)),
        cuboid((-43, -30, 60), (43, 30, 80)),
    ]
    made = in_block(finely(union(towers), 6), cuboid((-81, -68, -38), (81, 68, 80)))
    takes = made.takes()
    assert codes(takes.findings) == ["plaster-between"]
    assert takes.between is not None and abs(takes.between.where[0]) < 3.1
    mesh = made.stand.mesh
    middle = mesh.centroids
    sides = (
        (np.abs(middle[:, 0]) < 3.1) & (np.abs(middle[:, 1]) < 20) & (middle[:, 2] > 10) & (middle[:, 2] < 50)
    )
    assert np.median(takes.plaster_mm[sides]) == pytest.approx(3, rel=2 * FEW_PERCENT)
    assert takes.wall.plaster_mm > 30


def test_a_form_thinner_than_two_walls_gives_less_water() -> None:
    """A plate 4 mm thick: 2 mm of clay from each side, so that the plaster lasts twice as long."""
    made = in_block(
        cuboid((-2, -50, 0), (2, 50, 90)),
        cuboid((-40, -88, -38), (40, 88, 90)),
        stand=StandJob(opening="rim", spare=False),
    )
    takes, size = made.takes(), made.inside.growth
    side = np.abs(made.stand.mesh.normals[:, 0]) > 0.9
    assert takes.middle == pytest.approx(TAKES * 38 * size / (WATER * 2 * size), rel=0.1)
    assert np.isfinite(takes.casts_until_wet[side]).all()


def test_a_form_as_small_as_a_thimble_is_reckoned_too() -> None:
    form = turned([(0, 0), (4, 0), (4, 8), (0, 8)], sections=32)
    block = turned([(0, -10), (14, -10), (14, 8), (0, 8)], sections=32)
    takes = in_block(
        form, block, cast=CastJob(wall_mm=0.5), stand=StandJob(opening="rim", spare=False)
    ).takes()
    assert takes.wall.casts > 1
    assert takes.findings == ()


# --- the plan -----------------------------------------------------------------------------------


def test_recovery_is_drying_theory_through_the_block_s_outside() -> None:
    """Ws (X0 - Xc)/(A N) + Ws Xc/(A N) ln(Xc/Xf) from 15 to 7.5 %, Xc 10 %, N 0.05-0.20 and 0.20-0.60 kg/m2h."""
    made = thin_on_one_side()
    plan, size = made.planned(), made.inside.growth
    x, y, z = 123, 156, 138
    area = 2 * (x * y + y * z + z * x) * size**2 / 1e6
    dry = made.pieces.pieces[0].volume_mm3 / 1e6 * dry_density_kg_m3(0.70) / 1000
    both = dry / area * (0.05 + 0.10 * log(0.10 / 0.075))
    assert plan.air_hours == pytest.approx((both / 0.20, both / 0.05), rel=1e-6)
    assert plan.shelf_hours == pytest.approx((both / 0.60, both / 0.20), rel=1e-6)


def test_a_wall_twice_as_thick_dries_four_times_as_long() -> None:
    form = turned([(0, 0), (40, 0), (40, 120), (0, 120)], sections=64)
    block = turned([(0, -38), (78, -38), (78, 120), (0, 120)], sections=64)
    four, eight = (in_block(form, block, cast=CastJob(wall_mm=wall)).planned() for wall in (4.0, 8.0))
    for one, other in ((four.sheen, eight.sheen), (four.trim, eight.trim), (four.demold, eight.demold)):
        assert (other.low, other.high) == (4 * one.low, 4 * one.high)
    assert eight.minutes == pytest.approx(tuple(4 * minutes for minutes in four.minutes))


@pytest.mark.parametrize("stem", ["mug", "bud-vase"])
def test_samples_are_planned_whole_and_the_same_again(stem: str) -> None:
    made = planned(stem)

    def again() -> CastPlan:
        return plan_cast(made.inside, made.stand, made.pieces, made.pours, made.job.cast, made.job.plaster)

    one, other = again(), again()
    takes = one.absorption
    assert (np.isnan(takes.casts_until_wet) == (made.pieces.face_piece < 0)).all()
    assert takes.casts_until_wet.tobytes() == other.absorption.casts_until_wet.tobytes()
    assert 1 <= takes.casts_between[1] < takes.whole
    assert one.slip.volume_ml > made.inside.slip_ml
    assert one.weights == made.inside.weights
    assert one.bucket_casts * made.inside.slip_kept_ml < 10_000


def test_the_eye_of_a_mug_s_handle_is_told_apart_from_its_walls() -> None:
    made = planned("mug")
    takes = plan_cast(
        made.inside, made.stand, made.pieces, made.pours, made.job.cast, made.job.plaster
    ).absorption
    assert takes.between is not None and takes.between.casts < 1
    assert "plaster-soaked" not in codes(takes.findings)
