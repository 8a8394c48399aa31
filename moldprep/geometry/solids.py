"""Solid booleans: the only place that speaks to manifold3d.

Every result is asked for its status; a solid that is not one is refused and never handed on.
Coordinates stay in double precision. A `Solid` is passed between booleans as it is, so that a chain
of cuts converts a mesh only once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import manifold3d
import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import FormError
from .columns.frame import rotation_for
from .mesh import Floats, Mesh

Solid: TypeAlias = manifold3d.Manifold


def to_manifold(mesh: Mesh) -> Solid:
    """The solid that a closed, consistently wound, welded mesh encloses.

    Raises FormError (code "not-solid") when the mesh is open, not welded or has edges with other
    than two faces.
    """
    return to_traced(mesh)[0]


def to_traced(mesh: Mesh) -> tuple[Solid, int]:
    """`to_manifold`, and the mark by which `from_traced` knows the mesh's faces after booleans."""
    mark = manifold3d.Manifold.reserve_ids(1)
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.array(mesh.vertices, dtype=np.float64),  # it takes no read-only array
            tri_verts=np.array(mesh.faces, dtype=np.uint64),
            run_original_id=np.array([mark], dtype=np.uint32),
            run_index=np.array([0, 3 * len(mesh.faces)], dtype=np.uint64),
            face_id=np.arange(len(mesh.faces), dtype=np.uint64),
        )
    )
    return checked(solid, "The form"), mark


def from_manifold(solid: Solid) -> Mesh:
    """The welded triangles of a solid, outward by the right-hand rule."""
    return from_traced(solid, -1)[0]


def from_traced(solid: Solid, mark: int) -> tuple[Mesh, NDArray[np.int64]]:
    """`from_manifold`, and for each triangle the face of the marked mesh that it is part of, else -1."""
    raw = solid.to_mesh64()
    mesh = Mesh(np.array(raw.vert_properties[:, :3]), np.asarray(raw.tri_verts).astype(np.int32))
    face, first = np.asarray(raw.face_id), np.asarray(raw.run_index).astype(np.int64) // 3
    source = np.full(len(mesh.faces), -1, np.int64)
    for owner, begin, end in zip(np.asarray(raw.run_original_id), first[:-1], first[1:], strict=True):
        if owner == mark:
            source[begin:end] = face[begin:end]
    return mesh, source


def checked(solid: Solid, what: str) -> Solid:
    """The solid itself when its status is good; `what` begins the sentence of the FormError."""
    status = solid.status()
    if status != manifold3d.Error.NoError:
        raise FormError(
            f"{what} is not a closed solid ({status.name}).",
            code="not-solid",
            remedy="Repair the mesh: every edge must belong to exactly two faces.",
        )
    return solid


def is_solid(mesh: Mesh) -> bool:
    """Whether manifold3d takes the mesh for a closed solid that encloses something."""
    try:
        return not to_manifold(mesh).is_empty()
    except FormError:
        return False


def union(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh around everything that the meshes enclose, overlaps counted once."""
    return from_manifold(united([to_manifold(mesh) for mesh in meshes]))


def united(solids: Sequence[Solid]) -> Solid:
    """One solid of everything that lies in any of the solids."""
    if len(solids) == 1:
        return solids[0]
    return checked(manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add), "The union")


def difference(solid: Solid, cutter: Solid) -> Solid:
    """What of `solid` lies outside `cutter`."""
    return checked(solid - cutter, "The cut solid")


def intersection(solid: Solid, other: Solid) -> Solid:
    """What lies in both solids."""
    return checked(solid ^ other, "The common solid")


def boxes_meet(one: Solid, other: Solid) -> bool:
    """Whether the bounding boxes of two solids overlap; where they do not, nor do the solids."""
    (low, high), (other_low, other_high) = (
        np.reshape(solid.bounding_box(), (2, 3)) for solid in (one, other)
    )
    return bool((low < other_high).all() and (other_low < high).all())


def split(solid: Solid, normal: ArrayLike, offset: float) -> tuple[Solid, Solid]:
    """The parts of a solid on the plane's positive side, normal . p > offset, and on its negative side."""
    ahead, behind = solid.split_by_plane(tuple(float(value) for value in np.asarray(normal)), float(offset))
    return checked(ahead, "The cut solid"), checked(behind, "The cut solid")


def parts(solid: Solid) -> list[Solid]:
    """The connected solids in a solid, greatest volume first; an inner void stays with its solid."""
    return sorted(solid.decompose(), key=lambda part: -part.volume())


def prism(outlines: Floats | Sequence[Floats], low: float, high: float, *, spread: float = 1.0) -> Solid:
    """Upright prism over closed plan outlines (no repeated last point) from z = low to z = high, exactly.

    outlines: one (k, 2) outline or several; counter-clockwise ones enclose, clockwise ones are holes.
    spread: at the top the outlines are scaled by this about the centroid of the area they enclose,
    so that it may widen (> 1) or narrow upward. Raises ValueError when high <= low or nothing is
    enclosed.
    """
    contours = [outlines] if isinstance(outlines, np.ndarray) else list(outlines)
    section = manifold3d.CrossSection([np.array(contour, dtype=np.float64) for contour in contours])
    if high <= low or section.area() <= 0:
        raise ValueError(f"a prism of area {section.area():g} from {low:g} to {high:g} encloses nothing")
    x, y = _centroid(contours)
    made = section.translate((-x, -y)).extrude(high - low, scale_top=(spread, spread))

    def set_up(points: Floats) -> Floats:
        # low + (high - low) can miss high by a rounding: a form that ends level with its block would
        # then stand wholly inside it, as a void, instead of opening it
        ends = np.where(points[:, 2] > (high - low) / 2, high, low)
        return np.column_stack([points[:, 0] + x, points[:, 1] + y, ends])

    return checked(made.warp_batch(set_up), "The prism")


def hulled(points: Floats) -> Solid:
    """The convex solid round points (n, 3); their coordinates are kept as they are."""
    return checked(manifold3d.Manifold.hull_points(np.array(points, dtype=np.float64)), "The hull")


def plug(
    foot: ArrayLike,
    axis: ArrayLike,
    *,
    radius: float,
    tip_radius: float,
    length: float,
    root: float = 1.0,
    sides: int = 48,
) -> Solid:
    """A round plug: a cylinder `root` deep behind its foot, and from the foot a frustum along the unit axis.

    radius: at the foot, tip_radius: at the end `length` beyond it, not more than `radius`; prisms of
    `sides` sides inscribed in the round ones.
    """
    turn = np.arange(sides) * (2 * np.pi / sides)
    u, v, along = rotation_for(axis)
    around = np.outer(np.cos(turn), u) + np.outer(np.sin(turn), v)
    levels = ((radius, -root), (radius, 0.0), (tip_radius, length))
    return hulled(np.vstack([np.asarray(foot) + reach * around + height * along for reach, height in levels]))


def moved(solid: Solid, by: ArrayLike) -> Solid:
    """The solid, moved by a vector."""
    return solid.translate(tuple(float(value) for value in np.asarray(by)))


def placed(solid: Solid, rotation: Floats) -> Solid:
    """A solid given in the local axes of a rotation (3, 3), rows u, v, d, in world axes."""
    return solid.transform(np.column_stack([np.asarray(rotation).T, np.zeros(3)]))


def shadow_width(solid: Solid, direction: ArrayLike, *, most: float, exact: float = 0.01) -> float:
    """Width of what a solid covers when seen along a direction: twice the greatest inscribed radius.

    Found by halving to `exact` mm, up to `most`; 0 for an empty solid.
    """
    if solid.is_empty():
        return 0.0
    rotation = np.column_stack([rotation_for(direction), np.zeros(3)])
    shadow = solid.transform(rotation).project()

    def holds(width: float) -> bool:
        return not shadow.offset(-width / 2, manifold3d.JoinType.Miter).is_empty()

    low, high = 0.0, most
    if holds(high):
        return high
    while high - low > exact:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return high


def filled(contours: Sequence[Floats]) -> list[Floats]:
    """Simple outlines of everything that closed contours (k, 2) wind round a positive number of times.

    Outer outlines come counter-clockwise, holes clockwise.
    """
    section = manifold3d.CrossSection([np.array(contour, dtype=np.float64) for contour in contours])
    return [np.array(contour, dtype=np.float64) for contour in section.to_polygons()]


def triangulated(outline: Floats) -> NDArray[np.int32]:
    """(k - 2, 3) triangles over one simple counter-clockwise outline (k, 2), indices into it."""
    return np.array(manifold3d.triangulate([np.array(outline, dtype=np.float64)]), dtype=np.int32)


def _centroid(contours: Sequence[Floats]) -> tuple[float, float]:
    """Centroid of the signed area that the contours enclose."""
    area, moment = 0.0, np.zeros(2)
    for contour in contours:
        here, there = np.asarray(contour), np.roll(contour, -1, axis=0)
        cross = here[:, 0] * there[:, 1] - here[:, 1] * there[:, 0]
        area += float(cross.sum()) / 2
        moment += ((here + there) * cross[:, None]).sum(axis=0) / 6
    return float(moment[0] / area), float(moment[1] / area)
