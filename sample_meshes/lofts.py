"""Turning and lofting: closed solids from a profile and a section, and their exact volumes.

A profile is a chain of Bezier curves in (radius, height) from the axis under the foot up the
outside to the axis at the top. Between two levels a loft is a frustum of similar polygons, or of a
polygon and its offset, so its volume has a closed form: `lofted_volume` is that of the mesh,
`smooth_volume` that of the form it was sampled from.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Solid = tuple[Floats, Ints]
"""(n, 3) vertices in mm and (m, 3) faces: closed, welded, outward by the right-hand rule."""
Area = Callable[[Floats], Floats]
"""The area of a section by its radius, quadratic."""
Profile = Sequence[Sequence[Sequence[float]]]
"""A start point, then one entry a curve: its further control points (1: a line, 3: a cubic)."""


def curves_of(profile: Profile) -> list[Floats]:
    """The control points of each curve of a profile, (2 or 4, 2), the shared ends repeated."""
    ends = [entry[-1] for entry in profile]
    return [
        np.array([start, *entry], dtype=float) for start, entry in zip(ends[:-1], profile[1:], strict=True)
    ]


def bezier(control: Floats, t: Floats) -> Floats:
    """(len(t), 2) points of the curve, by repeated interpolation (de Casteljau)."""
    points = np.repeat(control[None], len(t), axis=0)
    while points.shape[1] > 1:
        points = points[:, :-1] + t[:, None, None] * (points[:, 1:] - points[:, :-1])
    return points[:, 0]


def sampled(profile: Profile, rings: int) -> Floats:
    """(k, 2) levels (radius, height) along the profile, about `rings` of them.

    Corners of the profile stay corners. Even in length, but four times as wide on lines, which lose
    nothing by it; a line takes one step or more, a curve five or more.
    """
    curves, even = curves_of(profile), np.linspace(0, 1, 33)
    lengths = [float(np.linalg.norm(np.diff(bezier(c, even), axis=0), axis=1).sum()) for c in curves]
    weights = np.array(
        [length / (4 if len(c) == 2 else 1) for c, length in zip(curves, lengths, strict=True)]
    )
    least = [1 if len(c) == 2 else 5 for c in curves]
    steps = np.maximum(np.rint(rings * weights / weights.sum()).astype(int), least)
    pieces = [bezier(c, np.linspace(0, 1, n + 1))[1:] for c, n in zip(curves, steps, strict=True)]
    return np.vstack([curves[0][:1], *pieces])


def circle(segments: int) -> Floats:
    """(segments, 2) unit vectors from angle 0 on; mirror images in both axes to the last bit."""
    if segments < 8 or segments % 4:
        raise ValueError(f"{segments} segments; a section takes 8 or more, a multiple of 4")
    angle = np.arange(segments // 4 + 1) * (2 * np.pi / segments)
    quarter = np.column_stack([np.cos(angle), np.sin(angle)])
    quarter[-1] = (0, 1)
    half = np.vstack([quarter, quarter[-2::-1] * (-1, 1)])
    return np.vstack([half, half[-2:0:-1] * (1, -1)])


def loft(levels: Floats, spread: Floats, base: Floats | None = None) -> Solid:
    """A closed solid through sections `base + radius * spread` at the levels' heights.

    levels: (k, 2) radius and height; the first and the last lie on the axis and give only their
    height. spread, base: (n, 2), counter-clockwise seen from above; base is zero when left out.
    """
    base = np.zeros_like(spread) if base is None else base
    flat = base + levels[1:-1, :1, None] * spread
    rings = np.concatenate([flat, np.broadcast_to(levels[1:-1, 1, None, None], (*flat.shape[:2], 1))], axis=2)
    count, sides = rings.shape[:2]
    vertices = np.vstack([(0, 0, levels[0, 1]), rings.reshape(-1, 3), (0, 0, levels[-1, 1])])
    here = 1 + np.arange(count * sides).reshape(count, sides)
    beside = np.roll(here, -1, axis=1)
    walls = [
        np.stack([here[:-1], beside[:-1], beside[1:]], axis=-1).reshape(-1, 3),
        np.stack([here[:-1], beside[1:], here[1:]], axis=-1).reshape(-1, 3),
    ]
    foot = np.column_stack([np.zeros(sides, int), beside[0], here[0]])
    top = np.column_stack([np.full(sides, len(vertices) - 1), here[-1], beside[-1]])
    return vertices, np.vstack([foot, *walls, top]).astype(np.int32)


def lofted_volume(levels: Floats, section_area: Area) -> float:
    """Volume of the loft whose section at radius r has the area `section_area(r)`, quadratic in r.

    Simpson's rule is exact for a frustum: h/6 (A1 + 4 Am + A2), negative where the profile runs down.
    """
    radius, height = levels.T
    low, high, step = radius[:-1], radius[1:], np.diff(height)
    middle = section_area((low + high) / 2)
    return float((step / 6 * (section_area(low) + 4 * middle + section_area(high))).sum())


def smooth_volume(profile: Profile, section_area: Area) -> float:
    """Volume of the smooth form: the integral of section_area(r) dz along the profile, exact for cubics."""
    node, weight = np.polynomial.legendre.leggauss(5)  # exact to degree 9; a quadratic area times z' has 8
    total = 0.0
    for control in curves_of(profile):
        radius = bezier(control, (node + 1) / 2)[:, 0]
        slope = (len(control) - 1) * bezier(np.diff(control, axis=0), (node + 1) / 2)[:, 1]
        total += float((weight / 2 * section_area(radius) * slope).sum())
    return total


def polygon_area(points: Floats) -> float:
    """Signed area of a polygon (n, 2), positive when counter-clockwise."""
    x, y = points.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def turned(profile: Profile, segments: int, rings: int) -> Solid:
    """The profile turned on the wheel: a loft through a round section."""
    return loft(sampled(profile, rings), circle(segments))


def scaled_area(factor: float) -> Area:
    """The area of a section that only grows: factor times radius squared."""
    return lambda radius: factor * radius**2


def ngon_factor(segments: int) -> float:
    """Area of the inscribed n-gon over the square of its radius: n/2 sin(2 pi/n)."""
    return float(segments / 2 * np.sin(2 * np.pi / segments))
