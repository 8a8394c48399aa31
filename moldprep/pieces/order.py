"""In which order pieces come off and are poured, and what the maker calls them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import Point
from ..geometry.mesh import Floats
from ..stand import Stand
from .slabs import Slab

SIDEWAYS = 0.7071
"""A pull whose upward part is less leads sideways: 45 degrees."""
SAME_WAY = 0.999
"""Pulls whose cosine is above this are the same; below its negative, opposite."""


def removal_rank(cut: Slab) -> tuple[int, int, int]:
    """Top piece, foot piece, then halves from the top layer down, left and front before right and back."""
    rank = {"up": 0, "down": 1, "half": 2}[cut.kind]
    return rank, -cut.layer, int(_leading(cut.pull) > 0)


def bench_names(cuts: list[Slab], stand: Stand) -> list[str]:
    """What the maker calls the pieces: by where they go; by layer too, where two go the same way."""
    if len(cuts) == 1:
        return ["mold"]
    names, named = [_side(cut.pull, stand) for cut in cuts], []
    for cut, name in zip(cuts, names, strict=True):
        layers = sorted({other.layer for other, same in zip(cuts, names, strict=True) if same == name})
        floors = {1: [""], 2: ["lower ", "upper "], 3: ["lower ", "middle ", "upper "]}
        words = floors.get(len(layers), [f"layer {k + 1} " for k in range(len(layers))])
        named.append(words[layers.index(cut.layer)] + name)
    return named


def _side(pull: Floats, stand: Stand) -> str:
    """top, foot, left, right, front or back; seen from the front (-y), in the casting pose."""
    if abs(pull[2]) > np.cos(np.radians(45)):
        below = "bottom" if stand.opening == "foot" else "foot"
        return "top" if pull[2] > 0 else below
    if abs(pull[0]) >= abs(pull[1]) - 1e-9:
        return "right" if pull[0] > 0 else "left"
    return "back" if pull[1] > 0 else "front"


def _leading(pull: Floats) -> float:
    return float(pull[0] if abs(pull[0]) >= abs(pull[1]) - 1e-9 else pull[1])


def pouring_ranks(pulls: Sequence[Floats | Point]) -> list[tuple[int, int]]:
    """When each piece is poured: what leaves sideways, one side after the other, then what leaves downward,
    then upward. Lower ranks are poured first; pulls are given in the order in which pieces come off."""
    sides: list[Floats | Point] = []
    for pull in pulls:
        if not any(np.dot(pull, side) > SAME_WAY for side in sides):
            sides.append(pull)

    def rank(pull: Floats | Point) -> tuple[int, int]:
        if not sideways(pull):
            return (1 if pull[2] < 0 else 2), 0
        return 0, next(k for k, side in enumerate(sides) if np.dot(side, pull) > SAME_WAY)

    return [rank(pull) for pull in pulls]


def sideways(pull: Floats | Point) -> bool:
    """Whether a pull leads more sideways than up or down."""
    return bool(abs(pull[2]) < SIDEWAYS)


def leaves(pull: Point) -> str:
    """How a piece leaves, in a word or two."""
    names = {
        (0, 0, 1): "upward",
        (0, 0, -1): "downward",
        (1, 0, 0): "to the right",
        (-1, 0, 0): "to the left",
    }
    names |= {(0, -1, 0): "to the front", (0, 1, 0): "to the back"}
    best = max(names, key=lambda way: sum(a * b for a, b in zip(way, pull, strict=True)))
    return names[best]


def point_of(vector: Floats) -> Point:
    """A vector as a plain Point, never with -0."""
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
