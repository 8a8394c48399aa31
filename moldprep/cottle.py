"""Stage 5: the block of plaster and the cottle around it, from the maker's own rings or boards.

A ring stands round the form's smallest enclosing circle, a box of boards round its smallest
rectangle, a sheet hugs its hull; each a wall away. Inner sizes are rounded up to whole millimetres,
so the wall is never less than asked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import ceil, pi

import numpy as np
import shapely
from scipy.spatial import cKDTree

from .errors import JobError
from .findings import Finding
from .geometry.mesh import Floats, Mesh, read_only
from .geometry.outlines import (
    circle_outline,
    enclosing_circle,
    enclosing_rectangle,
    hull,
    outlines,
    sections,
    signed_area,
)
from .job import CottleJob, CottleKind
from .stand import Stand
from .working import SILENT, Watch

SHEET_GAIN = 0.25
"""A sheet must save this share of the plaster before it goes before a ring or boards.

A sheet bent to an outline of its own bulges, wants clay blocks behind it and a longer seal at its
foot; a ring or a box stands by itself (our judgement, not a published figure).
"""
TURN_GAIN = 0.05
"""Boards stand square to the form's own axes unless turning them saves this share of the area: a
seam that runs askew to the boards is harder to set up (our judgement)."""
LEVELS = 32
"""Levels at which the wall is measured."""
STEP_MM = 3.0
"""Spacing of the points between which the greatest wall is measured; its error is below 0.1 mm."""
ROUNDING_MM = 1e-3
"""A size this little above a whole millimetre is that millimetre: coordinates in single precision are
off by up to 3e-5 mm at half a metre, and nobody sets a cottle up to a micrometre."""


@dataclass(frozen=True)
class BlockOption:
    """One cottle that was compared: its inner size, its plaster, and the wall it gives."""

    kind: CottleKind
    inner_mm: tuple[float, ...]
    plaster_mm3: float
    least_wall_mm: float
    greatest_wall_mm: float


@dataclass(frozen=True, eq=False)
class Block:
    """The prism of plaster that the cottle holds, in the casting pose.

    inner_mm: (diameter,) of a ring, (width, depth) between boards, (girth,) of a sheet. outline:
    (k, 2) inner outline of the cottle in plan, counter-clockwise. centre: (2,); turn_deg: how far
    the width's direction is turned from x. volume_mm3: of the whole prism, form included. wall_mm:
    asked; least and greatest wall: from a place on the cottle straight to the nearest place of form
    and spare, over all sides and the form's heights; evenness: least / greatest. options: what was
    compared, the chosen one first.
    """

    kind: CottleKind
    inner_mm: tuple[float, ...]
    outline: Floats = field(repr=False)
    centre: tuple[float, float]
    turn_deg: float
    bottom_mm: float
    top_mm: float
    fill_mm: float
    area_mm2: float
    volume_mm3: float
    wall_mm: float
    least_wall_mm: float
    greatest_wall_mm: float
    evenness: float
    options: tuple[BlockOption, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class _Cottle:
    """One way to stand a cottle round the form."""

    kind: CottleKind
    inner_mm: tuple[float, ...]
    outline: Floats
    centre: tuple[float, float]
    turn_deg: float = 0.0

    @property
    def area(self) -> float:
        return signed_area(self.outline)


def choose_block(stand: Stand, job: CottleJob, *, wall_mm: float, watch: Watch = SILENT) -> Block:
    """The cottle that wastes least plaster, or the kind asked for.

    Of the maker's rings the smallest that fits is taken; without a list, any diameter. A sheet is
    chosen by itself only when it saves `SHEET_GAIN` of the plaster that ring or boards take.
    `wall_mm` is the least wall; the job's own goes before it. Raises JobError "no-ring-fits" when
    a ring is asked for and none is large enough, naming the diameter needed.
    """
    wall = wall_mm if job.wall_mm is None else job.wall_mm
    around = hull(stand.mesh.vertices[:, :2])
    needed = _ring_needed(around, wall)
    ring = _ring_at_hand(needed, job.rings_mm)
    if job.kind == "ring" and ring is None:
        raise JobError(
            f"No ring fits: the form needs one of {needed:.0f} mm inside, the largest at hand is {max(job.rings_mm):.0f} mm.",
            code="no-ring-fits",
            remedy='Find a larger ring, use boards (kind = "box"), or ask for a thinner wall.',
        )
    make: dict[CottleKind, Callable[[], _Cottle]] = {
        "ring": lambda: _ring(around, ring or needed),
        "box": lambda: _box(around, wall),
        "sheet": lambda: _sheet(around, wall),
    }
    compared = [build() for kind, build in make.items() if kind != "ring" or ring is not None]
    fill, master = stand.top_mm + stand.floor_mm, stand.mesh.volume
    chosen = _choice(compared, job.kind, master / fill)
    points, heights = _surface_points(stand.mesh)
    surface = cKDTree(points)
    walls = {cottle.kind: _walls(cottle.outline, around, surface, heights) for cottle in compared}
    compared.sort(key=lambda cottle: (cottle is not chosen, cottle.area))
    least, greatest = walls[chosen.kind]
    return Block(
        kind=chosen.kind,
        inner_mm=chosen.inner_mm,
        outline=np.asarray(read_only(chosen.outline)),
        centre=chosen.centre,
        turn_deg=chosen.turn_deg,
        bottom_mm=-stand.floor_mm,
        top_mm=stand.top_mm,
        fill_mm=fill,
        area_mm2=chosen.area,
        volume_mm3=chosen.area * fill,
        wall_mm=wall,
        least_wall_mm=least,
        greatest_wall_mm=greatest,
        evenness=least / greatest,
        options=tuple(
            BlockOption(cottle.kind, cottle.inner_mm, cottle.area * fill - master, *walls[cottle.kind])
            for cottle in compared
        ),
        findings=() if ring is not None else (_no_ring(needed, job.rings_mm),),
    )


def _choice(compared: list[_Cottle], asked: CottleKind | None, form_area: float) -> _Cottle:
    """The kind asked for, or what takes least plaster; `form_area`: the form's volume over the fill."""
    if asked is not None:
        return next(cottle for cottle in compared if cottle.kind == asked)
    stiff = min((cottle for cottle in compared if cottle.kind != "sheet"), key=lambda cottle: cottle.area)
    sheet = next(cottle for cottle in compared if cottle.kind == "sheet")
    saves = sheet.area - form_area < (1 - SHEET_GAIN) * (stiff.area - form_area)
    return sheet if saves else stiff


def _ring_needed(around: Floats, wall: float) -> float:
    """Least whole inner diameter, mm."""
    return float(ceil(2 * (enclosing_circle(around)[1] + wall) - ROUNDING_MM))


def _ring_at_hand(needed: float, rings: tuple[float, ...]) -> float | None:
    """The smallest ring that fits; the needed diameter itself when the maker names no rings."""
    if not rings:
        return needed
    return min((ring for ring in rings if ring >= needed - ROUNDING_MM), default=None)


def _ring(around: Floats, diameter: float) -> _Cottle:
    centre = enclosing_circle(around)[0]
    return _Cottle("ring", (diameter,), circle_outline(centre, diameter / 2), centre)


def _box(around: Floats, wall: float) -> _Cottle:
    low, high = around.min(axis=0), around.max(axis=0)
    square = _boards(tuple((low + high) / 2), tuple(high - low), 0.0, wall)
    turned = _boards(*enclosing_rectangle(around), wall)
    return turned if turned.area < (1 - TURN_GAIN) * square.area else square


def _boards(centre: tuple[float, ...], sides: tuple[float, ...], turn: float, wall: float) -> _Cottle:
    width, depth = (float(ceil(side + 2 * wall - ROUNDING_MM)) for side in sides)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, depth / 2]
    x, y = (float(value) for value in centre)
    return _Cottle("box", (width, depth), corners @ np.array([[c, s], [-s, c]]) + (x, y), (x, y), turn)


def _sheet(around: Floats, wall: float) -> _Cottle:
    """A wall round the hull, widened until its girth is a whole millimetre (girth grows by 2 pi a mm)."""
    shape = shapely.Polygon(around)
    girth = float(ceil(shape.length + 2 * pi * wall - ROUNDING_MM))
    outline = outlines(shape.buffer((girth - shape.length) / (2 * pi), quad_segs=64))[0]
    x, y = shape.centroid.x, shape.centroid.y
    return _Cottle("sheet", (girth,), outline, (x, y))


def _surface_points(mesh: Mesh) -> tuple[Floats, Floats]:
    """(k, 3) points on the outer outlines of level sections, about `STEP_MM` apart, and the (n,) levels."""
    low, high = mesh.bounds[:, 2]
    heights = low + (high - low) * (np.arange(LEVELS) + 0.5) / LEVELS
    points = []
    for height, area in zip(heights, sections(mesh, heights), strict=True):
        for ring in outlines(area):
            line = shapely.LinearRing(ring)
            steps = np.linspace(0, 1, max(8, int(line.length / STEP_MM)), endpoint=False)
            around = shapely.get_coordinates(shapely.line_interpolate_point(line, steps, normalized=True))
            points.append(np.column_stack([around, np.full(len(around), height)]))
    return np.vstack(points), heights


def _along(outline: Floats) -> Floats:
    """(k, 2) points along a closed outline, at most `STEP_MM` apart."""
    return np.array(shapely.segmentize(shapely.LinearRing(outline), STEP_MM).coords)


def _walls(outline: Floats, around: Floats, surface: cKDTree, heights: Floats) -> tuple[float, float]:
    """Least and greatest wall between the cottle's outline and the form.

    The least is exact: the cottle's outline is convex, so the form comes nearest to it at a corner of
    the form's hull. The greatest is read at points of the cottle at each level, to the nearest point
    of the form's sections.
    """
    least = shapely.distance(shapely.LinearRing(outline), shapely.points(around)).min()
    ring = _along(outline)
    cottle = np.column_stack([np.tile(ring, (len(heights), 1)), np.repeat(heights, len(ring))])
    return float(least), float(max(np.max(surface.query(cottle)[0]), least))


def _no_ring(needed: float, rings: tuple[float, ...]) -> Finding:
    return Finding(
        "note",
        "rings-too-small",
        f"None of the rings at hand fits: the form needs {needed:.0f} mm inside, the largest is {max(rings):.0f} mm.",
    )
