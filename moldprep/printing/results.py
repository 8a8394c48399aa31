"""What a print plan is made of."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import Point
from ..findings import Finding
from ..geometry.mesh import Mesh
from .choice import Attitude
from .pins import Pin
from .surface import Surface


@dataclass(frozen=True, eq=False)
class Section:
    """One section of the master.

    bottom_mm, top_mm: in the casting pose; attitude: which way up it prints. joint: what the cut at its
    bottom was drawn to ("seam plane", "crease", "rim", "equator", "neck", ""), "foot" for the lowest.
    overhang_mm2: surface that needs support, support_mm3: the air beneath it. filament_g, filament_m: all
    of it, support_g included. mesh: the closed solid in the casting pose, holes for pins cut; pins: those
    in the joint at its bottom. bodies: connected solids in it. size_mm: as it prints.
    """

    name: str
    bottom_mm: float
    top_mm: float
    attitude: Attitude
    joint: str
    overhang_mm2: float
    support_mm3: float
    support_g: float
    filament_g: float
    filament_m: float
    mesh: Mesh = field(repr=False)
    pins: tuple[Pin, ...]
    bodies: int
    size_mm: Point
    fits_bed: bool

    @property
    def printed(self) -> Mesh:
        """The section as it stands on the bed, z = 0: inverted ones are turned over about x."""
        turn = np.diag([1.0, 1, 1, 1] if self.attitude == "upright" else [1.0, -1, -1, 1])
        turned = self.mesh if self.attitude == "upright" else self.mesh.transformed(turn)
        return Mesh(turned.vertices - [0, 0, turned.bounds[0, 2]], turned.faces)


@dataclass(frozen=True)
class OneGo:
    """The whole master printed in one go. attitude: "upright", "inverted" or "lying"; up: the way along which
    it is built, casting pose. filament_g: all of it, support_g included."""

    attitude: str
    up: Point
    overhang_mm2: float
    support_mm3: float
    support_g: float
    filament_g: float
    fits_bed: bool


@dataclass(frozen=True)
class Heat:
    """How warm the mix is, how warm it can become where no heat leaves it, and where the filament softens, Celsius."""

    start_c: float
    rise_k: float
    hottest_c: float
    softens_c: float

    @property
    def margin_k(self) -> float:
        """What is left to the softening, negative above it."""
        return self.softens_c - self.hottest_c


@dataclass(frozen=True, eq=False)
class PrintPlan:
    """How to print the master.

    sections: bottom to top. one_go: the best attitude of the whole master, and all three. saved_g:
    filament that the sections save against it, negative where they cost more. surfaces: the faces that
    plaster meets, those to sand first on top; face_surface: (m,) uint8 class of each face of
    `Stand.mesh` (see `surface`). steps: what to do with the print.
    """

    sections: tuple[Section, ...]
    filament_g: float
    filament_m: float
    support_g: float
    one_go: OneGo
    attitudes: tuple[OneGo, ...]
    saved_g: float
    surfaces: tuple[Surface, ...]
    face_surface: NDArray[np.uint8] = field(repr=False)
    heat: Heat
    steps: tuple[str, ...]
    findings: tuple[Finding, ...] = ()
