"""Stage 7: the pieces of the mold as solids, named, in the order in which they come off."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .cottle import Block
from .errors import Point
from .findings import Finding
from .geometry.mesh import Mesh
from .job import PullJob
from .stand import Stand
from .working import SILENT, Watch

if TYPE_CHECKING:
    from .parting import Parting


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of the mold: one connected solid of plaster.

    pull: unit direction in which the piece leaves, casting pose. least_draft_deg: area-weighted 1 %
    quantile of the draft of the faces it touches, beyond 3 mm from the seams. released: None until a
    release check has proved it, which says so by True or False.
    """

    letter: str
    name: str
    pull: Point
    mesh: Mesh = field(repr=False)
    volume_mm3: float
    least_draft_deg: float
    released: bool | None = None


@dataclass(frozen=True, eq=False)
class Pieces:
    """The pieces in the order in which they come off, and what each face of the form meets.

    balance: |pieces + master - block| / block. face_piece: (m,) int8, index of the piece that each
    face of `Stand.mesh` touches, -1 on the opening. face_class: (m,) uint8, `pull.FREE`, `TIGHT` or
    `LOCKED` for each face under the pull of its own piece.
    """

    pieces: tuple[Piece, ...]
    block_volume_mm3: float
    balance: float
    face_piece: NDArray[np.int8] = field(repr=False)
    face_class: NDArray[np.uint8] = field(repr=False)
    findings: tuple[Finding, ...] = ()


def cut_pieces(
    stand: Stand, block: Block, parting: Parting, job: PullJob, *, watch: Watch = SILENT
) -> Pieces:
    """The block less the form, cut along the chosen parting."""
    raise NotImplementedError
