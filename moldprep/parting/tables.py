"""What every parting of a layer stack would lock, tabulated once; then any stack is priced by look-up.

Along the stack axis the form is cut into slices. For each slice the tables hold the area of plaster
that stays locked when the slice leaves downward, upward, or sideways along an azimuth when it is
split at an offset. A stack's locked volume is then a sum over slices, because a sideways pull keeps
the height and a pull along the axis looks only at what lies beyond the slice.

Facet noise must not buy pieces. A locked stretch therefore counts only where it is at least two
columns wide across its pull: noise is a sliver narrower than that, a lock is not. (Subtracting
`tolerance x boundary length` from a slice's area instead would hide a real lock of half a millimetre
behind a long boundary.) What is narrower than two columns is judged afterwards by its reach.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from ..geometry.columns import Frame, cast, frame_for, rotation_for, solid_intervals
from ..geometry.columns.intervals import Intervals
from ..geometry.mesh import Bools, Floats, Mesh
from ..working import SILENT, Watch


@dataclass(frozen=True, eq=False)
class PartingTables:
    """Locked volumes of slices, cumulated from the bottom.

    rotation: (3, 3), rows u, v, axis. levels: (n + 1,) heights of the slices' bounds along the axis,
    form bottom to top. down, up: (n + 1,) locked volume of the slices below level k that leave
    downward, above level k that leave upward, mm3, with noise taken off. azimuths_deg: (a,), offsets:
    (a, o), side: (a, n + 1, o) locked volume of the slices below level k split at that azimuth and
    offset. seam: (a, n + 1, o) length of the upright seam below level k. *_all: without taking off.
    pitch: between columns.
    """

    rotation: Floats
    levels: Floats
    pitch: float
    down: Floats = field(repr=False)
    up: Floats = field(repr=False)
    azimuths_deg: Floats = field(repr=False)
    offsets: Floats = field(repr=False)
    side: Floats = field(repr=False)
    seam: Floats = field(repr=False)
    down_all: Floats = field(repr=False)
    up_all: Floats = field(repr=False)
    side_all: Floats = field(repr=False)

    @property
    def axis(self) -> Floats:
        """(3,) the stack axis."""
        return np.asarray(self.rotation[2])


def tabulate(
    mesh: Mesh,
    axis: Floats,
    *,
    levels: Floats,
    lines: int,
    azimuths_deg: Floats,
    seam_top: float,
    plaster: Callable[[Floats], Bools] | None = None,
    watch: Watch = SILENT,
) -> PartingTables:
    """The tables of a form (its spare included) for one stack axis.

    `levels` are the slices' bounds along the axis; `lines` columns stand across the form;
    `seam_top` is the height along the axis above which a seam does not count (the spare). `plaster`
    says of (k, 3) points whether they lie in the block; needed when the axis is tilted.
    """
    rotation = rotation_for(axis)
    along = frame_for(mesh, axis, lines=lines)
    solid = solid_intervals(cast(mesh, along))
    middles, thick = (levels[1:] + levels[:-1]) / 2, np.diff(levels)
    taken = occupied(solid, middles)
    below = np.logical_or.accumulate(taken, axis=0)
    above = np.logical_or.accumulate(taken[::-1], axis=0)[::-1]
    cell = along.pitch**2
    down, up = ~taken & below, ~taken & above
    if plaster is not None:
        down, up = _within(down, along, middles, plaster), _within(up, along, middles, plaster)
    tables = [
        np.concatenate([[0.0], np.cumsum(_count(part) * thick * cell)])
        for part in (_opened(down), down, _opened(up), up)
    ]
    sides = []
    for k, azimuth in enumerate(np.radians(azimuths_deg)):
        watch.step(k, len(azimuths_deg))
        pull = np.cos(azimuth) * rotation[0] + np.sin(azimuth) * rotation[1]
        sides.append(_sideways(mesh, pull, rotation[2], levels, along.pitch, lines, seam_top))
    none = np.zeros((0, len(levels), 1))
    offsets, side, side_all, seam = (
        (np.array(part) for part in zip(*sides, strict=True))
        if sides
        else (np.zeros((0, 1)), none, none, none)
    )
    return PartingTables(
        rotation=rotation,
        levels=levels,
        pitch=along.pitch,
        down=tables[0],
        down_all=tables[1],
        up=tables[2][-1] - tables[2],
        up_all=tables[3][-1] - tables[3],
        azimuths_deg=np.asarray(azimuths_deg, dtype=np.float64),
        offsets=offsets,
        side=side,
        side_all=side_all,
        seam=seam,
    )


def occupied(solid: Intervals, heights: Floats) -> Bools:
    """(k, nu, nv) whether the form is at each of (k,) ascending heights in each column."""
    first = np.searchsorted(heights, solid.low)
    last = np.searchsorted(heights, solid.high, side="right")
    change = np.zeros((len(heights) + 1, solid.frame.count), np.int16)
    np.add.at(change, (first, solid.column), 1)
    np.add.at(change, (last, solid.column), -1)
    return (np.cumsum(change, axis=0)[:-1] > 0).reshape(len(heights), *solid.frame.shape)


def _within(cells: Bools, frame: Frame, heights: Floats, plaster: Callable[[Floats], Bools]) -> Bools:
    """The cells whose centres lie in the block."""
    k, i, j = np.nonzero(cells)
    centres = frame.origin + np.column_stack([i, j]) * frame.pitch
    keep = plaster(frame.world(np.column_stack([centres, heights[k]])))
    found = np.zeros_like(cells)
    found[k[keep], i[keep], j[keep]] = True
    return found


def _count(cells: Bools) -> Floats:
    return np.asarray(cells.sum(axis=(1, 2)), dtype=np.float64)


def _opened(cells: Bools) -> Bools:
    """Only cells that belong to a block of two by two within their slice."""
    corners = np.pad(cells, ((0, 0), (1, 1), (1, 1)))
    blocks = corners[:, 1:, 1:] & corners[:, :-1, 1:] & corners[:, 1:, :-1] & corners[:, :-1, :-1]
    kept = blocks[:, 1:, 1:] | blocks[:, :-1, 1:] | blocks[:, 1:, :-1] | blocks[:, :-1, :-1]
    return np.asarray(kept & cells)


def _sideways(
    mesh: Mesh, pull: Floats, axis: Floats, levels: Floats, pitch: float, lines: int, seam_top: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Offsets (o,), counted and whole locked volume (n + 1, o), seam length (n + 1, o), cumulated.

    Columns lie along the pull; their rows are spread over the form's height, and each slice takes
    the row nearest to its middle.
    """
    frame = frame_for(mesh, pull, pitch=pitch, up=axis)
    solid = solid_intervals(cast(mesh, frame))
    middles, thick = (levels[1:] + levels[:-1]) / 2, np.diff(levels)
    row = np.clip(np.rint((middles - frame.origin[1]) / frame.pitch).astype(int), 0, frame.shape[1] - 1)
    low, high, gap = (part.reshape(frame.shape)[:, row] for part in _ends(solid))  # (lines, slices)
    middle = (solid.bottom + solid.top) / 2
    half = lines // 2
    offsets = middle + (solid.top - solid.bottom) / 2 * np.linspace(-1, 1, 2 * (half // 2) + 1)
    counted, whole = np.empty((len(middles), len(offsets))), np.empty((len(middles), len(offsets)))
    for j, offset in enumerate(offsets):
        # empty lines have low = inf, high = -inf, gap = 0 and lock nothing
        locked = gap + np.where(
            np.isfinite(low), np.maximum(0, low - offset) + np.maximum(0, offset - high), 0
        )
        beside = np.zeros_like(locked)
        beside[1:-1] = np.maximum(locked[:-2], locked[2:])
        counted[:, j] = np.minimum(locked, beside).sum(axis=0)
        whole[:, j] = locked.sum(axis=0)
    scale = (thick * frame.pitch)[:, None]
    seam = _upright_seam(solid, offsets)[row] * (thick / frame.pitch)[:, None]
    seam[middles > seam_top] = 0
    return offsets, _cumulated(counted * scale), _cumulated(whole * scale), _cumulated(seam)


def _cumulated(slices: Floats) -> Floats:
    return np.concatenate([np.zeros((1, slices.shape[1])), np.cumsum(slices, axis=0)])


def _ends(solid: Intervals) -> tuple[Floats, Floats, Floats]:
    """(count,) lowest low, highest high (inf, -inf where empty) and sum of gaps of every column."""
    first, last = solid.start[:-1], solid.start[1:]
    met = last > first
    low, high, gap = np.full(len(first), np.inf), np.full(len(first), -np.inf), np.zeros(len(first))
    low[met], high[met] = solid.low[first[met]], solid.high[last[met] - 1]
    length = np.bincount(solid.column, solid.high - solid.low, minlength=len(first))
    gap[met] = np.maximum(0, high[met] - low[met] - length[met])
    return low, high, gap


def _upright_seam(solid: Intervals, offsets: Floats) -> Floats:
    """(nv, o) length of the form's outline in the parting plane, row by row of a pitch's height.

    By counting the changes between form and none along rows and columns, times pi/4 (Cauchy and
    Crofton): within a few percent for outlines of all slopes, exact on average.
    """
    taken = occupied(solid, offsets)  # (o, lines, rows)
    along = np.diff(taken, axis=1).sum(axis=1, dtype=float)
    between = np.diff(np.pad(taken, ((0, 0), (0, 0), (1, 1))), axis=2).sum(axis=1, dtype=float)
    changes = along + (between[:, 1:] + between[:, :-1]) / 2  # a change between two rows is half each one's
    return np.asarray(changes.T * solid.frame.pitch * np.pi / 4)
