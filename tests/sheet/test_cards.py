"""The cards of cast, print and ease say what their stages found, and their files read back."""

from __future__ import annotations

import io
from dataclasses import replace

import msgspec
import pytest
import trimesh

from moldprep.estimate import estimate
from moldprep.files.read import read_master
from moldprep.job import EstimateJob, FormJob, job_from_dict
from moldprep.master import Master, master_from_bytes
from moldprep.planning import Plan, plan
from moldprep.sheet.benchcards import dry_card, estimate_card
from moldprep.sheet.bundle import plan_files
from moldprep.sheet.castcard import cast_card
from moldprep.sheet.castingcard import casting_card, drain_card
from moldprep.sheet.easecard import ease_card
from moldprep.sheet.printcard import print_card
from moldprep.sheet.record import record
from moldprep.sheet.words import holds_words
from moldprep.sizing import size_master
from moldprep.working import Memo
from tests.samples import FOLDER, planned

SINGLE = 1e-6
"""An STL's numbers are single precision, relative to the size."""
CAPACITY_SHARE = 0.005
OUNCE_ML = {"imperial": 28.4130625, "US": 29.5735295625}


@pytest.fixture(scope="module")
def cup() -> Plan:
    """The hollow cup, filled, made to hold 350 mL up to 10 mm below its brim, with a smaller size."""
    job = job_from_dict(
        {
            "form": {"fill_hollow": True},
            "shrinkage": {"total_percent": 12},
            "target": {"capacity": 350, "fill_mm": 10, "sizes": [0.7]},
            "parting": {"azimuths": 4},
        }
    )
    return plan(read_master(FOLDER / "hollow-cup.stl", job.form), job)


@pytest.fixture(scope="module")
def memo() -> Memo:
    """What plans of the tumbler have in common."""
    return Memo(100)


@pytest.fixture(scope="module")
def tumbler() -> Master:
    return read_master(FOLDER / "tumbler.stl", FormJob())


def reread(data: bytes, kind: str) -> trimesh.Trimesh:
    found = trimesh.load(io.BytesIO(data), file_type=kind, force="mesh")
    assert isinstance(found, trimesh.Trimesh)
    return found


def test_the_fill_line_holds_what_was_asked_on_card_and_record(cup: Plan) -> None:
    card = cast_card(cup, {})
    assert ["10 mm below", "350 mL"] in card["fill"]
    first, smaller = record(cup)["sizes"]
    assert first["fill_ml"]["value"] == pytest.approx(350, rel=CAPACITY_SHARE)
    assert smaller["share"] == 0.7
    assert smaller["fill_ml"]["value"] < 0.343 * 350  # the wall stays as thick
    brim = record(cup)["cast"]["capacity_fired_ml"]
    assert card["big"][0] == ["Holds, to the brim", f"{brim:.0f} mL"]
    for name, ounce in OUNCE_ML.items():
        assert f"{brim / ounce:.1f} {name}" in card["ounces"]


def test_the_modelled_inside_is_pictured_where_the_cast_departs_from_it(cup: Plan) -> None:
    pictures: dict[str, bytes] = {}
    card = cast_card(cup, pictures)
    assert cup.inside.deviation is not None
    assert f"{cup.inside.deviation.max():.1f} mm" in card["deviation"]["says"]
    assert pictures["inside.svg"].startswith(b"<svg")
    assert cast_card(planned("tumbler"), {})["deviation"] is None


def test_without_a_shrinkage_nothing_fired_is_told() -> None:
    made = planned("tumbler")
    card = cast_card(made, {})
    assert card["sizes"] == card["fill"] == []
    assert card["big"][0] == ["Holds, just cast", f"{made.inside.capacity_ml:.0f} mL"]


def test_sections_and_master_read_back_from_the_folder_s_files() -> None:
    made = planned("ring-vase")
    files = plan_files(made)
    names = sorted(name for name in files if name.startswith("sections/"))
    assert names == ["sections/section-1.stl", "sections/section-2.stl"]
    for name, section in zip(names, made.printing.sections, strict=True):
        found = reread(files[name], "stl")
        assert found.is_watertight
        assert found.bounds[0, 2] == pytest.approx(0, abs=1e-4)
        assert found.volume == pytest.approx(section.mesh.volume, rel=1e-4)
    whole = reread(files["master.3mf"], "3mf")
    assert whole.volume == pytest.approx(made.stand.mesh.volume, rel=SINGLE)
    assert whole.extents == pytest.approx(made.stand.mesh.extents, rel=SINGLE)


def test_the_print_card_adds_up() -> None:
    made = planned("ring-vase")
    pictures: dict[str, bytes] = {}
    card = print_card(made, pictures)
    told = [float(row[5].removesuffix(" g")) for row in card["sections"]]
    assert sum(told) == pytest.approx(made.printing.filament_g, abs=0.5 * len(told))
    assert f"{made.printing.filament_g:.0f} g of filament" in card["says"]
    assert pictures["beds.svg"].startswith(b"<svg")
    best = min(made.printing.attitudes, key=lambda way: (not way.fits_bed, way.filament_g))
    assert made.printing.one_go == best


def test_an_eased_form_is_written_at_the_size_of_the_file_and_needs_no_easing() -> None:
    """Planned again, the tapered cylinder has the least draft: nothing is left to offer."""
    made = planned("cylinder")
    (card,) = ease_card(made, {})
    (offer,) = made.ease.offers
    assert f"{offer.greatest_mm:.2f} mm" in card["figures"]
    data = plan_files(made)["ease/taper.stl"]
    assert reread(data, "stl").extents[2] == pytest.approx(made.master.mesh.extents[2], rel=SINGLE)
    job = job_from_dict({"parting": {"azimuths": 4}})
    second = plan(master_from_bytes(data, file_type="stl", name="again.stl", form=job.form), job)
    assert second.ease.offers == ()
    assert "tight-draft" not in [finding.code for finding in second.findings]


def test_a_stretch_moves_the_modelled_inside_along() -> None:
    job = job_from_dict(
        {
            "form": {"fill_hollow": True},
            "shrinkage": {"total_percent": 0},
            "target": {"stretch": {"taller_mm": 10, "zone_mm": [30, 60]}},
        }
    )
    master = read_master(FOLDER / "hollow-cup.stl", job.form)
    plain = size_master(master, job.shrinkage, job_from_dict({}).target)
    longer = size_master(master, job.shrinkage, job.target)
    assert plain.modelled is not None and longer.modelled is not None
    grown = longer.modelled.bounds[:, 2] - plain.modelled.bounds[:, 2]
    assert grown == pytest.approx([0, 10 * longer.factor[2]], abs=1e-9)


def test_the_drying_card_s_weights_are_5_to_15_percent_of_water_on_the_dry_weight() -> None:
    made = planned("bud-vase")
    card = dry_card(made, dict.fromkeys("ABC", "#ffffff"))
    dry = made.dry.dry_g
    assert card["ready"] == f"{1.05 * dry:.0f}–{1.15 * dry:.0f} g"
    told = [float(piece["row"][4].removesuffix(" g")) for piece in card["pieces"]]
    assert sum(told) == pytest.approx(dry, abs=0.5 * len(told))


def test_the_casting_card_adds_up_and_maps_what_the_plaster_takes() -> None:
    made = planned("bud-vase")
    pictures: dict[str, bytes] = {}
    card = casting_card(made, pictures)
    slip = made.casting.slip
    assert card["big"][0][1] == f"{slip.volume_ml:.0f} mL"
    assert slip.dry_g + slip.water_g == pytest.approx(slip.weight_g)
    assert pictures["takes.svg"].startswith(b"<svg")


def test_the_mold_full_of_slip_weighs_the_same_on_every_page(cup: Plan) -> None:
    """Plaster with 10 % of water and the hollow full of slip at 1.775 g/mL; the heaviest lift where it is."""
    heavier = []
    for made in (cup, planned("tumbler")):
        (step,) = (step for step in casting_card(made, {})["steps"] if step.startswith("Pour the slip out"))
        full = 1.10 * made.pours.dry_total_g + 1.775 * made.stand.mesh.volume / 1000
        heavier.append(full > made.pours.wet_total_g)
        assert f"weighs about {full:.0f} g" in step
        assert ("the heaviest lift" in step) == heavier[-1]
        assert made.pours.heaviest_lift_g == pytest.approx(max(full, made.pours.wet_total_g))
    assert heavier == [True, False]


def test_a_solid_cast_holds_nothing_and_is_topped_up_not_drained(tumbler: Master, memo: Memo) -> None:
    job = job_from_dict(
        {"shrinkage": {"total_percent": 12}, "cast": {"mode": "solid"}, "parting": {"azimuths": 4}}
    )
    made = plan(tumbler, job, memo=memo)
    told = " ".join(casting_card(made, {})["steps"])
    assert f"Top up as the level sinks, {made.casting.drop.water_ml:.0f} mL in all." in told
    assert "it is clay throughout" in told
    assert "drain" not in told and "mm of clay" not in told
    assert holds_words(made).startswith("nothing, weighs")


def test_a_piece_that_spills_below_its_rim_holds_until_it_spills(tumbler: Master, memo: Memo) -> None:
    job = job_from_dict(
        {"shrinkage": {"total_percent": 12}, "cast": {"spill_mm": 60.0}, "parting": {"azimuths": 4}}
    )
    made = plan(tumbler, job, memo=memo)
    assert cast_card(made, {})["big"][0][0] == "Holds, until it spills"
    assert "mL until it spills, weighs" in holds_words(made)


def test_the_draining_card_shows_the_puddle_and_says_what_stays() -> None:
    pictures: dict[str, bytes] = {}
    plain = drain_card(planned("tumbler"), pictures)
    assert plain is not None
    assert plain["says"] == "It drains straight down."
    assert [view["name"] for view in plain["views"]] == ["straight down: 0.0 mL stay"]
    assert set(pictures) == {"drain-straight.svg"}
    made = planned("three-lug-vase")
    card = drain_card(made, pictures)
    assert card is not None and made.drain is not None
    assert card["big"][2][1] == f"{made.drain.best.left_ml:.1f} mL"
    little = replace(made.drain.best, tilt_deg=2.0, left_ml=0.4)
    dregs = replace(made.drain, straight=replace(made.drain.straight, left_ml=0.6), least=little)
    told = drain_card(replace(made, drain=dregs), {})
    assert told is not None
    assert told["says"] == "Straight down 0.6 mL stay; from 2° all but 0.4 mL run out."


def test_the_draining_card_calls_topples_what_the_findings_do() -> None:
    """Nearer to the edge than 5 mm is not steady, on the card as in the findings."""
    made = planned("tumbler")
    assert made.drain is not None
    told = []
    for margin in (5.4, 4.0, -3.0):
        held = replace(made.drain.holds[0], margin_mm=margin)
        card = drain_card(replace(made, drain=replace(made.drain, holds=(held,))), {})
        assert card is not None
        told += card["holds"]
    assert ["topples" in words for words in told] == [False, True, True]
    assert "only 4 mm within" in told[1] and "3 mm outside" in told[2]


def test_an_estimate_appears_only_with_rates_and_its_lines_make_its_total() -> None:
    made = planned("tumbler")
    assert made.costs is None and estimate_card(made) is None
    job = msgspec.structs.replace(made.job, estimate=EstimateJob(labour_per_hour=30, plaster_per_kg=2))
    costs = estimate(made.pours, made.printing, made.inside, job.estimate, job.studio)
    assert costs is not None
    hours = job.estimate
    plaster = 2 * made.pours.plaster_total_g / 1000
    labour = 30 * (hours.print_hours + hours.finish_hours + hours.pour_hours + hours.trim_hours)
    card = estimate_card(replace(made, job=job, costs=costs))
    assert card is not None
    assert f"{labour + plaster:,.2f}" in card["says"]
