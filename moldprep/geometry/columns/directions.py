"""The pull volumes of many directions at once, on several threads."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ...working import SILENT, Watch
from ..mesh import Floats, Mesh, read_only
from .frame import frame_for
from .intervals import gap_mm3, one_way_mm3, parted_mm3, solid_intervals
from .raster import cast, projected_area


@dataclass(frozen=True, eq=False)
class DirectionStudy:
    """What each of n directions would lock.

    directions: (n, 3) unit vectors. gap_mm3: (n,) locked along +d and -d alike. one_way_plus_mm3,
    one_way_minus_mm3: (n,) locked in a single-pull mold when the master leaves along +d, along -d
    (see `one_way_mm3`). parted_mm3: (n,) locked by the best plane across d (see `parted_mm3`).
    projected: (n,) area of the shadow, mm2. lines: columns across.
    """

    directions: Floats
    gap_mm3: Floats
    one_way_plus_mm3: Floats
    one_way_minus_mm3: Floats
    parted_mm3: Floats
    projected: Floats
    lines: int

    def __post_init__(self) -> None:
        for array in (self.directions, self.gap_mm3, self.parted_mm3, self.projected):
            read_only(array)
        for array in (self.one_way_plus_mm3, self.one_way_minus_mm3):
            read_only(array)


def study_directions(
    mesh: Mesh, directions: ArrayLike, *, lines: int, workers: int = 1, watch: Watch = SILENT
) -> DirectionStudy:
    """Gap volume, one-way volumes and projected area along each of (n, 3) directions.

    `lines` columns across the longer side of the form's shadow for every direction; `workers`
    threads share the directions. `watch.step` is called in the caller's thread as directions finish,
    and what it raises ends the work: directions not yet begun are dropped.
    """
    vectors = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    units = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    table = np.empty((len(units), 5))
    with ThreadPoolExecutor(max(workers, 1)) as pool:
        rows = [pool.submit(_volumes, mesh, direction, lines) for direction in units]
        try:
            for i, row in enumerate(rows):
                table[i] = row.result()
                watch.step(i + 1, len(rows))
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    gap, plus, minus, parted, projected = np.ascontiguousarray(table.T)
    return DirectionStudy(units, gap, plus, minus, parted, projected, lines)


def _volumes(mesh: Mesh, direction: Floats, lines: int) -> tuple[float, float, float, float, float]:
    columns = cast(mesh, frame_for(mesh, direction, lines=lines))
    solid = solid_intervals(columns)
    return (
        gap_mm3(solid),
        one_way_mm3(solid, master_leaves=1),
        one_way_mm3(solid, master_leaves=-1),
        parted_mm3(solid),
        projected_area(columns),
    )
