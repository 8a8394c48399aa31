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
from ..geometry.clip import below_level, compact
from ..geometry.columns import cast, rotation_for
from ..geometry.lips import Mouth, Pool, crest, mouth_at, standing_water, widest_below
from ..geometry.mesh import Bools, Floats, Ints, Mesh
from ..geometry.outlines import boundary_loops, enclosing_rectangle
from ..geometry.shut import joined, joined_by_edges, outermost, shut_in
from ..geometry.solids import (
    Solid,
    difference,
    from_manifold,
    moved,
    parts,
    prism,
    split,
    to_manifold,
    triangulated,
    united,
)
from .topology import is_closed

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
HANDLE_SHARE = 0.12
"""What stands out from the mouth narrower than twice this share of its width is a handle or a spout."""
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

    form: closed, outward, mm, z up. A form that is hollow from below is filled from there, one that is hollow
    both ways from both, the larger hollow first; the height is that one's. Raises FormError (code
    "hollow-form") when no level lip stands round the inside, or when what results is no solid.
    """
    first = _filled_once(form)
    second = None if first is None else _filled_once(first.mesh)
    if first is None or second is None:
        return first
    return Filled(
        second.mesh,
        together([first.inside, second.inside]),
        first.height_mm,
        first.volume_mm3 + second.volume_mm3,
        first.findings + second.findings,
    )


def together(surfaces: Sequence[Mesh]) -> Mesh:
    """Several surfaces as one mesh."""
    begin = np.cumsum([0, *(len(surface.vertices) for surface in surfaces)])
    faces = [surface.faces + start for surface, start in zip(surfaces, begin[:-1], strict=True)]
    return Mesh(np.vstack([surface.vertices for surface in surfaces]), np.vstack(faces).astype(np.int32))


def _filled_once(form: Mesh) -> Filled | None:
    over = np.diag([1.0, -1.0, -1.0, 1.0])
    turned = form.transformed(over)
    candidates = [
        (pool, mesh, turn)
        for pool, mesh, turn in (
            (standing_water(form, lines=LINES), form, None),
            (standing_water(turned, lines=LINES), turned, over),
        )
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
        whole = self._dammed(mouth) if mouth.gaps else self.form
        trimmed, kept = self._trimmed(whole, mouth)
        filled, inside = self._without_inside(trimmed, whole, mouth.area)
        volume = _under(filled, self.height_mm) - _under(trimmed, self.height_mm)
        if kept is not None:
            filled = from_manifold(united([to_manifold(filled), kept]))
        if not is_closed(filled.faces.astype(np.int64), len(filled.vertices)) or filled.volume <= 0:
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
        return from_manifold(parts(united([solid, *dams]))[0])  # without slivers of no volume

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
        below = below_level(form, self.height_mm, same=SAME_MM)
        if z.max() <= self.lip_mm + UNEVEN_MM:
            return below, None
        above, under = split(to_manifold(form), (0.0, 0.0, 1.0), self.height_mm)
        # cut by the same boolean as what is kept, so that they meet exactly
        below = below_level(from_manifold(under), self.height_mm, same=SAME_MM)
        pool = self.pool
        high = pool.frame.centres(np.flatnonzero(pool.top.ravel() > self.lip_mm + UNEVEN_MM))
        half = pool.frame.pitch * 1.5
        rising = shapely.union_all(shapely.box(*(high - half).T, *(high + half).T))
        narrow = HANDLE_SHARE * float(np.sqrt(mouth.area.area))
        round_lip = mouth.area.buffer(-narrow).buffer(narrow + 10 * SAME_MM)  # without a handle's section
        lips = round_lip.difference(rising)
        kept = difference(above, _prism_over(lips, self.height_mm - 1, float(z.max()) + 1))
        tall = [part for part in parts(kept) if part.bounding_box()[5] > self.lip_mm + UNEVEN_MM]
        if not tall:
            return below, None
        self._say_rises(rising.intersection(mouth.area))
        return below, united(tall)

    def _say_rises(self, over: shapely.Geometry) -> None:
        """Tell of what rises from the lip itself: a spout above the fill, a bail over the mouth.

        A handle that rises beside the lip is none of it: the lip's crest stands between it and the water.
        """
        beside = shapely.MultiPoint(self.pool.places).distance(over) > 1.5 * self.pool.frame.pitch
        if over.area < DAM_MM**2 or beside:
            return
        there = shapely.contains_xy(over, *self.pool.frame.centres().T)
        top = float(self.pool.top.ravel()[there].max(initial=self.lip_mm))
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

    def _without_inside(self, form: Mesh, whole: Mesh, area: shapely.Polygon) -> tuple[Mesh, Mesh]:
        """The form closed level at its top and flat at every further opening, and the surface left out."""
        inner = self._inner(form, whole, area)
        gone = form.faces[inner]
        kept = _without_scraps(form, form.faces[~inner]).astype(np.int64)
        edge = np.abs(form.vertices[:, 2] - self.height_mm) < SAME_MM
        edge[gone] = True
        lids = []
        for round_kept in boundary_loops(kept, among=edge):
            loop = round_kept[::-1]
            corners = form.vertices[loop]
            lids.append(loop[_lid(corners)])
            if np.abs(corners[:, 2] - self.height_mm).max() > SAME_MM:
                self._say_pierced(corners)
        if not lids:
            raise self._refusal("its inside cannot be told from its outside")
        shut = np.concatenate([kept, *lids]).astype(np.int32)
        return compact(form.vertices, shut), compact(form.vertices, gone)

    def _inner(self, form: Mesh, whole: Mesh, area: shapely.Polygon) -> Bools:
        """(m,) which faces of the form, cut level and open at the mouth, are the inside's; `whole`: before it was cut."""
        seeds = self._floor(form)
        patch = joined(form.faces)
        inside = np.zeros(patch.max() + 1, bool)
        inside[patch[seeds]] = True
        inner = inside[patch]
        if not inner[outermost(form, form.faces)]:
            return np.asarray(inner)
        hidden = np.flatnonzero(shut_in(form, whole, area, self.height_mm, lines=LINES))
        patch = joined_by_edges(form.faces[hidden])
        found = np.zeros(len(form.faces), bool)
        found[hidden] = np.isin(patch, patch[np.isin(hidden, seeds)])
        return found

    def _floor(self, form: Mesh) -> NDArray[np.int32]:
        """Faces of the cut form that lie under the water."""
        columns = cast(form, self.pool.frame)
        wet = self.pool.inside.ravel() & (np.diff(columns.start) > 0)
        last = columns.start[1:][wet] - 1
        low = columns.depth[last] < self.height_mm - self.pool.frame.pitch
        upward = columns.sign[last] < 0
        return np.asarray(np.unique(columns.face[last[low & upward]]))

    def _say_pierced(self, corners: Floats) -> None:
        _, sides, _ = enclosing_rectangle(_flat(corners))
        x, y, z = (float(value) for value in (corners.min(axis=0) + corners.max(axis=0)) / 2)
        self.findings.append(
            Finding(
                "warn",
                "pierced-closed",
                f"The inside opens through the wall at {at((x, y, z))}, {max(sides):.1f} by {min(sides):.1f} mm: closed flat "
                "on the outside, as you allowed.",
                where=((x, y, z),),
                remedy="Cut the hole into the cast when it is leather-hard; a tube's end is cut open after trimming.",
            )
        )

    # --- words ----------------------------------------------------------------------------------

    def _filled_finding(self, volume: float) -> Finding:
        x, y = self.pool.middle
        deep = self.height_mm - (self.pool.level_mm - self.pool.deepest_mm)
        height = -self.height_mm if self.from_below else self.height_mm
        how, way = ("is hollow from below", "down") if self.from_below else ("is hollow", "up")
        return Finding(
            "note",
            "hollow-filled",
            f"The form {how}: its inside, {volume / 1000:.0f} mL and {deep:.0f} mm deep, was filled solid {way} to "
            f"z = {height:.1f} mm, as you allowed; a drained cast has the wall that the slip gives it.",
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


def _without_scraps(form: Mesh, faces: Ints) -> Ints:
    """The outside's faces without the shallow dimples that a level cut through a rough lip leaves."""
    patch = joined(faces)
    z = form.vertices[:, 2][faces]
    low, high = np.full(patch.max() + 1, np.inf), np.full(patch.max() + 1, -np.inf)
    np.minimum.at(low, patch, z.min(axis=1))
    np.maximum.at(high, patch, z.max(axis=1))
    tall = high - low > UNEVEN_MM
    tall[patch[outermost(form, faces)]] = True
    return np.asarray(faces[tall[patch]])


def _lid(corners: Floats) -> NDArray[np.int32]:
    """(n - 2, 3) triangles over a nearly flat loop (n, 3), seen from where it runs counter-clockwise."""
    return triangulated(_flat(corners))


def _flat(corners: Floats) -> Floats:
    """(n, 2) a loop (n, 3) seen against its mean normal, counter-clockwise."""
    normal = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
    return np.ascontiguousarray(corners @ rotation_for(normal)[:2].T)


def _under(surface: Mesh, height: float) -> float:
    """Volume within a surface that is closed but for what is open in the plane z = height, mm3."""
    a, b, c = (surface.vertices[surface.faces[:, k]] for k in range(3))
    shadow = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    return float((shadow / 2 * ((a + b + c)[:, 2] / 3 - height)).sum())
