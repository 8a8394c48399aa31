"""How rough the print is where plaster meets it, and which faces to sand before molding."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..formulas.printing import bead_mm
from ..geometry.mesh import Floats, Mesh, read_only
from ..job import PrinterJob
from ..pieces import Pieces

SMOOTH, STAIRS, GRIPS, UNTOUCHED = 0, 1, 2, 3
"""Classes of faces, see `SURFACES`; UNTOUCHED: no plaster there."""
GRIP_DRAFT_DEG = 5.0
"""Least draft of a textured wall (common practice): a print's beads are a texture."""
ACROSS = 0.5
"""From this share of the way along which plaster slides over a face, the beads lie across it: 30 degrees."""
STAIRS_SHARE = 0.5
"""Share of a layer from which stairs show: faces that lean more than 30 degrees from upright."""
LEVEL = 0.9995
"""Faces flatter than this are one layer's own top, without stairs."""
WORTH_MM2 = 50.0
"""Less of a class than half a square centimetre is not worth a word."""
SURFACES = (
    ("as printed", "The plaster lifts off or slides along the beads: sand for looks only."),
    ("stairs", "The layers show as stairs, and the cast takes them on: fill and sand."),
    (
        "grips",
        "Beads lie across the pull on walls with little draft and hold the plaster like a file: sand these first.",
    ),
)


@dataclass(frozen=True)
class Surface:
    """Faces of one class that plaster meets: area, share of all that it meets, and area-weighted roughness.

    cusp_mm: mean height of the layers' stairs, most_cusp_mm the highest; bead_mm: mean height of the beads
    across the pull. draft_deg: mean draft under the pull of the piece that each face meets.
    """

    name: str
    area_mm2: float
    share: float
    cusp_mm: float
    most_cusp_mm: float
    bead_mm: float
    draft_deg: float
    means: str


def surfaces(mesh: Mesh, pieces: Pieces, job: PrinterJob) -> tuple[tuple[Surface, ...], NDArray[np.uint8]]:
    """The classes that occur, and the class of each face of `Stand.mesh` (m,).

    Layers are level in the casting pose, whichever way up a section prints. With n the face's normal, p the
    pull and z the layers' normal: stairs are t |n_z| high (Dolenc and Makela 1994), beads half a layer on
    an upright wall. Plaster slides over the face along the part of p in the face; the beads run along z x n.
    """
    met = pieces.face_piece >= 0
    pull = np.array([piece.pull for piece in pieces.pieces])[np.maximum(pieces.face_piece, 0)]
    normal = mesh.normals
    rise = np.abs(normal[:, 2])
    upright = np.sqrt(np.maximum(1 - rise**2, 0))
    sine = np.einsum("ij,ij->i", normal, pull)
    along = pull - sine[:, None] * normal  # the part of the pull in the face
    across = _across(normal, along)
    draft = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    cusp, bead = job.layer_mm * rise, bead_mm(job.layer_mm) * upright * across
    kind = np.full(len(normal), SMOOTH, np.uint8)
    layered = rise <= LEVEL
    kind[layered & (rise > STAIRS_SHARE)] = STAIRS
    kind[layered & (draft < GRIP_DRAFT_DEG) & (across >= ACROSS)] = GRIPS
    kind[~met] = UNTOUCHED
    total = float(mesh.areas[met].sum())
    rows = []
    for k in (GRIPS, STAIRS, SMOOTH):
        own = kind == k
        area = float(mesh.areas[own].sum())
        if area > 0:
            weight = mesh.areas[own] / area
            name, means = SURFACES[k]
            mean = [float(weight @ value[own]) for value in (cusp, bead, draft)]
            rows.append(
                Surface(name, area, area / total, mean[0], float(cusp[own].max()), mean[1], mean[2], means)
            )
    return tuple(rows), np.asarray(read_only(kind))


def _across(normal: Floats, along: Floats) -> Floats:
    """(m,) share of the way `along` each face that crosses its beads; 0 where there is no way."""
    beads = np.stack([-normal[:, 1], normal[:, 0], np.zeros(len(normal))], axis=1)  # z x n
    length = np.linalg.norm(along, axis=1) * np.linalg.norm(beads, axis=1)
    with_beads = np.divide(
        np.abs(np.einsum("ij,ij->i", along, beads)), length, out=np.ones(len(normal)), where=length > 1e-12
    )
    return np.asarray(np.sqrt(np.maximum(1 - with_beads**2, 0)))
