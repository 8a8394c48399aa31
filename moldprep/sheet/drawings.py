"""Drawings to scale as SVG: views with their seam planes, and the section through mold and master.

A drawing is made in mm of the form, y up, then fitted into a box on the page. Dimension lines stand
outside the outline, and labels are spread so that none covers another.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats
from ..geometry.outlines import section, silhouette
from ..parting import Seam
from ..planning import Plan

TINTS = ("#dcd3c2", "#b9c8bd", "#d8bfa6", "#c3bccb", "#c9c9a8", "#b7c4cf", "#d6b9b9", "#bfc9b0")
"""One tint for each piece, by letter, through all pages; light, so that hatching shows."""
HATCHES = (45, 135, 20, 110, 75, 160, 0, 90)
"""One hatching angle for each piece, in degrees: pieces differ on a grey print too."""
INK = "#3a302a"
SEAM_INK = "#8a2f3c"
FONT = "Libertinus Serif"

_VIEWS: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "front": ((0, 1, 0), (0, 0, 1)),
    "side": ((-1, 0, 0), (0, 0, 1)),
    "top": ((0, 0, -1), (0, 1, 0)),
}
"""Looking direction and the axis that points up on the paper."""


@dataclass(frozen=True)
class Drawing:
    """An SVG and its size on paper in points; `mm_per_point` is its scale."""

    svg: str
    width: float
    height: float
    mm_per_point: float


def spread_labels(wanted: Sequence[float], *, gap: float) -> list[float]:
    """Positions as near as can be to the wanted ones, in the same order, at least `gap` apart.

    Neighbours that collide form a block whose middle stands at the mean of what they want (pooled
    neighbours, as in isotonic regression).

    >>> spread_labels([0, 1, 10], gap=3)
    [-1.0, 2.0, 10.0]
    """
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    blocks: list[list[float]] = []  # sum of (wanted - rank * gap), count
    for rank, k in enumerate(order):
        blocks.append([wanted[k] - rank * gap, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    placed = [total / count for total, count in blocks for _ in range(int(count))]
    found = [0.0] * len(wanted)
    for rank, k in enumerate(order):
        found[k] = placed[rank] + rank * gap
    return found


def view(plan: Plan, name: str, *, width: float, height: float) -> Drawing:
    """Front, side or top view of form and block with the seam planes and their dimensions."""
    looking, up = _VIEWS[name]
    rotation = _on_paper(looking, up)
    form = silhouette(plan.stand.mesh, rotation=rotation)
    block = _block_outline(plan, rotation, upright=name != "top")
    sheet = _Paper(shapely.union_all([form, block]), width, height, right=86.0 if name != "top" else 20.0)
    sheet.area(block, fill="#f4efe6", stroke=INK, thin=True)
    sheet.area(form, fill="#fffdf8", stroke=INK)
    if name == "top":
        sheet.dimension_across(block)
        _azimuths(sheet, plan, rotation, block)
    else:
        low, high = plan.block.bottom_mm, plan.block.top_mm
        marks = [
            (low, f"{low:.0f}"),
            (0.0, _lowest(plan)),
            (plan.stand.rim_mm, f"{plan.stand.rim_mm:.1f} rim"),
        ]
        if high - plan.stand.rim_mm > 1e-6:
            marks.append((high, f"{high:.1f}"))
        levels = [seam for seam in plan.parting.chosen.seams if seam.kind == "horizontal"]
        if abs(plan.parting.chosen.axis[2]) > 0.99:
            marks += [(seam.height_mm or 0.0, f"{seam.height_mm:.1f} seam") for seam in levels]
            for seam in levels:
                sheet.line_across(block, seam.height_mm or 0.0)
        sheet.heights(block, marks)
        _upright_lines(sheet, plan, rotation, form)
        sheet.dimension_across(form)
    return sheet.drawing()


def cut(plan: Plan, *, width: float, height: float) -> Drawing:
    """The section through mold and master in the upright plane that shows the pieces best."""
    azimuth = _section_azimuth(plan)
    normal = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
    rotation = _on_paper(normal, (0.0, 0.0, 1.0))
    centre = float(normal @ [*plan.block.centre, 0.0]) + 1e-3
    pieces = [section(piece.mesh, centre, rotation=rotation) for piece in plan.pieces.pieces]
    form = section(plan.stand.mesh, centre, rotation=rotation)
    sheet = _Paper(shapely.union_all([*pieces, form]), width, height, right=86.0)
    for k, area in enumerate(pieces):
        sheet.hatched(area, k)
    sheet.area(form, fill="#fffdf8", stroke=INK)
    for wall in _walls(form, shapely.union_all([form, *pieces]), plan.stand.rim_mm):
        sheet.thickness(wall)
    for k, area in enumerate(pieces):
        if not area.is_empty:
            largest = max(shapely.get_parts(area), key=lambda part: part.area)
            sheet.letter(plan.pieces.pieces[k].letter, largest.representative_point().coords[0])
    stand = plan.stand
    marks = [
        (-stand.floor_mm, f"{-stand.floor_mm:.0f}"),
        (0.0, _lowest(plan)),
        (stand.rim_mm, f"{stand.rim_mm:.1f} rim"),
    ]
    if stand.spare_mm > 1e-6:
        marks.append((stand.top_mm, f"{stand.top_mm:.1f} spare"))
    sheet.heights(shapely.union_all(pieces), marks)
    sheet.dimension_across(shapely.union_all(pieces))
    return sheet.drawing()


def _walls(form: BaseGeometry, block: BaseGeometry, rim: float) -> list[shapely.LineString]:
    """Where the wall is thinnest: to the left, to the right and under the form, below the rim."""
    low_x, low_y, high_x, _ = block.bounds
    points = shapely.get_coordinates(form.boundary)
    points = points[points[:, 1] < rim]
    if not len(points):
        return []
    left, right, foot = (
        points[points[:, 0].argmin()],
        points[points[:, 0].argmax()],
        points[points[:, 1].argmin()],
    )
    return [
        shapely.LineString([(low_x, left[1]), left]),
        shapely.LineString([right, (high_x, right[1])]),
        shapely.LineString([(foot[0], low_y), foot]),
    ]


def _lowest(plan: Plan) -> str:
    """The form's lowest point as it stands in the mold: its foot, unless it is cast base up."""
    return "0 its top" if plan.stand.opening == "foot" else "0 foot"


def _on_paper(looking: ArrayLike, up: ArrayLike) -> Floats:
    """(3, 3) rows right, up, away: what an eye sees that looks along `looking` (a left-handed frame)."""
    return np.asarray(np.diag([-1.0, 1.0, 1.0]) @ rotation_for(looking, up=up))


def _section_azimuth(plan: Plan) -> float:
    """Along the way in which the halves leave, else along x: their seam is then cut across."""
    for layer in plan.parting.chosen.layers:
        if layer.kind == "split" and layer.azimuth_deg is not None:
            return float(np.radians(layer.azimuth_deg))
    return 0.0


def _block_outline(plan: Plan, rotation: Floats, *, upright: bool) -> BaseGeometry:
    """The block in the drawing's plane."""
    block = plan.block
    if not upright:
        corners = np.column_stack([block.outline, np.zeros(len(block.outline))]) @ rotation.T
        return shapely.Polygon(corners[:, :2])
    across = np.column_stack([block.outline, np.zeros(len(block.outline))]) @ rotation[0]
    return shapely.box(across.min(), block.bottom_mm, across.max(), block.top_mm)


def _azimuths(sheet: _Paper, plan: Plan, rotation: Floats, block: BaseGeometry) -> None:
    """Upright seams in the top view: the parting plane as a line."""
    for seam in plan.parting.chosen.seams:
        if seam.kind == "vertical" and seam.azimuth_deg is not None and seam.offset_mm is not None:
            turn = np.radians(seam.azimuth_deg)
            normal = np.array([np.cos(turn), np.sin(turn), 0.0])
            along = np.array([-normal[1], normal[0], 0.0])
            ends = [(seam.offset_mm * normal + side * 1e4 * along) @ rotation.T for side in (-1, 1)]
            sheet.seam(shapely.intersection(shapely.LineString([end[:2] for end in ends]), block.buffer(6)))


def _upright_lines(sheet: _Paper, plan: Plan, rotation: Floats, form: BaseGeometry) -> None:
    """Parting planes of halves that are seen edge-on in this view."""
    for seam in plan.parting.chosen.seams:
        if seam.kind != "vertical" or seam.azimuth_deg is None or seam.offset_mm is None:
            continue
        turn = np.radians(seam.azimuth_deg)
        across = np.array([np.cos(turn), np.sin(turn), 0.0]) @ rotation[0]
        if abs(across) > 0.99 and seam.low_mm is not None and seam.high_mm is not None:
            low = plan.block.bottom_mm if seam.low_mm <= 1e-6 else seam.low_mm
            u = seam.offset_mm * np.sign(across)
            sheet.seam(shapely.LineString([(u, low), (u, seam.high_mm)]))


class _Paper:
    """Collects SVG elements; places are given in mm of the form, y up."""

    def __init__(self, area: BaseGeometry, width: float, height: float, *, right: float) -> None:
        self._low_x, self._low_y, self._high_x, self._high_y = area.bounds
        self._left, self._bottom, self._top = 10.0, 34.0, 14.0
        room = width - self._left - right, height - self._bottom - self._top
        self.scale = min(room[0] / (self._high_x - self._low_x), room[1] / (self._high_y - self._low_y))
        self._width = self._left + right + (self._high_x - self._low_x) * self.scale
        self._height = self._bottom + self._top + (self._high_y - self._low_y) * self.scale
        self._body: list[str] = []

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Points on the paper of a place in mm."""
        return self._left + (x - self._low_x) * self.scale, self._top + (self._high_y - y) * self.scale

    def area(self, area: BaseGeometry, *, fill: str, stroke: str, thin: bool = False) -> None:
        width = 0.5 if thin else 0.9
        style = f'fill="{fill}" stroke="{stroke}" stroke-width="{width}" fill-rule="evenodd"'
        self._body.append(f'<path d="{self._path(area)}" {style}/>')

    def hatched(self, area: BaseGeometry, number: int) -> None:
        """An area of plaster: the piece's tint and its own hatching."""
        tint, angle = TINTS[number % len(TINTS)], HATCHES[number % len(HATCHES)]
        path = self._path(area)
        self._body.append(f'<path d="{path}" fill="{tint}" fill-rule="evenodd"/>')
        self._body.append(
            f'<path d="{self._stripes(area, angle)}" stroke="{INK}" stroke-width="0.3" fill="none"/>'
        )
        self._body.append(f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="0.7"/>')

    def letter(self, text: str, at: tuple[float, float]) -> None:
        x, y = self.place(*at[:2])
        self._body.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="8" fill="white" stroke="{INK}" stroke-width="0.6"/>'
        )
        self._text(x, y + 3.8, text, anchor="middle", size=11, bold=True)

    def line_across(self, area: BaseGeometry, height: float) -> None:
        """A level seam plane across an area, a little beyond it on both sides."""
        low, _, high, _ = area.bounds
        self.seam(shapely.LineString([(low - 3, height), (high + 3, height)]))

    def seam(self, line: BaseGeometry) -> None:
        for part in shapely.get_parts(line):
            points = [self.place(x, y) for x, y in part.coords]
            path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
            style = f'fill="none" stroke="{SEAM_INK}" stroke-width="1.1" stroke-dasharray="7 2.5 1.5 2.5"'
            self._body.append(f'<path d="{path}" {style}/>')

    def heights(self, area: BaseGeometry, marks: Iterable[tuple[float, str]]) -> None:
        """Heights in a column at the right, each with a line to the place that it names."""
        found = sorted(marks)
        edge = self.place(area.bounds[2], 0)[0]
        wanted = [self.place(0, height)[1] for height, _ in found]
        placed = spread_labels(wanted, gap=12.5)
        for (_, label), y, at in zip(found, wanted, placed, strict=True):
            self._body.append(
                f'<path d="M{edge + 3:.2f} {y:.2f}H{edge + 12:.2f}L{edge + 20:.2f} {at:.2f}H{edge + 24:.2f}" '
                f'fill="none" stroke="{INK}" stroke-width="0.4"/>'
            )
            self._text(edge + 26, at + 3.6, label)

    def dimension_across(self, area: BaseGeometry) -> None:
        """The width of an area under the drawing, between arrows."""
        low, _, high, _ = area.bounds
        (x0, _), (x1, _) = self.place(low, 0), self.place(high, 0)
        y = self._height - self._bottom + 14
        ends = f"M{x0:.2f} {y - 5:.2f}v10M{x1:.2f} {y - 5:.2f}v10M{x0:.2f} {y:.2f}H{x1:.2f}"
        arrows = f"M{x0:.2f} {y:.2f}l6 -2v4zM{x1:.2f} {y:.2f}l-6 -2v4z"
        self._body.append(f'<path d="{ends}" stroke="{INK}" stroke-width="0.5" fill="none"/>')
        self._body.append(f'<path d="{arrows}" fill="{INK}"/>')
        self._text((x0 + x1) / 2, y + 13, f"{high - low:.1f} mm", anchor="middle")

    def thickness(self, wall: shapely.LineString) -> None:
        """A wall's thickness in mm between arrows, on a ground of its own so that hatching does not cross it."""
        (x0, y0), (x1, y1) = (self.place(*at) for at in wall.coords)
        length = float(np.hypot(x1 - x0, y1 - y0))
        if length < 1:
            return
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        line = f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"
        heads = "".join(
            f"M{x:.1f} {y:.1f}l{s * 6 * ux - 2 * uy:.1f} {s * 6 * uy + 2 * ux:.1f}l{4 * uy:.1f} {-4 * ux:.1f}z"
            for x, y, s in ((x0, y0, 1), (x1, y1, -1))
        )
        self._body.append(
            f'<path d="{line}" stroke="white" stroke-width="3"/><path d="{line}" stroke="{INK}" stroke-width="0.7"/>'
            f'<path d="{heads}" fill="{INK}"/>'
        )
        text = f"{wall.length:.0f}"
        x, y = (x0 + x1) / 2, (y0 + y1) / 2
        wide = 6.2 * len(text) + 4
        x, y = (x, y - 10) if abs(ux) > abs(uy) else (x + wide / 2 + 4, y)
        self._body.append(
            f'<rect x="{x - wide / 2:.1f}" y="{y - 7:.1f}" width="{wide:.1f}" height="14" rx="2" fill="white"/>'
        )
        self._text(x, y + 3.8, text, anchor="middle", bold=True)

    def drawing(self) -> Drawing:
        size = f'width="{self._width:.2f}pt" height="{self._height:.2f}pt"'
        box = f'viewBox="0 0 {self._width:.2f} {self._height:.2f}"'
        svg = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>{"".join(self._body)}</svg>'
        return Drawing(svg, self._width, self._height, 1 / self.scale)

    def _text(
        self, x: float, y: float, text: str, *, anchor: str = "start", size: float = 11, bold: bool = False
    ) -> None:
        weight = ' font-weight="bold"' if bold else ""
        style = f'font-family="{FONT}" font-size="{size}" text-anchor="{anchor}"{weight} fill="{INK}"'
        self._body.append(f'<text x="{x:.2f}" y="{y:.2f}" {style}>{escape(text)}</text>')

    def _path(self, area: BaseGeometry) -> str:
        speck = (2 / self.scale) ** 2  # slivers of a shadow's edge would print as dust
        rings = [
            ring
            for part in shapely.get_parts(shapely.simplify(area, 0.15 / self.scale))
            if isinstance(part, shapely.Polygon) and not part.is_empty
            for ring in (part.exterior, *part.interiors)
            if shapely.Polygon(ring).area > speck
        ]
        return "".join(
            "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in (self.place(*at) for at in ring.coords[:-1])) + "Z"
            for ring in rings
        )

    def _stripes(self, area: BaseGeometry, angle: float) -> str:
        """Parallel lines over an area, 5 points apart: real lines, for not every viewer knows patterns."""
        turn = np.radians(angle)
        along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        if area.is_empty:
            return ""
        low_x, low_y, high_x, high_y = area.bounds
        corners = np.array([(low_x, low_y), (low_x, high_y), (high_x, low_y), (high_x, high_y)])
        reach, step = np.ptp(corners @ across), 5 / self.scale
        count = int(reach / step) + 1
        first = (corners @ across).min()
        long = float(np.abs(corners).max() + np.hypot(high_x - low_x, high_y - low_y))
        lines = shapely.MultiLineString(
            [
                [(first + k * step) * across - long * along, (first + k * step) * across + long * along]
                for k in range(1, count)
            ]
        )
        path = []
        for part in shapely.get_parts(shapely.intersection(lines, area)):
            if isinstance(part, shapely.LineString):
                (x0, y0), (x1, y1) = (self.place(*at) for at in (part.coords[0], part.coords[-1]))
                path.append(f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}")
        return "".join(path)


def seam_list(plan: Plan) -> tuple[Seam, ...]:
    """The seams in the order of the drawing: level ones from the foot up, then upright ones."""
    return tuple(
        sorted(plan.parting.chosen.seams, key=lambda seam: (seam.kind != "horizontal", seam.height_mm or 0.0))
    )
