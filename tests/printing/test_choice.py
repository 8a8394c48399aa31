"""Where a form is cut: the programme finds what trying everything finds."""

from __future__ import annotations

from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest

from moldprep.geometry.mesh import Mesh
from moldprep.job import PrinterJob
from moldprep.printing import best_sections, chosen_sections, cut_heights, section_tables
from moldprep.printing.choice import SectionTables, support_g_mm3
from tests.parting.forms import bud_vase, hourglass, parted, stood
from tests.printing.shapes import mushroom, waisted
from tests.samples import planned

STEPS = 14
FORMS = {
    "mushroom": mushroom,
    "hourglass": hourglass,
    "waisted": waisted,
    "bud vase": lambda: bud_vase(recess=8.0),
}


@cache
def tables_of(name: str, job: PrinterJob) -> SectionTables:
    if name == "bud-vase sample":
        plan = planned("bud-vase")
        return section_tables(plan.stand.mesh, cut_heights(plan.stand, plan.parting, steps=STEPS), job)
    mesh: Mesh = FORMS[name]()
    return section_tables(mesh, cut_heights(stood(mesh), parted(mesh), steps=STEPS), job)


def every_way(tables: SectionTables, job: PrinterJob) -> dict[tuple[float, ...], float]:
    """Cost of every set of cuts that keeps the job's limits, each section the cheaper way up, g."""
    levels, found = tables.heights.heights, {}
    last = len(levels) - 1
    for count in range(job.most_sections):
        for cuts in combinations(range(1, last), count):
            ends = [0, *cuts, last]
            pairs = list(pairwise(ends))
            if count and any(levels[b] - levels[a] < job.least_section_mm for a, b in pairs):
                continue
            if not all(tables.fits[a, b] for a, b in pairs):
                continue
            support = sum(min(tables.support_mm3[0, a, b], tables.support_mm3[1, a, b]) for a, b in pairs)
            found[cuts] = support * support_g_mm3(job) + sum(tables.joint_g[list(cuts)])
    return found


JOBS = {
    "usual": PrinterJob(),
    "cheap cuts": PrinterJob(cut_price_g=0.5, least_section_mm=10),
    "low printer": PrinterJob(bed_mm=(220, 220, 55)),
    "steep": PrinterJob(overhang_deg=20, cut_price_g=1.0, most_sections=3),
}


@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)
@pytest.mark.parametrize("name", [*FORMS, "bud-vase sample"])
def test_sections_are_the_best_of_all_ways(name: str, job: PrinterJob) -> None:
    tables = tables_of(name, job)
    ways = every_way(tables, job)
    slabs = chosen_sections(tables, job)
    assert [slab.low for slab in slabs[1:]] == [slab.high for slab in slabs[:-1]]
    assert (slabs[0].low, slabs[-1].high) == (0, len(tables.heights.heights) - 1)
    cuts = tuple(slab.low for slab in slabs[1:])
    support = sum(tables.support_mm3[int(slab.attitude == "inverted"), slab.low, slab.high] for slab in slabs)
    cost = support * support_g_mm3(job) + sum(tables.joint_g[list(cuts)])
    assert cost == pytest.approx(min(ways.values()), abs=1e-5)
    assert ways[cuts] == pytest.approx(cost, abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_the_programme_is_exact_on_any_costs(seed: int) -> None:
    random = np.random.default_rng(seed)
    n, most = 9, 4
    cost = random.uniform(0, 10, (2, n, n))
    joint = np.where(random.random(n) < 0.2, np.inf, random.uniform(0, 4, n))
    allowed = np.triu(random.random((n, n)) < 0.7, 1)
    ways = {}
    for count in range(most):
        for cuts in combinations(range(1, n - 1), count):
            pairs = list(pairwise([0, *cuts, n - 1]))
            if all(allowed[a, b] for a, b in pairs):
                ways[cuts] = sum(cost[:, a, b].min() for a, b in pairs) + sum(joint[list(cuts)])
    ways = {cuts: total for cuts, total in ways.items() if np.isfinite(total)}
    found = best_sections(cost, joint, allowed, most=most)
    if not ways:
        assert found is None
        return
    assert found is not None
    assert found[1] == pytest.approx(min(ways.values()))
    assert ways[tuple(slab.low for slab in found[0][1:])] == pytest.approx(found[1])


def test_a_mushroom_is_cut_under_its_cap() -> None:
    tables = tables_of("mushroom", PrinterJob())
    slabs = chosen_sections(tables, PrinterJob())
    assert [tables.heights.heights[slab.low] for slab in slabs] == pytest.approx([0, 60])
    assert [slab.attitude for slab in slabs] == ["upright", "upright"]


def test_a_grid_height_gives_way_to_a_crease_beside_it() -> None:
    mesh = waisted()
    heights = cut_heights(stood(mesh), parted(mesh), steps=103)  # a grid height at 19.4, 20.4, 79.6 ...
    for crease in (20.0, 80.0):
        near = np.abs(heights.heights - crease) < 2.0
        assert heights.heights[near] == pytest.approx([crease])
        assert np.array(heights.hidden)[near].all()


def test_a_joint_that_shows_costs_twice_as_much() -> None:
    mesh, job = waisted(), PrinterJob()
    tables = section_tables(mesh, cut_heights(stood(mesh), parted(mesh), steps=STEPS), job)
    shell = 2 * np.pi * 15**2 * 1.2 * 0.85 * 1.24e-3  # two faces of radius 15, their rims left to the walls
    on_stem = (tables.heights.heights > 25) & (tables.heights.heights < 75)
    shown = on_stem & ~np.array(tables.heights.hidden)
    at_disc = np.isclose(tables.heights.heights, 20)
    assert tables.joint_g[shown] == pytest.approx(8 + shell, abs=0.3)
    assert tables.joint_g[at_disc] == pytest.approx(4 + shell, abs=0.3)


def test_no_cut_where_two_pins_find_no_room() -> None:
    """Two pins of 8 mm need a circle of 32 mm; the stem is 30 across."""
    job = PrinterJob(pin_mm=8.0)
    mesh = waisted()
    tables = section_tables(mesh, cut_heights(stood(mesh), parted(mesh), steps=STEPS), job)
    on_stem = (tables.heights.heights > 19) & (tables.heights.heights < 81)
    assert np.isinf(tables.joint_g[on_stem]).all()
    assert len(chosen_sections(tables, job)) == 1
