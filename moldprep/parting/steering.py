"""Moving a seam by hand: what it would cost, from the parting tables, with nothing cut for it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..job import PartingJob
from ..stand import Stand
from .pricing import SeamRule, price
from .ranking import Parting


@dataclass(frozen=True)
class Steered:
    """What a moved stack of seams would cost."""

    planes_mm: tuple[float, ...]
    azimuth_deg: float | None
    pieces: int
    locked_mm3: float
    excess_mm3: float
    level_mm: float
    level_crease: float
    upright_mm: float
    upright_crease: float
    names: tuple[str, ...]
    price: float


class Steering:
    """Prices a plan's chosen stack with its seams moved."""

    def __init__(self, stand: Stand, parting: Parting, job: PartingJob) -> None:
        self._parting, self._job = parting, job
        self._rule = SeamRule(stand.mesh, parting.tables, parting.lines, rim_mm=stand.rim_mm)

    def price(self, planes_mm: tuple[float, ...], azimuth_deg: float | None = None) -> Steered:
        """The chosen stack with its level planes at these heights."""
        layers = list(self._parting.chosen.layers)
        for k, height in enumerate(planes_mm):
            layers[k] = replace(layers[k], high_mm=height)
            layers[k + 1] = replace(layers[k + 1], low_mm=height)
        made = price(self._parting.tables, self._parting.lines, tuple(layers), self._job, rule=self._rule)
        level = [seam for seam in made.seams if seam.kind == "horizontal"]
        upright = [seam for seam in made.seams if seam.kind == "vertical"]
        return Steered(
            made.planes_mm,
            azimuth_deg,
            made.piece_count,
            made.locked_mm3,
            made.excess_mm3,
            sum(seam.length_mm for seam in level),
            sum(seam.length_mm * seam.crease_share for seam in level),
            sum(seam.length_mm for seam in upright),
            sum(seam.length_mm * seam.crease_share for seam in upright),
            tuple(seam.name for seam in level),
            made.price,
        )
