"""Where to cut, and which way up each section prints: the least filament, by a dynamic programme."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from ..geometry.columns import cast, frame_for, solid_intervals
from ..geometry.mesh import Bools, Floats, Mesh, read_only
from ..geometry.overhang import overhangs, support_table
from ..geometry.slices import cut_slices
from ..job import PrinterJob
from ..materials import SUPPORT_FILL
from .bed import fits_between
from .heights import Heights
from .pins import CLEAR_MM, DEPTH_SHARE

Attitude = Literal["upright", "inverted"]

LINES = 256
"""Columns across the form in which overhangs are looked for."""
HIDDEN_SHARE = 0.5
"""Of a cut's price where its joint does not show: it is glued, but not sanded (our judgement)."""
ROOM_PINS = 4.0
"""A joint is at least as large as a circle so many pins across: two must stand in it, clear of its edge,
over the whole depth of their holes."""
FILM_SHARE = 0.5
"""What is thinner than this share of a layer is not printed."""
SAME_G = 1e-6
"""Costs nearer than this are equal."""
HAIR = 1e-4
"""Of the form's height: how far beside a cut its face is measured."""


class Slab(NamedTuple):
    """A section by the numbers of its two heights, and which way up it prints."""

    low: int
    high: int
    attitude: Attitude


@dataclass(frozen=True, eq=False)
class SectionTables:
    """What the section between each two heights needs: (n, n) arrays, [i, j] with i < j from low to high.

    support_mm3, overhang_mm2: (2, n, n), standing upright and inverted. fits: within the printer's bed
    and height. joint_g: (n,) price of a cut at each height: its own, and the shell of two more faces; inf
    where the joint is too small for pins.
    """

    heights: Heights
    support_mm3: Floats
    overhang_mm2: Floats
    fits: Bools
    joint_g: Floats

    def __post_init__(self) -> None:
        for array in (self.support_mm3, self.overhang_mm2, self.fits, self.joint_g):
            read_only(array)

    def cost_g(self, job: PrinterJob) -> Floats:
        """(2, n, n) filament for the supports of each section, g."""
        return np.asarray(self.support_mm3 * support_g_mm3(job))


def support_g_mm3(job: PrinterJob) -> float:
    """Filament in a mm3 of support, g."""
    return SUPPORT_FILL.value / 100 * job.filament_g_ml / 1000


def section_tables(mesh: Mesh, heights: Heights, job: PrinterJob) -> SectionTables:
    """Supports, bed and price of a cut for every section that the heights allow."""
    levels = heights.heights
    frame = frame_for(mesh, (0.0, 0.0, 1.0), lines=LINES)
    up, down = overhangs(mesh, solid_intervals(cast(mesh, frame)), limit_deg=job.overhang_deg)
    film = FILM_SHARE * job.layer_mm
    upright = support_table(up, levels, film=film)
    inverted = support_table(down, -levels[::-1], film=film)
    # turned over, the slab from i to j is the one from n - 1 - j to n - 1 - i
    both = [np.stack([one, other[::-1, ::-1].T]) for one, other in zip(upright, inverted, strict=True)]
    return SectionTables(
        heights, both[0], both[1], fits_between(mesh, levels, job.bed_mm), _joints(mesh, heights, job)
    )


def _joints(mesh: Mesh, heights: Heights, job: PrinterJob) -> Floats:
    """(n,) price of a cut at each height, g."""
    levels = heights.heights
    hair = HAIR * float(levels[-1] - levels[0])
    inner, room = np.full(len(levels), np.inf), np.full(len(levels), np.inf)
    for side in (-1, 1):  # at a ledge the lesser of the two faces is the joint
        cut = cut_slices(mesh, levels + side * hair)
        inner = np.minimum(inner, np.maximum(cut.areas - job.shell_mm * cut.lengths, 0))
        deep = np.clip(
            levels + side * (DEPTH_SHARE * job.pin_mm + CLEAR_MM), levels[0] + hair, levels[-1] - hair
        )
        room = np.minimum(room, np.minimum(cut.areas, cut_slices(mesh, deep).areas))
    shell_g = 2 * inner * job.shell_mm * (1 - job.infill_percent / 100) * job.filament_g_ml / 1000
    price = job.cut_price_g * np.where(heights.hidden, HIDDEN_SHARE, 1.0)
    return np.where(room >= np.pi / 4 * (ROOM_PINS * job.pin_mm) ** 2, price + shell_g, np.inf)


def best_sections(
    cost_g: Floats, joint_g: Floats, allowed: Bools, *, most: int
) -> tuple[tuple[Slab, ...], float] | None:
    """The cheapest way to cut a form into at most `most` sections, bottom to top, and what it costs, g.

    cost_g: (2, n, n) of the section between each two heights, upright and inverted; joint_g: (n,) of a cut
    at each height; allowed: (n, n). Of equals the one with fewer cuts, lower ones, and upright. None where
    no way is allowed.

    With F_k(j) the least cost of k sections up to height j, F_k(j) = min over i of F_{k-1}(i) + joint(i) +
    min(upright, inverted)(i, j).
    """
    n = len(joint_g)
    own = np.where(allowed, cost_g.min(axis=0), np.inf)
    total = own[0].copy()
    came = [np.zeros(n, np.int64)]
    best, count = total[-1], 1
    for k in range(2, most + 1 if n > 2 else 2):
        reached = (total + joint_g)[1:-1, None] + own[1:-1]
        total = np.asarray(reached.min(axis=0))
        came.append(np.argmax(reached <= total + SAME_G, axis=0) + 1)
        if total[-1] < best - SAME_G:
            best, count = total[-1], k
    if not np.isfinite(best):
        return None
    found, high = [], n - 1
    for k in range(count, 0, -1):
        low = int(came[k - 1][high]) if k > 1 else 0
        attitude: Attitude = "inverted" if cost_g[1, low, high] < cost_g[0, low, high] - SAME_G else "upright"
        found.append(Slab(low, high, attitude))
        high = low
    return tuple(found[::-1]), float(best)


def chosen_sections(tables: SectionTables, job: PrinterJob) -> tuple[Slab, ...]:
    """The sections of a form: within bed and height, each high enough to be worth its cut, with room for pins.

    Where no such cutting exists, the room for pins is given up first, then the least height, then the bed:
    what does not fit is said by the plan.
    """
    levels = tables.heights.heights
    rise = levels[None, :] - levels[:, None]
    n = len(levels)
    slab = np.triu(np.ones((n, n), bool), 1)
    whole = np.zeros((n, n), bool)
    whole[0, -1] = True
    high = slab & ((rise >= job.least_section_mm) | whole)
    bare = np.where(np.isfinite(tables.joint_g), tables.joint_g, job.cut_price_g)
    for allowed, joint in (
        (high & tables.fits, tables.joint_g),
        (high & tables.fits, bare),
        (slab & tables.fits, bare),
        (high & (rise <= job.bed_mm[2]), bare),
    ):
        found = best_sections(tables.cost_g(job), joint, allowed, most=job.most_sections)
        if found is not None:
            return found[0]
    found = best_sections(tables.cost_g(job), bare, high, most=1)
    assert found is not None  # the whole form is always one section
    return found[0]
