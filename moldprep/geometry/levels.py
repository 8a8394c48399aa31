"""Flat, level ends of a form: patches of faces that look up, with their outlines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..errors import FormError
from .mesh import Floats, Mesh
from .outlines import Loop, across, boundary_loops, signed_area
from .solids import triangulated

LEVEL_DEG = 1.0
"""Faces that look up within this angle are level."""
FLAT_DEG = 0.35
"""Normals of a flat patch stray from their mean by less than this (root mean square, by area); those of
the top of a dome, as far as it is level within `LEVEL_DEG`, by 0.7."""
LEAST_AREA_MM2 = 10.0
"""Smaller level patches are texture, not ends."""


@dataclass(frozen=True, eq=False)
class Level:
    """One connected level patch.

    height: mean of its outline; low, high: its lowest and highest place, mm. faces: (k,) indices. loop: (n,) vertices of
    its outer outline, counter-clockwise from above; outline: (n, 2) the same in plan. holes: vertices
    of the loops inside it. across_mm: the lesser side of the smallest rectangle round it.
    """

    height: float
    low: float
    high: float
    faces: NDArray[np.int64]
    loop: Loop
    outline: Floats
    holes: tuple[Loop, ...]
    across_mm: float


def level_ends(form: Mesh) -> list[Level]:
    """All level patches that look up, the one that is most across first (the higher first in a tie)."""
    up = form.normals[:, 2] > np.cos(np.radians(LEVEL_DEG))
    if not up.any():
        return []
    z = form.vertices[:, 2]
    index = np.flatnonzero(up)
    heights = z[form.faces[index]]
    # faces without area or direction may lie inside a level patch: take those at its heights along
    sliver = np.flatnonzero(form.areas < 1e-9)
    if len(sliver):
        spread = np.ptp(z[form.faces[sliver]], axis=1)
        near = np.isin(np.round(z[form.faces[sliver, 0]], 3), np.unique(np.round(heights, 3)))
        index = np.sort(np.concatenate([index, sliver[(spread < 1e-3) & near]]))
    ends = [_level(form, patch) for patch in _patches(form.faces[index], index)]
    found = [end for end in ends if end is not None]
    return sorted(found, key=lambda end: (-round(end.across_mm, 3), -end.height))


def without_pocket(form: Mesh, end: Level) -> tuple[Mesh, Level, float]:
    """The form with what opens inside the end's holes filled flush, its end now, and how deep that was.

    The pocket's surface is dropped and the patch replaced by one without holes. Raises FormError
    (code "hollow-form") when the pocket breaks through to the outside elsewhere.
    """
    kept = np.ones(len(form.faces), bool)
    kept[end.faces] = False
    rest = form.faces[kept]
    rows = np.repeat(np.arange(len(rest)), 3)
    size = len(rest) + len(form.vertices)
    link = coo_matrix((np.ones(len(rows), bool), (rows, rest.ravel() + len(rest))), shape=(size, size))
    _, label = connected_components(link, directed=False)
    inner = np.unique(label[len(rest) + np.concatenate(end.holes)])
    if np.isin(label[len(rest) + end.loop], inner).any():
        raise FormError(
            "The opening leads right through the form.",
            code="hollow-form",
            remedy="Fill the inside, since slip follows the mold and the master is the outside alone; or allow it to "
            "be filled, with --fill-hollow (form.fill_hollow in a job file).",
        )
    pocket = np.isin(label[: len(rest)], inner)
    depth = end.height - float(form.vertices[rest[pocket]][..., 2].min())
    lid = end.loop[triangulated(end.outline)]
    faces = np.vstack([lid, rest[~pocket]]).astype(np.int32)
    used, renamed = np.unique(faces, return_inverse=True)
    filled = Mesh(form.vertices[used], renamed.reshape(-1, 3).astype(np.int32))
    whole = Level(
        end.height,
        end.low,
        end.high,
        np.arange(len(lid)),
        np.searchsorted(used, end.loop),
        end.outline,
        (),
        end.across_mm,
    )
    return filled, whole, depth


def _patches(faces: NDArray[np.int32], index: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """`index` split into patches of faces that share an edge."""
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    key = edges[:, 0].astype(np.int64) * (int(faces.max()) + 1) + edges[:, 1]
    _, edge = np.unique(key, return_inverse=True)
    face = np.tile(np.arange(len(faces)), 3)
    size = len(faces) + int(edge.max()) + 1
    link = coo_matrix((np.ones(len(face), bool), (face, edge + len(faces))), shape=(size, size))
    _, label = connected_components(link, directed=False)
    label = label[: len(faces)]
    order = np.argsort(label, kind="stable")
    return np.split(index[order], np.flatnonzero(np.diff(label[order])) + 1)


def _level(form: Mesh, patch: NDArray[np.int64]) -> Level | None:
    area, normal = form.areas[patch], form.normals[patch]
    if area.sum() < LEAST_AREA_MM2:
        return None
    mean = area @ normal / np.linalg.norm(area @ normal)
    # 1 - cos of a small angle is half its square
    stray = np.degrees(np.sqrt(2 * max(0.0, float(area @ (1 - normal @ mean) / area.sum()))))
    if stray > FLAT_DEG:
        return None
    z = form.vertices[form.faces[patch]][..., 2]
    loops = boundary_loops(form.faces[patch])
    outer = int(np.argmax([signed_area(form.vertices[loop, :2]) for loop in loops]))
    outline = form.vertices[loops[outer], :2]
    holes = tuple(loop for k, loop in enumerate(loops) if k != outer)
    height = float(form.vertices[loops[outer], 2].mean())
    return Level(height, float(z.min()), float(z.max()), patch, loops[outer], outline, holes, across(outline))
