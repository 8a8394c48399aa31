"""Batches never fall short and fit the bucket; late ones are stopped; slabs, weight on top, cottle loads."""

from __future__ import annotations

import json
from math import ceil, pi

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from moldprep.cottling import CottleNeed, cottle_load, cottle_needs
from moldprep.errors import JobError
from moldprep.faces.cli import main
from moldprep.formulas.gypsum import WATER_DENSITY_KG_M3, adiabatic_rise_k, slurry_litres_per_kg
from moldprep.job import PlasterJob
from moldprep.mixing import gloss_findings, mix, mix_findings, slab_mm, timing_of, warmest_c
from moldprep.pour import PourPlan, plan_pours
from tests.samples import planned

GRAVITY = 9.80665
WET_70 = 1.70 / (1 / 2630 + 0.70 / 998.2)
"""kg/m3 of slurry at 70: 1572, by the densities of its powder and water."""


# --- batches ------------------------------------------------------------------------------------


@given(
    volume=st.floats(50, 20_000),
    consistency=st.floats(55, 90),
    step=st.sampled_from([1.0, 5.0, 10.0]),
    bucket=st.floats(200, 8000),
)
def test_batches_are_equal_fit_the_bucket_and_never_fall_short(
    volume: float, consistency: float, step: float, bucket: float
) -> None:
    job = PlasterJob(consistency=consistency, scale_step_g=step, bucket_ml=bucket)
    made = mix(volume, job)
    batch_ml = made.batch_plaster_g / 2.63 + made.batch_water_g / (WATER_DENSITY_KG_M3 / 1000)
    assert batch_ml == pytest.approx(made.batch_ml) and batch_ml <= bucket + 1e-9
    assert made.batches * batch_ml >= made.slurry_ml - 1e-6
    assert made.batches >= ceil(made.slurry_ml / bucket - 1e-9)
    assert made.plaster_g == pytest.approx(made.batches * made.batch_plaster_g)
    assert made.water_g == pytest.approx(made.batches * made.batch_water_g)
    assert made.consistency == pytest.approx(100 * made.batch_water_g / made.batch_plaster_g)
    for weight in (made.batch_plaster_g, made.batch_water_g):
        assert weight / step == pytest.approx(round(weight / step))


@given(volume=st.floats(50, 20_000), bucket=st.floats(500, 8000))
def test_one_batch_less_would_not_go_into_the_bucket(volume: float, bucket: float) -> None:
    """On a scale of a gram, a batch more than the volumes ask for is a matter of a step of each."""
    made = mix(volume, PlasterJob(scale_step_g=1, bucket_ml=bucket))
    if made.batches > 1:
        fewer = made.slurry_ml / (made.batches - 1)
        assert fewer + 1 / 2.63 + 1 / 0.9982 > bucket


def test_three_litres_in_a_bucket_of_two() -> None:
    """3 L with 10 % more is 3.3 L in two batches of 1.65 L: at 1.0815 L/kg 1525.7 and 1068 g, so 1530 and 1070."""
    made = mix(3000, PlasterJob(bucket_ml=2000))
    assert (made.batches, made.batch_plaster_g, made.batch_water_g) == (2, 1530, 1070)
    assert (made.plaster_g, made.water_g) == (3060, 2140)


def test_a_bucket_that_holds_the_pour_changes_nothing() -> None:
    assert mix(1000, PlasterJob(bucket_ml=1200)) == mix(1000, PlasterJob())


def test_a_bucket_below_the_scale_s_step_is_refused() -> None:
    with pytest.raises(JobError, match="does not go into a bucket of 10 mL") as caught:
        mix(1000, PlasterJob(bucket_ml=10))
    assert caught.value.code == "bucket-small" and "usable volume" in caught.value.remedy


# --- in before the gloss goes -------------------------------------------------------------------


def test_batches_come_in_time_or_are_warned_of_or_stopped() -> None:
    """Each takes 4 to 9 min (2-4 soak, 2-5 mix); gloss goes from 45 % of 27 min, at 12.15 the earliest.

    One is mixed while it is thin. Two take 8 to 18: slow hands are late. Four take 16: all hands are.
    """
    levels = [
        [finding.level for finding in gloss_findings(count, PlasterJob(), what="A")] for count in (1, 2, 3, 4)
    ]
    assert levels == [[], ["warn"], ["warn"], ["stop"]]
    (late,) = gloss_findings(4, PlasterJob(), what="Piece A")
    assert late.code == "gloss-lost" and "4 batches" in late.says and "16–36 min" in late.says and late.remedy


def test_the_third_batch_is_in_time_in_cool_water_only() -> None:
    """Quick hands take 12 min for three at 20 degrees; at 25 gloss may go after 12.15 exp(-5/35) = 10.5."""
    levels = {
        water: gloss_findings(3, PlasterJob(water_temperature_c=water), what="A")[0].level
        for water in (10, 20, 25)
    }
    assert levels == {10: "warn", 20: "warn", 25: "stop"}


def test_plaster_that_sets_in_its_bucket_is_a_stop() -> None:
    hasty = PlasterJob(water_temperature_c=45, consistency=32, age_months=24)
    (found,) = gloss_findings(1, hasty, what="A")
    assert found.level == "stop" and "colder water" in found.remedy


def test_old_plaster_is_to_be_tried_first() -> None:
    assert [finding.code for finding in mix_findings(PlasterJob(age_months=13))] == ["plaster-old"]
    assert not mix_findings(PlasterJob(age_months=12))


# --- timing as it goes on the card --------------------------------------------------------------


def test_at_twenty_degrees_the_times_are_those_of_the_sources() -> None:
    """Setting 27-37 min for 65-74 (glasstips.blogspot.com); soak 2-4, mix 2-5 (plaster.com)."""
    for consistency in (65, 70, 74):
        made = timing_of(PlasterJob(consistency=consistency))
        assert (made.set, made.soak, made.mix) == ((27, 37), (2, 4), (2, 5))
        assert made.demold_plain == (20, 45) and made.demold_delicate == (45, 75)
        assert made.gloss == pytest.approx((0.45 * 27, 0.60 * 37))


def test_warmer_thicker_and_older_set_sooner_and_cold_later() -> None:
    usual = timing_of(PlasterJob())
    for sooner in (
        PlasterJob(water_temperature_c=30),
        PlasterJob(consistency=60),
        PlasterJob(age_months=12),
    ):
        made = timing_of(sooner)
        assert all(a < b for a, b in zip(made.set, usual.set, strict=True))
        assert all(a < b for a, b in zip(made.demold_latest, usual.demold_latest, strict=True))
    later = timing_of(PlasterJob(water_temperature_c=8))
    assert all(a > b for a, b in zip(later.set, usual.set, strict=True))


@given(water=st.floats(1, 60), consistency=st.floats(30, 120), age=st.floats(0, 240), alpha=st.booleans())
def test_windows_stay_in_their_order(water: float, consistency: float, age: float, alpha: bool) -> None:
    job = PlasterJob(
        plaster="alpha plaster" if alpha else "pottery plaster",
        water_temperature_c=water,
        consistency=consistency,
        age_months=age,
    )
    made = timing_of(job)
    for low, high in (made.soak, made.mix, made.gloss, made.set, made.demold_plain, made.demold_latest):
        assert 0 < low < high
    for sooner, later in ((made.gloss, made.set), (made.demold_plain, made.demold_delicate)):
        assert sooner[0] < later[0] and sooner[1] < later[1]
    assert made.demold_delicate[1] < made.demold_latest[0] or water != 20


def test_heat_at_70_from_20_degrees() -> None:
    """Adiabatic 32.7 K (Thermoddem, BRGM): 52.7 degrees where no heat leaves it."""
    made = timing_of(PlasterJob())
    assert made.start_c == pytest.approx(20) and made.limit_c == pytest.approx(52.7, abs=0.05)


def test_a_thick_wall_comes_close_to_the_limit_and_a_thin_one_stays_below() -> None:
    """A cube of 1 m has 167 mm of volume to its surface; a slab of 10 mm has 5."""
    job = PlasterJob()
    limit = 20 + adiabatic_rise_k(0.70)
    thick, thin = warmest_c(1e9, 6e6, job), warmest_c(10 * 1e6, 2e6, job)
    assert limit - 3 < thick[0] < thick[1] < limit
    assert 20 < thin[0] < thin[1] < limit - 3 and thin[0] < 40


# --- slabs, weight on top, cottle ---------------------------------------------------------------


def test_a_slab_over_the_open_side() -> None:
    """108.15 mL from 100 g at 70, on 200 x 150 mm: 3.605 mm."""
    volume = 100 * slurry_litres_per_kg(0.70)
    assert slab_mm(volume, 200 * 150) == pytest.approx(100 * (1 / 2.63 + 0.70 / 0.9982) / 30)


@pytest.fixture(scope="module")
def pours() -> PourPlan:
    """The tumbler's, from a bucket of a litre."""
    plan = planned("tumbler")
    return plan_pours(plan.poses, plan.pieces, plan.stand, PlasterJob(bucket_ml=1000))


def test_the_card_tells_batches_slabs_and_weight_on_top(pours: PourPlan) -> None:
    plan = planned("tumbler")
    (pour,) = pours.pours
    assert pour.batches == ceil(pour.slurry_ml / 1000)
    assert pour.plaster_g == pytest.approx(pour.batches * pour.batch_plaster_g)
    assert f"{pour.batches} equal batches, each {pour.batch_plaster_g:g} g" in " ".join(pour.steps)
    volume = 100 * slurry_litres_per_kg(0.70)
    assert pour.slab_100g_mm == pytest.approx(1000 * volume / plan.block.area_mm2)  # its closed end is whole
    assert pour.slab_error_mm == pytest.approx(1000 * 0.05 * pour.solid_ml / plan.block.area_mm2)
    assert 0 <= pour.hold_kg - pour.uplift_n / GRAVITY < 0.1 + 1e-9
    assert pour.sealed_n < 0 and pour.hold_sealed_kg == 0
    assert "while its seal is tight, not at all" in pour.steps[1]
    low, high = pour.warmest_c
    assert pours.timing.start_c < low < high < pours.timing.limit_c


def test_the_plan_stops_at_a_bucket_that_is_too_small(pours: PourPlan) -> None:
    assert pours.pours[0].batches >= 4
    assert [finding.level for finding in pours.findings if finding.code.startswith("gloss")] == ["stop"]


def test_a_round_cottle_of_300_mm_by_the_full_liquid_head() -> None:
    """rho 1586, 300 mm, radius 100 (ACI 347-04 2.2.2): 4.666 kPa, 466.6 N/m at the foot, 70.0 N in all."""
    need = CottleNeed("A", "ring", 320, 680, (), 3, 628, 300, 100)
    load = cottle_load(need, 1586)
    assert load.pressure_kpa == pytest.approx(4.666, abs=5e-4)
    assert load.tension_n_m == pytest.approx(466.6, abs=0.05)
    assert load.force_n == pytest.approx(70.0, abs=0.05)


@pytest.mark.parametrize("straps", [2, 3, 5])
def test_the_lowest_strap_bears_the_pressure_over_its_share_of_the_height(straps: int) -> None:
    """Integral of rho g z r over the lowest h/n."""
    need = CottleNeed("A", "ring", 320, 680, (), straps, 628, 300, 100)
    share = 0.3 * (1 - 1 / straps)
    lowest = 1586 * GRAVITY * 0.1 * (0.3**2 - share**2) / 2
    load = cottle_load(need, 1586)
    assert load.strap_n == pytest.approx(lowest)
    assert load.strap_kg == pytest.approx(3 * lowest / GRAVITY)


def test_a_plan_s_cottles_bear_the_head_of_their_own_pose() -> None:
    plan = planned("bud-vase")
    needs = cottle_needs(plan.poses, plan.pieces, plan.block)
    for need, pour in zip(needs, plan.pours.pours, strict=True):
        assert need.head_mm == pytest.approx(pour.fill_mm)
        assert cottle_load(need, WET_70).pressure_kpa == pytest.approx(pour.pressure_kpa)
        sides = need.boards or plan.block.inner_mm
        if need.kind != "sheet":
            assert need.radius_mm == pytest.approx(max(sides) / 2)


# --- the command --------------------------------------------------------------------------------


def test_pour_alone_tells_batches_molds_and_what_rests_on_the_cottle() -> None:
    words = ["pour", "--box", "300x200x120", "--form-ml", "900", "--bucket", "4000", "--molds", "4", "--json"]
    result = CliRunner().invoke(main, words)
    found = json.loads(result.stdout)
    assert result.exit_code == 0 and found["batches"] == 2
    assert found["plaster_total_g"] == 4 * found["plaster_g"] and found["bags"] == ceil(
        found["plaster_total_g"] / 25_000
    )
    assert found["slab_error_mm"] == pytest.approx(0.05 * (7200 - 900) / 60)
    assert found["pressure_kpa"] == pytest.approx(WET_70 * GRAVITY * 0.12 / 1000)
    assert found["band_n"] == pytest.approx(WET_70 * GRAVITY * 0.12**2 / 2 * 0.150)
    assert found["uplift_n"] == pytest.approx(WET_70 * GRAVITY * 0.9e-3)
    assert found["hold_kg"] == pytest.approx(ceil(10 * WET_70 * 0.9e-3) / 10)
    assert found["findings"][0]["code"] == "gloss-tight"


def test_pour_alone_stops_where_batches_come_too_late() -> None:
    result = CliRunner().invoke(main, ["pour", "--ring", "300x200", "--bucket", "2000"])
    assert result.exit_code == 1 and "stop:" in result.output and "batches, each" in result.output
    assert mix(pi * 150**2 * 0.2, PlasterJob(bucket_ml=2000)).batches == 8


def test_pour_alone_in_cold_water_has_longer_windows() -> None:
    warm, cold = (
        json.loads(
            CliRunner()
            .invoke(main, ["pour", "--volume-ml", "900", "--water-temperature", str(c), "--json"])
            .stdout
        )["timing"]["set"]
        for c in (20, 8)
    )
    assert cold[0] > warm[0] and cold[1] > warm[1]
