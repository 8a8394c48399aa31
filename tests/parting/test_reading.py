"""Reaches are read once a candidate and never lent to another axis."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import trimesh

from moldprep.parting import Candidate, Layer
from moldprep.parting.judge import Bench
from moldprep.working import SILENT
from tests.forms import disc_on_stem, from_trimesh

WIDE = SimpleNamespace(
    bottom_mm=-50.0,
    top_mm=100.0,
    outline=np.array([(-90.0, -90.0), (90.0, -90.0), (90.0, 90.0), (-90.0, 90.0)]),
)


def upward(axis: tuple[float, float, float], low: float = -90.0) -> Candidate:
    layers = (Layer(low, 100.0, "up"),)
    return Candidate(axis, layers, "one-piece", 1, 0.0, 0.0, float("nan"), (), 0.0, "")


def test_two_axes_with_the_same_heights_are_read_apart() -> None:
    """A disc on its stem locks what leaves upward, and frees what leaves along the turned-over axis."""
    bench = Bench(SimpleNamespace(mesh=disc_on_stem()), WIDE, 0.15, SILENT)
    locked = bench.read(upward((0.0, 0.0, 1.0)))
    free = bench.read(upward((0.0, 0.0, -1.0)))
    assert locked.reach_mm > 20 and not bench.passes(locked)
    assert free.reach_mm == 0 and bench.passes(free)


def test_a_plane_five_off_a_ball_s_equator_reads_its_lip() -> None:
    """R - sqrt(R^2 - 5^2), less the facets' depth; the plane at the equator reads nothing."""
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=5, radius=40))
    bench = Bench(SimpleNamespace(mesh=ball), WIDE, 0.15, SILENT)
    low = replace(upward((0.0, 0.0, 1.0)), layers=(Layer(-40.0, -5.0, "down"), Layer(-5.0, 40.0, "up")))
    facets = 40 * (1 - np.cos(np.radians(1.2)))  # edges of up to 2.2 degrees at 5 subdivisions
    assert abs(bench.read(low).reach_mm - (40 - np.sqrt(40**2 - 5**2))) <= 0.05 * np.sqrt(2) + facets
    level = replace(low, layers=(Layer(-40.0, 0.0, "down"), Layer(0.0, 40.0, "up")))
    assert bench.read(level).reach_mm == 0
