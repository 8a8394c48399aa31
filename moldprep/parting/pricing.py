"""The one price of a parting: what stays locked, how many pieces, and how much seam is seen."""

from __future__ import annotations

import numpy as np

from ..geometry.columns import rotation_for
from ..geometry.mesh import Floats, Mesh
from ..geometry.profile import HAIR_MM
from ..geometry.slices import Slicer, Slices, cut_slices
from ..job import PartingJob
from .layers import Candidate, Layer, Seam, family_of, piece_count
from .lines import NATURAL_DISCOUNT, SAME_HEIGHT_MM, NaturalLines
from .search import EXCESS_PRICE, LOCKED_PRICE, STACKED_PRICE, upright_price
from .tables import ON_CREASE_MM, PartingTables, split_volume

NOISE_CAP = 0.5
"""Locked plaster too narrow to count never weighs more than this share of a piece."""
SAME_MM3 = 1.0
"""Planes that lock as much to within this are equally free."""
WIDE_BAND_MM = 3.0
"""A choice of heights narrower than this is none that a maker could use."""
_STEP_MM = 1.0
"""A seam's nearness to creases is read this often along it."""
_CUTS_KEPT = 8
"""Upright cuts remembered; each holds the whole outline in its plane."""


class SeamRule:
    """Measures seams on the form, below the rim; remembers what it has measured."""

    def __init__(self, mesh: Mesh, tables: PartingTables, lines: NaturalLines, *, rim_mm: float) -> None:
        self._mesh, self._rotation, self._lines, self._rim = mesh, tables.rotation, lines, rim_mm
        self._hair = 1e-4 * float(tables.levels[-1] - tables.levels[0])
        self._slicer: Slicer | None = None
        self._cuts: dict[tuple[float, float], Slices] = {}
        self._known: dict[Layer | float, Seam] = {}

    def level(self, height: float) -> Seam:
        """The outline at a plane across the axis: the longer of just below and just above."""
        if height not in self._known:
            measured = []
            self._slicer = self._slicer or Slicer(self._mesh, self._rotation)
            around = self._slicer.cut([height - self._hair, height + self._hair])
            for k in (0, 1):
                cut = around.between(k, k + 1)
                measured.append((*self._measured(cut.begin, cut.end, self._rotation, height), k))
            length, share, _ = max(measured, key=lambda one: one[0])
            name = self._lines.at(height)[0] or "smooth wall"
            name = "rim line" if abs(height - self._rim) < SAME_HEIGHT_MM else name
            self._known[height] = Seam("horizontal", height, None, None, None, None, length, share, name)
        return self._known[height]

    def upright(self, layer: Layer) -> Seam:
        """The outline in a split layer's parting plane."""
        if layer not in self._known:
            azimuth, offset = _plane(layer)
            axes = self._rotation
            ahead = np.cos(np.radians(azimuth)) * axes[0] + np.sin(np.radians(azimuth)) * axes[1]
            rotation = rotation_for(ahead, up=axes[2])
            if (azimuth, offset) not in self._cuts:
                if len(self._cuts) >= _CUTS_KEPT:
                    self._cuts.pop(next(iter(self._cuts)))
                self._cuts[azimuth, offset] = cut_slices(self._mesh, [offset + HAIR_MM], rotation=rotation)
            cut = self._cuts[azimuth, offset]
            begin, end = _between(
                cut.begin, cut.end, layer.low_mm - HAIR_MM, min(layer.high_mm, self._rim) - HAIR_MM
            )
            length, share = self._measured(begin, end, rotation, offset)
            self._known[layer] = Seam(
                "vertical", None, azimuth, offset, layer.low_mm, layer.high_mm, length, share, "upright"
            )
        return self._known[layer]

    def _measured(self, begin: Floats, end: Floats, rotation: Floats, depth: float) -> tuple[float, float]:
        """Length of segments in a plane, and the share that runs on creases."""
        own = np.hypot(*(end - begin).T)
        if not own.sum():
            return 0.0, 0.0
        steps = np.maximum(1, np.ceil(own / _STEP_MM)).astype(int)
        owner = np.repeat(np.arange(len(own)), steps)
        within = (np.arange(len(owner)) - np.repeat(np.cumsum(steps) - steps, steps) + 0.5) / steps[owner]
        points = begin[owner] + within[:, None] * (end - begin)[owner]
        local = np.column_stack([points, np.full(len(points), depth)])
        on = self._lines.creases.near(local @ rotation, ON_CREASE_MM)
        return float(own.sum()), float((own / steps)[owner] @ on / own.sum())


def price(
    tables: PartingTables,
    lines: NaturalLines,
    layers: tuple[Layer, ...],
    job: PartingJob,
    *,
    rule: SeamRule,
) -> Candidate:
    """A stack of layers as a candidate; its reach is not read yet (nan).

    Price, in mm of smooth level seam: locked plaster that counts, all locked plaster (no more than half a
    piece), pieces beyond the first, split layers on each other, planes that are hard to set up, and
    the seams. A seam on a crease costs `job.crease_price` per mm, a level one on a smooth wall
    `job.horizontal_price` (less at equator, neck and foot), an upright one `job.vertical_price`; a
    level seam across a tilted axis costs more the more it stands up.
    """
    excess, whole = locked_volumes(tables, layers)
    splits = [layer for layer in layers if layer.kind == "split"]
    seams = tuple(
        [rule.level(layer.low_mm) for layer in layers[1:]] + [rule.upright(layer) for layer in splits]
    )
    total = (
        EXCESS_PRICE * excess
        + min(LOCKED_PRICE * whole, NOISE_CAP * job.piece_price)
        + job.piece_price * (piece_count(layers) - 1)
        + STACKED_PRICE * max(0, len(splits) - 1)
        + sum(upright_price(tables, *_plane(layer)) for layer in splits)
    )
    lean = 1 - abs(float(tables.axis[2]))
    for seam in seams:
        if seam.kind == "horizontal":
            smooth = level_price(job, natural=bool(lines.at(seam.height_mm or 0.0)[0]), lean=lean)
        else:
            smooth = job.vertical_price
        total += seam.length_mm * (smooth + seam.crease_share * (job.crease_price - smooth))
    x, y, z = (float(v) for v in tables.axis)
    return Candidate(
        axis=(x, y, z),
        layers=layers,
        family=family_of(layers),
        piece_count=piece_count(layers),
        excess_mm3=excess,
        locked_mm3=whole,
        reach_mm=float("nan"),
        seams=seams,
        price=total,
        why=_why(seams, _free_band(tables, layers)),
    )


def level_price(job: PartingJob, *, natural: bool, lean: float = 0.0) -> float:
    """Price per mm of a level seam on a smooth surface; `lean` 0 for an upright axis, 1 for a level one."""
    smooth = job.horizontal_price + lean * (job.vertical_price - job.horizontal_price)
    return smooth * (NATURAL_DISCOUNT if natural else 1.0)


def locked_volumes(tables: PartingTables, layers: tuple[Layer, ...]) -> tuple[float, float]:
    """(what counts, all) locked plaster of a stack in mm3; planes need not lie on the tables' grid."""
    excess = whole = 0.0
    for layer in layers:
        if layer.kind == "split":
            counted, every = split_volume(tables, *_plane(layer), layer.low_mm, layer.high_mm)
        else:
            at, table, all_of = (
                (layer.high_mm, tables.down, tables.down_all)
                if layer.kind == "down"
                else (layer.low_mm, tables.up, tables.up_all)
            )
            counted = float(np.interp(at, tables.levels, table))
            every = float(np.interp(at, tables.levels, all_of))
        excess, whole = excess + counted, whole + every
    return excess, whole


def _plane(layer: Layer) -> tuple[float, float]:
    """Azimuth and offset of a split layer."""
    if layer.azimuth_deg is None or layer.offset_mm is None:
        raise ValueError("a split layer needs an azimuth and an offset")
    return layer.azimuth_deg, layer.offset_mm


def _between(begin: Floats, end: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """Segments (n, 2) cut off to low <= v <= high."""
    rise = end[:, 1] - begin[:, 1]
    flat = np.abs(rise) < 1e-12
    safe = np.where(flat, 1.0, rise)
    one, two = (low - begin[:, 1]) / safe, (high - begin[:, 1]) / safe
    inside = flat & (begin[:, 1] >= low) & (begin[:, 1] <= high)
    first = np.where(flat, np.where(inside, 0.0, 1.0), np.clip(np.minimum(one, two), 0, 1))[:, None]
    last = np.where(flat, 1.0, np.clip(np.maximum(one, two), 0, 1))[:, None]
    kept = (last > first)[:, 0]
    step = end - begin
    return (begin + first * step)[kept], (begin + last * step)[kept]


def _free_band(tables: PartingTables, layers: tuple[Layer, ...]) -> tuple[float, float] | None:
    """Lowest and highest plane of a two-piece mold that locks no more than the one taken; None elsewhere."""
    if family_of(layers) != "two-piece":
        return None
    locked = tables.down_all + tables.up_all
    k = int(np.argmin(np.abs(tables.levels - layers[0].high_mm)))
    other = np.flatnonzero(locked > locked[k] + SAME_MM3)
    first = int(other[other < k].max(initial=-1)) + 1
    last = int(other[other > k].min(initial=len(locked))) - 1
    return float(tables.levels[first]), float(tables.levels[last])


def _why(seams: tuple[Seam, ...], band: tuple[float, float] | None) -> str:
    """Why the seams lie where they do, in plain words; `band` are the heights that would do as well."""
    if not seams:
        return "The form leaves upward as a whole: no seam at all."
    reasons = []
    for seam in seams:
        if seam.kind == "vertical":
            on = " along the form's own edges" if seam.crease_share >= 0.5 else ""
            reasons.append(
                f"an upright seam of {seam.length_mm:.0f} mm{on}, where no level seam frees the form"
            )
        elif seam.crease_share >= 0.5:
            reasons.append(
                f"a level seam at {seam.height_mm:.1f} mm on a crease of the form, where it does not show"
            )
        elif seam.name in ("equator", "neck", "foot"):
            reasons.append(f"a level seam at {seam.height_mm:.1f} mm, the form's {seam.name}")
        else:
            reasons.append(
                f"a level seam at {seam.height_mm:.1f} mm, the shortest way round that frees both sides"
            )
    if band and band[1] - band[0] > WIDE_BAND_MM:
        reasons.append(f"any height from {band[0]:.0f} to {band[1]:.0f} mm frees both sides as well")
    text = "; ".join(reasons)
    return text[0].upper() + text[1:] + "."
