"""Outline of a form, and creases, in many upright planes at once, without building polygons."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import ArrayLike

from .mesh import Floats, Mesh

HAIR_MM = 1e-6
"""A plane is taken this far beyond its offset: never quite through a row of vertices."""


def upright_profile(
    mesh: Mesh, rotation: ArrayLike, azimuth_deg: float, *, offsets: Floats, levels: Floats
) -> Floats:
    """(k, o) length in mm of the outline in upright planes between heights levels[i] and levels[i + 1].

    The planes stand across (cos azimuth, sin azimuth) of the frame `rotation` at ascending (o,)
    `offsets` and are taken a hair beyond them. Exact for a closed mesh. A level stretch counts to the
    layer above it, the uppermost to the last one.
    """
    turn, angle = np.asarray(rotation, dtype=np.float64), np.radians(azimuth_deg)
    ahead = np.cos(angle) * turn[0] + np.sin(angle) * turn[1]
    local = mesh.vertices @ np.array([ahead, np.cross(turn[2], ahead), turn[2]]).T
    length: Floats = _upright(np.ascontiguousarray(local), mesh.faces, offsets + HAIR_MM, levels)
    return length


def upright_creases(
    ends: Floats, rotation: ArrayLike, azimuth_deg: float, *, offsets: Floats, levels: Floats, within: float
) -> Floats:
    """(k, o) length in mm of the creases (c, 2, 3) that lie within a distance of each of those planes.

    A crease counts where both its ends do.
    """
    turn, angle = np.asarray(rotation, dtype=np.float64), np.radians(azimuth_deg)
    ahead = np.cos(angle) * turn[0] + np.sin(angle) * turn[1]
    length: Floats = _along_planes(ends @ ahead, ends @ turn[2], _lengths(ends), offsets, levels, within)
    return length


def _lengths(ends: Floats) -> Floats:
    return np.asarray(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))


@numba.njit(cache=True, nogil=True)
def _along_planes(place, height, whole, offsets, levels, within):  # type: ignore[no-untyped-def]
    length = np.zeros((len(levels) - 1, len(offsets)))
    for c in range(len(place)):
        low, high = min(place[c, 0], place[c, 1]), max(place[c, 0], place[c, 1])
        o = np.searchsorted(offsets, high - within)
        while o < len(offsets) and offsets[o] <= low + within:
            _shared(length, o, whole[c], height[c], levels)
            o += 1
    return length


@numba.njit(cache=True, nogil=True)
def _upright(local, faces, offsets, levels):  # type: ignore[no-untyped-def]
    length = np.zeros((len(levels) - 1, len(offsets)))
    across, height = np.empty(2), np.empty(2)
    for f in range(len(faces)):
        a, b, c = local[faces[f, 0], 0], local[faces[f, 1], 0], local[faces[f, 2], 0]
        most = max(a, b, c)
        o = np.searchsorted(offsets, min(a, b, c))
        while o < len(offsets) and offsets[o] < most:
            found = 0
            for e in range(3):
                p, q = faces[f, e], faces[f, (e + 1) % 3]
                if (local[p, 0] <= offsets[o]) != (local[q, 0] <= offsets[o]):
                    t = (offsets[o] - local[p, 0]) / (local[q, 0] - local[p, 0])
                    across[found] = local[p, 1] + t * (local[q, 1] - local[p, 1])
                    height[found] = local[p, 2] + t * (local[q, 2] - local[p, 2])
                    found += 1
            _shared(length, o, np.hypot(across[1] - across[0], height[1] - height[0]), height, levels)
            o += 1
    return length


@numba.njit(cache=True, nogil=True)
def _shared(length, o, whole, height, levels):  # type: ignore[no-untyped-def]
    """Share a segment's length out among the levels that it passes."""
    low, high = min(height[0], height[1]), max(height[0], height[1])
    last = len(levels) - 2
    k = min(max(np.searchsorted(levels, low, side="right") - 1, 0), last)
    if high - low < 1e-12:
        length[k, o] += whole
        return
    while k <= last and levels[k] < high:
        part = min(high, levels[k + 1]) - max(low, levels[k])
        length[k, o] += whole * max(part, 0.0) / (high - low)
        k += 1
