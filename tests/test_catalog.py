"""Every sample form gets the mold that its catalogue entry expects."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from moldprep.errors import FormError
from moldprep.files.read import read_master
from moldprep.findings import any_stop
from moldprep.geometry.solids import parts, to_manifold
from moldprep.job import job_from_dict
from moldprep.planning import plan
from tests.samples import FOLDER, catalog, planned

SOLID = [stem for stem, entry in catalog().items() if not entry["hollow"]]
ROUNDING = 1e-9
HOLLOW = [stem for stem, entry in catalog().items() if entry["hollow"]]
RELEASED = [stem for stem in SOLID if catalog()[stem]["must_release"]]


@pytest.mark.parametrize("stem", RELEASED)
def test_family_pieces_and_no_stop(stem: str) -> None:
    entry, plan = catalog()[stem], planned(stem)
    chosen = plan.parting.chosen
    assert (chosen.family, chosen.piece_count) == (entry["family"], entry["pieces"])
    assert not any_stop(plan.findings)
    assert chosen.reach_mm <= plan.job.pull.tolerance_mm


@pytest.mark.parametrize("stem", RELEASED)
def test_pieces_are_whole_and_fill_the_block(stem: str) -> None:
    plan = planned(stem)
    solids = [to_manifold(piece.mesh) for piece in plan.pieces.pieces]
    assert all(len(parts(solid)) == 1 for solid in solids)
    form, block = to_manifold(plan.stand.mesh).volume(), plan.block.volume_mm3
    assert sum(piece.poured_mm3 for piece in plan.pieces.pieces) + form == pytest.approx(block, rel=1e-6)
    eased = [
        piece.poured_mm3 - solid.volume() for piece, solid in zip(plan.pieces.pieces, solids, strict=True)
    ]
    assert min(eased) > -ROUNDING * block  # nothing is taken off a piece that lies within
    round_about = shapely.Polygon(plan.block.outline).length
    upright = 4 * (plan.block.top_mm - plan.block.bottom_mm) if len(plan.block.outline) == 4 else 0.0
    triangle = plan.job.pieces.chamfer_mm**2 / 2  # cut off both rims and a box's upright corners
    assert sum(eased) == pytest.approx(triangle * (2 * round_about + upright), rel=0.05)
    assert len(plan.pieces.pieces) == plan.parting.chosen.piece_count


@pytest.mark.parametrize("stem", RELEASED)
def test_plaster_for_all_pieces_covers_the_block_less_the_form(stem: str) -> None:
    plan = planned(stem)
    need_ml = (plan.block.volume_mm3 - plan.stand.mesh.volume) / 1000
    assert sum(pour.solid_ml for pour in plan.pours.pours) == pytest.approx(need_ml, rel=1e-6)
    ratios = [pour.water_g / pour.plaster_g for pour in plan.pours.pours]
    step = plan.job.plaster.scale_step_g
    least = min(pour.plaster_g for pour in plan.pours.pours)
    assert np.ptp(ratios) <= step / least * (
        1 + ROUNDING
    )  # the same consistency within a step of water either way


def test_a_form_that_no_stack_releases_is_stopped_at_a_place_that_is_locked() -> None:
    (stem,) = [stem for stem in SOLID if not catalog()[stem]["must_release"]]
    plan = planned(stem)
    stops = [finding for finding in plan.findings if finding.level == "stop"]
    assert "parting-locked" in [finding.code for finding in stops]
    assert all(finding.remedy for finding in stops)
    low, high = plan.stand.mesh.bounds
    for finding in stops:
        for place in finding.where:
            assert (np.array(place) > low - 1).all() and (np.array(place) < high + 1).all()


@pytest.mark.parametrize("stem", HOLLOW)
def test_a_hollow_form_is_refused_with_the_cure(stem: str) -> None:
    with pytest.raises(FormError) as caught:
        planned(stem)
    assert "solid" in caught.value.remedy and "--fill-hollow" in caught.value.remedy


@pytest.mark.parametrize("stem", HOLLOW)
def test_a_hollow_form_that_may_be_filled_gets_its_mold(stem: str) -> None:
    entry = catalog()[stem]
    job = job_from_dict({"form": {"fill_hollow": True}})
    found = plan(read_master(FOLDER / entry["file"], job.form), job)
    chosen = found.parting.chosen
    assert (found.stand.opening, chosen.family, chosen.piece_count) == (
        entry["opening"],
        entry["family"],
        entry["pieces"],
    )
    assert not any_stop(found.findings)
    assert "hollow-filled" in [finding.code for finding in found.findings]
