"""A hollow form filled, with the maker's consent: slip follows the mold, so the master is the outside alone.

The fill ends level at the lip's widest outer circle. Above it a rounded lip draws in again, and plaster
that reached over it would lock; it is rounded by hand after trimming. Below that line the outside stays
exactly as drawn: the inside's faces are dropped, and lids are put on what then stands open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from ..errors import FormError, Point, at
from ..findings import Finding
from ..geometry.lips import Mouth, Pool, crest, mouth_at, standing_water, widest_below
from ..geometry.mesh import Bools, Floats, Mesh
from ..geometry.shut import joined, outermost, shut_in
from ..geometry.solids import (
    Solid,
    difference,
    from_manifold,
    is_solid,
    moved,
    parts,
    prism,
    split,
    to_manifold,
    united,
)
from .parse import earcut
from .topology import loops_of, open_edges

HOLLOW_SHARE = 0.25
"""A form that would hold this share of water, of itself and the water, has its inside modelled."""
BORE_SHARE = 0.5
"""So has one that is hollow to this share of its height, however narrow its neck."""
LINES = 192
"""Columns across the form for its height map, and cells for its inside."""
SAME_MM = 1e-4
"""Heights this near are the same: single precision at a few hundred mm."""
UNEVEN_MM = 1.0
"""A lip that rises or falls by more than this is not level there."""
DAM_MM = 2.0
"""Thickness of the dam across a spout."""
SINK_MM = 0.05
"""The dam is let into the spout so far, so that no faces coincide."""
MOST_GAP_SHARE = 0.6
"""Gaps in the lip longer together than this share of the mouth's width leave no level lip to fill to."""

_BY_HAND = "Fill it solid in a modelling program, level with its edge, and export it again."


@dataclass(frozen=True, eq=False)
class Filled:
    """A hollow form made solid.

    mesh: closed; the outside as drawn. inside: the surface that was taken away, as drawn, open at the
    mouth and at every further opening. height_mm: z of the level fill. volume_mm3: what was filled.
    """

    mesh: Mesh
    inside: Mesh = field(repr=False)
    height_mm: float
    volume_mm3: float
    findings: tuple[Finding, ...]


def filled_hollow(form: Mesh) -> Filled | None:
    """The form with its inside filled; None, at the cost of a height map, when it is solid already.

    form: closed, outward, mm, z up. A form that is hollow from below is filled from there. Raises
    FormError (code "hollow-form") when no level lip stands round the inside, or when what results is
    no solid.
    """
    over = np.diag([1.0, -1.0, -1.0, 1.0])
    upright = standing_water(form, lines=LINES)
    turned = form.transformed(over)
    inverted = standing_water(turned, lines=LINES)
    candidates = [
        (pool, mesh, turn)
        for pool, mesh, turn in ((upright, form, None), (inverted, turned, over))
        if pool is not None and _is_hollow(mesh, pool)
    ]
    if not candidates:
        return None
    pool, mesh, turn = max(candidates, key=lambda candidate: candidate[0].held_mm3)
    filled = _Filling(mesh, pool, from_below=turn is not None).done()
    return filled if turn is None else _turned_back(filled, turn)


def _is_hollow(form: Mesh, pool: Pool) -> bool:
    held = pool.held_mm3
    bore = pool.deepest_mm >= BORE_SHARE * float(form.extents[2])
    return bore or held >= HOLLOW_SHARE * (held + form.volume)


def _turned_back(filled: Filled, turn: Floats) -> Filled:
    def place(point: Point) -> Point:
        x, y, z = turn[:3, :3] @ point
        return float(x), float(y), float(z)

    return Filled(
        filled.mesh.transformed(turn),
        filled.inside.transformed(turn),
        -filled.height_mm,
        filled.volume_mm3,
        tuple(
            Finding(one.level, one.code, one.says, tuple(map(place, one.where)), one.remedy)
            for one in filled.findings
        ),
    )


class _Filling:
    """One filling in its steps: find the lip, dam spouts, cut level, drop the inside, put lids on."""

    def __init__(self, form: Mesh, pool: Pool, *, from_below: bool) -> None:
        self.form, self.pool, self.from_below = form, pool, from_below
        self.lip_mm, self.crests = crest(form, pool)
        self.height_mm = widest_below(form, pool.middle, self.lip_mm)
        self.findings: list[Finding] = []

    def done(self) -> Filled:
        mouth = mouth_at(self.form, self.pool, self.height_mm)
        if mouth is None:
            raise self._refusal("its lip is not level")
        trimmed, kept = self.form, None
        if mouth.gaps:
            trimmed = self._dammed(mouth)
        trimmed, kept = self._trimmed(trimmed, mouth)
        filled, inside = self._without_inside(trimmed, mouth.area)
        volume = filled.volume - trimmed.volume
        if kept is not None:
            filled = from_manifold(united([to_manifold(filled), kept]))
        if not is_solid(filled):
            raise self._refusal("what is left of it when filled is no solid")
        said = (self._filled_finding(volume), *self._lip_findings(), *self.findings)
        return Filled(filled, inside, self.height_mm, volume, said)

    # --- a lip that is not level ----------------------------------------------------------------

    def _dammed(self, mouth: Mouth) -> Mesh:
        """The form with a dam across each gap of its lip, as high as the fill."""
        across = np.sqrt(mouth.area.area)
        if sum(gap.length for gap in mouth.gaps) > MOST_GAP_SHARE * across:
            raise self._refusal("its lip is not level")
        spill = mouth_at(self.form, self.pool, self.pool.level_mm - self.pool.frame.pitch)
        if spill is None or spill.gaps:
            raise self._refusal("its lip is not level")
        standing = mouth.area.intersection(spill.area)
        solid, top = to_manifold(self.form), float(self.form.bounds[1, 2]) + 1
        dams = []
        for gap in mouth.gaps:
            near = gap.buffer(2 * self.pool.frame.pitch + gap.length / 4)
            line = standing.boundary.difference(mouth.lip).intersection(near)
            strip = line.buffer(DAM_MM).intersection(standing)
            low = self.pool.level_mm - 1.0
            walls = difference(_prism_over(strip, low, top), solid)
            high = [wall for wall in parts(walls) if wall.bounding_box()[5] > top - SAME_MM]
            dams += [moved(wall, (0, 0, -SINK_MM)) for wall in high]
            x, y = gap.interpolate(0.5, normalized=True).coords[0]
            deep = self.height_mm - self._lowest_near(gap)
            place = (float(x), float(y), self.height_mm)
            self.findings.append(
                Finding(
                    "warn",
                    "spout-dammed",
                    f"The lip is open {gap.length:.0f} mm wide and {deep:.1f} mm deep at {at(place)}, a spout: "
                    "it was closed with an upright dam.",
                    where=(place,),
                    remedy="Cut the cast down to the spout's edge after trimming.",
                )
            )
        return from_manifold(united([solid, *dams]))

    def _lowest_near(self, gap: shapely.LineString) -> float:
        """The lip's lowest crest beyond a gap, seen from the pool's middle."""
        angle = np.arange(len(self.crests)) * (2 * np.pi / len(self.crests))
        far = 4 * float(self.form.extents.max())
        x, y = self.pool.middle
        rays = [
            shapely.LineString([(x, y), (x + far * np.cos(a), y + far * np.sin(a))]).intersects(gap)
            for a in angle
        ]
        there = self.crests[np.array(rays) & np.isfinite(self.crests)]
        return float(there.min()) if len(there) else self.pool.level_mm

    def _trimmed(self, form: Mesh, mouth: Mouth) -> tuple[Mesh, Solid | None]:
        """What of the form lies below the fill, and what stays above it: a handle, a rising spout."""
        z = form.vertices[:, 2]
        if z.max() <= self.height_mm + SAME_MM:
            return form, None
        above, below = split(to_manifold(form), (0.0, 0.0, 1.0), self.height_mm)
        if z.max() <= self.lip_mm + UNEVEN_MM:
            return from_manifold(below), None
        pool = self.pool
        high = pool.frame.centres(np.flatnonzero(pool.top.ravel() > self.lip_mm + UNEVEN_MM))
        half = pool.frame.pitch * 1.5
        rising = shapely.union_all(shapely.box(*(high - half).T, *(high + half).T))
        lips = mouth.area.buffer(10 * SAME_MM).difference(rising)
        kept = difference(above, _prism_over(lips, self.height_mm - 1, float(z.max()) + 1))
        tall = [part for part in parts(kept) if part.bounding_box()[5] > self.lip_mm + UNEVEN_MM]
        if not tall:
            return from_manifold(below), None
        self._say_rises(rising.intersection(mouth.area), high, float(z.max()))
        return from_manifold(below), united(tall)

    def _say_rises(self, over: shapely.Geometry, high: Floats, top: float) -> None:
        """Tell of what rises from the lip itself: a spout above the fill, a bail over the mouth."""
        if over.area < DAM_MM**2:
            return
        place = (float(over.centroid.x), float(over.centroid.y), self.height_mm)
        self.findings.append(
            Finding(
                "warn",
                "lip-rises",
                f"At {at(place)} the form rises {top - self.height_mm:.1f} mm above the fill, from its lip or over "
                "its mouth: that stays as drawn, and the fill ends below it.",
                where=(place,),
                remedy="A spout that rises from the lip is formed by hand after trimming, or fill it in a modelling "
                "program; a handle over the mouth is cast apart.",
            )
        )

    # --- the inside -----------------------------------------------------------------------------

    def _without_inside(self, form: Mesh, area: shapely.Polygon) -> tuple[Mesh, Mesh]:
        """The form closed level at its top and flat at every further opening, and the surface left out."""
        z = form.vertices[form.faces][..., 2]
        flat = (np.abs(z - self.height_mm) < SAME_MM).all(axis=1) & (form.normals[:, 2] > 0)
        middle = form.centroids[:, :2]
        lip = flat.copy()
        lip[flat] = shapely.contains_xy(area.buffer(SINK_MM), middle[flat, 0], middle[flat, 1])
        rest = np.flatnonzero(~lip)
        inner = self._inner(form, rest, area)
        kept = form.faces[rest[~inner]].astype(np.int64)
        lids = []
        for loop in loops_of(open_edges(kept, len(form.vertices))):
            corners = form.vertices[loop]
            lids.append(loop[earcut(corners)])
            if np.abs(corners[:, 2] - self.height_mm).max() > SAME_MM:
                self._say_pierced(corners)
        if not lids:
            raise self._refusal("its inside cannot be told from its outside")
        whole = _compact(form.vertices, np.concatenate([kept, *lids]))
        return whole, _compact(form.vertices, form.faces[rest[inner]])

    def _inner(self, form: Mesh, rest: NDArray[np.int64], area: shapely.Polygon) -> Bools:
        """(k,) which of the form's faces `rest`, all but the lip's flat ones, are the inside's."""
        pool = standing_water(form, lines=LINES)
        assert pool is not None  # the form held water, and was only cut down or dammed
        floor = np.searchsorted(rest, pool.floor_faces)
        seeds = floor[(floor < len(rest)) & np.isin(pool.floor_faces, rest)]
        corners = form.faces[rest]
        patch = joined(corners)
        inner = np.isin(patch, patch[seeds])
        if not inner[outermost(form, corners)]:
            return inner
        hidden = np.flatnonzero(shut_in(form, rest, area, lines=LINES))
        patch = joined(corners[hidden])
        found = np.zeros(len(rest), bool)
        found[hidden] = np.isin(patch, patch[np.isin(hidden, seeds)])
        return found

    def _say_pierced(self, corners: Floats) -> None:
        low, high = corners.min(axis=0), corners.max(axis=0)
        sizes = np.sort(high - low)[::-1]
        x, y, z = (float(value) for value in (low + high) / 2)
        self.findings.append(
            Finding(
                "warn",
                "pierced-closed",
                f"The inside opens through the wall at {at((x, y, z))}, {sizes[0]:.1f} by {sizes[1]:.1f} mm: closed flat "
                "on the outside, as you allowed.",
                where=((x, y, z),),
                remedy="Cut the hole into the cast when it is leather-hard; a tube's end is cut open after trimming.",
            )
        )

    # --- words ----------------------------------------------------------------------------------

    def _filled_finding(self, volume: float) -> Finding:
        x, y = self.pool.middle
        deep = self.height_mm - (self.pool.level_mm - self.pool.deepest_mm)
        how = "is hollow from below" if self.from_below else "is hollow"
        return Finding(
            "note",
            "hollow-filled",
            f"The form {how}: its inside, {volume / 1000:.0f} mL and {deep:.0f} mm deep, was filled solid, as you "
            "allowed; a drained cast has the wall that the slip gives it.",
            where=((x, y, self.height_mm),),
        )

    def _lip_findings(self) -> Sequence[Finding]:
        cut = self.lip_mm - self.height_mm
        if cut <= SAME_MM:
            return ()
        x, y = self.pool.middle
        return (
            Finding(
                "note",
                "lip-cut",
                f"The lip is rounded: the fill ends at its widest outer circle, {cut:.1f} mm below its top, since plaster "
                "over the rounding would lock.",
                where=((x, y, self.height_mm),),
                remedy=f"Round the lip by hand after trimming; draw the form {cut:.1f} mm taller to keep its height.",
            ),
        )

    def _refusal(self, why: str) -> FormError:
        x, y = self.pool.middle
        return FormError(
            f"The form is hollow and cannot be filled: {why}.",
            code="hollow-form",
            remedy=_BY_HAND,
            where=((x, y, self.lip_mm),),
        )


def _prism_over(area: shapely.Geometry, low: float, high: float) -> Solid:
    """Upright prism over plan polygons with their holes; empty over none."""
    outlines = []
    for part in shapely.get_parts(area):
        if not isinstance(part, shapely.Polygon) or part.area == 0:
            continue
        part = shapely.geometry.polygon.orient(part)
        outlines += [np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
    return prism(outlines, low, high) if outlines else Solid()


def _compact(vertices: Floats, faces: NDArray[np.integer]) -> Mesh:
    """A mesh of the faces and only the vertices they use, in their order."""
    used, renamed = np.unique(faces, return_inverse=True)
    return Mesh(vertices[used], renamed.reshape(-1, 3).astype(np.int32))
