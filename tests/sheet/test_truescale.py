"""Templates: outlines are the form's own at true scale, words cover nothing, tiles cover everything."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from functools import cache
from itertools import combinations
from typing import cast
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
import typst
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import affine_transform

from moldprep.geometry.columns import rotation_for
from moldprep.geometry.outlines import section
from moldprep.geometry.solids import from_manifold, prism, united
from moldprep.sheet.strokes import (
    CHECK_WORDS,
    DASHES,
    Role,
    Stroke,
    Template,
    bounds,
    label_box,
    template_dxf,
    template_svg,
)
from moldprep.sheet.tiling import Paper, tiles
from moldprep.sheet.truescale import _in_plane, templates
from tests.samples import planned

STEMS = ["bud-vase", "tumbler", "sphere", "kidney-vase", "mug"]
SAME_MM = 0.01
"""What a maker's eye and a laser cutter both let go."""
WRITTEN_MM = 1e-4
"""SVG is written to four decimals: two ends are off by half a unit of the last one each."""
SPACE = "{http://www.w3.org/2000/svg}"
PRINTABLE_MM = {"a4": (210 - 34, 297 - 15 - 24), "letter": (215.9 - 34, 279.4 - 15 - 24)}
"""Portrait pages less margins of 17 mm at the sides, 15 on top and 24 below."""


@cache
def made(stem: str) -> dict[str, Template]:
    return {template.name: template for template in templates(planned(stem))}


def all_made() -> list[Template]:
    return [template for stem in STEMS for template in made(stem).values()]


def area(strokes: tuple[Stroke, ...], role: Role) -> shapely.Geometry:
    """Even-odd area of the closed strokes of a role."""
    found = shapely.Polygon()
    for stroke in strokes:
        if stroke.role == role and stroke.closed:
            found = shapely.symmetric_difference(found, shapely.Polygon(stroke.points))
    return found


def read(svg: bytes | str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def shapes(root: ElementTree.Element, role: str) -> list[np.ndarray]:
    """(k, 2) points of the lines of a class, as written."""
    found = [shape for shape in root.iter() if shape.get("class") == role]
    return [
        np.array([[float(value) for value in pair.split(",")] for pair in shape.get("points", "").split()])
        for shape in found
    ]


def rectangle(
    width: float, height: float, *, words: tuple[tuple[str, tuple[float, float]], ...] = ()
) -> Template:
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
    return Template("cottle", "Cottle", (Stroke(corners, "cottle", True),), words)


# --- what is drawn ------------------------------------------------------------------------------


def test_each_plane_has_its_template_and_a_mold_of_one_piece_has_two() -> None:
    assert list(made("bud-vase")) == ["seam-equator", "seam-front-back", "cottle", "base"]
    assert list(made("sphere")) == ["seam-equator", "cottle", "base"]
    assert list(made("mug")) == ["seam-front-back", "cottle", "base"]
    assert list(made("tumbler")) == ["cottle", "base"]


def test_a_ball_parted_at_its_equator_gives_a_circle_of_its_radius() -> None:
    """Within the chord error of its facets, edge^2 / 8 r; the sample ball has radius 50 and no shrinkage."""
    plan = planned("sphere")
    (ring,) = [stroke for stroke in made("sphere")["seam-equator"].strokes if stroke.role == "form"]
    edges = plan.stand.form.vertices[plan.stand.form.faces[:, :2]]
    chord = np.linalg.norm(edges[:, 0] - edges[:, 1], axis=1).max() ** 2 / (8 * 50)
    middle = shapely.Polygon(ring.points).centroid
    radii = np.linalg.norm(
        shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(ring.points), 0.5))
        - (middle.x, middle.y),
        axis=1,
    )
    assert radii.max() <= 50 + SAME_MM and radii.min() >= 50 - chord - SAME_MM
    assert (middle.x, middle.y) == pytest.approx(plan.block.centre, abs=SAME_MM)


def test_a_level_seam_is_the_section_seen_from_above() -> None:
    plan, template = planned("bud-vase"), made("bud-vase")["seam-equator"]
    (height,) = plan.parting.chosen.planes_mm
    wanted = section(plan.stand.mesh, height)
    assert shapely.hausdorff_distance(area(template.strokes, "form"), wanted) < SAME_MM
    assert (
        shapely.hausdorff_distance(area(template.strokes, "cottle"), shapely.Polygon(plan.block.outline))
        < SAME_MM
    )


def test_an_upright_seam_is_seen_from_the_front_between_its_heights() -> None:
    """The mug's handle is on the right, and the outline lies on the form as another library reads it."""
    plan, template = planned("mug"), made("mug")["seam-front-back"]
    form = area(template.strokes, "form")
    low, high = plan.stand.mesh.bounds
    assert form.bounds == pytest.approx((low[0], low[2], high[0], high[2]), abs=SAME_MM)
    whole = trimesh.Trimesh(plan.stand.mesh.vertices, plan.stand.mesh.faces)
    offset = plan.parting.chosen.layers[0].offset_mm
    cut = whole.section(plane_origin=(0, offset, 0), plane_normal=(0, 1, 0))
    flat = [shapely.Polygon(ring[:, [0, 2]]) for ring in cut.discrete]
    wanted = flat[0]
    for other in flat[1:]:
        wanted = wanted.symmetric_difference(other)
    assert shapely.symmetric_difference(form, wanted).area < SAME_MM * wanted.length
    block = area(template.strokes, "cottle")
    assert block.bounds[1::2] == pytest.approx((plan.block.bottom_mm, plan.block.top_mm))
    near = next(piece for piece in plan.pieces.pieces if piece.pull[1] < -0.9)
    assert f"seen from the front, where {near.letter} leaves" in template.title


def test_halves_over_a_foot_piece_end_at_the_level_seam() -> None:
    plan, template = planned("bud-vase"), made("bud-vase")["seam-front-back"]
    low, high = plan.parting.chosen.layers[1].low_mm, plan.block.top_mm
    for role in ("form", "cottle"):
        assert area(template.strokes, cast(Role, role)).bounds[1::2] == pytest.approx((low, high))
    sides = np.array(area(template.strokes, "cottle").bounds[::2])
    assert sides == pytest.approx(
        plan.block.centre[0] + np.array([-1, 1]) * plan.block.inner_mm[0] / 2, abs=SAME_MM
    )
    ends = [stroke.points[:, 1] for stroke in template.strokes if stroke.role == "line"]
    assert len(ends) == 2 and np.allclose(ends, low)


def test_boards_lie_square_to_the_paper_and_the_form_in_them_as_it_stands() -> None:
    """The kidney vase's box is turned; turned back, its foot is the section that the plan has."""
    plan = planned("kidney-vase")
    assert abs(plan.block.turn_deg) > 1
    turn = np.radians(plan.block.turn_deg)
    back = [np.cos(turn), -np.sin(turn), np.sin(turn), np.cos(turn), 0, 0]
    for name in ("cottle", "base"):
        x0, y0, x1, y1 = area(made("kidney-vase")[name].strokes, "cottle").bounds
        assert (x1 - x0, y1 - y0) == pytest.approx(plan.block.inner_mm, abs=SAME_MM)
    foot = affine_transform(area(made("kidney-vase")["base"].strokes, "form"), back)
    assert shapely.hausdorff_distance(foot, section(plan.stand.mesh, 0.05)) < SAME_MM
    opening = affine_transform(area(made("kidney-vase")["cottle"].strokes, "form"), back)
    assert shapely.hausdorff_distance(opening, shapely.Polygon(plan.stand.opening_outlines[0])) < SAME_MM
    (seam,) = [stroke for stroke in made("kidney-vase")["cottle"].strokes if stroke.role == "line"]
    (layer,) = plan.parting.chosen.layers
    azimuth = np.radians(layer.azimuth_deg or 0.0)
    ends = np.array([affine_transform(shapely.Point(end), back).coords[0] for end in seam.points])
    assert ends @ [np.cos(azimuth), np.sin(azimuth)] == pytest.approx(
        np.full(2, layer.offset_mm), abs=SAME_MM
    )


def test_a_mold_poured_upside_down_has_its_base_seen_as_it_lies() -> None:
    plan, template = planned("tumbler"), made("tumbler")["base"]
    at = {text: place[0] for text, place in template.labels}
    assert at["left"] > at["right"] and "left and right change over" in template.title
    spare = section(plan.stand.mesh, plan.stand.top_mm - 0.05)
    mirrored = affine_transform(spare, [-1, 0, 0, 1, 0, 0])
    assert shapely.hausdorff_distance(area(template.strokes, "form"), mirrored) < SAME_MM


@pytest.mark.parametrize("narrow_on_top", [True, False])
def test_a_shoulder_in_the_plane_belongs_to_the_outline(narrow_on_top: bool) -> None:
    wide, narrow = (np.array([(-r, -r), (r, -r), (r, r), (-r, r)], float) for r in (20.0, 12.0))
    low, high = (wide, narrow) if narrow_on_top else (narrow, wide)
    form = from_manifold(united([prism(low, 0, 10), prism(high, 10, 25)]))
    assert _in_plane(form, 10.0, rotation_for((0, 0, 1))).area == pytest.approx(40.0**2)
    assert _in_plane(form, 5.0, rotation_for((0, 0, 1))).area == pytest.approx(
        (40 if narrow_on_top else 24) ** 2
    )


# --- words --------------------------------------------------------------------------------------


@pytest.mark.parametrize("stem", STEMS)
def test_labels_cover_no_line_and_no_other_label(stem: str) -> None:
    for template in made(stem).values():
        boxes = [(text, shapely.box(*label_box((text, at)))) for text, at in template.labels]
        for (one, box), (other, second) in combinations(boxes, 2):
            assert not box.intersects(second), f"{template.name}: {one} on {other}"
        for stroke in template.strokes:
            ring = np.vstack([stroke.points, stroke.points[: int(stroke.closed)]])
            for text, box in boxes:
                assert not shapely.LineString(ring).intersects(box), f"{template.name}: {text}"
        for leader in template.leaders:
            assert (
                sum(shapely.LineString(leader).intersects(box.buffer(-WRITTEN_MM)) for _, box in boxes) == 0
            )


def test_every_title_says_from_where_it_is_seen_and_fits_the_caption() -> None:
    for template in all_made():
        assert re.search("seen from|as it lies|upside down", template.title)
        x0, _, x1, _ = label_box((template.title, (0.0, 0.0)))
        assert x1 - x0 < PRINTABLE_MM["a4"][0]


# --- SVG ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("stem", STEMS)
def test_svg_is_at_true_scale(stem: str) -> None:
    """Read back as XML: one unit is one mm, outlines are the template's, all ink keeps the margin."""
    for template in made(stem).values():
        root = read(template_svg(template))
        width, height = (float(root.get(side, "").removesuffix("mm")) for side in ("width", "height"))
        assert [float(value) for value in root.get("viewBox", "").split()] == [0, 0, width, height]
        x0, y0, x1, _ = bounds(template.strokes, template.labels)
        assert width == pytest.approx(x1 - x0 + 10, abs=WRITTEN_MM)
        for role in DASHES:
            own = [stroke.points for stroke in template.strokes if stroke.role == role]
            for points, written in zip(own, shapes(root, role), strict=True):
                back = np.column_stack([written[:, 0] + x0 - 5, height - written[:, 1] + y0 - 5])
                assert np.abs(back - points).max() < SAME_MM
                assert (written >= 5 - WRITTEN_MM).all() and (
                    written <= (width - 5 + WRITTEN_MM, height - 5 + WRITTEN_MM)
                ).all()
        texts = list(root.iter(f"{SPACE}text"))
        assert min(float(text.get("font-size", "")) for text in texts) * 72 / 25.4 >= 11
        assert {text for text, _ in template.labels} <= {text.text for text in texts}


def test_form_and_cottle_differ_by_their_dashes() -> None:
    root = read(template_svg(made("bud-vase")["seam-equator"]))
    dashes = {
        shape.get("class"): shape.get("stroke-dasharray") for shape in root.iter() if shape.get("class")
    }
    assert dashes["form"] is None and dashes["cottle"] and dashes["line"] != dashes["cottle"]
    assert {shape.get("stroke-width") for shape in root.iter() if shape.get("class") in DASHES} == {"0.35"}


def measure_bar(root: ElementTree.Element) -> float:
    lines = shapes(root, "check")
    level = [line for line in lines if np.ptp(line[:, 1]) == 0]
    ticks = sorted(line[0, 0] for line in lines if np.ptp(line[:, 0]) == 0)
    assert len(level) == 1 and np.diff(ticks) == pytest.approx(np.full(10, 10.0), abs=WRITTEN_MM)
    return float(np.ptp(level[0][:, 0]))


def test_the_check_bar_is_100_mm_on_every_template_and_every_tile() -> None:
    for template in all_made():
        assert measure_bar(read(template_svg(template))) == pytest.approx(100, abs=WRITTEN_MM)
        assert CHECK_WORDS in [text for text, _ in template.labels]
        for tile in tiles(template, paper="a4"):
            root = read(tile.svg)
            assert measure_bar(root) == pytest.approx(100, abs=WRITTEN_MM)
            assert CHECK_WORDS in [text.text for text in root.iter(f"{SPACE}text")]


# --- DXF ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("stem", STEMS)
def test_dxf_read_back_is_in_mm_closed_and_of_the_same_area(stem: str) -> None:
    for template in made(stem).values():
        drawing = ezdxf.read(io.StringIO(template_dxf(template).decode()))
        assert drawing.dxfversion == "AC1024" and drawing.header["$INSUNITS"] == 4
        assert not drawing.audit().errors
        space = drawing.modelspace()
        for role in DASHES:
            own = [stroke for stroke in template.strokes if stroke.role == role]
            lines = list(space.query(f'LWPOLYLINE[layer=="{role}"]'))
            for stroke, line in zip(own, lines, strict=True):
                assert bool(line.closed) == stroke.closed
                points = np.array(line.get_points("xy"))
                assert np.abs(points - stroke.points).max() < SAME_MM
                if stroke.closed:
                    assert shapely.Polygon(points).area == pytest.approx(shapely.Polygon(stroke.points).area)
        words = {text.dxf.text for text in space.query("TEXT")}
        assert words == {template.title, *(text for text, _ in template.labels)}


def test_the_same_template_gives_the_same_bytes() -> None:
    template = made("bud-vase")["seam-equator"]
    again = {item.name: item for item in templates(planned("bud-vase"))}["seam-equator"]
    assert template_svg(template) == template_svg(again)
    assert template_dxf(template) == template_dxf(again)
    assert [tile.svg for tile in tiles(template, paper="a4")] == [
        tile.svg for tile in tiles(again, paper="a4")
    ]


def test_dxf_names_its_classes_in_one_order_whatever_the_seed_of_hashes() -> None:
    """Left to itself ezdxf takes the kinds in use as a set gives them, which is another order in each process."""
    drawing = ezdxf.read(io.StringIO(template_dxf(rectangle(30, 20)).decode()))
    used = drawing.entitydb.dxf_types_in_use()
    named = [kind.dxf.name for kind in drawing.classes if kind.dxf.name in used]
    assert len(named) > 3 and named == sorted(named)


# --- tiles --------------------------------------------------------------------------------------


@given(st.floats(5, 900), st.floats(5, 900), st.sampled_from(["a4", "letter"]))
@settings(max_examples=40, deadline=None)
def test_tiles_cover_the_drawing_overlap_by_10_mm_and_fit_the_page(
    width: float, height: float, paper: Paper
) -> None:
    template = rectangle(width, height)
    pages = tiles(template, paper=paper)
    union = shapely.union_all([shapely.box(*tile.window) for tile in pages])
    assert union.buffer(1e-9).covers(shapely.box(0, 0, width, height))
    by_place = {(tile.row, tile.column): tile for tile in pages}
    short, long = PRINTABLE_MM[paper]
    for (row, column), tile in by_place.items():
        room = (short, long) if tile.orientation == "portrait" else (long + 5, short - 5)
        assert tile.width <= room[0] + 1e-9 and tile.height <= room[1] + 1e-9
        assert tile.name == f"{'ABCDEFGHIJ'[row]}{column + 1}"
        root = read(tile.svg)
        size = [float(root.get(side, "").removesuffix("mm")) for side in ("width", "height")]
        assert size == pytest.approx([tile.width, tile.height], abs=WRITTEN_MM)
        if (row, column + 1) in by_place:
            assert tile.window[2] - by_place[row, column + 1].window[0] == pytest.approx(10)
        if (row + 1, column) in by_place:
            assert by_place[row + 1, column].window[3] - tile.window[1] == pytest.approx(10)
    assert len(pages) == pages[0].rows * pages[0].columns == len(by_place)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_large_cottle_takes_several_pages_and_a_small_one_a_single_page(paper: Paper) -> None:
    assert len(tiles(rectangle(100, 100), paper=paper)) == 1
    assert len(tiles(rectangle(400, 400), paper=paper)) > 1
    short, long = PRINTABLE_MM[paper]
    upright = tiles(rectangle(short - 3, long - 21), paper=paper)
    lying = tiles(rectangle(long - 3, short - 21), paper=paper)
    assert [tile.orientation for tile in (*upright, *lying)] == ["portrait", "landscape"]
    with pytest.raises(ValueError, match="a4, letter"):
        tiles(rectangle(9, 9), paper=cast(Paper, "a3"))


def test_a_tile_shows_its_window_of_the_template() -> None:
    template = made("mug")["cottle"]
    pages = tiles(template, paper="letter")
    own = [stroke.points for stroke in template.strokes if stroke.role == "cottle"]
    for tile in pages:
        for points, written in zip(own, shapes(read(tile.svg), "cottle"), strict=True):
            back = np.column_stack([written[:, 0] + tile.window[0], tile.window[3] - written[:, 1]])
            assert np.abs(back - points).max() < SAME_MM


def test_page_edges_go_round_the_words_where_there_is_room() -> None:
    """A label in the middle of a drawing that takes two pages with room to spare."""
    pages = tiles(rectangle(250, 200, words=(("in the middle", (112.0, 100.0)),)), paper="a4")
    x0, _, x1, _ = label_box(("in the middle", (112.0, 100.0)))
    assert len(pages) == 2
    assert all(not x0 < edge < x1 for edge in (pages[0].window[2], pages[1].window[0]))


def test_crosses_of_neighbours_fall_together() -> None:
    pages = tiles(rectangle(400, 400), paper="a4")
    middles: list[set[tuple[float, float]]] = []
    for tile in pages:
        lines = [line for line in shapes(read(tile.svg), "mark") if np.ptp(line, axis=0).max() < 6.5]
        centres = np.array([line.mean(axis=0) for line in lines])
        middles.append({(round(tile.window[0] + x, 2), round(tile.window[3] - y, 2)) for x, y in centres})
    for one, other in combinations(range(len(pages)), 2):
        a, b = pages[one], pages[other]
        if abs(a.row - b.row) + abs(a.column - b.column) == 1:
            assert len(middles[one] & middles[other]) >= 4


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_bar_measures_100_mm_on_the_printed_page(paper: Paper) -> None:
    """Set by typst and rendered at 254 dpi, ten dots a mm: two dots are the edges of the rendering."""
    tool = shutil.which("pdftoppm")
    assert tool, "install poppler-utils: pages are looked at as pictures"
    tile = tiles(made("mug")["cottle"], paper=paper)[0]
    names = {"a4": "a4", "letter": "us-letter"}
    page = f'paper: "{names[paper]}", flipped: {str(tile.orientation == "landscape").lower()}'
    body = f'#set page({page}, margin: (x: 17mm, top: 15mm, bottom: 24mm))\n#image("tile.svg", width: {tile.width}mm)'
    pdf = typst.compile({"main.typ": body.encode(), "tile.svg": tile.svg.encode()}, ignore_system_fonts=True)
    data = subprocess.run(
        [tool, "-r", "254", "-gray", "-"], input=pdf, capture_output=True, check=True
    ).stdout
    pages = list(re.finditer(rb"P5\n(\d+) (\d+)\n255\n", data))
    assert len(pages) == 1, "the tile runs over its page"
    width, height = int(pages[0][1]), int(pages[0][2])
    dots = np.frombuffer(data[pages[0].end() :], np.uint8)[: width * height].reshape(height, width) < 128
    caption = dots[round((15 + tile.height - 18) * 10) :]
    rows = [run[:11] for run in map(runs_of_ink, caption) if len(run) >= 11]
    ticks = [run for run in rows if np.abs(np.diff(run) - 100).max() <= 1.5]
    assert len(ticks) >= 10, "two mm of ticks are twenty rows, less their ends"
    for run in ticks:
        assert run[-1] - run[0] == pytest.approx(1000, abs=2)


def runs_of_ink(row: np.ndarray) -> np.ndarray:
    """Middles of the dark runs of a row of dots."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    return np.asarray((edges[1::2] + edges[::2]) / 2)
