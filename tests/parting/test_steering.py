"""Seams moved by hand: what they cost at once, against formulas and against plans with the planes fixed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from moldprep.errors import JobError
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import section
from moldprep.job import PartingJob
from moldprep.parting import Candidate, Layer, Parting, Seam, SeamRule, Steering, locked_volumes, price
from moldprep.parting.search import EXCESS_PRICE
from tests.parting.forms import bud_vase, handled_cup, parted, sphere, stood

FOOTED = bud_vase(recess=6)
CASES = {
    "sphere": (sphere(), "two-piece"),
    "vase": (FOOTED, "halves+foot"),
    "cup in halves": (handled_cup(), "halves"),
    "cup on a foot": (handled_cup(), "halves+foot"),
    "cup in layers": (handled_cup(), "split-layers"),
}


def steering_of(mesh: Mesh, parting: Parting, job: PartingJob | None = None) -> Steering:
    return Steering(stood(mesh), parting, job or PartingJob(azimuths=12))


def figures(candidate: Candidate) -> dict[str, object]:
    """What the steering says of a candidate, put together from its seams."""

    def whole(kind: str) -> tuple[float, float]:
        seams: list[Seam] = [seam for seam in candidate.seams if seam.kind == kind]
        length = sum(seam.length_mm for seam in seams)
        creased = sum(seam.length_mm * seam.crease_share for seam in seams)
        return length, creased / length if length else 0.0

    level, upright = whole("horizontal"), whole("vertical")
    return {
        "planes_mm": candidate.planes_mm,
        "azimuth_deg": next((one.azimuth_deg for one in candidate.layers if one.kind == "split"), None),
        "pieces": candidate.piece_count,
        "locked_mm3": candidate.locked_mm3,
        "excess_mm3": candidate.excess_mm3,
        "level_mm": level[0],
        "level_crease": pytest.approx(level[1], abs=1e-12),
        "upright_mm": upright[0],
        "upright_crease": pytest.approx(upright[1], abs=1e-12),
        "names": tuple(seam.name for seam in candidate.seams if seam.kind == "horizontal"),
        "price": candidate.price,
    }


@pytest.mark.parametrize("case", CASES)
def test_an_untouched_stack_costs_to_the_last_bit_what_the_plan_says(case: str) -> None:
    mesh, family = CASES[case]
    parting = parted(mesh, family=family)
    found = steering_of(mesh, parting).price(parting.chosen.planes_mm)
    assert dataclasses.asdict(found) == figures(parting.chosen)


def test_a_plane_above_the_equator_of_a_ball_locks_what_the_ball_overhangs() -> None:
    radius, rise = 40.0, 12.0
    mesh = sphere(radius)
    found = steering_of(mesh, parted(mesh)).price((radius + rise,))
    # between equator and plane plaster stands in the shadow of the equator: pi (R^2 - r(z)^2) dz
    volume = np.pi * rise**3 / 3
    ring = 2 * np.pi * np.sqrt(radius**2 - rise**2)
    # cells 80/128 mm wide along an edge of the shadow; the ball's facets sag by less than 0.03 mm
    assert found.locked_mm3 == pytest.approx(volume, abs=0.02 * volume + 0.03 * 2 * np.pi * radius * rise)
    assert found.level_mm == pytest.approx(ring, rel=2e-3)
    assert (found.pieces, found.azimuth_deg, found.names) == (2, None, ("smooth wall",))


@pytest.mark.parametrize("height", [9.37, 23.1, 64.4])
def test_a_moved_level_seam_is_as_long_as_the_section_there(height: float) -> None:
    found = steering_of(FOOTED, parted(FOOTED, family="halves+foot")).price((height,))
    hair = 1e-4 * 120
    beside = [section(FOOTED, height + step).length for step in (-hair, hair)]
    assert found.level_mm == pytest.approx(max(beside), rel=1e-9)


@pytest.mark.parametrize("shift", [-3.3, -1.2, 2.9, 9.1])
@pytest.mark.parametrize("case", ["sphere", "vase", "cup on a foot"])
def test_the_plan_with_its_plane_let_go_there_agrees_but_for_a_slice(case: str, shift: float) -> None:
    mesh, family = CASES[case]
    parting = parted(mesh, family=family)
    (plane,) = parting.chosen.planes_mm
    steered = steering_of(mesh, parting).price((plane + shift,))
    plan = parted(mesh, family=family, planes_mm=(plane + shift,), azimuth_deg=steered.azimuth_deg).chosen
    expected = figures(plan)
    for name in ("planes_mm", "azimuth_deg", "pieces", "level_mm", "level_crease", "names"):
        assert getattr(steered, name) == expected[name]
    assert steered.upright_mm == pytest.approx(expected["upright_mm"], rel=1e-9)
    # the plan's tables have a level at the plane itself, so that its slices beside the plane lie elsewhere
    for k, (told, planned) in enumerate(
        [(steered.excess_mm3, plan.excess_mm3), (steered.locked_mm3, plan.locked_mm3)]
    ):
        least, most = (
            sum(locked_volumes(parting.tables, (reaching(one, by),))[k] for one in plan.layers)
            for by in (-slice_mm(parting), slice_mm(parting))
        )
        assert least - 1e-6 <= told <= most + 1e-6 and least - 1e-6 <= planned <= most + 1e-6
    off = EXCESS_PRICE * (steered.excess_mm3 - plan.excess_mm3)
    assert steered.price - off == pytest.approx(
        plan.price, abs=abs(steered.locked_mm3 - plan.locked_mm3) + 1e-6
    )


def slice_mm(parting: Parting) -> float:
    return float(np.diff(parting.tables.levels).max())


def reaching(layer: Layer, further: float) -> Layer:
    """The layer up to so much further (or less far) at its ends; the form's own ends do not matter."""
    return dataclasses.replace(layer, low_mm=layer.low_mm - further, high_mm=layer.high_mm + further)


@pytest.mark.parametrize("azimuth", [0.0, 37.0, 150.0])
def test_a_turned_form_takes_its_upright_seam_at_any_azimuth_as_the_plan_does(azimuth: float) -> None:
    parting = parted(FOOTED, family="halves+foot")
    steered = steering_of(FOOTED, parting).price(parting.chosen.planes_mm, azimuth)
    plan = parted(
        FOOTED, family="halves+foot", planes_mm=parting.chosen.planes_mm, azimuth_deg=azimuth
    ).chosen
    assert steered.azimuth_deg == azimuth
    assert steered.price == pytest.approx(plan.price, rel=1e-9)
    assert steered.upright_mm == pytest.approx(plan.seams[-1].length_mm, rel=1e-9)


def test_turned_through_the_handle_the_seam_locks_it_and_goes_where_that_is_least() -> None:
    mesh = handled_cup()
    parting = parted(mesh, family="halves")
    (layer,) = parting.chosen.layers
    assert layer.azimuth_deg == 90.0  # the handle stands toward x
    steering = steering_of(mesh, parting)
    assert steering.price((), 270.0) == steering.price((), 90.0) == steering.price(())
    job, rule = PartingJob(), SeamRule(mesh, parting.tables, parting.lines, rim_mm=90.0)
    for azimuth in (45.0, 84.0):
        steered = steering.price((), azimuth)
        towards = np.array([np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))])
        middle = dataclasses.replace(
            layer, azimuth_deg=azimuth, offset_mm=float(parting.tables.centre @ towards)
        )
        through = price(parting.tables, parting.lines, (middle,), job, rule=rule)
        assert steered.excess_mm3 > 0 and steered.price < through.price


def test_planes_that_a_stack_cannot_take_are_refused_with_the_cure() -> None:
    steering = steering_of(FOOTED, parted(FOOTED, family="halves+foot"))
    for height in (0.0, -3.0, 120.0, 300.0, float("nan")):
        with pytest.raises(JobError, match="misses the form") as refused:
            steering.price((height,))
        assert refused.value.code == "parting-planes" and "below the rim" in refused.value.remedy
    with pytest.raises(JobError, match="1 level seam planes, not 2"):
        steering.price((10.0, 20.0))
    with pytest.raises(JobError, match="1 level seam planes, not 0"):
        steering.price(())


@pytest.mark.parametrize("planes", [(60.0, 30.0), (30.0, 30.0)])
def test_planes_that_cross_are_refused(planes: tuple[float, float]) -> None:
    steering = steering_of(handled_cup(), parted(handled_cup(), family="halves+foot+top"))
    with pytest.raises(JobError, match="meet or cross") as refused:
        steering.price(planes)
    assert refused.value.code == "parting-planes"
    assert steering.price(planes[::-1] if planes[0] > planes[1] else (30.0, 30.1)).pieces == 4


def test_there_is_no_upright_seam_to_turn_in_two_level_pieces() -> None:
    mesh = sphere()
    with pytest.raises(JobError, match="no upright seam") as refused:
        steering_of(mesh, parted(mesh)).price((40.0,), 30.0)
    assert refused.value.code == "steer-azimuth"


def test_a_mold_parted_across_a_tilted_axis_is_refused_with_the_cure() -> None:
    mesh = sphere()
    parting = parted(mesh)
    tilted = dataclasses.replace(parting.chosen, axis=(0.6, 0.0, 0.8))
    with pytest.raises(JobError, match="tilted axis") as refused:
        steering_of(mesh, dataclasses.replace(parting, chosen=tilted))
    assert refused.value.code == "steer-tilted" and "parting.planes_mm" in refused.value.remedy
