"""Which faces stand in an eye or under a foot: holes of a form's level and upright slices."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from .columns import cast, frame_for, solid_intervals
from .mesh import Bools, Mesh

_LINES = 96


def enclosed_faces(mesh: Mesh, *, lines: int = _LINES) -> Bools:
    """(m,) whether the space before a face is ringed by the form in some axis-aligned slice.

    A cast that shrinks closes on what stands there: the boss of plaster in a foot recess, the core
    in the eye of a handle. Found on a voxel grid of `lines` cells across the longest side; rings
    narrower than about two cells are not seen.
    """
    pitch = float(mesh.extents.max()) / lines
    frame = frame_for(mesh, (0.0, 0.0, 1.0), pitch=pitch)
    solid = solid_intervals(cast(mesh, frame))
    levels = max(1, int(np.ceil((solid.top - solid.bottom) / pitch)))
    first = np.clip(np.ceil((solid.low - solid.bottom) / pitch - 0.5), 0, levels).astype(int)
    last = np.clip(np.floor((solid.high - solid.bottom) / pitch - 0.5) + 1, 0, levels).astype(int)
    change = np.zeros((levels + 1, frame.count), np.int32)
    np.add.at(change, (first, solid.column), 1)
    np.add.at(change, (np.maximum(first, last), solid.column), -1)
    taken = (np.cumsum(change, axis=0)[:levels] > 0).reshape(levels, *frame.shape)
    ringed = np.zeros_like(taken)
    for axis in range(3):
        slices, holes = np.moveaxis(taken, axis, 0), np.moveaxis(ringed, axis, 0)
        for k in range(len(slices)):
            holes[k] |= ndimage.binary_fill_holes(slices[k]) & ~slices[k]
    if not ringed.any():
        return np.zeros(len(mesh.faces), bool)
    before = mesh.centroids + 1.5 * pitch * mesh.normals
    u, v, d = (frame.local(before) - [*frame.origin, solid.bottom + pitch / 2]).T / pitch
    cells = [np.rint(part).astype(int) for part in (d, u, v)]
    inside = np.all(
        [(cell >= 0) & (cell < size) for cell, size in zip(cells, ringed.shape, strict=True)], axis=0
    )
    found = np.zeros(len(mesh.faces), bool)
    found[inside] = ringed[cells[0][inside], cells[1][inside], cells[2][inside]]
    return found
