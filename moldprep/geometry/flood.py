"""Water on a height map: how deep each cell lies under what it would spill over.

Priority flood: cells are taken in order of height from the border inward (Barnes, Lehman and Mulla,
Computers & Geosciences 62:117, 2014).
"""

from __future__ import annotations

import heapq

import numba
import numpy as np

from .mesh import Floats


def pooled_depth(height: Floats) -> Floats:
    """(nu, nv) depth of the water that would stand in each cell of a (nu, nv) height map.

    Water spreads to the eight neighbours and runs off over the border. Cells of -inf are bottomless
    ground: inside a rim they fill up to it. Depth there is inf.
    """
    depth: Floats = _spill_level(np.ascontiguousarray(height, dtype=np.float64))
    met = depth > height
    return np.where(met, np.where(met, depth, 0) - np.where(met, height, 0), 0.0)


@numba.njit(cache=True, nogil=True)
def _spill_level(height):  # type: ignore[no-untyped-def]
    rows, columns = height.shape
    level = np.full((rows, columns), np.inf)
    heap = [(0.0, 0, 0) for _ in range(0)]
    for r in range(rows):
        for c in range(columns):
            if r == 0 or c == 0 or r == rows - 1 or c == columns - 1:
                level[r, c] = height[r, c]
                heapq.heappush(heap, (height[r, c], r, c))
    while len(heap):
        water, r, c = heapq.heappop(heap)
        for dr in range(-1, 2):
            for dc in range(-1, 2):
                i, j = r + dr, c + dc
                if 0 <= i < rows and 0 <= j < columns and level[i, j] == np.inf:
                    level[i, j] = max(water, height[i, j])
                    heapq.heappush(heap, (level[i, j], i, j))
    return level
