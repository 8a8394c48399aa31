"""Pours: never short, one consistency, the order and pose of the bench, pressure and uplift."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from moldprep.cottle import choose_block
from moldprep.errors import JobError, Point
from moldprep.formulas.gypsum import WATER_DENSITY_KG_M3, slurry_litres_per_kg, wet_density_kg_m3
from moldprep.job import BoardsJob, CottleJob, PlasterJob
from moldprep.pieces import Piece, Pieces
from moldprep.poses import plan_poses
from moldprep.pour import PourPlan, mix, plan_pours
from tests.forms import from_trimesh
from tests.samples import planned

GRAVITY = 9.80665
FACE_ACROSS_A_SEAM = 2e-3
"""Of the volume: a face that crosses a seam counts as one piece's alone."""


@given(
    volume=st.floats(50, 20_000),
    consistency=st.floats(55, 90),
    step=st.sampled_from([1.0, 5.0, 10.0, 50.0]),
    allowance=st.floats(0, 20),
)
def test_a_mix_never_falls_short_and_wastes_less_than_a_step_of_each(
    volume: float, consistency: float, step: float, allowance: float
) -> None:
    made = mix(volume, PlasterJob(consistency=consistency, scale_step_g=step, allowance_percent=allowance))
    need_g = volume * (1 + allowance / 100) / slurry_litres_per_kg(consistency / 100)
    assert need_g - 1e-6 <= made.plaster_g < need_g + step + 1e-6
    assert need_g * consistency / 100 - 1e-6 <= made.water_g
    assert -step / 2 - 1e-6 <= made.water_g - made.plaster_g * consistency / 100 < step + 1e-6
    for weight in (made.plaster_g, made.water_g):
        assert weight / step == pytest.approx(round(weight / step))
    poured_ml = made.plaster_g / 2.63 + made.water_g / (WATER_DENSITY_KG_M3 / 1000)
    assert poured_ml >= made.slurry_ml - 1e-6


def test_ten_to_seven_for_a_litre() -> None:
    """1 L with 10 % more, at 1.081 L of slurry a kg (worked by hand): 1017.6 and 712.3, so 1020 and 720 g."""
    made = mix(1000, PlasterJob())
    assert (made.plaster_g, made.water_g) == (1020, 720)
    assert made.wet_g == pytest.approx(1572, abs=1)  # a litre of each
    assert made.dry_g == pytest.approx(1097, abs=1)


def test_a_small_pour_keeps_its_consistency() -> None:
    """120 mL with 10 % more (worked by hand): 122.1 and 85.5 g, so 130 and 90, which is 69 to 100."""
    made = mix(120, PlasterJob())
    assert (made.plaster_g, made.water_g) == (130, 90)


def test_an_exact_weight_is_not_rounded_up() -> None:
    volume = 1000 * slurry_litres_per_kg(0.70)
    made = mix(volume, PlasterJob(allowance_percent=0))
    assert (made.plaster_g, made.water_g) == (1000, 700)


def test_alpha_plaster_has_its_own_density() -> None:
    """1 L at consistency 38 and 2740 kg/m3: 1/(1/2.74 + 0.38/0.9982) = 1.3411 kg."""
    job = PlasterJob(plaster="alpha plaster", consistency=38, scale_step_g=1, allowance_percent=0)
    assert mix(1000, job).plaster_g == 1342


@pytest.mark.parametrize("volume", [-3, 0, float("nan"), float("inf")])
def test_nothing_to_pour_is_refused(volume: float) -> None:
    with pytest.raises(JobError, match="nothing to fill"):
        mix(volume, PlasterJob())


# --- the plan's pours ---------------------------------------------------------------------------


def poured(pulls: dict[str, Point], job: PlasterJob | None = None, *, side_mm: float = 80) -> PourPlan:
    """The pours of boxes that leave along the pulls, round no form at all."""
    plan = planned("tumbler")
    box = from_trimesh(trimesh.creation.box([side_mm] * 3))
    outside = np.full(len(box.faces), -1)
    pieces = tuple(
        Piece(letter, letter.lower(), pull, box, outside, box.volume, box.volume, 0.0, 5.0)
        for letter, pull in pulls.items()
    )
    nobody = np.full(len(plan.stand.mesh.faces), -1, np.int8)
    touched = Pieces(pieces, (), 1.0, 0.0, 0.0, nobody, np.zeros(len(nobody), np.uint8))
    square = choose_block(plan.stand, CottleJob(kind="box"), wall_mm=25.0)
    poses = plan_poses(touched, plan.stand, square, BoardsJob())
    return plan_pours(poses, touched, plan.stand, job or PlasterJob())


LEFT, RIGHT, UP, DOWN = (-1.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)


def test_halves_then_foot_then_top() -> None:
    plan = poured({"A": UP, "B": DOWN, "C": LEFT, "D": RIGHT})
    assert "".join(pour.piece for pour in plan.pours) == "CDBA"
    first, second, foot, top = (pour.pose for pour in plan.pours)
    assert first.startswith("lying on its seam face: on the flange")
    assert second.startswith("lying, turned over: on the soaped seam face of C")
    assert foot.startswith("upside down: on the soaped C and D banded together")
    assert top.startswith("right way up: on the soaped B, C and D banded together")


def test_halves_on_halves_one_side_before_the_other() -> None:
    plan = poured({"A": LEFT, "B": RIGHT, "C": LEFT, "D": RIGHT})
    assert "".join(pour.piece for pour in plan.pours) == "ACBD"
    assert "seam face on the board, against A, soaped" in plan.pours[1].pose
    assert "turned over: on the soaped seam face of A and C," in plan.pours[2].pose
    assert "on the soaped seam face of A and C, against B, soaped" in plan.pours[3].pose


def test_two_pieces_across_lower_one_first_upside_down() -> None:
    plan = poured({"A": UP, "B": DOWN})
    assert [pour.piece for pour in plan.pours] == ["B", "A"]
    assert plan.pours[0].pose.startswith("upside down on its seam face: on the flange")
    assert plan.pours[1].pose.startswith("right way up: on the soaped B,")


def test_totals_and_one_consistency() -> None:
    plan = poured({"A": LEFT, "B": RIGHT})
    assert plan.plaster_total_g == sum(pour.plaster_g for pour in plan.pours)
    assert plan.water_total_g == sum(pour.water_g for pour in plan.pours)
    assert len({pour.consistency for pour in plan.pours}) == 1 and plan.consistency == 70


def test_the_card_names_every_window_in_working_order() -> None:
    first, later = (pour.steps for pour in poured({"A": LEFT, "B": RIGHT}).pours)
    assert first[1:] == later[1:] and "joint" in later[0] and "joint" not in first[0]
    steps = first
    words = " ".join(steps)
    places = [
        words.index(part) for part in ("15–20 mm", "Soak 2–4 min", "Mix 2–5 min", "27–37 min", "20–45 min")
    ]
    assert places == sorted(places)
    assert "53 °C" in words  # 20 degrees and 32.7 K, by the heat of hydration


@pytest.mark.parametrize(
    ("job", "code"),
    [
        (PlasterJob(plaster="grey stuff"), "plaster-unknown"),
        (PlasterJob(consistency=40), "consistency-unusual"),
        (PlasterJob(plaster="alpha plaster"), "consistency-unusual"),
        (PlasterJob(scale_step_g=150, consistency=67), "scale-coarse"),
    ],
)
def test_an_odd_mix_is_questioned(job: PlasterJob, code: str) -> None:
    (finding,) = poured({"A": LEFT, "B": RIGHT}, job).findings
    assert finding.code == code and finding.remedy


def test_a_heavy_piece_is_named() -> None:
    """A cube of 210 mm at 1572 kg/m3 weighs 14.6 kg, above NIOSH's 13.07; one of 200 weighs 12.6."""
    (finding,) = poured({"A": LEFT, "B": RIGHT}, side_mm=210).findings
    assert finding.code == "heavy-piece" and "14.6 kg" in finding.says
    assert not poured({"A": LEFT, "B": RIGHT}, side_mm=200).findings


@pytest.mark.parametrize("stem", ["tumbler", "sphere", "bud-vase"])
def test_what_the_pours_lift_is_the_form_once(stem: str) -> None:
    """Archimedes: over all pours, the slurry displaced is the form's volume."""
    plan = planned(stem)
    lifted = sum(pour.uplift_n for pour in plan.pours.pours)
    weight = wet_density_kg_m3(0.70) * GRAVITY * plan.stand.mesh.volume / 1e9
    assert lifted == pytest.approx(weight, rel=FACE_ACROSS_A_SEAM)


def test_a_one_piece_mold_is_poured_upside_down_with_its_opening_sealed() -> None:
    """Sealed: rho g (V - A h) with the opening's area A on the board, the block's height h above it."""
    plan = planned("tumbler")
    (pour,) = plan.pours.pours
    assert pour.pose.startswith("upside down: the master's spare sealed to the board")
    assert pour.up == (0.0, 0.0, -1.0) and pour.fill_mm == pytest.approx(plan.block.fill_mm)
    mesh = plan.stand.mesh
    opening = mesh.areas[
        (mesh.normals[:, 2] > 0.999) & (mesh.centroids[:, 2] > plan.stand.top_mm - 1e-3)
    ].sum()
    weight = wet_density_kg_m3(0.70) * GRAVITY / 1e9
    assert pour.sealed_n == pytest.approx(weight * (mesh.volume - opening * plan.block.fill_mm), rel=1e-6)
    assert pour.pressure_kpa == pytest.approx(1000 * weight * plan.block.fill_mm)  # from N/mm2
    assert "Fix the master down" in pour.steps[1]


def test_without_a_spare_the_opening_itself_is_sealed() -> None:
    plan = planned("tumbler")
    (pose,) = plan_poses(plan.pieces, replace(plan.stand, spare_mm=0.0), plan.block, BoardsJob())
    assert "the master's opening sealed" in pose.says
