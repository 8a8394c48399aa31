"""Small forms that several tests use, built from formulas."""

from __future__ import annotations

import numpy as np
import trimesh

from moldprep.geometry.mesh import Mesh


def turned(profile: list[tuple[float, float]], *, sections: int = 256) -> Mesh:
    """The solid of revolution about z of an (r, z) profile that begins and ends on the axis."""
    return from_trimesh(trimesh.creation.revolve(np.array(profile, dtype=float), sections=sections))


def from_trimesh(mesh: trimesh.Trimesh) -> Mesh:
    """A Mesh with the same vertices and faces."""
    return Mesh(np.array(mesh.vertices), np.array(mesh.faces))


def chord_error(radius: float, sections: int) -> float:
    """How far the chords of an inscribed polygon stand inside its circle."""
    return radius * (1 - np.cos(np.pi / sections))


def tumbler(*, sections: int = 256, rings: int = 1) -> Mesh:
    """A frustum, radius 30 at the foot and 40 at the rim, 100 high."""
    wall = [(30 + 10 * t, 100 * t) for t in np.linspace(0, 1, rings + 1)]
    return turned([(0, 0), *wall, (0, 100)], sections=sections)


def grooved(*, sections: int = 256) -> Mesh:
    """A cylinder of radius 40, 80 high, with a groove 6 deep and 10 high round its middle."""
    return turned(
        [(0, 0), (40, 0), (40, 30), (34, 30), (34, 40), (40, 40), (40, 80), (0, 80)], sections=sections
    )


def disc_on_stem(*, sections: int = 256) -> Mesh:
    """A disc of radius 50 on a stem of radius 25."""
    return turned([(0, 0), (25, 0), (25, 50), (50, 50), (50, 60), (0, 60)], sections=sections)
