"""Drawings: labels never collide, lengths are to scale, seams stand at their heights."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moldprep.sheet.apart import drawn_apart
from moldprep.sheet.drawings import cut, spread_labels, view
from moldprep.sheet.views import part_views
from tests.glbs import glb_nodes
from tests.samples import planned


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=12), st.floats(1, 50))
def test_labels_stand_apart_in_order_and_move_no_more_than_needed(wanted: list[float], gap: float) -> None:
    placed = spread_labels(wanted, gap=gap)
    order = np.argsort(wanted, kind="stable")
    assert (np.diff(np.array(placed)[order]) >= gap - 1e-9).all()
    assert np.mean(placed) == pytest.approx(np.mean(wanted), abs=1e-6)
    if len(wanted) == 1 or np.diff(np.sort(wanted)).min() >= gap:
        assert placed == pytest.approx(wanted)


@pytest.mark.parametrize("name", ["front", "side", "top"])
def test_a_view_is_to_scale(name: str) -> None:
    """The dimension line under the view is as long as its label says."""
    drawing = view(planned("tumbler"), name, width=240, height=240)
    label = float(re.findall(r">([\d.]+) mm<", drawing.svg)[-1])
    ends = re.search(r'd="M([\d.]+) [\d.]+v10M([\d.]+) ', drawing.svg)
    assert ends is not None
    assert (float(ends[2]) - float(ends[1])) * drawing.mm_per_point == pytest.approx(
        label, abs=0.05 + 0.02 * drawing.mm_per_point
    )


def test_the_seam_is_drawn_at_its_height() -> None:
    plan = planned("bud-vase")
    drawing = view(plan, "front", width=240, height=240)
    (seam,) = [seam for seam in plan.parting.chosen.seams if seam.kind == "horizontal"]
    lines = [
        float(y)
        for y in re.findall(r'd="M[\d.]+ ([\d.]+)L[\d.]+ \1" fill="none" stroke="#8a2f3c"', drawing.svg)
    ]
    assert len(lines) == 1
    heights = {}
    for y, label in re.findall(r'd="M[\d.]+ ([\d.]+)H[^>]*/><text[^>]*>([^<]+)<', drawing.svg):
        heights[label] = float(y)
    foot = heights["0 foot"]
    assert (foot - lines[0]) * drawing.mm_per_point == pytest.approx(seam.height_mm, abs=0.05)


def test_the_section_shows_every_piece_that_it_cuts() -> None:
    plan = planned("bud-vase")
    letters = re.findall(r'font-weight="bold"[^>]*>([A-Z])<', cut(plan, width=400, height=400).svg)
    assert sorted(letters) == [piece.letter for piece in plan.pieces.pieces]


def test_parts_on_a_screen_are_those_drawn_apart_each_where_it_stands() -> None:
    plan = planned("bud-vase")
    drawn = drawn_apart(plan)
    shown = part_views(plan)
    assert [(one.letter, one.name, one.tint) for one in shown] == [
        (part.letter, part.name, part.tint) for part in drawn
    ]
    for one, part in zip(shown, drawn, strict=True):
        assert one.apart == pytest.approx(part.moved)
        (name, solid), *more = glb_nodes(one.glb).items()
        assert name == part.name and not more
        # half a step of 16 bits at each end
        assert solid.bounds == pytest.approx(part.mesh.bounds, abs=part.mesh.extents.max() / 65535)
        assert solid.area == pytest.approx(part.mesh.area, rel=1e-3)
