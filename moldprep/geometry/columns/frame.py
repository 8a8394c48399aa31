"""Where the columns stand: a turned frame and a regular grid across its third axis."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TypeAlias

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..mesh import Floats, Mesh, read_only

Window: TypeAlias = tuple[float, float, float, float]
Indices: TypeAlias = NDArray[np.int64]

MOST_COLUMNS = 40_000_000
"""More columns than this are refused: the crossings alone would take gigabytes."""


@dataclass(frozen=True, eq=False)
class Frame:
    """A right-handed orthonormal frame whose third axis is the columns' direction, and its grid.

    rotation: (3, 3), rows u, v, d, so that `local = rotation @ world`. origin: (2,) local (u, v) of
    the centre of column [0, 0]. pitch: mm between neighbouring columns. shape: (nu, nv) columns
    along u and v; the flat index of column [iu, iv] is `iu * nv + iv`.
    """

    rotation: Floats
    origin: Floats
    pitch: float
    shape: tuple[int, int]

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", read_only(np.array(self.rotation, dtype=np.float64)))
        object.__setattr__(self, "origin", read_only(np.array(self.origin, dtype=np.float64)))

    @property
    def direction(self) -> Floats:
        """(3,) unit vector of the columns, in world axes."""
        return np.asarray(self.rotation[2])

    @property
    def count(self) -> int:
        """Number of columns."""
        return self.shape[0] * self.shape[1]

    def local(self, points: ArrayLike) -> Floats:
        """(n, 3) world points in local (u, v, d), mm."""
        return np.asarray(np.asarray(points, dtype=np.float64) @ self.rotation.T)

    def world(self, points: ArrayLike) -> Floats:
        """(n, 3) local (u, v, d) points in world axes, mm."""
        return np.asarray(np.asarray(points, dtype=np.float64) @ self.rotation)

    def centres(self, column: NDArray[np.integer] | None = None) -> Floats:
        """(k, 2) local (u, v) of the centres of the flat columns given (of all when None), mm."""
        flat = np.arange(self.count) if column is None else np.asarray(column)
        grid = np.stack(np.divmod(flat, self.shape[1]), axis=-1)
        return np.asarray(self.origin + grid * self.pitch)

    def nearest(self, points: ArrayLike) -> Indices:
        """(n,) flat index of the column nearest to each (n, 3) world point, -1 outside the grid."""
        cell = np.rint((self.local(points)[..., :2] - self.origin) / self.pitch).astype(np.int64)
        inside = np.all((cell >= 0) & (cell < np.array(self.shape)), axis=-1)
        return np.asarray(np.where(inside, cell[..., 0] * self.shape[1] + cell[..., 1], -1))


def rotation_for(direction: ArrayLike, *, up: ArrayLike | None = None) -> Floats:
    """(3, 3) rotation with rows u, v, d: d along `direction`, v as nearly along `up` as it can be.

    `up` is world z when not given; where it is parallel to the direction, world y serves, and
    world x where that is parallel too. So +z gives u = x and v = y. Raises ValueError for a
    direction without length.
    """
    along = _unit(direction, "direction")
    wanted = [(0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)]
    for candidate in wanted if up is None else [up, *wanted]:
        vector = _unit(candidate, "up")
        across = vector - (vector @ along) * along
        length = np.linalg.norm(across)
        if length > 1e-6:
            v = across / length
            return np.array([np.cross(v, along), v, along])
    raise AssertionError("three axes cannot all be parallel to one direction")


def frame_for(
    mesh: Mesh,
    direction: ArrayLike,
    *,
    pitch: float | None = None,
    lines: int | None = None,
    shift: tuple[float, float] = (0.0, 0.0),
    window: Window | None = None,
    up: ArrayLike | None = None,
) -> Frame:
    """A frame of columns along `direction` that covers the form, or a window of it.

    Give exactly one of `pitch` (mm between columns) and `lines` (columns across the longer side of
    the form, or of the window). Without a window the grid is centred on the form and has a margin
    of one column all round; `window` is (umin, umax, vmin, vmax) in local mm and is covered without
    a margin. `shift` moves the grid by that many pitches along u and v (use it for a second,
    independent sampling; at most one pitch either way, so that the margin still covers the form).
    `up` as in `rotation_for`. Raises ValueError for an impossible request, among them a grid of
    more than `MOST_COLUMNS` columns.
    """
    if (pitch is None) == (lines is None):
        raise ValueError("give exactly one of pitch (mm) and lines (columns across the longer side)")
    if max(abs(shift[0]), abs(shift[1])) > 1:
        raise ValueError(f"a shift of {shift} pitches is more than one; it would uncover the form")
    rotation = rotation_for(direction, up=up)
    if window is not None:
        low, high = np.array(window[::2]), np.array(window[1::2])
    elif len(mesh.faces):
        low, high = extent(mesh.vertices, mesh.faces, rotation)
    else:
        raise ValueError("a mesh without faces has no columns")
    side = float((high - low).max())
    if not np.isfinite(side) or side <= 0 or (high < low).any():
        raise ValueError(f"nothing to cover: the form or window reaches from {low} to {high}")
    step = side / float(lines) if lines else float(pitch or 0)
    if not np.isfinite(step) or step <= 0:
        raise ValueError(f"pitch {pitch} or lines {lines} must be positive")
    margin = 0 if window is not None else 2
    # a hair less than the quotient, so that 12 mm at a pitch of 0.1 takes 120 columns, not 121
    counts = [max(1, ceil(float(extent) / step - 1e-9)) + margin for extent in high - low]
    shape = (counts[0], counts[1])
    if shape[0] * shape[1] > MOST_COLUMNS:
        raise ValueError(f"{shape[0]} x {shape[1]} columns are more than {MOST_COLUMNS}; use a coarser pitch")
    middle = (low + high) / 2
    origin = middle - (np.array(shape) - 1) / 2 * step + np.array(shift) * step
    return Frame(rotation, origin, step, shape)


def _unit(vector: ArrayLike, name: str) -> Floats:
    given = np.asarray(vector, dtype=np.float64)
    length = np.linalg.norm(given)
    if given.shape != (3,) or not np.isfinite(length) or length == 0:
        raise ValueError(f"{name} must be three finite numbers with a length, not {vector!r}")
    return np.asarray(given / length)


@numba.njit(cache=True, nogil=True)
def extent(vertices, faces, rotation):  # type: ignore[no-untyped-def]
    """Least and greatest (2,) local (u, v) over the vertices that faces use."""
    used = np.zeros(len(vertices), np.bool_)
    for f in range(len(faces)):
        for k in range(3):
            used[faces[f, k]] = True
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for i in range(len(vertices)):
        if used[i]:
            x, y, z = vertices[i, 0], vertices[i, 1], vertices[i, 2]
            for axis in range(2):
                at = rotation[axis, 0] * x + rotation[axis, 1] * y + rotation[axis, 2] * z
                low[axis], high[axis] = min(low[axis], at), max(high[axis], at)
    return low, high
