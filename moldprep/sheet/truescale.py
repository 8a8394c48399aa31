"""Templates at true scale: the form's outline at each seam plane, the cottle, and what stands in it.

A template is drawn as the maker sees it on the bench; its title says from where. `strokes` sets it
on paper.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh, read_only
from ..geometry.outlines import circle_outline, section, silhouette
from ..geometry.solids import from_manifold, prism
from ..parting import Layer
from ..pieces import Piece
from ..planning import Plan
from .strokes import (
    CHECK_MM,
    Role,
    Stroke,
    Template,
    bounds,
    check_bar,
    drawn,
    line,
    placed,
    template_dxf,
    template_svg,
)
from .tiling import Tile, tiles

__all__ = ["Stroke", "Template", "Tile", "template_dxf", "template_svg", "templates", "tiles"]

FLAT_MM = 1e-4
"""A plane is looked at this far above and below where a flat of the form may lie in it."""
FLAT_GAIN_MM = 0.05
"""Outlines above and below that differ by more than this, all along, show a flat in the plane."""
UPRIGHT = 0.999
"""Directions whose cosine is above this are one."""
BEYOND_MM = 5.0
"""Seam lines end this far outside the block."""
STRAIGHT_MM = 1e-6
"""Corners that stand out less are none."""
SAME_MM = 0.2
"""Lines nearer to each other than this print as one: the lesser is left out there."""
FOOT_MM = 0.05
"""The end of a form is cut this far inside it."""
SPECK_MM2 = 0.5
"""Rings smaller than this are slivers of a shadow's edge."""


# --- templates ----------------------------------------------------------------------------------


def templates(plan: Plan) -> tuple[Template, ...]:
    """A template for each seam plane from the foot up, then the cottle and the base.

    Level planes are seen from above, upright ones from the front or the right, as in the views. The
    base of a mold that is poured upside down is seen as it lies on the board, so left and right
    change over: its title says so.
    """
    layers = plan.parting.chosen.layers
    found = [_level_seam(plan, k) for k in range(1, len(layers))]
    found += [_upright_seam(plan, k) for k, layer in enumerate(layers) if layer.kind == "split"]
    found += [_cottle(plan), _base(plan)]
    names = [template.name for template in found]
    for k, template in enumerate(found):
        if names.count(template.name) > 1:
            name = f"{template.name}-{names[: k + 1].count(template.name)}"
            found[k] = replace(template, name=name)
    return tuple(found)


def _level_seam(plan: Plan, upper: int) -> Template:
    """The plane between layer `upper` and the one under it, across the stack axis."""
    chosen, height = plan.parting.chosen, plan.parting.chosen.layers[upper].low_mm
    upright = abs(chosen.axis[2]) > UPRIGHT
    turn = plan.block.turn_deg if upright else 0.0
    rotation = _turned(rotation_for(chosen.axis), -turn)
    form = _in_plane(plan.stand.mesh, height, rotation)
    block = _block(plan, height, rotation)
    draft = _Draft([*_rings(form, "form"), *_rings(block, "cottle"), *_cross(plan, rotation, block)])
    for number in (upper - 1, upper):
        if chosen.layers[number].kind == "split":
            draft.strokes += _seam_across(chosen.layers[number], block, turn)
            draft.wish(f"seam of {_letters(plan, number)}", draft.strokes[-1:])
    draft.strokes += _natches(plan, rotation, height)
    draft.wish("form at the seam", draft.of("form"))
    draft.wish("natch", draft.of("natch"))
    draft.wish("cottle, inside" if upright else "block", draft.of("cottle"))
    if upright:
        draft.wish_sides(block, rotation)
    known = [seam for seam in chosen.seams if seam.kind == "horizontal"]
    word = next((seam.name for seam in known if abs((seam.height_mm or 0.0) - height) < 1e-6), "level")
    under, over = (_letters(plan, k) for k in (upper - 1, upper))
    seen = "seen from above" if upright else f"seen from the {_seen_from(chosen.axis)}"
    title = f"{'Level' if upright else 'Cross'} seam at {height:.1f} mm ({word}): {under} under, {over} over; {seen}"
    return draft.template(f"seam-{_kebab(word)}", title)


def _upright_seam(plan: Plan, number: int) -> Template:
    """The plane between the halves of a split layer, limited to the layer's heights."""
    chosen, layer = plan.parting.chosen, plan.parting.chosen.layers[number]
    toward = _across(layer) @ rotation_for(chosen.axis)[:2]
    side = -1.0 if _behind(toward) else 1.0
    rotation = rotation_for(side * toward, up=chosen.axis)
    offset = side * (layer.offset_mm or 0.0)
    low = layer.low_mm if number else -np.inf
    high = layer.high_mm if number < len(chosen.layers) - 1 else np.inf
    whole = _block(plan, offset, rotation)
    x0, y0, x1, y1 = whole.bounds
    slab = shapely.box(x0 - 1, max(low, y0 - 1), x1 + 1, min(high, y1 + 1))
    block = shapely.intersection(whole, slab)
    form = shapely.intersection(_in_plane(plan.stand.mesh, offset, rotation), slab)
    middle = float(rotation[0] @ [*plan.block.centre, (plan.block.bottom_mm + plan.block.top_mm) / 2])
    low_y, high_y = float(block.bounds[1]), float(block.bounds[3])
    draft = _Draft([*_rings(form, "form"), *_rings(block, "cottle")])
    draft.strokes.append(line([(middle, low_y), (middle, high_y)], "axis"))
    for height, inside in ((low, number > 0), (high, number < len(chosen.layers) - 1)):
        if inside:
            draft.strokes.append(line([(x0 - BEYOND_MM, height), (x0, height)], "line"))
            draft.strokes.append(line([(x1, height), (x1 + BEYOND_MM, height)], "line"))
            draft.wish(f"level seam, {height:.1f} mm", [line([(x0, height), (x1, height)], "line")])
        else:
            edge = low_y if height < 0 else high_y
            words = _end_words(plan, edge) if abs(chosen.axis[2]) > UPRIGHT else f"end, {edge:.1f} mm"
            draft.wish(words, [line([(x0, edge), (x1, edge)], "cottle")])
    draft.strokes += _natches(plan, rotation, offset, low, high)
    draft.wish("form at the seam", draft.of("form"))
    draft.wish("natch", draft.of("natch"))
    near, far = (_piece(plan, number, way * side * toward) for way in (1, -1))
    seen = _seen_from(side * toward)
    title = (
        f"Upright seam of {near.letter} and {far.letter}: seen from the {seen}, where {near.letter} leaves"
    )
    names = sorted((near.name, far.name), key=lambda name: (name.split()[-1] in ("right", "back"), name))
    return draft.template("seam-" + _kebab(" ".join(names)), title)


def _natches(
    plan: Plan, rotation: Floats, offset: float, low: float = -np.inf, high: float = np.inf
) -> list[Stroke]:
    """The mouths of the natches in a seam plane, between two heights in it."""
    found = []
    for joint in plan.pieces.joints:
        for natch in joint.natches:
            u, v, d = rotation @ np.array(natch.where)
            if (
                abs(d - offset) < FOOT_MM
                and abs(np.dot(natch.axis, rotation[2])) > UPRIGHT
                and low < v < high
            ):
                found.append(Stroke(read_only(circle_outline((u, v), natch.diameter_mm / 2)), "natch", True))
    return found


def _cottle(plan: Plan) -> Template:
    """The cottle in plan, with what the form opens to and what stands on the board."""
    stand, chosen = plan.stand, plan.parting.chosen
    turn = plan.block.turn_deg
    rotation = _turned(np.eye(3), -turn)
    block = shapely.Polygon(plan.block.outline @ rotation[:2, :2].T)
    opening = [
        Stroke(read_only(outline @ rotation[:2, :2].T), "form", True) for outline in stand.opening_outlines
    ]
    draft = _Draft([*opening, *_rings(block, "cottle"), *_cross(plan, rotation, block)])
    draft.wish(f"opening at the {'foot' if stand.opening == 'foot' else 'rim'}", opening)
    if stand.spare_mm > FOOT_MM:
        end = _apart(
            _rings(section(stand.mesh, stand.top_mm - FOOT_MM, rotation=rotation), "shadow"), opening
        )
        draft.strokes += end
        alone = len(chosen.layers) == 1 and chosen.layers[0].kind != "split"
        draft.wish("end of the spare, on the board" if alone else "end of the spare", end)
    if abs(chosen.axis[2]) > UPRIGHT:
        for number, layer in enumerate(chosen.layers):
            if layer.kind == "split":
                draft.strokes += _seam_across(layer, block, turn)
                draft.wish(f"seam of {_letters(plan, number)}", draft.strokes[-1:])
    draft.wish("cottle, inside", draft.of("cottle"))
    draft.wish_sides(block, rotation)
    sides = " × ".join(f"{side:.0f}" for side in plan.block.inner_mm)
    kind = {"ring": "ring {} mm inside", "box": "boards {} mm inside", "sheet": "sheet {} mm round inside"}
    size = kind[plan.block.kind].format(sides)
    return draft.template(
        "cottle", f"Cottle: {size}, {plan.block.fill_mm:.0f} mm of plaster; seen from above"
    )


def _base(plan: Plan) -> Template:
    """Where the form stands inside the cottle: on its foot, or on its spare when poured upside down."""
    stand, layers = plan.stand, plan.parting.chosen.layers
    over = len(layers) == 1 and layers[0].kind != "split"
    turn = plan.block.turn_deg
    rotation = _turned(rotation_for((0, 0, -1 if over else 1)), turn if over else -turn)
    height = FOOT_MM - stand.top_mm if over else FOOT_MM
    block = shapely.Polygon(plan.block.outline @ rotation[:2, :2].T)
    stands = _rings(section(stand.mesh, height, rotation=rotation), "form")
    shadow = _apart(_rings(silhouette(stand.mesh, rotation=rotation), "shadow"), stands)
    draft = _Draft([*stands, *shadow, *_rings(block, "cottle"), *_cross(plan, rotation, block)])
    what = ("end of the spare" if stand.spare_mm > 0 else "opening") if over else _low_end(plan)
    draft.wish(f"{what} stands here", stands)
    draft.wish("widest", shadow)
    draft.wish("cottle, inside", draft.of("cottle"))
    draft.wish_sides(block, rotation)
    seen = (
        "on the board, upside down: left and right change over" if over else "in the cottle; seen from above"
    )
    return draft.template("base", f"Base: {what} {seen}")


def _in_plane(form: Mesh, height: float, rotation: Floats) -> BaseGeometry:
    """What a plane cuts from the form; a flat of the form that lies in the plane belongs to it."""
    below, above = (
        section(form, height - FLAT_MM, rotation=rotation),
        section(form, height + FLAT_MM, rotation=rotation),
    )
    changed = shapely.symmetric_difference(below, above)
    if changed.area > FLAT_GAIN_MM * max(below.length, above.length):
        return shapely.union_all([below, above])
    return section(form, height, rotation=rotation)


def _block(plan: Plan, height: float, rotation: Floats) -> BaseGeometry:
    """What a plane cuts from the block, corners only."""
    block = from_manifold(prism(plan.block.outline, plan.block.bottom_mm, plan.block.top_mm))
    return shapely.simplify(section(block, height, rotation=rotation), STRAIGHT_MM)


def _rings(area: BaseGeometry, role: Role) -> list[Stroke]:
    """Outer and inner outlines of an area, without specks and without points that repeat."""
    found = []
    for part in shapely.get_parts(area):
        if isinstance(part, shapely.Polygon):
            for ring in (part.exterior, *part.interiors):
                if shapely.Polygon(ring).area > SPECK_MM2:
                    found.append(Stroke(read_only(np.array(ring.coords)[:-1]), role, True))
    return found


def _cross(plan: Plan, rotation: Floats, block: BaseGeometry) -> list[Stroke]:
    """The middle of the block: two lines through its axis, from edge to edge."""
    x, y = rotation[:2] @ [*plan.block.centre, (plan.block.bottom_mm + plan.block.top_mm) / 2]
    x0, y0, x1, y1 = block.bounds
    return [line([(x0, y), (x1, y)], "axis"), line([(x, y0), (x, y1)], "axis")]


def _turned(rotation: Floats, degrees: float) -> Floats:
    """The frame with its drawing turned on the paper, counter-clockwise: boards lie square to the page."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) @ rotation)


def _apart(rings: list[Stroke], others: list[Stroke]) -> list[Stroke]:
    """The rings that do not run along one of the others."""
    return [
        ring
        for ring in rings
        if all(shapely.hausdorff_distance(drawn([ring]), drawn([other])) > SAME_MM for other in others)
    ]


def _across(layer: Layer, *, turn: float = 0.0) -> Floats:
    """(2,) way in which the first half leaves, in the frame across the stack axis turned back by `turn`."""
    azimuth = np.radians((layer.azimuth_deg or 0.0) - turn)
    return np.array([np.cos(azimuth), np.sin(azimuth)])


def _seam_across(layer: Layer, block: BaseGeometry, turn: float) -> list[Stroke]:
    """The plane between a layer's halves as a line over the block's plan, a little beyond its edge."""
    normal = _across(layer, turn=turn)
    along, foot = np.array([-normal[1], normal[0]]), (layer.offset_mm or 0.0) * normal
    plane = shapely.LineString([foot - 1e4 * along, foot + 1e4 * along])
    crossed = shapely.intersection(plane, block.buffer(BEYOND_MM))
    return [line(part.coords, "line") for part in shapely.get_parts(crossed) if part.length > 0]


def _behind(toward: Floats) -> bool:
    """Whether a direction leads away from the viewer of the front view, or of the side view."""
    return bool(toward[1] > 0.5 or (abs(toward[1]) <= 0.5 and toward[0] < 0))


def _seen_from(toward: Sequence[float] | Floats) -> str:
    """Where a viewer stands toward whom the direction leads."""
    x, y, z = toward
    if abs(z) > np.cos(np.radians(45)):
        return "top" if z > 0 else "bottom"
    if abs(x) >= abs(y) - 1e-9:
        return "right" if x > 0 else "left"
    return "back" if y > 0 else "front"


def _piece(plan: Plan, number: int, pull: ArrayLike) -> Piece:
    """The piece of a layer that leaves along a pull: of those that do, the one at the layer's height."""
    axis, layer = np.array(plan.parting.chosen.axis), plan.parting.chosen.layers[number]

    def misfit(piece: Piece) -> tuple[bool, float]:
        heights = piece.mesh.vertices @ axis
        middle = (heights.min() + heights.max()) / 2
        return bool(np.dot(piece.pull, pull) < UPRIGHT), float(
            abs(middle - (layer.low_mm + layer.high_mm) / 2)
        )

    return min(plan.pieces.pieces, key=misfit)


def _letters(plan: Plan, number: int) -> str:
    """Letters of a layer's pieces: "B and C"."""
    layer, frame = plan.parting.chosen.layers[number], rotation_for(plan.parting.chosen.axis)
    if layer.kind == "split":
        across = _across(layer) @ frame[:2]
        return " and ".join(sorted(_piece(plan, number, way * across).letter for way in (1, -1)))
    return _piece(plan, number, frame[2] if layer.kind == "up" else -frame[2]).letter


def _low_end(plan: Plan) -> str:
    """What the form stands on in its mold: a figurine that is poured through its foot stands on its top."""
    return "top of the form" if plan.stand.opening == "foot" else "foot"


def _end_words(plan: Plan, height: float) -> str:
    return f"{'opening' if height > 0 else 'floor'} end, {height:.1f} mm".replace("-", "−")


def _kebab(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")


@dataclass(eq=False)
class _Draft:
    """Strokes of a template to be, and the labels that it wants, each at what it names."""

    strokes: list[Stroke]
    wishes: list[tuple[str, BaseGeometry]] = field(default_factory=list)

    def of(self, role: Role) -> list[Stroke]:
        return [stroke for stroke in self.strokes if stroke.role == role]

    def wish(self, text: str, strokes: Sequence[Stroke]) -> None:
        if strokes and all(text != other for other, _ in self.wishes):
            self.wishes.append((text, drawn(strokes)))

    def wish_sides(self, block: BaseGeometry, rotation: Floats) -> None:
        """Front, back, left and right, each where that way leaves the middle of a plan."""
        x0, y0, x1, y1 = block.bounds
        middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        ways = {"front": (0, -1, 0), "back": (0, 1, 0), "left": (-1, 0, 0), "right": (1, 0, 0)}
        for text, way in ways.items():
            ray = shapely.LineString([middle, middle + 1e4 * (rotation @ way)[:2]])
            inside = shapely.intersection(ray, block)
            self.wishes.append((text, shapely.Point(inside.coords[-1])))

    def template(self, name: str, title: str) -> Template:
        """Labels put where they cover nothing; the check bar under the drawing."""
        self._lift_doubles()
        labels, leaders = placed(self.wishes, self.strokes)
        x0, y0, x1, _ = bounds(self.strokes, labels)
        bar, words = check_bar(max(x0, (x0 + x1 - CHECK_MM) / 2), y0 - 9.0)
        return Template(name, title, (*self.strokes, *bar), (*labels, words), leaders)

    def _lift_doubles(self) -> None:
        """Middle lines are left out along seam lines, whose dashes they would fill."""
        seams = drawn(self.of("line")).buffer(SAME_MM)
        kept = [stroke for stroke in self.strokes if stroke.role != "axis"]
        for stroke in self.of("axis"):
            for part in shapely.get_parts(shapely.difference(drawn([stroke]), seams)):
                if part.length > BEYOND_MM:
                    kept.append(line(part.coords, "axis"))
        self.strokes = kept
