"""The one mesh type: indexed triangles, never changed in place.

trimesh is used to read files and where its algorithms serve; between stages goes this lighter
value, whose arrays are read-only and whose derived quantities are computed once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """The array itself, marked read-only."""
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles of a form; outward normals by the right-hand rule when closed.

    vertices: (n, 3) float64, mm. faces: (m, 3) int32 indices into vertices. Both are copied only
    when their type demands it and are made read-only.
    """

    vertices: Floats
    faces: Ints

    def __post_init__(self) -> None:
        vertices = np.ascontiguousarray(self.vertices, dtype=np.float64)
        faces = np.ascontiguousarray(self.faces, dtype=np.int32)
        if vertices.ndim != 2 or vertices.shape[1] != 3 or faces.ndim != 2 or faces.shape[1] != 3:
            raise ValueError(
                f"a mesh needs (n, 3) vertices and (m, 3) faces, not {vertices.shape}, {faces.shape}"
            )
        object.__setattr__(self, "vertices", read_only(vertices))
        object.__setattr__(self, "faces", read_only(faces))

    @cached_property
    def _cross(self) -> Floats:
        """(m, 3): twice the area vector of each face."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        crossed: Floats = np.cross(b - a, c - a)
        return crossed

    @cached_property
    def areas(self) -> Floats:
        """(m,) face areas, mm2."""
        return np.asarray(read_only(np.linalg.norm(self._cross, axis=1) / 2))

    @cached_property
    def normals(self) -> Floats:
        """(m, 3) unit outward normals; zero rows for faces without area."""
        length = 2 * self.areas[:, None]
        return np.asarray(
            read_only(np.divide(self._cross, length, out=np.zeros_like(self._cross), where=length > 0))
        )

    @cached_property
    def centroids(self) -> Floats:
        """(m, 3) face centroids, mm."""
        return np.asarray(read_only(self.vertices[self.faces].mean(axis=1)))

    @cached_property
    def bounds(self) -> Floats:
        """(2, 3): least and greatest corner over the vertices that faces use, mm."""
        mask = np.zeros(len(self.vertices), bool)
        mask[self.faces.ravel()] = True
        used = self.vertices if mask.all() or not len(self.faces) else self.vertices[mask]
        return np.asarray(read_only(np.array([used.min(axis=0), used.max(axis=0)])))

    @property
    def extents(self) -> Floats:
        """(3,) size along x, y, z, mm."""
        return np.asarray(self.bounds[1] - self.bounds[0])

    @cached_property
    def area(self) -> float:
        """Surface area, mm2."""
        return float(self.areas.sum())

    @cached_property
    def volume(self) -> float:
        """Signed volume, mm3, by the divergence theorem; meaningful when closed."""
        origin = self.bounds.mean(axis=0)
        a = self.vertices[self.faces[:, 0]] - origin
        return float(np.einsum("ij,ij->", a, self._cross) / 6)

    @cached_property
    def centre_of_mass(self) -> Floats:
        """(3,) centre of mass of the solid at even density, mm, by the divergence theorem; when closed."""
        origin = self.bounds.mean(axis=0)
        corner = self.vertices[self.faces] - origin
        share = np.einsum("ij,ij->i", corner[:, 0], self._cross) / 6
        return np.asarray(read_only(origin + share @ corner.sum(axis=1) / 4 / share.sum()))

    def transformed(self, matrix: Floats) -> Mesh:
        """The mesh under a 4 x 4 affine matrix; faces are turned over when it mirrors."""
        linear = np.asarray(matrix, dtype=np.float64)[:3, :3]
        vertices = self.vertices @ linear.T + np.asarray(matrix, dtype=np.float64)[:3, 3]
        faces = self.faces if np.linalg.det(linear) > 0 else self.faces[:, ::-1]
        return Mesh(vertices, faces)


def without_cracks(mesh: Mesh, tags: NDArray[np.int64]) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh without cracks of no width: vertices of one place become one, and pairs of faces that lie on
    each other back to back go. tags: (m,) one for each face, returned for those that stay.

    Joining two solids along a common face can leave such cracks, which single precision tears open.
    """
    places, place = np.unique(mesh.vertices, axis=0, return_inverse=True)
    faces = place.reshape(-1)[mesh.faces]
    order = np.sort(faces, axis=1)
    names, owner, count = np.unique(order, axis=0, return_inverse=True, return_counts=True)
    turned = ((faces[:, 0] - faces[:, 1]) * (faces[:, 1] - faces[:, 2]) * (faces[:, 2] - faces[:, 0])) > 0
    ways = np.bincount(owner.reshape(-1), weights=np.where(turned, 1.0, -1.0), minlength=len(names))
    flat = (order[:, 0] == order[:, 1]) | (order[:, 1] == order[:, 2])
    kept = ~flat & ~((count == 2) & (ways == 0))[owner.reshape(-1)]
    return Mesh(places, faces[kept]), tags[kept]
