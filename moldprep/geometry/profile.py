"""Area and outline of a form's slices at many heights, without building their polygons."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import ArrayLike

from .mesh import Floats, Mesh


def slice_profile(
    mesh: Mesh, heights: ArrayLike, *, rotation: ArrayLike | None = None
) -> tuple[Floats, Floats]:
    """(k,) area in mm2 and (k,) length of the outline in mm of the slices at ascending (k,) heights.

    Heights run along the third row of `rotation` (world z when None). Exact for a closed mesh, where
    a height that equals a vertex's is taken a hair above it; inner outlines count in the length and
    are taken off the area.
    """
    local = mesh.vertices if rotation is None else mesh.vertices @ np.asarray(rotation, dtype=np.float64).T
    area, length = _profile(np.ascontiguousarray(local), mesh.faces, np.asarray(heights, dtype=np.float64))
    return area, length


@numba.njit(cache=True, nogil=True)
def _profile(local, faces, heights):  # type: ignore[no-untyped-def]
    area, length = np.zeros(len(heights)), np.zeros(len(heights))
    ends = np.empty((2, 2))
    for f in range(len(faces)):
        z0, z1, z2 = local[faces[f, 0], 2], local[faces[f, 1], 2], local[faces[f, 2], 2]
        first = np.searchsorted(heights, min(z0, z1, z2))
        last = np.searchsorted(heights, max(z0, z1, z2))
        for k in range(first, last):
            h = heights[k]
            for e in range(3):
                a, b = faces[f, e], faces[f, (e + 1) % 3]
                za, zb = local[a, 2], local[b, 2]
                # rising edges end the segment, falling edges begin it: the solid lies on its left
                if (za <= h) == (zb <= h):
                    continue
                t = (h - za) / (zb - za)
                side = 0 if zb <= h else 1
                ends[side, 0] = local[a, 0] + t * (local[b, 0] - local[a, 0])
                ends[side, 1] = local[a, 1] + t * (local[b, 1] - local[a, 1])
            area[k] += (ends[0, 0] * ends[1, 1] - ends[1, 0] * ends[0, 1]) / 2
            length[k] += np.hypot(ends[1, 0] - ends[0, 0], ends[1, 1] - ends[0, 1])
    return area, length
