"""Lines and words at true scale, and how they go out: as SVG and as DXF.

All in mm, x right and y up. Each drawing carries a bar of 100 mm, so that a printer that shrinks its
pages is found out before plaster is.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args
from xml.sax.saxutils import escape

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from ..geometry.mesh import Floats, read_only
from .drawings import FONT, INK

Role = Literal["form", "shadow", "cottle", "line", "natch", "axis", "check"]
"""form: its outline in the plane, or where it opens; shadow: what it covers above or below the plane;
cottle: inside of the cottle, edge of the block; line: seam planes; natch: mouths of natches; axis: middle of the block; check: the
bar."""
Label = tuple[str, tuple[float, float]]
"""Text, and the left end of its base line."""
Leader = tuple[tuple[float, float], tuple[float, float]]
"""A thin line from a label to what it names."""

DASHES: dict[Role, tuple[float, ...]] = {
    "form": (),
    "shadow": (1.2, 1.2),
    "cottle": (9.0, 2.0),
    "line": (6.0, 1.5, 0.7, 1.5),
    "natch": (),
    "axis": (3.0, 1.2, 0.7, 1.2, 0.7, 1.2),
    "check": (),
}
"""Dash and gap in mm, by role: lines differ on a grey print too."""
STROKE_MM = 0.35
THIN_MM = 0.18
TEXT_MM = 11.2 * 25.4 / 72
"""Size of type: a little over 11 points."""
CHARACTER = 0.52
"""Width of a character over the size of type, on the wide side for the sheet's typeface."""
LINE_MM = 5.0
MARGIN_MM = 5.0
CHECK_MM, TICK_MM = 100.0, 10.0
CHECK_WORDS = "100 mm: measure before you trust it"
DESCENT = 0.25
"""Share of the type that lies under its base line."""
CLEAR_MM = 1.0
"""Free paper round a label."""
NEAR_MM = 4.5
"""A label further from its line than this gets a leader."""
GRID = 80
"""Steps across a drawing in which a place for a label is looked for."""
OUTSIDE_MM = 5.0
"""A label may lie this much further off inside a drawing before it goes outside."""
BATCH = 400
"""Places that are tried at once."""


@dataclass(frozen=True, eq=False)
class Stroke:
    """A polyline (k, 2) in mm, y up; a closed one does not repeat its first point."""

    points: Floats = field(repr=False)
    role: Role
    closed: bool


@dataclass(frozen=True, eq=False)
class Template:
    """A drawing at true scale. name: file stem. title: in a maker's words, and from where it is seen.
    labels: text, and the left end of its base line in mm, y up; leaders: from a label to its line."""

    name: str
    title: str
    strokes: tuple[Stroke, ...] = field(repr=False)
    labels: tuple[Label, ...]
    leaders: tuple[Leader, ...] = ()


# --- lines and labels ---------------------------------------------------------------------------


def line(points: ArrayLike, role: Role) -> Stroke:
    return Stroke(read_only(np.array(points, dtype=np.float64)), role, False)


def placed(
    wishes: Sequence[tuple[str, BaseGeometry]], strokes: Sequence[Stroke]
) -> tuple[tuple[Label, ...], tuple[Leader, ...]]:
    """Each label as near as can be to what it names, off every line and every other label.

    A leader joins it to what it names where that is far, or another line nearer; a place (a point) is
    named without one. What finds no room inside goes under the drawing, on a line of its own.
    """
    ink = drawn(strokes)
    taken: list[BaseGeometry] = [ink]
    labels: list[Label] = []
    leaders: list[Leader] = []
    x0, y0, _, _ = ink.bounds
    for text, named in wishes:
        width, height = label_size(text)
        for box in _free_boxes(ink.bounds, (width, height), taken, shapely.simplify(named, 0.5)):
            lead = _leader(box, named, ink)
            if lead is None or not any(shapely.intersects(lead, other) for other in taken[1:]):
                break
        else:
            low = min(y0, *(float(other.bounds[1]) for other in taken)) - height - CLEAR_MM
            box = shapely.box(x0, low, x0 + width, low + height)
            lead = _leader(box, named, ink)
        labels.append((text, (float(box.bounds[0]), float(box.bounds[1]) + DESCENT * TEXT_MM)))
        taken.append(box)
        if lead is not None:
            (ax, ay), (bx, by) = lead.coords
            leaders.append(((ax, ay), (bx, by)))
            taken.append(lead)
    return tuple(labels), tuple(leaders)


def _free_boxes(
    room: tuple[float, float, float, float],
    size: tuple[float, float],
    taken: Sequence[BaseGeometry],
    named: BaseGeometry,
) -> Iterator[BaseGeometry]:
    """Places for a label that touch nothing, nearest to what it names first; ties go low, then left.

    Above and under the drawing there is a line's room, taken when inside all is further.
    """
    x0, y0, x1, y1 = room
    step = max(1.0, max(x1 - x0, y1 - y0) / GRID)
    just = 1.01 * CLEAR_MM  # the grid begins just clear of an edge, so that tight places are found
    inside = np.arange(y0 + just, y1 - just - size[1], step)
    levels = [y0 - just - size[1], *inside, y1 - just - size[1], y1 + just]
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(x0 + just, x1 - size[0], step), levels))
    boxes = shapely.box(x, y, x + size[0], y + size[1])
    far = np.round(shapely.distance(named, boxes), 3)
    far[(y < y0) | (y > y1)] += OUTSIDE_MM
    for other in taken:
        shapely.prepare(other)
    order = np.argsort(far, kind="stable")
    for begin in range(0, len(boxes), BATCH):
        nearest = boxes[order[begin : begin + BATCH]]
        for other in taken:
            nearest = nearest[~shapely.dwithin(other, nearest, CLEAR_MM)]
        yield from nearest


def _leader(box: BaseGeometry, named: BaseGeometry, ink: BaseGeometry) -> BaseGeometry | None:
    """The shortest line from a label to what it names, where the eye would not find it."""
    far = shapely.distance(box, named)
    if isinstance(named, shapely.Point) or far <= min(NEAR_MM, shapely.distance(box, ink) + 2 * CLEAR_MM):
        return None
    return shapely.shortest_line(box, named)


def label_size(text: str) -> tuple[float, float]:
    """Width and height in mm that a label may take, on the large side; a quarter of the type lies under
    its base line."""
    return len(text) * CHARACTER * TEXT_MM, TEXT_MM


def label_box(label: Label) -> tuple[float, float, float, float]:
    """x0, y0, x1, y1 of the room that a label takes."""
    text, (x, y) = label
    width, _ = label_size(text)
    return x, y - DESCENT * TEXT_MM, x + width, y + (1 - DESCENT) * TEXT_MM


def drawn(strokes: Iterable[Stroke]) -> BaseGeometry:
    return shapely.MultiLineString(
        [
            np.vstack([stroke.points, stroke.points[:1]]) if stroke.closed else stroke.points
            for stroke in strokes
        ]
    )


def check_bar(x: float, y: float) -> tuple[list[Stroke], Label]:
    """A bar of 100 mm from (x, y), ticked each 10 mm, and the words under it."""
    marks = np.arange(0, CHECK_MM + 1, TICK_MM)
    ticks = [
        line([(x + at, y), (x + at, y + (3.5 if at % (5 * TICK_MM) == 0 else 2.0))], "check") for at in marks
    ]
    return [line([(x, y), (x + CHECK_MM, y)], "check"), *ticks], (CHECK_WORDS, (x, y - LINE_MM))


def bounds(strokes: Sequence[Stroke], labels: Sequence[Label]) -> tuple[float, float, float, float]:
    """x0, y0, x1, y1 of lines and words."""
    points = [stroke.points for stroke in strokes]
    points += [np.reshape(label_box(label), (2, 2)) for label in labels]
    low_x, low_y = np.vstack(points).min(axis=0)
    high_x, high_y = np.vstack(points).max(axis=0)
    return float(low_x), float(low_y), float(high_x), float(high_y)


# --- SVG ----------------------------------------------------------------------------------------


class Svg:
    """Collects SVG elements of a window of a template: mm, y up outside, y down on the paper."""

    def __init__(self, left: float, top: float) -> None:
        self._left, self._top = left, top
        self._body: list[str] = []

    def place(self, x: float, y: float) -> str:
        return f"{x - self._left:.4f},{self._top - y:.4f}"

    def stroke(self, stroke: Stroke) -> None:
        shape = "polygon" if stroke.closed else "polyline"
        points = " ".join(self.place(x, y) for x, y in stroke.points)
        self._body.append(f'<{shape} class="{stroke.role}" points="{points}" {_style(DASHES[stroke.role])}/>')

    def template(self, template: Template) -> None:
        for stroke in template.strokes:
            self.stroke(stroke)
        for leader in template.leaders:
            self.rule(leader, thin=True)
        for text, at in template.labels:
            self.text(text, at)

    def rule(
        self,
        points: Sequence[tuple[float, float]],
        *,
        dashes: tuple[float, ...] = (),
        thin: bool = False,
    ) -> None:
        """A line that is no outline: leader, cut edge, glue line, cross."""
        path, width = " ".join(self.place(x, y) for x, y in points), THIN_MM if thin else STROKE_MM
        self._body.append(f'<polyline class="mark" points="{path}" {_style(dashes, width=width)}/>')

    def text(
        self, words: str, at: tuple[float, float], *, size: float = TEXT_MM, anchor: str = "start"
    ) -> None:
        x, y = self.place(*at).split(",")
        style = f'font-family="{FONT}, serif" font-size="{size:.4f}" text-anchor="{anchor}" fill="{INK}"'
        self._body.append(f'<text x="{x}" y="{y}" {style}>{escape(words)}</text>')

    def clip(self, name: str, width: float, height: float) -> None:
        """Wraps all so far in a window at the top left corner."""
        window = f'<clipPath id="{name}"><rect width="{width:.4f}" height="{height:.4f}"/></clipPath>'
        self._body = [f'{window}<g clip-path="url(#{name})">', *self._body, "</g>"]

    def svg(self, width: float, height: float) -> str:
        size = f'width="{width:.4f}mm" height="{height:.4f}mm" viewBox="0 0 {width:.4f} {height:.4f}"'
        return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(self._body)}</svg>'


def _style(dashes: tuple[float, ...], *, width: float = STROKE_MM) -> str:
    dashed = f' stroke-dasharray="{" ".join(f"{dash:g}" for dash in dashes)}"' if dashes else ""
    return f'fill="none" stroke="{INK}" stroke-width="{width}"{dashed}'


def template_svg(template: Template) -> bytes:
    """The whole template as one SVG at true scale, its title on top."""
    x0, y0, x1, y1 = bounds(template.strokes, template.labels)
    title = _lines(template.title, x1 - x0)
    left, top = x0 - MARGIN_MM, y1 + MARGIN_MM + LINE_MM * len(title) + 2.0
    sheet = Svg(left, top)
    for k, words in enumerate(title):
        sheet.text(words, (x0, top - MARGIN_MM - LINE_MM * k - 0.75 * TEXT_MM))
    sheet.template(template)
    return sheet.svg(x1 - x0 + 2 * MARGIN_MM, top - y0 + MARGIN_MM).encode()


def _lines(words: str, width: float) -> list[str]:
    """Words broken into lines that a width in mm holds."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and label_size(longer)[0] > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


# --- DXF ----------------------------------------------------------------------------------------


def template_dxf(template: Template) -> bytes:
    """The template as DXF R2010 in mm: a polyline for each stroke and the words, on a layer by role.

    The same template gives the same bytes: ezdxf is told to leave out clock and chance.
    """
    import ezdxf
    from ezdxf import options, units  # type: ignore[attr-defined]

    kept = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        drawing = ezdxf.new("R2010", units=units.MM)  # type: ignore[attr-defined]
        space = drawing.modelspace()
        for role in get_args(Role):
            dashes = DASHES[role]
            if dashes:
                signed = [dash if k % 2 == 0 else -dash for k, dash in enumerate(dashes)]
                drawing.linetypes.add(role, [sum(dashes), *signed], description=f"{role} line")
            drawing.layers.add(role, linetype=role if dashes else "Continuous")
        drawing.layers.add("text")
        for stroke in template.strokes:
            space.add_lwpolyline(
                stroke.points.tolist(), close=stroke.closed, dxfattribs={"layer": stroke.role}
            )
        for begin, end in template.leaders:
            space.add_line(begin, end, dxfattribs={"layer": "text"})
        x0, _, _, y1 = bounds(template.strokes, template.labels)
        for text, place in ((template.title, (x0, y1 + LINE_MM)), *template.labels):
            words = space.add_text(text, height=0.7 * TEXT_MM, dxfattribs={"layer": "text"})
            words.set_placement(place)
        # left to itself ezdxf takes them as a set gives them: in another order each run
        for kind in sorted(drawing.entitydb.dxf_types_in_use()):
            drawing.classes.add_class(kind)
        written = io.StringIO()
        drawing.write(written)
    finally:
        options.write_fixed_meta_data_for_testing = kept
    return written.getvalue().encode(drawing.output_encoding)
