"""A template over the pages of the maker's paper: overlapping tiles at true scale."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil
from typing import Literal

import numpy as np

from .strokes import (
    CHECK_MM,
    CHECK_WORDS,
    CLEAR_MM,
    LINE_MM,
    STROKE_MM,
    Stroke,
    Svg,
    Template,
    bounds,
    check_bar,
    label_box,
)

Paper = Literal["a4", "letter"]
Orientation = Literal["portrait", "landscape"]

PAGES_MM: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
SIDE_MM, TOP_MM, BOTTOM_MM = 17.0, 15.0, 24.0
"""Margins of a page, upright or lying: the sheet's own, the lowest holds its footer."""
CAPTION_MM: dict[Orientation, float] = {"portrait": 18.0, "landscape": 12.0}
"""Under each tile: the title, the check bar, and the tile's place in the grid; a wide page has room for
two of them on a line."""
OVERLAP_MM = 10.0
TILE_EDGE_MM = 1.0
"""Paper kept free between the drawing and the edge of the grid, so that no line is halved."""
CROSSES = (0.0, 0.3, 0.7, 1.0)
"""Where along an overlap its crosses stand; not in the middle, where drawings have lines."""
GLUE_WORDS = "cut solid edge, lay on dashes"


@dataclass(frozen=True)
class Tile:
    """One page of a template. name: row by letter from the top, column by number ("B1"); row and
    column count from 0. window: (x0, y0, x1, y1) of the template, mm. svg: width x height mm, the
    printable area of the page: the window, and a caption under it."""

    name: str
    row: int
    column: int
    rows: int
    columns: int
    orientation: Orientation
    window: tuple[float, float, float, float]
    width: float
    height: float
    svg: str = field(repr=False)


def tiles(template: Template, *, paper: Paper) -> list[Tile]:
    """The template over as few pages as can be, row by row from the top.

    Pages lie across where that saves one. Neighbours share a strip of 10 mm: a page's solid edge is
    cut and laid on the dashed line of the page before it, and the crosses of both fall together. The
    check bar stands in the caption of every page. Raises ValueError for an unknown paper.
    """
    if paper not in PAGES_MM:
        raise ValueError(f"paper {paper!r} is not known; there are {', '.join(PAGES_MM)}")
    strokes = [stroke for stroke in template.strokes if stroke.role != "check"]
    labels = [label for label in template.labels if label[0] != CHECK_WORDS]
    x0, y0, x1, y1 = bounds(strokes, labels)
    kept = Template(template.name, template.title, tuple(strokes), tuple(labels), template.leaders)
    width, height = x1 - x0 + 2 * TILE_EDGE_MM, y1 - y0 + 2 * TILE_EDGE_MM
    short, long = PAGES_MM[paper]
    pages: dict[Orientation, tuple[float, float]] = {"portrait": (short, long), "landscape": (long, short)}
    windows = {
        name: (across - 2 * SIDE_MM, up - TOP_MM - BOTTOM_MM - CAPTION_MM[name])
        for name, (across, up) in pages.items()
    }
    grids = {name: (_count(height, up), _count(width, across)) for name, (across, up) in windows.items()}
    orientation = min(grids, key=lambda name: grids[name][0] * grids[name][1])
    (across, up), (rows, columns) = windows[orientation], grids[orientation]
    boxes = [label_box(label) for label in labels]
    boxes += [_box(stroke) for stroke in strokes if not stroke.closed]
    left = _first_edge(x0, x1, across, columns, [(box[0], box[2]) for box in boxes])
    top = -_first_edge(-y1, -y0, up, rows, [(-box[3], -box[1]) for box in boxes])
    found = []
    for row in range(rows):
        for column in range(columns):
            x, y = left + column * (across - OVERLAP_MM), top - row * (up - OVERLAP_MM)
            window = (x, y - up, x + across, y)
            name = _tile_name(row, column)
            svg = _tile_svg(kept, window, (row, column), (rows, columns), CAPTION_MM[orientation])
            found.append(
                Tile(
                    name,
                    row,
                    column,
                    rows,
                    columns,
                    orientation,
                    window,
                    across,
                    up + CAPTION_MM[orientation],
                    svg,
                )
            )
    return found


def _count(length: float, window: float) -> int:
    return max(1, ceil((length - OVERLAP_MM) / (window - OVERLAP_MM) - 1e-9))


def _box(stroke: Stroke) -> tuple[float, float, float, float]:
    (x0, y0), (x1, y1) = stroke.points.min(axis=0), stroke.points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _first_edge(
    low: float, high: float, window: float, count: int, spans: list[tuple[float, float]]
) -> float:
    """Where the first of `count` windows begins, so that page edges meet the fewest words and lines.

    spans: begin and end of these along the way. Where nothing is met the drawing stays in the middle.
    """
    met = np.array(spans).reshape(-1, 2) + np.array([-2 * CLEAR_MM, 2 * CLEAR_MM])
    slack = count * window - (count - 1) * OVERLAP_MM - (high - low) - 2 * TILE_EDGE_MM
    edges = np.arange(1, count)[:, None] * (window - OVERLAP_MM) + [0.0, OVERLAP_MM]
    shares = sorted(np.linspace(0, 1, 41), key=lambda share: abs(share - 0.5))
    begins = [low - TILE_EDGE_MM - float(share) * slack for share in shares]

    def cut(begin: float) -> int:
        at = begin + edges.ravel()[:, None]
        return int(((at > met[:, 0]) & (at < met[:, 1])).sum())

    return min(begins, key=cut)


def _tile_name(row: int, column: int) -> str:
    return f"{chr(ord('A') + row)}{column + 1}"


def _tile_svg(
    template: Template,
    window: tuple[float, float, float, float],
    place: tuple[int, int],
    grid: tuple[int, int],
    caption: float,
) -> str:
    x0, y0, x1, y1 = window
    sheet, name = Svg(x0, y1), _tile_name(*place)
    sheet.template(template)
    sheet.clip(f"{template.name}-{name}", x1 - x0, y1 - y0)
    _marks(sheet, window, place, grid)
    rows = [y0 - below for below in np.arange(LINE_MM, caption, LINE_MM + CLEAR_MM)]
    title, bar, end = (rows[1], rows[0], rows[0]) if len(rows) == 2 else rows
    sheet.text(template.title, (x0, title))
    ticks, _ = check_bar(x0 + STROKE_MM, bar)
    for stroke in ticks:
        sheet.stroke(stroke)
    sheet.text(CHECK_WORDS, (x0 + CHECK_MM + 2.0, bar))
    if grid == (1, 1):
        sheet.text(template.name, (x1, end), anchor="end")
    else:
        sheet.text(
            f"{name} of {template.name}, to {_tile_name(grid[0] - 1, grid[1] - 1)}", (x1, end), anchor="end"
        )
        sheet.text(
            GLUE_WORDS,
            (x0, end) if len(rows) > 2 else (x1, title),
            anchor="start" if len(rows) > 2 else "end",
        )
    return sheet.svg(x1 - x0, y1 - y0 + caption)


def _marks(
    sheet: Svg, window: tuple[float, float, float, float], place: tuple[int, int], grid: tuple[int, int]
) -> None:
    """Solid edges to cut toward earlier neighbours, dashed lines to glue later ones on, and crosses."""
    (row, column), (rows, columns) = place, grid
    x0, y0, x1, y1 = window
    half, inner = OVERLAP_MM / 2, STROKE_MM / 2
    crosses: set[tuple[float, float]] = set()
    middles_y = [y0 + half + share * (y1 - y0 - OVERLAP_MM) for share in CROSSES]
    middles_x = [x0 + half + share * (x1 - x0 - OVERLAP_MM) for share in CROSSES]
    if column > 0:
        sheet.rule([(x0 + inner, y0), (x0 + inner, y1)])
        crosses |= {(x0 + half, y) for y in middles_y}
    if column < columns - 1:
        sheet.rule([(x1 - OVERLAP_MM, y0), (x1 - OVERLAP_MM, y1)], dashes=(2.5, 2.5))
        crosses |= {(x1 - half, y) for y in middles_y}
    if row > 0:
        sheet.rule([(x0, y1 - inner), (x1, y1 - inner)])
        crosses |= {(x, y1 - half) for x in middles_x}
    if row < rows - 1:
        sheet.rule([(x0, y0 + OVERLAP_MM), (x1, y0 + OVERLAP_MM)], dashes=(2.5, 2.5))
        crosses |= {(x, y0 + half) for x in middles_x}
    for x, y in sorted(crosses):
        sheet.rule([(x - 3, y), (x + 3, y)])
        sheet.rule([(x, y - 3), (x, y + 3)])
