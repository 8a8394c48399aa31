"""Lettering: heights, holes and strokes measured on the outlines; ink against typst's own rasteriser."""

from __future__ import annotations

import io
import unicodedata
from typing import Any, cast

import numpy as np
import pytest
import shapely
import typst
from PIL import Image, ImageDraw
from shapely.affinity import scale, translate

from moldprep.geometry.lettering import CHORD_ERROR, lettering

ROUNDING = 1e-6
"""Relative: outlines pass through an integer grid when they are joined, far finer than this."""

LETTERS_AND_FIGURES = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789ÄÖÜäöüß-.,×"


def holes(area: shapely.MultiPolygon) -> int:
    return sum(len(part.interiors) for part in area.geoms)


def pitch(size: float) -> float:
    """From one letter to the next: the font gives all of them the same room."""
    return float(lettering("HH", size=size).bounds[2] - lettering("H", size=size).bounds[2])


# --- shape --------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [3.0, 7.0, 40.0])
@pytest.mark.parametrize("capital", "HEIT")
def test_a_capital_stands_on_the_baseline_and_is_size_high(capital: str, size: float) -> None:
    left, foot, _, top = lettering(capital, size=size).bounds
    assert (left, foot) == pytest.approx((0, 0), abs=ROUNDING * size)
    assert top == pytest.approx(size, rel=ROUNDING)


def test_descenders_hang_below_the_baseline_and_small_letters_stay_below_capitals() -> None:
    assert lettering("g", size=7).bounds[1] < -1
    assert 3.5 < lettering("x", size=7).bounds[3] < 6.5


@pytest.mark.parametrize(
    ("letter", "expected"), [("o", 1), ("e", 1), ("A", 1), ("8", 2), ("B", 2), ("H", 0), ("Ä", 1), ("%", 2)]
)
def test_holes_are_left_open(letter: str, expected: int) -> None:
    assert holes(lettering(letter, size=7)) == expected


def test_what_stands_in_a_hole_is_ink_again() -> None:
    """The font's zero has a dot in its middle."""
    zero = lettering("0", size=7)
    assert (len(zero.geoms), holes(zero)) == (2, 1)
    assert zero.contains(zero.envelope.centroid)


def test_text_is_not_its_mirror_image() -> None:
    area = lettering("F7", size=7)
    mirrored = translate(scale(area, xfact=-1, origin=(0, 0)), area.bounds[2])
    assert mirrored.symmetric_difference(area).area > 0.3 * area.area
    assert lettering("7F", size=7).symmetric_difference(area).area > 0.3 * area.area


def test_each_letter_adds_its_width() -> None:
    widths = [lettering("H" * count, size=7).bounds[2] for count in (1, 2, 3, 5)]
    assert np.diff(widths) == pytest.approx(np.array([1, 1, 2]) * pitch(7), rel=ROUNDING)
    assert lettering("H H", size=7).bounds[2] == pytest.approx(widths[2], rel=ROUNDING)


def test_bars_are_rectangles() -> None:
    for sign in "-_|":
        bar = lettering(sign, size=7)
        assert bar.area == pytest.approx(bar.envelope.area, rel=ROUNDING)


@pytest.mark.parametrize("letter", "oS8@")
def test_chords_stay_within_their_error(letter: str) -> None:
    """Against the same letter set a hundred times as large, whose chords are a hundred times as fine."""
    fine = scale(lettering(letter, size=700), 0.01, 0.01, origin=(0, 0))
    assert lettering(letter, size=7).hausdorff_distance(fine) <= CHORD_ERROR * 1.02


@pytest.mark.parametrize("letter", LETTERS_AND_FIGURES)
def test_strokes_are_two_nozzles_thick_at_seven_millimetres(letter: str) -> None:
    """What a disc of 0.8 mm cannot reach, sharp corners made good, is no hundredth of the letter."""
    area = lettering(letter, size=7)
    mitred: dict[str, Any] = {"join_style": "mitre", "mitre_limit": 20}
    thick = area.buffer(-0.4 + CHORD_ERROR, **mitred).buffer(0.4 - CHORD_ERROR, **mitred)
    assert thick.intersection(area).area > 0.99 * area.area


# --- text ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("marked", "plain"), [("Ä", "A"), ("ö", "o"), ("Ü", "U"), ("É", "E"), ("ñ", "n")])
def test_accents_stand_over_their_letter(marked: str, plain: str) -> None:
    area, bare = lettering(marked, size=7), lettering(plain, size=7)
    assert area.bounds[3] > bare.bounds[3] + 1
    assert area.area > bare.area + 0.5
    assert lettering(unicodedata.normalize("NFD", marked), size=7).equals(area)


@pytest.mark.parametrize(
    "text",
    [
        "#let x = 1",
        "*a* _b_ `c`",
        "$x^2$",
        r"\u{41} \ \#",
        "\"q\" 'r' -- --- ...",
        "// x /* y */",
        "<a> @b",
        "= A",
        "- A",
        "+ A",
        "[a]",
        "https://a.b",
        "fi ffl -> =>",
        "~",
    ],
)
def test_markup_comes_out_as_it_is_written(text: str) -> None:
    """Each sign alone, put at its place in the line, makes up the whole: nothing was read, joined or changed."""
    whole, step = lettering(text, size=7), pitch(7)
    middle = {sign: set_between_bars(sign) for sign in set(text) - {" "}}
    parts = [translate(middle[sign], k * step) for k, sign in enumerate(text) if sign != " "]
    expected = shapely.union_all(parts)
    expected = translate(expected, -expected.bounds[0])
    assert whole.symmetric_difference(expected).area < 1e-4 * whole.area


def set_between_bars(sign: str) -> Any:
    """A sign where it stands in its own room, found from two bars beside it."""
    bar, line = lettering("|", size=7), lettering(f"|{sign}|", size=7)
    last = translate(bar, line.bounds[2] - bar.bounds[2])
    return line.difference(shapely.union_all([bar, last]).buffer(1e-4))


def test_white_space_of_any_kind_is_one_space() -> None:
    assert lettering("  A \t\n\u00a0\u2028 b\r\n", size=7).equals(lettering("A b", size=7))


@pytest.mark.parametrize("blank", ["", " ", "\n\t ", "\u3000"])
def test_blank_text_has_no_outlines(blank: str) -> None:
    area = lettering(blank, size=7)
    assert isinstance(area, shapely.MultiPolygon) and area.is_empty


@pytest.mark.parametrize(
    ("character", "named"),
    [
        ("漢", "CJK UNIFIED IDEOGRAPH-6F22"),
        ("😀", "GRINNING FACE"),
        ("ℵ", "ALEF SYMBOL"),  # another font of the wheel has this and the next
        ("𝒜", "MATHEMATICAL SCRIPT CAPITAL A"),
        ("\u200b", "ZERO WIDTH SPACE"),
        ("\0", r"U\+0000"),
        ("\ud800", r"U\+D800"),
        ("\ue000", r"U\+E000"),
        ("\ufe0f", "VARIATION SELECTOR-16"),
        ("\U0010ffff", r"U\+10FFFF"),
    ],
)
def test_a_character_without_a_glyph_is_refused_by_name(character: str, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        lettering(f"vase {character} A", size=7)


@pytest.mark.parametrize("size", [0.0, -7.0, float("nan"), float("inf")])
def test_a_height_must_be_positive(size: float) -> None:
    with pytest.raises(ValueError, match="capital height above 0"):
        lettering("A", size=size)


def test_the_same_text_gives_the_same_bytes() -> None:
    assert lettering("Vase 8 Ä", size=7).wkb == lettering("Vase 8 Ä", size=7).wkb


# --- ink ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["I", "Bud vase", "A 08 %@&", "äöüß gjq"])
def test_ink_is_where_typst_s_rasteriser_puts_it(text: str) -> None:
    """The page as PNG, its ink cropped, against the outlines drawn at the same scale."""
    shown = ink(text)
    area = lettering(text, size=7)
    left, foot, right, top = area.bounds
    assert area.is_valid
    pixels_per_mm = ink("H").shape[0] / 7  # whole pixels: good to half a pixel in 500
    assert (shown / 255).sum() / pixels_per_mm**2 == pytest.approx(area.area, rel=0.01)
    assert shown.shape == pytest.approx(np.array([top - foot, right - left]) * pixels_per_mm, rel=0.005)
    drawn = drawn_by_pillow(area, shown.shape)
    # a band of a pixel along every edge may differ, and the scales by half a pixel in 500
    assert ((shown > 127) != (drawn > 127)).sum() < 0.03 * (shown > 127).sum()


def ink(text: str) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Black on white as typst draws it, capitals 500 pixels high or more, cropped to the ink."""
    page = """#set page(width: auto, height: auto, margin: 60pt)
#set text(font: "DejaVu Sans Mono", weight: "bold", size: 100pt)
#sys.inputs.text"""
    made = cast(Any, typst.compile)(
        page.encode(), ignore_system_fonts=True, format="png", ppi=500, sys_inputs={"text": text}
    )
    dark = 255 - np.asarray(Image.open(io.BytesIO(made)).convert("L"))
    rows, columns = (np.flatnonzero((dark > 127).any(axis=axis)) for axis in (1, 0))
    return dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def drawn_by_pillow(
    area: shapely.MultiPolygon, shape: tuple[int, ...]
) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """The area stretched over a picture of this shape, holes before what stands in them."""
    left, foot, right, top = area.bounds
    picture = Image.new("L", (shape[1], shape[0]))
    pen = ImageDraw.Draw(picture)
    stretch = np.array([shape[1] / (right - left), -shape[0] / (top - foot)])
    for part in sorted(area.geoms, key=lambda part: -part.envelope.area):
        for ring, tone in ((part.exterior, 255), *((hole, 0) for hole in part.interiors)):
            pen.polygon(
                [tuple(point) for point in (np.array(ring.coords) - [left, top]) * stretch], fill=tone
            )
    return np.asarray(picture)
