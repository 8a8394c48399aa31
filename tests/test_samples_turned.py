"""Turned about the vertical and scaled, a sample keeps its family and its mold opens.

One or two poses each, of a coarser search; `tests/bench/turns.py` does twenty turns at five scales.
"""

from __future__ import annotations

import pytest

from moldprep.pieces import MOST_IMBALANCE
from tests.samples import catalog
from tests.turned import RELEASED, SCALES, poses, turned_mold

COARSE: dict[str, dict[str, object]] = {"parting": {"grid": 64, "azimuths": 12}, "pull": {"search": False}}
QUICK = ("one-piece", "two-piece")
"""Families whose molds are found in a second."""
TRIED = [(stem, turn) for stem in RELEASED for turn in range(2 if catalog()[stem]["family"] in QUICK else 1)]


@pytest.mark.parametrize(("stem", "turn"), TRIED)
def test_a_turned_sample_keeps_its_family_and_opens(stem: str, turn: int) -> None:
    mold = turned_mold(stem, poses(stem, turns=2)[turn], **COARSE)
    assert mold.parting.chosen.family == catalog()[stem]["family"]
    assert len(mold.pieces.pieces) == catalog()[stem]["pieces"]
    assert mold.pieces.balance <= MOST_IMBALANCE
    release = mold.release
    assert release.opens and release.findings == ()
    for proof in release.proofs:
        assert proof.lateral_mm <= release.tolerance_mm  # columns
        assert max(one.lateral_mm for one in proof.slid) <= release.tolerance_mm  # copies


def test_all_that_must_release_are_tried_and_all_scales() -> None:
    tried = [(stem, poses(stem, turns=2)[turn]) for stem, turn in TRIED]
    assert {stem for stem, _ in tried} == {stem for stem, entry in catalog().items() if entry["must_release"]}
    assert {pose.scale for _, pose in tried} == set(SCALES)
    assert len({round(pose.turn_deg, 6) for _, pose in tried}) == len(tried)
