"""A surface cut off level: exact at the plane, the rest as it was, against manifold3d."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.clip import below_level
from moldprep.geometry.mesh import Mesh
from moldprep.geometry.outlines import boundary_loops
from moldprep.geometry.solids import split, to_manifold, triangulated
from tests.forms import from_trimesh

BALL = from_trimesh(trimesh.creation.icosphere(3, 40.0))
SAME = 1e-9


def lidded(part: Mesh) -> Mesh:
    """The part with its one opening closed."""
    (loop,) = boundary_loops(part.faces)
    seen = loop[::-1]
    lid = seen[triangulated(np.ascontiguousarray(part.vertices[seen, :2]))]
    return Mesh(part.vertices, np.vstack([part.faces, lid]).astype(np.int32))


@pytest.mark.parametrize("height", [-31.7, 0.0, 12.3, float(np.sort(BALL.vertices[:, 2])[200])])
def test_what_lies_below_is_what_a_boolean_leaves(height: float) -> None:
    """Among them heights at which vertices lie in the plane."""
    whole = lidded(below_level(BALL, height, same=SAME))
    _, below = split(to_manifold(BALL), (0.0, 0.0, 1.0), height)
    assert to_manifold(whole).volume() == pytest.approx(below.volume(), rel=1e-12)
    assert whole.bounds[1, 2] == height


def test_vertices_below_stay_in_place_and_order() -> None:
    part = below_level(BALL, 12.3, same=SAME)
    kept = BALL.vertices[BALL.vertices[:, 2] < 12.3]
    assert (part.vertices[: len(kept)] == kept).all()
    assert (part.vertices[len(kept) :, 2] == 12.3).all()


def test_vertices_near_the_plane_count_as_in_it_and_faces_in_it_go() -> None:
    box = from_trimesh(trimesh.creation.box((10, 10, 10)))
    part = below_level(box, 5 - 1e-5, same=1e-4)
    assert len(part.faces) == len(box.faces) - 2
    assert part.bounds[1, 2] == 5.0
