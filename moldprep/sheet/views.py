"""What a screen shows in 3D, as binary glTF: the form by its classes, and the parts of the mold."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import Point
from ..geometry.coarse import coarse
from ..geometry.mesh import Mesh
from ..planning import Plan
from .apart import drawn_apart
from .meshes import glb_bytes
from .pictures import CLASS_COLOURS

CLASS_NAMES = ("free", "tight", "locked")


@dataclass(frozen=True)
class ShownPart:
    """One solid of the mold to look at."""

    letter: str
    name: str
    tint: str
    apart: Point
    glb: bytes = field(repr=False)


def class_view(mesh: Mesh, face_class: NDArray[np.uint8]) -> bytes:
    """The form with one node for each class that occurs."""
    kinds = [k for k in range(3) if mesh.areas[face_class == k].any()]
    return glb_bytes(
        {
            CLASS_NAMES[k]: (
                Mesh(mesh.vertices, mesh.faces[face_class == k]),
                "#" + bytes(CLASS_COLOURS[k].tolist()).hex(),
                1.0,
            )
            for k in kinds
        }
    )


def part_views(plan: Plan) -> tuple[ShownPart, ...]:
    """Master and pieces."""
    return tuple(
        ShownPart(
            part.letter,
            part.name,
            part.tint,
            (float(part.moved[0]), float(part.moved[1]), float(part.moved[2])),
            glb_bytes({part.name: (coarse(part.mesh, cells=192), part.tint, 1.0)}),
        )
        for part in drawn_apart(plan)
    )
