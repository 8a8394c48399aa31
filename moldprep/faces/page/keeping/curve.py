"""A mold's drying log as a little picture: weight over hours, and the weight to wait for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from ....drying import DryState, Reading
from ....sheet.words import grams

WIDTH, HEIGHT = 420.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 76.0, 12.0, 14.0, 34.0
"""Room for words round the plot, in the drawing's units."""
WORD = 70.0
"""How wide one word is, with some air."""
CLEAR = 18.0
"""Words nearer to each other than this would touch; a narrow screen shows them larger."""


def drying_curve(log: Sequence[Reading], state: DryState) -> str:
    """SVG of a log in order of time, from its first weighing to where it is ready, or to the last one.

    Classes to style: mp-curve-line, mp-curve-dot, mp-curve-ready, mp-curve-axis.
    """
    begin = log[0].hours
    end = log[-1].hours + (state.hours_left[0] if state.hours_left is not None else 0.0)
    span = max(end - begin, 1.0)
    low, high = (pick(*(reading.grams for reading in log), state.ready_grams) for pick in (min, max))
    rise = max(high - low, 1.0)

    def place(hours: float, weight: float) -> tuple[float, float]:
        across = LEFT + (hours - begin) / span * (WIDTH - LEFT - RIGHT)
        return across, HEIGHT - BOTTOM - (weight - low) / rise * (HEIGHT - TOP - BOTTOM)

    dots = [place(reading.hours, reading.grams) for reading in log]
    _, ready = place(begin, state.ready_grams)
    told = (
        f"{len(log)} weighings from {grams(log[0].grams)} to {grams(log[-1].grams)} in {log[-1].hours - begin:.3g} hours; "
        f"ready at {grams(state.ready_grams)}."
    )
    bottom = HEIGHT - BOTTOM
    parts = [
        _line((LEFT, TOP), (LEFT, bottom), "mp-curve-axis"),
        _line((LEFT, bottom), (WIDTH - RIGHT, bottom), "mp-curve-axis"),
        _line((LEFT, ready), (WIDTH - RIGHT, ready), "mp-curve-ready"),
        _text(*_beside(dots, ready), "ready"),
        *(
            _text(LEFT - 6, height + 4, "end", grams(weight))
            for weight, height in _told(place, (state.ready_grams, log[0].grams, log[-1].grams))
        ),
        _text(LEFT, bottom + 18, "start", f"{begin:.3g} h"),
        _text(WIDTH - RIGHT, bottom + 18, "end", f"{end:.3g} h"),
        f'<polyline class="mp-curve-line" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in dots)}"/>',
        *(f'<circle class="mp-curve-dot" cx="{x:.1f}" cy="{y:.1f}" r="3.5"/>' for x, y in dots),
    ]
    return f'<svg class="mp-curve" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{told}">{"".join(parts)}</svg>'


def _beside(dots: Sequence[tuple[float, float]], ready: float) -> tuple[float, float, str]:
    """Where a word has room on the line to wait for, away from the log, and which end of it stands there."""
    down = ready + (-5 if ready > TOP + CLEAR else 13)
    near = [height for across, height in dots if across < LEFT + WORD]
    if all(abs(height - ready) > 2 * CLEAR for height in near):
        return LEFT + 6, down, "start"
    return WIDTH - RIGHT, down, "end"


def _told(
    place: Callable[[float, float], tuple[float, float]], weights: Sequence[float]
) -> Iterator[tuple[float, float]]:
    """Weights that have room beside the axis, and their heights; earlier ones go first."""
    taken: list[float] = []
    for weight in weights:
        _, height = place(0.0, weight)
        if all(abs(height - other) >= CLEAR for other in taken):
            taken.append(height)
            yield weight, height


def _line(begin: tuple[float, float], end: tuple[float, float], name: str) -> str:
    return (
        f'<line class="{name}" x1="{begin[0]:.1f}" y1="{begin[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}"/>'
    )


def _text(across: float, down: float, anchor: str, words: str) -> str:
    return f'<text x="{across:.1f}" y="{down:.1f}" text-anchor="{anchor}">{words}</text>'
