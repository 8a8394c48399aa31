"""Forms whose supports are known, and their print plans, made once."""

from __future__ import annotations

from functools import cache

import numpy as np
import trimesh

from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import difference, from_manifold, to_manifold, union, united
from moldprep.job import PiecesJob, PlasterJob, PrinterJob, PullJob
from moldprep.pieces import Pieces, cut_pieces
from moldprep.printing import PrintPlan, plan_print
from tests.forms import from_trimesh, turned
from tests.parting.forms import block_of, parted, stood


@cache
def mushroom() -> Mesh:
    """A domed cap of radius 60 with a flat underside at 60 on a stem that narrows from radius 25 to 20."""
    cap = [(60 * np.cos(a), 60 + 40 * np.sin(a)) for a in np.linspace(0, np.pi / 2, 40)]
    return turned([(0, 0), (25, 0), (20, 60), *cap[:-1], (0, 100)], sections=128)


@cache
def waisted() -> Mesh:
    """Two flat discs of radius 45 joined by a stem of radius 15: an hourglass that hangs over by 90 degrees."""
    return turned(
        [(0, 0), (45, 0), (45, 20), (15, 20), (15, 80), (45, 80), (45, 100), (0, 100)], sections=128
    )


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    return from_trimesh(trimesh.creation.box(bounds=[low, high]))


@cache
def table() -> Mesh:
    """A top of 80 x 60 x 10 on four legs 10 x 10 x 40 at its corners."""
    legs = [box((x, y, 0), (x + 10, y + 10, 41)) for x in (0, 70) for y in (0, 50)]
    return union([box((0, 0, 40), (80, 60, 50)), *legs])


@cache
def tee() -> Mesh:
    """An upright 20 x 30 x 50 under a bar 80 x 30 x 20."""
    return union([box((30, 0, 0), (50, 30, 51)), box((0, 0, 50), (80, 30, 70))])


@cache
def pieces_of(mesh: Mesh) -> Pieces:
    stand = stood(mesh)
    return cut_pieces(stand, block_of(stand), parted(mesh), PullJob(), PiecesJob(natches="none"))


@cache
def printed(mesh: Mesh, job: PrinterJob = PrinterJob(), plaster: PlasterJob = PlasterJob()) -> PrintPlan:  # noqa: B008
    return plan_print(stood(mesh), parted(mesh), pieces_of(mesh), plaster, job)


@cache
def slab_on_edge() -> Mesh:
    """A plate 20 deep, upright, with three notches right through that open to the side: lying down it needs
    no support, upright each notch's ceiling does."""
    plate = to_manifold(box((-60, -10, 0), (60, 10, 120)))
    notches = [to_manifold(box((-20, -30, z), (80, 30, z + 25))) for z in (10, 45, 80)]
    return from_manifold(difference(plate, united(notches)))
