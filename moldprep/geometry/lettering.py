"""Lettering: one line of bold text as areas in mm, to be raised from a face or sunk into it.

The font is DejaVu Sans Mono Bold, which travels inside the typst wheel. At a capital height of 7 mm
its letters and figures are 0.8 mm thick or more, two widths of a 0.4 mm nozzle, but for necks where
an arch leaves its stem; only a few signs (% @ °) are thinner. The wheel's bold serif has 0.4 mm
hairlines at that height. typst sets the line, so that accents sit where the font wants them; only
the outlines are read here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Any, cast
from xml.etree import ElementTree

import numpy as np
import shapely

from .mesh import Floats
from .outlines import polygons
from .solids import filled

CHORD_ERROR = 0.02
"""How far chords may stand from the curves of a letter, mm: a twentieth of a 0.4 mm nozzle."""

_PAGES = """#set page(width: auto, height: auto, margin: 0pt)
#set text(font: "DejaVu Sans Mono", weight: "bold", size: 100pt, fallback: false)
#set text(top-edge: "cap-height", bottom-edge: "baseline")
#for line in sys.inputs.lines.split("\\n") { page(line) }"""
_WITHOUT_GLYPH = "\U0010ffff"  # stands for no character, ever: its glyph is the font's "missing" sign
_SVG, _LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"
_COMMAND = re.compile(r"([MmLlHhVvQqCcZz])([^A-DF-Za-df-z]*)")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_NUMBERS_EACH = {"M": 2, "L": 2, "H": 1, "V": 1, "Q": 4, "C": 6}


def lettering(text: str, *, size: float) -> shapely.MultiPolygon:
    """Outlines of one line of bold text: capital height `size` mm, baseline at y = 0, y up.

    Ink begins at x = 0. White space of any kind and length is one space, none at the ends; blank
    text gives an empty MultiPolygon. Nothing in the text is read as markup. Curves are followed to
    CHORD_ERROR. Raises ValueError for a size that is not positive, and for a character that the font
    has no glyph for or that does not print, by name.
    """
    if not (np.isfinite(size) and size > 0):
        raise ValueError(f"lettering needs a capital height above 0 mm, not {size:g}")
    line = " ".join(unicodedata.normalize("NFC", text).split())
    if not line:
        return shapely.MultiPolygon()
    characters = sorted(set(line) - {" "})
    for character in characters:
        if not character.isprintable():  # typst takes no lone surrogate, and no control into a line
            raise ValueError(_unknown(character))
    whole, missing, capital, *single = _set_lines([line, _WITHOUT_GLYPH, "H", *characters])
    signs = set(_glyphs(missing))
    for character, page in zip(characters, single, strict=True):
        glyphs = set(_glyphs(page))
        if not glyphs or glyphs & signs:
            raise ValueError(_unknown(character))
    scale = size / np.ptp(np.concatenate(_contours(capital, chord_error=1.0))[:, 1])
    # TrueType outlines wind clockwise round ink
    loops = [scale * loop[::-1] for loop in _contours(whole, chord_error=CHORD_ERROR / scale)]
    left = min(loop[:, 0].min() for loop in loops)
    area = polygons(filled([loop - [left, 0] for loop in loops]))
    return shapely.MultiPolygon([part for part in shapely.get_parts(area) if part.area > 0])


def _unknown(character: str) -> str:
    name = unicodedata.name(character, "without a name")
    return f"no glyph for the character {character!r} (U+{ord(character):04X}, {name}); write it otherwise"


def _set_lines(lines: list[str]) -> list[ElementTree.Element]:
    """Each line on a page of its own, as SVG; the foot of the page is the baseline."""
    import typst  # slow to import

    made = cast(Any, typst.compile)(
        {"main.typ": _PAGES.encode()},
        ignore_system_fonts=True,
        format="svg",
        sys_inputs={"lines": "\n".join(lines)},
    )
    return [ElementTree.fromstring(page) for page in made]


def _glyphs(page: ElementTree.Element) -> list[str]:
    """Glyphs that a page shows, by the names that typst makes from their outlines."""
    return [use.attrib[_LINK] for use in page.iter(f"{_SVG}use")]


def _contours(page: ElementTree.Element, *, chord_error: float) -> list[Floats]:
    """Closed contours (k, 2) of a page's glyphs in typographic points from the foot of the page, y up."""
    height = float(page.attrib["viewBox"].split()[3])
    outlines = {
        f"#{symbol.attrib['id']}": [
            loop
            for path in symbol.iter(f"{_SVG}path")
            for loop in _subpaths(path.attrib["d"], chord_error=chord_error)
        ]
        for symbol in page.iter(f"{_SVG}symbol")
    }
    return [
        (np.column_stack([loop, np.ones(len(loop))]) @ placed.T)[:, :2] * [1, -1] + [0, height]
        for glyph, placed in _placed(page, np.eye(3))
        for loop in outlines[glyph]
    ]


def _placed(element: ElementTree.Element, above: Floats) -> Iterator[tuple[str, Floats]]:
    """Each glyph shown within an element, with the (3, 3) matrix that takes it to the page."""
    for child in element:
        here = above @ _matrix(child.get("transform", ""))
        if child.tag == f"{_SVG}use":
            shift = (float(child.get("x", 0)), float(child.get("y", 0)))
            yield child.attrib[_LINK], here @ np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]])
        elif child.tag != f"{_SVG}defs":
            yield from _placed(child, here)


def _matrix(transform: str) -> Floats:
    """(3, 3) of "matrix(a b c d e f)" or "translate(x y)", all that typst writes."""
    if not transform:
        return np.eye(3)
    numbers = [float(number) for number in _NUMBER.findall(transform)]
    a, b, c, d, e, f = numbers if transform.startswith("matrix") else [1, 0, 0, 1, *numbers]
    return np.array([[a, c, e], [b, d, f], [0, 0, 1]])


def _subpaths(data: str, *, chord_error: float) -> Iterator[Floats]:
    """Closed contours of SVG path data, curves as chords; subpaths of fewer than three points are left out."""
    points, start = [np.zeros((1, 2))], np.zeros(2)
    for command, numbers in _COMMAND.findall(data):
        kind, values = command.upper(), [float(number) for number in _NUMBER.findall(numbers)]
        each = _NUMBERS_EACH.get(kind, 0)
        for k in range(0, len(values), each) if each else [0]:
            pen = points[-1][-1]
            if kind == "Z" or (kind == "M" and k == 0):
                if sum(map(len, points)) > 2:
                    yield np.concatenate(points)
                pen = start if kind == "Z" else _ends(kind, values[:2], pen, command)[0]
                points, start = [pen[None]], pen
            else:
                points.append(_chords(pen, _ends(kind, values[k : k + each], pen, command), chord_error))


def _ends(kind: str, values: list[float], pen: Floats, command: str) -> Floats:
    """(k, 2) points that a path command names, absolute."""
    base = pen if command.islower() else np.zeros(2)
    if kind == "H":
        return np.array([[base[0] + values[0], pen[1]]])
    if kind == "V":
        return np.array([[pen[0], base[1] + values[0]]])
    return np.asarray(np.reshape(values, (-1, 2)) + base)


def _chords(pen: Floats, others: Floats, chord_error: float) -> Floats:
    """Points along the Bézier curve from the pen, without the pen's own place.

    A chord over 1/n of a curve of degree d stands off it by at most max|B''| / (8 n^2), and
    |B''| <= d (d - 1) max|second difference of the control points|.
    """
    control = np.vstack([pen, others])
    degree = len(others)
    bend = np.linalg.norm(np.diff(control, n=2, axis=0), axis=1).max(initial=0) * degree * (degree - 1)
    count = max(1, int(np.ceil(np.sqrt(bend / 8 / chord_error))))
    share = np.arange(1, count + 1)[:, None] / count
    levels = np.repeat(control[:, None], count, axis=1)
    while len(levels) > 1:  # de Casteljau
        levels = levels[:-1] + share * (levels[1:] - levels[:-1])
    return np.asarray(levels[0])
