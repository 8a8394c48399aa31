"""Plaster that is thin or sharp: walls, tongues between two hollows, feather edges at the seams.

What breaks first on a mold. Every place comes with its figure and a cure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from .cottle import Block
from .errors import Point, at
from .findings import Finding
from .geometry.columns import rotation_for
from .geometry.mesh import Bools, Floats, Mesh
from .geometry.thickness import Patch, Stretches, edges_in_plane, stretches, thin_patches, wedge_deg
from .parting import Candidate, Parting
from .pieces import Piece, Pieces
from .stand import Stand
from .working import SILENT, Watch

ThinKind = Literal["wall", "tongue", "feather"]
Beside = Literal["outside", "seam", "hollows"]

LEAST_WALL_MM = 10.0
"""Plaster thinner than this breaks in handling and soaks unevenly. Walls are 25 mm and more (common
practice); under 10 is our limit for what a place of the wall may fall to."""
LEAST_TONGUE_MM = 15.0
"""Plaster between two hollows that is thicker than this does not snap, however far it stands out (our
judgement)."""
SLENDER = 4.0
"""A tongue may stand out up to so many times its thickness (our judgement, by what snaps at demolding)."""
STOUT = 2.0
"""Plaster between two hollows, or a hollow and a seam or natch, that stands out at most so many times its
thickness is a rib of the form's relief, as sound as the wall behind it: no thin wall (our judgement)."""
SPOT_MM = 4.0
"""A wall counts as thin where a spot so wide is thin all over: edges and corners are not."""
TONGUE_SPOT_MM = 2.0
"""The same for tongues. A round pin shows a third of its width as faces that stand opposed."""
FEATHER_DEG = 45.0
"""Plaster edges at a seam should be near 90 degrees (common practice); below half of that they chip."""
FEATHER_MM = 3.0
"""A sharp edge shorter than this is a corner or a facet."""
SHARP_QUANTILE = 0.01
"""Share of a sharp edge's length that may be sharper than the angle named."""
MOST_PLACES = 3
"""Places named for each piece, the worst first."""
LINES = 160
"""Columns across a piece."""
CLOSE_MM = 0.01
"""Slack with which thicknesses and places are compared."""
HEIGHT_STEP_MM = 0.5
"""Step in which better heights of a level seam are looked for."""


@dataclass(frozen=True)
class ThinPlace:
    """One weak place of a piece.

    kind: "wall" (thin plaster with the form on one side at least), "tongue" (slender plaster between two
    hollows), "feather" (sharp edge at a seam). piece: its letter. where: casting pose. figure: thickness
    in mm, or angle of the edge in degrees. extent_mm: longer side of a wall, how far a tongue stands out,
    length of a sharp edge.
    """

    kind: ThinKind
    piece: str
    where: Point
    figure: float
    extent_mm: float


@dataclass(frozen=True)
class Thin:
    """The weak places of all pieces, and what is said about them."""

    places: tuple[ThinPlace, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class _Weak:
    """A thin wall or a tongue, and what its plaster lies between: the form and what."""

    kind: ThinKind
    beside: Beside
    patch: Patch

    def place(self, letter: str) -> ThinPlace:
        patch, tongue = self.patch, self.kind == "tongue"
        figure, extent = (patch.typical, patch.rise) if tongue else (patch.thickness, patch.across)
        return ThinPlace(self.kind, letter, _point(patch.where), figure, extent)


@dataclass(frozen=True, eq=False)
class _SeamPlane:
    """A plane between pieces, normal . p = offset; level: across the stack axis."""

    normal: Floats
    offset: float
    level: bool


@dataclass(frozen=True, eq=False)
class _Feather:
    """The sharp edges of one piece in one seam plane: the place, and (k, 3) points along them."""

    plane: _SeamPlane
    place: ThinPlace
    points: Floats


def find_thin(stand: Stand, block: Block, parting: Parting, pieces: Pieces, *, watch: Watch = SILENT) -> Thin:
    """Thin walls, slender tongues and feather edges of the pieces, at most `MOST_PLACES` of a kind each.

    Walls and tongues are read along x, y, z, the two level diagonals and the piece's own pull, on a grid
    of `LINES` columns; walls narrower than `SPOT_MM` and tongues
    narrower than `TONGUE_SPOT_MM` are not seen. Edges are those of the solids, to the
    facet. The same plaster is named once: as an edge before a tongue, as a tongue before a wall.
    """
    planes = _seam_planes(parting.chosen)
    places: list[ThinPlace] = []
    findings: list[Finding] = []
    feathers: list[_Feather] = []
    for k, piece in enumerate(pieces.pieces):
        watch.step(k, len(pieces.pieces))
        sharp = [found for plane in planes if (found := _feather(piece, stand.mesh, plane)) is not None]
        feathers += sharp
        weak = _weak_plaster(piece, block, [feather.points for feather in sharp])
        places += [found.place(piece.letter) for found in weak]
        findings += _plaster_findings(piece, weak, len(pieces.pieces))
    watch.step(len(pieces.pieces), len(pieces.pieces))
    for plane in planes:
        own = [feather.place for feather in feathers if feather.plane is plane]
        if own:
            findings.append(_feather_finding(plane, own, stand.mesh, parting.chosen))
    return Thin((*places, *(feather.place for feather in feathers)), tuple(findings))


# --- walls and tongues --------------------------------------------------------------------------


def _weak_plaster(piece: Piece, block: Block, sharp: Sequence[Floats]) -> list[_Weak]:
    """The worst tongues and walls of a piece, each stretch of plaster once; none along sharp edges."""
    on_form = piece.form_face >= 0
    tongues: list[_Weak] = []
    walls: list[_Weak] = []
    for direction in _directions(piece.pull):
        along = stretches(piece.mesh, direction, on_form, lines=LINES)
        between = along.low_marked & along.high_marked
        outer = _reaches_outside(along, block)
        inner = (along.low_marked ^ along.high_marked) & ~outer
        thin = along.thickness < LEAST_WALL_MM - CLOSE_MM
        tongues += [
            _Weak("tongue", "hollows", patch)
            for patch in _patches(along, between & (along.thickness < LEAST_TONGUE_MM), TONGUE_SPOT_MM)
            if patch.rise > SLENDER * patch.typical
        ]
        walls += [_Weak("wall", "outside", patch) for patch in _patches(along, outer & thin)]
        ribs = [_Weak("wall", "hollows", patch) for patch in _patches(along, between & thin)]
        ribs += [_Weak("wall", "seam", patch) for patch in _patches(along, inner & thin)]
        walls += [rib for rib in ribs if rib.patch.rise > STOUT * rib.patch.typical]
    tongues.sort(key=lambda weak: weak.patch.typical / weak.patch.rise)
    walls.sort(key=lambda weak: weak.patch.thickness)
    kept = _apart(tongues, list(sharp))
    return kept + _apart(walls, [*sharp, *(weak.patch.points for weak in kept)])


def _patches(along: Stretches, chosen: Bools, spot_mm: float = SPOT_MM) -> list[Patch]:
    return thin_patches(along, chosen, held_mm=LEAST_TONGUE_MM, width_mm=spot_mm)


def _reaches_outside(along: Stretches, block: Block) -> Bools:
    """(k,) whether the end that is not on the form lies on the block's outside; only of thin stretches."""
    found = np.zeros(len(along.thickness), bool)
    thin = np.flatnonzero((along.thickness < LEAST_WALL_MM) & (along.low_marked ^ along.high_marked))
    ends = along.ends(thin, high=along.low_marked[thin])
    around = shapely.LinearRing(block.outline)
    beside = shapely.distance(around, shapely.points(ends[:, :2])) < CLOSE_MM
    level = np.minimum(np.abs(ends[:, 2] - block.bottom_mm), np.abs(ends[:, 2] - block.top_mm)) < CLOSE_MM
    found[thin] = beside | level
    return found


def _directions(pull: Point) -> list[Floats]:
    """x, y, z, the level diagonals, and the pull where it is none of them."""
    half = np.sqrt(0.5)
    fixed = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [half, half, 0], [half, -half, 0]])
    own = np.array(pull)
    return [*fixed, *([own] if np.abs(fixed @ own).max() < np.cos(np.radians(1)) else [])]


def _apart(weak: list[_Weak], taken: list[Floats]) -> list[_Weak]:
    """The first places that lie apart from each other and from the points that are taken."""
    kept: list[_Weak] = []
    for place in weak:
        others = [*taken, *(other.patch.points for other in kept)]
        if all(
            np.linalg.norm(points - place.patch.where, axis=1).min() >= LEAST_WALL_MM for points in others
        ):
            kept.append(place)
        if len(kept) == MOST_PLACES:
            break
    return kept


# --- feather edges ------------------------------------------------------------------------------


def _seam_planes(chosen: Candidate) -> list[_SeamPlane]:
    """The planes that the chosen layers part on, each once."""
    u, v, axis = rotation_for(chosen.axis)
    planes = [_SeamPlane(axis, height, True) for height in chosen.planes_mm]
    for layer in chosen.layers:
        if layer.kind == "split":
            azimuth = np.radians(layer.azimuth_deg or 0.0)
            across = np.cos(azimuth) * u + np.sin(azimuth) * v
            planes.append(_SeamPlane(across, layer.offset_mm or 0.0, False))
    kept: list[_SeamPlane] = []
    for plane in planes:
        same = (np.allclose(plane.normal, other.normal) and plane.offset == other.offset for other in kept)
        if not any(same):
            kept.append(plane)
    return kept


def _feather(piece: Piece, form: Mesh, plane: _SeamPlane) -> _Feather | None:
    """The sharp edges of a piece in a seam plane, None when they are not worth a word."""
    edges = edges_in_plane(piece.mesh, piece.form_face >= 0, plane.normal, plane.offset)
    outward = -form.normals[piece.form_face[edges.face]]
    angle = wedge_deg(edges, outward, plane.normal, within_mm=FEATHER_MM / 2)
    sharp = angle < FEATHER_DEG
    length = float(edges.length[sharp].sum())
    if length <= FEATHER_MM:
        return None
    least = _low_quantile(angle[sharp], edges.length[sharp], SHARP_QUANTILE)
    where = edges.middle[sharp][int(np.argmin(np.abs(angle[sharp] - least)))]
    place = ThinPlace("feather", piece.letter, _point(where), least, length)
    return _Feather(plane, place, edges.points(np.flatnonzero(sharp), step=FEATHER_MM))


def _low_quantile(values: Floats, weights: Floats, share: float) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, share * reached[-1])])


def _square_height(form: Mesh, plane: _SeamPlane, chosen: Candidate) -> float | None:
    """The height nearest to a level seam, between its neighbours, where walls stand square enough to it.

    The length of sharp edges at a height is read as a mean over `HEIGHT_STEP_MM`: a face of area A that
    leans by t from level and spans heights H is crossed by A sin(t) / H on an average.
    """
    corners = (form.vertices @ plane.normal)[form.faces]
    begin, end = corners.min(axis=1), corners.max(axis=1)
    ends = [float(begin.min()), *chosen.planes_mm, float(end.max())]
    low = max((height for height in ends if height < plane.offset), default=plane.offset)
    high = min((height for height in ends if height > plane.offset), default=plane.offset)
    heights = np.arange(low + HEIGHT_STEP_MM, high - HEIGHT_STEP_MM / 2, HEIGHT_STEP_MM)
    if not len(heights):
        return None
    lean = form.normals @ plane.normal
    flat = np.abs(lean) > np.cos(np.radians(FEATHER_DEG))
    flat &= (end > low) & (begin < high)
    crossed = form.areas[flat] * np.sqrt(np.maximum(1 - lean[flat] ** 2, 0))
    bounds = np.append(heights - HEIGHT_STEP_MM / 2, heights[-1] + HEIGHT_STEP_MM / 2)
    below = np.array([_share_below(bound, begin[flat], end[flat]) @ crossed for bound in bounds])
    square = heights[np.diff(below) <= FEATHER_MM * HEIGHT_STEP_MM]
    return float(square[np.argmin(np.abs(square - plane.offset))]) if len(square) else None


def _share_below(height: float, begin: Floats, end: Floats) -> Floats:
    """Share of each span that lies below a height; a span of no height lies there whole or not."""
    return np.asarray(np.clip((height - begin) / np.maximum(end - begin, 1e-9), 0, 1))


# --- findings -----------------------------------------------------------------------------------


_WALL_CURES: dict[Beside, str] = {
    "outside": "Take a larger cottle (cottle.wall_mm) or a thicker floor (stand.floor_mm); where the form "
    "closes under its opening, cut it lower or make the opening wider.",
    "seam": "Move the seam away from there.",
    "hollows": "Part the two hollows of the form farther, or move the seam between them.",
}


def _plaster_findings(piece: Piece, weak: list[_Weak], count: int) -> list[Finding]:
    """One finding for the tongues of a piece, one for its thin walls."""
    name = "The mold" if count == 1 else f"Piece {piece.letter} ({piece.name})"
    tongues = [found.place(piece.letter) for found in weak if found.kind == "tongue"]
    walls = [found.place(piece.letter) for found in weak if found.kind == "wall"]
    findings = []
    if tongues:
        worst = tongues[0]
        findings.append(
            Finding(
                "warn",
                "thin-tongue",
                f"{name} has a tongue of plaster {worst.figure:.1f} mm thick that stands out "
                f"{worst.extent_mm:.0f} mm, at {at(worst.where)}{_more(tongues)}: it may snap off.",
                tuple(place.where for place in tongues),
                "Widen the hollow of the form there, move the seam so that half of it comes from each side, "
                "or take that part off the form and add it by hand.",
            )
        )
    if walls:
        worst = walls[0]
        beside = next(found.beside for found in weak if found.kind == "wall")
        thick = f"only {worst.figure:.1f} mm" if worst.figure >= 0.1 else "less than 0.1 mm"
        findings.append(
            Finding(
                "warn",
                "thin-wall",
                f"{name} has plaster {thick} thick, {worst.extent_mm:.0f} mm long, at "
                f"{at(worst.where)}{_more(walls)}: under {LEAST_WALL_MM:.0f} mm it breaks easily.",
                tuple(place.where for place in walls),
                _WALL_CURES[beside],
            )
        )
    return findings


def _more(places: Sequence[ThinPlace]) -> str:
    others = len(places) - 1
    return "" if not others else f" and at {others} more place{'s' if others > 1 else ''}"


def _feather_finding(plane: _SeamPlane, places: list[ThinPlace], form: Mesh, chosen: Candidate) -> Finding:
    worst = min(places, key=lambda place: place.figure)
    length = sum(place.extent_mm for place in places)
    letters = " and ".join(sorted({place.piece for place in places}))
    seam = f"The seam at {plane.offset:.1f} mm" if plane.level else "The upright seam"
    noun = "piece" if len(places) == 1 else "pieces"
    return Finding(
        "warn",
        "feather-edge",
        f"{seam} leaves a sharp edge of plaster on {noun} {letters}: {worst.figure:.0f} degrees at "
        f"{at(worst.where)}, {length:.0f} mm long in all; it will chip.",
        tuple(place.where for place in places),
        _feather_cure(plane, form, chosen),
    )


def _feather_cure(plane: _SeamPlane, form: Mesh, chosen: Candidate) -> str:
    if not plane.level:
        return "Move or turn that seam to where the wall stands square to it, or ease the form there."
    better = _square_height(form, plane, chosen)
    if better is None:
        return "Ease the form there: no height nearby has walls that stand square enough to a level seam."
    way = "higher" if better > plane.offset else "lower"
    return (
        f"Move the seam {abs(better - plane.offset):.1f} mm {way}, to {better:.1f} mm, where the wall stands "
        "square enough to it, if the pieces still come free."
    )


def _point(vector: Floats) -> Point:
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
