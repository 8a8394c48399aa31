"""Forms for the parting's tests, stood in a mold without the earlier stages' searches."""

from __future__ import annotations

from functools import cache, partial

import numpy as np
import trimesh

from moldprep.cottle import Block, choose_block
from moldprep.errors import Point
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.solids import union
from moldprep.job import CottleJob, PartingJob
from moldprep.parting import Parting, part_mold
from moldprep.pull import AxisRow, PullStudy
from moldprep.stand import Stand
from tests.forms import from_trimesh
from tests.forms import turned as turned_finely

TOLERANCE = 0.15
turned = partial(turned_finely, sections=128)


@cache
def stood(mesh: Mesh) -> Stand:
    """A form as it is: its highest point is the opening plane, there is no spare."""
    top = float(mesh.bounds[1, 2])
    return Stand("rim", False, "test", np.eye(4), mesh, mesh, (), top, top, 0.0, 25.0, 0.0)


@cache
def block_of(stand: Stand) -> Block:
    return choose_block(stand, CottleJob(), wall_mm=25.0)


def studied(axes: tuple[Point, ...] = ()) -> PullStudy:
    rows = tuple(AxisRow(axis, "test", 0.0, 0.0, 0.0, 0.0) for axis in axes or ((0.0, 0.0, 1.0),))
    return PullStudy((), axes, rows, rows[0], ())


@cache
def parted(mesh: Mesh, *, axes: tuple[Point, ...] = (), **job: object) -> Parting:
    stand = stood(mesh)
    job.setdefault("azimuths", 12)  # half the usual: forms have azimuths of their own
    return part_mold(
        stand,
        studied(axes),
        block_of(stand),
        PartingJob(**job),
        tolerance_mm=TOLERANCE,  # type: ignore[arg-type]
    )


def lifted(mesh: Mesh) -> Mesh:
    """The mesh moved up or down until it stands on z = 0."""
    return Mesh(mesh.vertices - [0, 0, mesh.bounds[0, 2]], mesh.faces)


def about_z(mesh: Mesh, degrees: float) -> Mesh:
    return mesh.transformed(trimesh.transformations.rotation_matrix(np.radians(degrees), [0, 0, 1]))


@cache
def sphere(radius: float = 40.0) -> Mesh:
    return lifted(from_trimesh(trimesh.creation.uv_sphere(radius=radius, count=[96, 192])))


@cache
def hourglass() -> Mesh:
    """Radius 35 at both ends, 20 at the waist, 100 high."""
    height = np.linspace(0, 100, 101)
    return turned([(0, 0), *((27.5 + 7.5 * np.cos(h * np.pi / 50), h) for h in height), (0, 100)])


@cache
def toadstool() -> Mesh:
    """A half ball of radius 40 on a stem of radius 20 and 50 high that widens to it at 45 degrees."""
    cap = [(40 * np.cos(a), 50 + 40 * np.sin(a)) for a in np.linspace(0, np.pi / 2, 60)]
    return turned([(0, 0), (20, 0), (20, 30), *cap[:-1], (0, 90)])


@cache
def bud_vase(*, recess: float) -> Mesh:
    """Belly and narrow neck; a foot of radius 22 hollowed within radius 17."""
    height = np.linspace(0, 120, 121)
    wall = [(22 + 16 * np.sin(min(h, 80) * np.pi / 80) + 0.1 * max(h - 80, 0), h) for h in height]
    foot = [(0, recess), (16, recess), (17, 0)] if recess else [(0, 0)]
    return turned([*foot, *wall, (0, 120)])


@cache
def handled_cup(*, angle: float = 0.0) -> Mesh:
    """A tumbler with a round handle toward `angle`, its eye open."""
    ring = trimesh.creation.torus(major_radius=18, minor_radius=5, major_sections=64, minor_sections=32)
    ring.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    ring.apply_translation([44, 0, 45])
    body = turned([(0, 0), (32, 0), (38, 90), (0, 90)])
    return about_z(union([body, from_trimesh(ring)]), angle)


def moved(mesh: Mesh, x: float, y: float) -> Mesh:
    return Mesh(mesh.vertices + np.array([x, y, 0.0]), mesh.faces)
