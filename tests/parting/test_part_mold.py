"""Partings of forms for which the trade's answer is plain."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.errors import JobError
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import union
from moldprep.job import PartingJob
from moldprep.parting import Candidate, Parting, SeamRule, price
from tests.forms import chord_error, from_trimesh, tumbler, turned
from tests.parting.forms import (
    TOLERANCE,
    about_z,
    bud_vase,
    handled_cup,
    hourglass,
    lifted,
    moved,
    parted,
    sphere,
    stood,
    toadstool,
)

GRID = PartingJob().grid
DEGREE = 1.0
"""How near an azimuth comes: finer than the even spread of 15 degrees."""


def passes(candidate: Candidate) -> bool:
    return candidate.reach_mm <= TOLERANCE


def azimuth(parting: Parting) -> float:
    (layer,) = [layer for layer in parting.chosen.layers if layer.kind == "split"]
    return float(layer.azimuth_deg or 0.0)


def apart(one: float, other: float) -> float:
    return abs((one - other + 90) % 180 - 90)


# --- families -----------------------------------------------------------------------------------


def test_a_tumbler_leaves_a_one_piece_mold_without_a_seam() -> None:
    chosen = parted(tumbler()).chosen
    assert (chosen.family, chosen.piece_count, chosen.seams, chosen.price) == ("one-piece", 1, (), 0.0)
    assert chosen.reach_mm == 0 and chosen.excess_mm3 == 0


def test_a_cylinder_without_draft_leaves_one_piece_too() -> None:
    mesh = lifted(from_trimesh(trimesh.creation.cylinder(radius=35, height=80, sections=64)))
    assert parted(mesh).chosen.family == "one-piece"


def test_a_sphere_parts_at_its_equator() -> None:
    mesh = sphere(40.0)
    chosen = parted(mesh).chosen
    assert chosen.family == "two-piece" and passes(chosen)
    (seam,) = chosen.seams
    assert seam.name == "equator" and seam.height_mm == pytest.approx(40.0, abs=80 / GRID)
    assert seam.length_mm == pytest.approx(
        2 * np.pi * 40, rel=2 * chord_error(40, 192) / 40
    )  # meridian, parallel


def test_a_toadstool_parts_where_its_cap_is_widest() -> None:
    chosen = parted(toadstool()).chosen
    assert chosen.family == "two-piece" and passes(chosen)
    assert chosen.planes_mm[0] == pytest.approx(50.0, abs=1e-6)
    assert chosen.seams[0].crease_share == pytest.approx(1.0)  # 45 degrees meet the upright tangent there


def test_an_hourglass_takes_two_halves() -> None:
    parting = parted(hourglass())
    assert (parting.chosen.family, parting.chosen.piece_count) == ("halves", 2) and passes(parting.chosen)
    two = next(one for one in parting.runners_up if one.family == "two-piece")
    # parted at the waist the whole groove stays locked: pi (35^2 - r^2) over the height, lower half and upper half
    height = np.linspace(0, 100, 2001)
    radius = 27.5 + 7.5 * np.cos(height * np.pi / 50)
    assert two.locked_mm3 == pytest.approx(np.trapezoid(np.pi * (35**2 - radius**2), height), rel=0.02)


def test_a_foot_recess_asks_for_a_foot_piece() -> None:
    parting = parted(bud_vase(recess=2.0))
    assert (parting.chosen.family, parting.chosen.piece_count) == ("halves+foot", 3) and passes(
        parting.chosen
    )
    assert 2.0 <= parting.chosen.planes_mm[0] <= 40.0  # from the recess up to the belly
    halves = next(one for one in parting.runners_up if one.family == "halves")
    assert halves.excess_mm3 == pytest.approx(np.pi * 16.5**2 * 2.0, rel=0.05)


def test_with_a_flat_foot_the_halves_carry_the_floor() -> None:
    chosen = parted(bud_vase(recess=0.0)).chosen
    assert (chosen.family, chosen.piece_count) == ("halves", 2) and passes(chosen)


@pytest.mark.parametrize("angle", [0.0, 33.0, 100.0])
def test_a_handled_cup_parts_along_its_handle(angle: float) -> None:
    parting = parted(handled_cup(angle=angle))
    assert parting.chosen.family == "halves" and passes(parting.chosen)
    assert apart(azimuth(parting), angle + 90) < DEGREE
    (layer,) = parting.chosen.layers
    assert abs(layer.offset_mm or 0.0) < 0.5


def test_a_round_form_is_parted_left_and_right_through_its_axis() -> None:
    parting = parted(moved(hourglass(), 3.0, -2.0))
    (layer,) = parting.chosen.layers
    assert layer.azimuth_deg == 90.0 and layer.offset_mm == pytest.approx(-2.0, abs=1e-3)


def test_turning_a_form_turns_its_parting() -> None:
    kidney = hourglass().vertices * [1.3, 0.8, 1.0]
    mesh = Mesh(kidney, hourglass().faces)
    one, other = parted(mesh), parted(about_z(mesh, 20.0))
    assert one.chosen.family == other.chosen.family == "halves"
    assert apart(azimuth(one) + 20.0, azimuth(other)) < DEGREE
    assert one.chosen.seams[0].length_mm == pytest.approx(other.chosen.seams[0].length_mm, rel=0.01)


# --- noise and small locks ----------------------------------------------------------------------


@pytest.mark.parametrize("turn", [1.0, 2.5])
def test_a_64_gon_split_off_its_facets_is_not_locked(turn: float) -> None:
    mesh = lifted(from_trimesh(trimesh.creation.cylinder(radius=40, height=80, sections=64)))
    chosen = parted(mesh, family="halves", azimuth_deg=turn).chosen
    assert passes(chosen) and chosen.excess_mm3 == 0
    assert parted(mesh, family="halves", azimuth_deg=turn).findings[0].code == "upright-seam"


def test_a_shallow_groove_is_not_hidden_by_a_long_wall() -> None:
    """Four tenths deep, 3 high, all round a tumbler: too narrow for the grid, but a real lock."""
    wall = (
        [(30 + 0.1 * h, h) for h in (0.0, 48.5)] + [(34.45, 48.5), (34.75, 51.5)] + [(35.15, 51.5), (40, 100)]
    )
    parting = parted(turned([(0, 0), *wall, (0, 100)]))
    assert parting.chosen.family != "one-piece" and passes(parting.chosen)
    (note,) = [finding for finding in parting.findings if finding.code == "nearly-free"]
    deep = float(note.says.split("locks of ")[1].split(" mm")[0])
    assert "one piece" in note.says and deep == pytest.approx(34.85 - 34.45, abs=TOLERANCE / 3 + 0.005)


def test_a_small_shallow_lock_on_one_side_is_not_hidden_either() -> None:
    """A cup with a dent: half a millimetre deep at its upper end, over about 20 mm of the wall."""
    body = trimesh.creation.cylinder(radius=35, height=90, sections=256)
    body.vertices[:, :2] *= (1 + 0.1 * (body.vertices[:, 2] / 90 + 0.5))[:, None]
    pad = trimesh.creation.box((6.0, 20.0, 8.0))
    pad.apply_translation([36.85 + 0.55 - 3.0, 0, 0])
    mesh = lifted(union([from_trimesh(body), from_trimesh(pad)]))
    parting = parted(mesh)
    assert parting.chosen.family != "one-piece" and passes(parting.chosen)
    alone = parted(mesh, family="one-piece")
    assert alone.chosen.reach_mm > TOLERANCE and alone.findings[0].code == "parting-locked"


# --- natural lines ------------------------------------------------------------------------------


def test_of_a_band_of_perfect_heights_the_crease_is_taken() -> None:
    """Two cones joined by an upright band: every height of the band frees both, its edges are creases."""
    chosen = parted(turned([(0, 0), (20, 0), (45, 40), (45, 60), (10, 100), (0, 100)])).chosen
    assert chosen.family == "two-piece" and chosen.planes_mm[0] in (pytest.approx(40.0), pytest.approx(60.0))
    assert chosen.seams[0].crease_share == pytest.approx(1.0)
    assert chosen.price == pytest.approx(PartingJob().piece_price)  # a seam on a crease costs nothing
    assert "any height from 40 to 60 mm" in chosen.why


def test_an_upright_seam_on_arrises_is_cheaper_than_on_flats() -> None:
    """A square bottle with a waist, its corners sharp: the halves part through two opposite corners."""
    height = np.linspace(0, 100, 41)
    rings = [(30 + 6 * np.cos(h * np.pi / 50), h) for h in height]
    mesh = turned([(0, 0), *rings, (0, 100)], sections=4)
    chosen = parted(mesh).chosen
    assert chosen.family == "halves" and passes(chosen)
    assert chosen.seams[0].crease_share > 0.7


# --- tilted axes --------------------------------------------------------------------------------


def test_a_tilted_lens_parts_across_its_own_axis() -> None:
    tilt = np.radians(35)
    lens = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    lens.apply_scale([45, 45, 22])
    lens.apply_transform(trimesh.transformations.rotation_matrix(tilt, [0, 1, 0]))
    axis = (float(np.sin(tilt)), 0.0, float(np.cos(tilt)))
    mesh = lifted(from_trimesh(lens))
    chosen = parted(mesh, axes=(axis,)).chosen
    assert chosen.family == "two-piece" and passes(chosen) and np.allclose(chosen.axis, axis)
    middle = float(np.array(axis) @ mesh.centroids.mean(axis=0))
    assert chosen.planes_mm[0] == pytest.approx(middle, abs=90 / GRID)
    assert parted(mesh).chosen.axis == (0.0, 0.0, 1.0)


# --- requests and results -----------------------------------------------------------------------


def test_planes_asked_for_are_kept() -> None:
    parting = parted(bud_vase(recess=2.0), planes_mm=(10.0,))
    assert parting.chosen.planes_mm == (10.0,) and parting.chosen.family == "halves+foot"
    stacked = parted(bud_vase(recess=0.0), planes_mm=(40.0,), family="split-layers").chosen
    assert stacked.piece_count == 4 and stacked.planes_mm == (40.0,)


def test_a_family_asked_for_is_kept_and_its_locks_are_named() -> None:
    parting = parted(hourglass(), family="two-piece")
    assert parting.chosen.family == "two-piece" and not passes(parting.chosen)
    (stop,) = parting.findings
    assert stop.level == "stop" and stop.where and stop.remedy


@pytest.mark.parametrize(
    ("job", "code"),
    [
        ({"planes_mm": (500.0,)}, "parting-planes"),
        ({"planes_mm": (0.0,)}, "parting-planes"),
        ({"planes_mm": (30.0, 30.0)}, "parting-planes"),
        ({"planes_mm": (30.0,), "family": "halves"}, "parting-planes"),
        ({"family": "split-layers", "most_split_layers": 1}, "parting-family"),
    ],
)
def test_requests_that_cannot_be_met_are_refused_with_the_cure(job: dict[str, object], code: str) -> None:
    with pytest.raises(JobError) as refused:
        parted(hourglass(), **job)
    assert refused.value.code == code and refused.value.remedy


def test_the_runners_up_are_the_best_of_each_other_family_and_rank_behind() -> None:
    parting = parted(bud_vase(recess=2.0))
    families = [one.family for one in parting.runners_up]
    assert len(set(families)) == len(families) == 6 and parting.chosen.family not in families
    assert all(one.price >= parting.chosen.price for one in parting.runners_up)
    assert [one.price for one in parting.runners_up] == sorted(one.price for one in parting.runners_up)


def test_a_stack_made_by_hand_is_priced_like_the_search_prices_it() -> None:
    mesh = bud_vase(recess=2.0)
    parting = parted(mesh)
    rule = SeamRule(mesh, parting.tables, parting.lines, rim_mm=stood(mesh).rim_mm)
    again = price(parting.tables, parting.lines, parting.chosen.layers, PartingJob(), rule=rule)
    assert again.price == pytest.approx(parting.chosen.price) and again.seams == parting.chosen.seams


def test_the_same_form_gives_the_same_parting_twice() -> None:
    mesh = handled_cup(angle=0.0)
    one, other = parted(mesh), parted.__wrapped__(mesh)  # the other is made anew
    assert one.chosen == other.chosen
    assert [c.layers for c in one.runners_up] == [c.layers for c in other.runners_up]


def test_why_says_what_fewer_pieces_would_leave_locked() -> None:
    why = parted(bud_vase(recess=2.0)).chosen.why
    assert "One piece would leave" in why and "2 pieces" in why
