"""Outlines: what a plane cuts from a form, what a form covers in plan, and what encloses that.

Plane figures are shapely polygons. A section follows the form's own edges, so it is exact; faces are
never visited one by one.
"""

from __future__ import annotations

from collections.abc import Iterable

import numba
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull, QhullError
from shapely.geometry.base import BaseGeometry

from .mesh import Bools, Floats, Mesh
from .solids import filled

Loop = NDArray[np.int64]


def section(mesh: Mesh, height: float, *, rotation: Floats | None = None) -> BaseGeometry:
    """The area that the plane d = height cuts from a closed form: polygon or multipolygon in (u, v).

    rotation: (3, 3) rows u, v, d (see `columns.rotation_for`); the level plane z = height when left
    out. A vertex in the plane counts as above it. Empty where the plane misses the form.
    """
    return sections(mesh, [height], rotation=rotation)[0]


def sections(mesh: Mesh, heights: Iterable[float], *, rotation: Floats | None = None) -> list[BaseGeometry]:
    """`section` at each of the heights."""
    local = mesh.vertices if rotation is None else mesh.vertices @ np.asarray(rotation).T
    corner = local[:, 2][mesh.faces]
    low, high = corner.min(axis=1), corner.max(axis=1)
    found = []
    for height in heights:
        crossing = mesh.faces[(low < height) & (high >= height)]
        found.append(polygons(_cut_loops(local, crossing, height)))
    return found


def silhouette(mesh: Mesh, *, rotation: Floats | None = None) -> BaseGeometry:
    """What a closed form covers when seen along d: its shadow, holes included, in (u, v).

    The faces that look along d are bounded by the form's contour edges; projected, these wind round
    every covered point as often as such faces lie over it, so filling them gives the shadow exactly.
    """
    local = mesh.vertices if rotation is None else mesh.vertices @ np.asarray(rotation).T
    a, b, c = (local[mesh.faces[:, k], :2] for k in range(3))
    ahead = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]) > 0
    sides = np.zeros((2, len(local)), bool)
    sides[0][mesh.faces[ahead]] = True
    sides[1][mesh.faces[~ahead]] = True
    loops = [
        local[loop, :2] for loop in boundary_loops(mesh.faces[ahead], among=np.asarray(sides.all(axis=0)))
    ]
    return polygons(filled(loops))


def polygons(loops: Iterable[Floats]) -> BaseGeometry:
    """The area between closed loops by the even-odd rule; what has no area is dropped."""
    rings = [loop for loop in loops if len(loop) >= 3 and abs(signed_area(loop)) > 0]
    area: BaseGeometry = shapely.Polygon()
    for ring in rings:
        area = areas(shapely.symmetric_difference(area, areas(shapely.make_valid(shapely.Polygon(ring)))))
    return area


def areas(figure: BaseGeometry) -> BaseGeometry:
    """The polygon or multipolygon in a plane figure, without the lines and points that repairs,
    differences and intersections leave where figures touch."""
    if figure.geom_type in ("Polygon", "MultiPolygon"):
        return figure
    found = [part for part in shapely.get_parts(figure) if part.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(found) if found else shapely.Polygon()


def outlines(area: BaseGeometry) -> tuple[Floats, ...]:
    """(k, 2) outer outlines of an area, counter-clockwise, without repeated last point, largest first."""
    found = [part for part in shapely.get_parts(area) if isinstance(part, shapely.Polygon) and part.area > 0]
    found.sort(key=lambda part: -part.area)
    return tuple(np.array(shapely.orient_polygons(part).exterior.coords)[:-1] for part in found)


def boundary_loops(faces: NDArray[np.integer], *, among: Bools | None = None) -> list[Loop]:
    """Closed loops of vertices round a patch of faces; outer ones run counter-clockwise seen from outside.

    among: (n,) bool, the vertices that a boundary can have, when that is known: it saves sorting.
    """
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    if among is not None:
        edges = edges[among[edges[:, 0]] & among[edges[:, 1]]]
    edges = edges.astype(np.int64)
    size = int(edges.max(initial=0)) + 1
    forward, backward = edges[:, 0] * size + edges[:, 1], edges[:, 1] * size + edges[:, 0]
    return chained(edges[~np.isin(forward, backward)])


def chained(edges: NDArray[np.int64]) -> list[Loop]:
    """Directed edges (k, 2), joined head to tail into closed loops of their first points.

    Every point must begin as many edges as it ends. At a point that begins several, the loop that
    comes back to it first is closed there, so loops may touch but do not cross themselves. Edges
    of chains that do not close are left out.
    """
    if not len(edges):
        return []
    names, ends = np.unique(edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    ends = ends[np.argsort(ends[:, 0], kind="stable")]
    start = np.searchsorted(ends[:, 0], np.arange(len(names) + 1))
    points, lengths = _chain(start, np.ascontiguousarray(ends[:, 1]))
    return [names[loop] for loop in np.split(points, np.cumsum(lengths)[:-1])] if len(lengths) else []


@numba.njit(cache=True, nogil=True)
def _chain(start, target):  # type: ignore[no-untyped-def]
    """Points of all loops one after the other, and the length of each loop.

    The edges that begin at point p are start[p]:start[p + 1]; edge e ends at target[e].
    """
    count = len(start) - 1
    following = start[:-1].copy()  # next unused edge of each point
    at = np.full(count, -1)  # where a point stands on the path
    path = np.empty(len(target) + 1, np.int64)
    points, lengths = np.empty(len(target), np.int64), np.empty(len(target), np.int64)
    found = loops = 0
    for first in range(count):
        while following[first] < start[first + 1]:
            length, point = 0, first
            while True:
                if at[point] >= 0:  # the path comes back: lift the loop off it
                    begin = at[point]
                    for k in range(begin, length):
                        points[found + k - begin] = path[k]
                        at[path[k]] = -1
                    found += length - begin
                    lengths[loops] = length - begin
                    loops += 1
                    length = begin
                if following[point] >= start[point + 1]:
                    break
                at[point] = length
                path[length] = point
                length += 1
                following[point] += 1
                point = target[following[point] - 1]
            for k in range(length):
                at[path[k]] = -1
    return points[:found], lengths[:loops]


def signed_area(loop: Floats) -> float:
    """Area inside a closed loop (k, 2), positive when counter-clockwise."""
    x, y = np.asarray(loop, dtype=np.float64).T - np.asarray(loop, dtype=np.float64)[0][:, None]
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def hull(points: ArrayLike) -> Floats:
    """(k, 2) convex hull of points, counter-clockwise, without repeated last point.

    Raises ValueError for points on one line.
    """
    cloud = np.asarray(points, dtype=np.float64)
    try:
        return np.asarray(cloud[ConvexHull(cloud).vertices])
    except QhullError as error:
        raise ValueError("points on one line have no hull with an area") from error


def enclosing_circle(points: ArrayLike) -> tuple[tuple[float, float], float]:
    """Centre and radius of the smallest circle round points (k, 2)."""
    cloud = shapely.MultiPoint(np.asarray(points, dtype=np.float64))
    circle = shapely.minimum_bounding_circle(cloud)
    return (circle.centroid.x, circle.centroid.y), float(shapely.minimum_bounding_radius(cloud))


def enclosing_rectangle(points: ArrayLike) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Centre, (width, depth) and turn in degrees of the smallest rectangle round points (k, 2).

    Its width runs along the direction `turn` from x, -45 < turn <= 45. The smallest rectangle lies
    along an edge of the hull (Freeman and Shapira, 1975; from memory).
    """
    around = hull(points)
    edge = np.roll(around, -1, axis=0) - around
    turn = np.degrees(np.arctan2(edge[:, 1], edge[:, 0]))
    turns = np.append(45 - np.mod(45 - turn, 90), 0.0)  # the axes themselves win a tie
    radians = np.radians(turns)
    along, across = np.cos(radians), np.sin(radians)
    u = np.outer(along, around[:, 0]) + np.outer(across, around[:, 1])
    v = np.outer(-across, around[:, 0]) + np.outer(along, around[:, 1])
    width, depth = np.ptp(u, axis=1), np.ptp(v, axis=1)
    area = width * depth
    tied = area <= area.min() * (1 + 1e-9)
    k = int(np.flatnonzero(tied)[np.argmin(np.abs(turns[tied]))])
    middle_u, middle_v = (u[k].min() + u[k].max()) / 2, (v[k].min() + v[k].max()) / 2
    centre = (along[k] * middle_u - across[k] * middle_v, across[k] * middle_u + along[k] * middle_v)
    return (float(centre[0]), float(centre[1])), (float(width[k]), float(depth[k])), float(turns[k])


def across(outline: Floats) -> float:
    """The lesser side of the smallest rectangle round an outline: how far it is across."""
    return min(enclosing_rectangle(outline)[1])


def circle_outline(centre: tuple[float, float], radius: float, *, chord_error: float = 0.01) -> Floats:
    """(k, 2) regular polygon inscribed in a circle, counter-clockwise, never further inside than `chord_error`."""
    sides = max(64, 4 * int(np.ceil(np.pi / np.arccos(max(1 - chord_error / radius, 0)) / 4)))
    angle = np.arange(sides) * (2 * np.pi / sides)
    return np.column_stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)])


def _cut_loops(local: Floats, faces: NDArray[np.integer], height: float) -> list[Floats]:
    """Loops in which the plane cuts faces that cross it; solid on the left, so outer loops run counter-clockwise."""
    above: Bools = local[faces, 2] >= height
    # turn each face so that its first corner stands alone on its side of the plane
    lone = np.where(above.sum(axis=1) == 1, np.argmax(above, axis=1), np.argmin(above, axis=1))
    turned = np.take_along_axis(faces, (lone[:, None] + np.arange(3)) % 3, axis=1)
    up = np.take_along_axis(above, lone[:, None], axis=1)[:, 0]
    one, two = turned[:, [0, 1]], turned[:, [2, 0]]
    begin, end = np.where(up[:, None], one, two), np.where(up[:, None], two, one)
    ends = np.sort(np.concatenate([begin, end]).astype(np.int64), axis=1)
    keys, index = np.unique(ends[:, 0] * len(local) + ends[:, 1], return_inverse=True)
    low, high = local[keys // len(local)], local[keys % len(local)]
    share = (height - low[:, 2]) / (high[:, 2] - low[:, 2])
    points = low[:, :2] + share[:, None] * (high[:, :2] - low[:, :2])
    count = len(begin)
    return [points[loop] for loop in chained(np.column_stack([index[:count], index[count:]]))]
