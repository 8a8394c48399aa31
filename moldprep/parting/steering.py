"""Moving a seam by hand: what it would cost, from the parting tables at once, with nothing cut for it.

The chosen stack keeps its kinds of layers; its level planes take the heights asked for, and its upright
planes may be turned. `pricing.price` prices that as it priced the candidates, so that an untouched stack
costs what the plan says. Between two levels of the tables locked plaster is read in proportion; a plan with
the planes fixed has a level at exactly that height, and is judged by its reach besides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import msgspec
import numpy as np

from ..errors import JobError
from ..job import PartingJob
from ..stand import Stand
from .choice import Ground, trued
from .judge import UPRIGHT
from .layers import Candidate, Layer, Seam
from .pricing import SeamRule, price
from .ranking import Parting
from .remarks import check_heights


@dataclass(frozen=True)
class Steered:
    """What a moved stack of seams would cost.

    planes_mm: heights of the level seams. azimuth_deg: of the lowest split layer; None without one. pieces:
    how many. locked_mm3: all plaster that stays locked; excess_mm3: what of it counts (see `tables`). level_mm,
    upright_mm: lengths of the seams on the form; level_crease, upright_crease: shares of them that run on
    creases. names: what the form has at each level plane ("equator", "crease", "smooth wall"). price: in mm of
    smooth level seam.
    """

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
    """Prices a plan's chosen stack with its seams moved; measures each seam once and remembers it."""

    def __init__(self, stand: Stand, parting: Parting, job: PartingJob) -> None:
        """`job` is the plan's. Raises JobError for a stack across a tilted axis: the tables are the upright one's."""
        chosen = parting.chosen
        if abs(chosen.axis[2]) <= UPRIGHT:
            raise JobError(
                "A mold parted across a tilted axis has no level seam to move.",
                code="steer-tilted",
                remedy="Fix its family and the heights of its seam planes (parting.family, parting.planes_mm): "
                "it is then parted level.",
            )
        rim = min(stand.rim_mm, float(parting.tables.levels[-1]))
        rule = SeamRule(stand.mesh, parting.tables, parting.lines, rim_mm=rim)
        self._ground = Ground(parting.tables, parting.lines, rule, job, rim)
        self._stand, self._layers, self._planes = stand, chosen.layers, chosen.planes_mm

    def price(self, planes_mm: tuple[float, ...], azimuth_deg: float | None = None) -> Steered:
        """The stack with its level planes at these heights, lowest first, and its upright planes turned.

        Offsets stay where they are, unless turned: then each goes through the form's own axis, or to where it
        locks least if that is worth it. Raises JobError for planes off the form, that meet or cross, or are
        not as many as the stack has, and for an azimuth where nothing is split.
        """
        self._check(planes_mm, azimuth_deg)
        layers = _moved(self._layers, planes_mm)
        if azimuth_deg is None:
            return _told(self._priced(layers))
        through = tuple(self._turned(layer, azimuth_deg % 180) for layer in layers)
        found = self._priced(through)
        if found.excess_mm3 > 0:
            fixed = replace(
                self._ground, job=msgspec.structs.replace(self._ground.job, azimuth_deg=azimuth_deg)
            )
            shifted = self._priced(tuple(trued(fixed, layer) for layer in through))
            found = min(found, shifted, key=lambda one: one.price)
        return _told(found)

    def _priced(self, layers: tuple[Layer, ...]) -> Candidate:
        ground = self._ground
        return price(ground.tables, ground.lines, layers, ground.job, rule=ground.rule)

    def _turned(self, layer: Layer, azimuth: float) -> Layer:
        """A split layer turned; one that stands so already keeps its offset."""
        if layer.kind != "split" or layer.azimuth_deg == azimuth:
            return layer
        angle = np.radians(azimuth)
        own = float(self._ground.tables.centre @ (np.cos(angle), np.sin(angle)))
        return replace(layer, azimuth_deg=azimuth, offset_mm=own)

    def _check(self, planes_mm: tuple[float, ...], azimuth_deg: float | None) -> None:
        """Refuse what this stack cannot do."""
        if len(planes_mm) != len(self._planes):
            raise JobError(
                f"This mold has {len(self._planes)} level seam planes, not {len(planes_mm)}.",
                code="parting-planes",
                remedy="Give as many heights as it has, or plan another family.",
            )
        check_heights(self._stand, planes_mm)
        for lower, upper in pairwise(planes_mm):
            if lower >= upper:
                raise JobError(
                    f"The seam planes at {lower:g} and {upper:g} mm meet or cross.",
                    code="parting-planes",
                    remedy="Give heights from the lowest up, each higher than the one before.",
                )
        if azimuth_deg is not None and not any(layer.kind == "split" for layer in self._layers):
            raise JobError(
                "This mold has no upright seam to turn.",
                code="steer-azimuth",
                remedy="Leave the azimuth out, or plan a family with halves.",
            )


def _moved(layers: tuple[Layer, ...], planes_mm: tuple[float, ...]) -> tuple[Layer, ...]:
    """The stack with its level planes at other heights."""
    bounds = [layers[0].low_mm, *planes_mm, layers[-1].high_mm]
    return tuple(
        replace(layer, low_mm=low, high_mm=high)
        for layer, (low, high) in zip(layers, pairwise(bounds), strict=True)
    )


def _told(found: Candidate) -> Steered:
    """A priced stack in figures."""
    splits = [layer for layer in found.layers if layer.kind == "split"]
    level = [seam for seam in found.seams if seam.kind == "horizontal"]
    upright = [seam for seam in found.seams if seam.kind == "vertical"]
    return Steered(
        planes_mm=found.planes_mm,
        azimuth_deg=splits[0].azimuth_deg if splits else None,
        pieces=found.piece_count,
        locked_mm3=found.locked_mm3,
        excess_mm3=found.excess_mm3,
        level_mm=sum(seam.length_mm for seam in level),
        level_crease=_creased(level),
        upright_mm=sum(seam.length_mm for seam in upright),
        upright_crease=_creased(upright),
        names=tuple(seam.name for seam in level),
        price=found.price,
    )


def _creased(seams: list[Seam]) -> float:
    """Share of the seams' whole length that runs on creases."""
    whole = sum(seam.length_mm for seam in seams)
    return sum(seam.crease_share * seam.length_mm for seam in seams) / whole if whole else 0.0
