"""A mold dries by its outside: weights by chemistry, areas by the block's own, hours by drying theory."""

from __future__ import annotations

from itertools import pairwise
from math import log

import pytest
import shapely

from moldprep.cottle import Block
from moldprep.drymold import DryPlan, drying_hours, outer_faces, plan_dry
from moldprep.formulas.drying import constant_rate_hours, falling_rate_hours
from moldprep.job import CottleKind, PlasterJob, StudioJob
from moldprep.materials import AIR_DRYING, KILN_DRYING, SHELF_DRYING, Range
from tests.poured import mold
from tests.samples import planned

R = 0.18618
"""Water that a kg of plaster binds (IUPAC 1995 atomic weights)."""


def dried(stem: str, studio: StudioJob | None = None) -> DryPlan:
    plan = planned(stem)
    return plan_dry(plan.pieces, plan.pours, plan.job.plaster, studio or StudioJob())


@pytest.mark.parametrize("stem", ["tumbler", "bud-vase"])
def test_dry_over_set_is_chemistry_and_ready_is_5_to_15_percent(stem: str) -> None:
    """(1 + r)/(1 + c) is 0.6978 at 70 (published 69/99 = 0.697)."""
    plan = dried(stem)
    for piece in plan.pieces:
        assert piece.dry_g / piece.set_g == pytest.approx((1 + R) / 1.70, rel=1e-4)
        assert piece.ready_low_g == pytest.approx(1.05 * piece.dry_g)
        assert piece.ready_high_g == pytest.approx(1.15 * piece.dry_g)
    assert plan.set_g == pytest.approx(sum(piece.set_g for piece in plan.pieces))
    assert (plan.ready_low_g, plan.ready_high_g) == pytest.approx((1.05 * plan.dry_g, 1.15 * plan.dry_g))


def test_what_is_eased_off_is_all_that_a_piece_loses_before_it_dries() -> None:
    plan = planned("bud-vase")
    by_letter = {piece.letter: piece for piece in plan.pieces.pieces}
    for piece in dried("bud-vase").pieces:
        solid = by_letter[piece.letter]
        assert piece.set_g / piece.poured_g == pytest.approx(solid.volume_mm3 / solid.poured_mm3)
        assert 0.98 < piece.set_g / piece.poured_g < 1


def test_pieces_stand_in_pouring_order() -> None:
    order = [pour.piece for pour in planned("bud-vase").pours.pours]
    assert [piece.letter for piece in dried("bud-vase").pieces] == order


# --- area ---------------------------------------------------------------------------------------


def surface(block: Block) -> float:
    girth = float(shapely.LinearRing(block.outline).length)
    return girth * block.fill_mm + 2 * block.area_mm2


@pytest.mark.parametrize(
    ("stem", "kind"), [("tumbler", "box"), ("bud-vase", "box"), ("bud-vase", "ring"), ("sphere", "sheet")]
)
def test_all_pieces_together_meet_air_on_the_block_s_surface_less_the_opening(
    stem: str, kind: CottleKind
) -> None:
    """Girth x height + two ends, less the opening; joints, natches and form are inside."""
    made = mold(stem, kind)
    form = made.stand.mesh
    opening = form.areas[
        (form.normals[:, 2] > 0.999) & (form.centroids[:, 2] > made.stand.top_mm - 1e-3)
    ].sum()
    outer = sum(piece.mesh.areas[outer_faces(piece, made.pieces)].sum() for piece in made.pieces.pieces)
    assert outer == pytest.approx(surface(made.block) - opening, rel=1e-6)


def test_eased_edges_take_a_little_of_the_area() -> None:
    """A chamfer of 1.5 mm makes 2.12 mm of what was 3: 0.88 mm less along each edge of the block."""
    plan, sharp = planned("tumbler"), mold("tumbler", planned("tumbler").block.kind)
    (piece,) = plan.pieces.pieces
    (uneased,) = sharp.pieces.pieces
    eased = float(piece.mesh.areas[outer_faces(piece, plan.pieces)].sum())
    whole = float(uneased.mesh.areas[outer_faces(uneased, sharp.pieces)].sum())
    edges = 2 * float(shapely.LinearRing(plan.block.outline).length) + 4 * plan.block.fill_mm
    assert 0 < whole - eased <= 0.88 * edges * 1.05


# --- hours --------------------------------------------------------------------------------------


def test_hours_are_those_of_constant_and_falling_rate() -> None:
    """5.93 kg, 0.433 of water, 0.25 m2 (the mold of the theory's own check): to 10 %.

    At 0.20 kg/m2h, constant down to 5 %: 5.93 x 0.333 / 0.05 = 39.5 h. At 0.05, falling from 20 %.
    """
    rate = Range("evaporation", 0.05, 0.20, "kg/m²h", "")
    low, high = drying_hours(5930 * 1.433, 5930, 0.25e6, rate)
    assert low == pytest.approx(constant_rate_hours(5.93, 0.433, 0.10, 0.25, 0.20))
    assert low == pytest.approx(39.5, abs=0.05)
    slow = constant_rate_hours(5.93, 0.433, 0.20, 0.25, 0.05)
    assert high == pytest.approx(slow + falling_rate_hours(5.93, 0.20, 0.10, 0.25, 0.05))
    assert high == pytest.approx(5.93 / (0.25 * 0.05) * (0.233 + 0.20 * log(2)))


def test_hours_go_with_the_mass_and_against_the_area() -> None:
    one, heavy, open_ = (
        drying_hours(1.433 * dry, dry, area, AIR_DRYING)
        for dry, area in ((6000, 2e5), (12_000, 2e5), (6000, 4e5))
    )
    assert heavy == pytest.approx((2 * one[0], 2 * one[1]))
    assert open_ == pytest.approx((one[0] / 2, one[1] / 2))


def test_air_is_slower_than_a_warm_shelf_and_that_than_a_kiln() -> None:
    ways = dried("tumbler").ways
    assert [way.rate for way in ways] == [AIR_DRYING, SHELF_DRYING, KILN_DRYING]
    for slower, faster in pairwise(ways):
        assert slower.hours[0] > faster.hours[0] and slower.hours[1] > faster.hours[1]
    assert all(low < high for low, high in (way.hours for way in ways))


# --- limits and words ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shelf", "levels"), [(35, []), (44.9, []), (45, ["warn"]), (48.9, ["warn"]), (49, ["stop"])]
)
def test_heat_is_warned_of_from_45_and_stopped_from_49(shelf: float, levels: list[str]) -> None:
    """120 °F is where dry molds calcine (clayart archive, subject38175)."""
    findings = dried("tumbler", StudioJob(shelf_c=shelf)).findings
    assert [finding.level for finding in findings] == levels
    assert all("49 °C" in finding.says and finding.remedy for finding in findings)


def test_pieces_are_banded_and_stand_on_slats() -> None:
    words = " ".join(dried("bud-vase").steps)
    assert "Put the 3 pieces together" in words and "band them" in words and "slats" in words
    assert "45 °C" in words and "49 °C" in words and "edges 1–2 mm" in words
    assert "band them" not in " ".join(dried("tumbler").steps)


def test_more_water_in_the_mix_takes_longer() -> None:
    plan = planned("tumbler")
    thin = plan_dry(plan.pieces, plan.pours, PlasterJob(consistency=80), StudioJob())
    assert thin.dry_g < dried("tumbler").dry_g
    assert thin.ways[0].hours[0] > dried("tumbler").ways[0].hours[0]
