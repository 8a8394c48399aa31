"""Stage 4: along which directions plaster lets go of the form, and where it does not.

A pull is an axis: of two pieces, one leaves along it and the other against it. Plaster with the form
both above and below it along the axis is locked whatever the parting; plaster with the form on one
side only is locked for a single pull. What decides is reach (see `geometry.reach`), not volume.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from .errors import Point, at
from .findings import Finding
from .geometry.coarse import coarse
from .geometry.columns import cast, frame_for, gap_mm3, one_way_mm3, solid_intervals
from .geometry.columns.directions import study_directions
from .geometry.columns.occlusion import face_blocked
from .geometry.directions import SUGGESTED_BY, candidate_axes, upward
from .geometry.enclosed import enclosed_faces
from .geometry.mesh import Bools, Floats, Mesh, read_only
from .geometry.reach import LockedSpot, locked_area, locked_spots
from .job import PullJob
from .sizing import Sizing
from .stand import Stand
from .working import SILENT, Memo, Watch

FREE, TIGHT, LOCKED = 0, 1, 2
"""Face classes: plaster leaves; it leaves but the draft is less than asked; it cannot leave."""

CANDIDATES = 300
"""Axes tried in the search."""
SHORTLIST = 100
"""Axes of them that are ranked again with the spare on: it locks too, and does not grow with the form."""
SEARCH_LINES = 64
"""Columns across the form when axes are ranked."""
STUDY_LINES = 128
"""Columns across the form when an axis is judged on the full mesh."""
KEPT_AXES = 5
"""Best axes handed to the parting."""
APART_DEG = 15.0
"""Least angle between kept axes: nearer ones are the same answer."""
SEAM_BAND_MM = 3.0
"""Draft is zero at the seam of every smooth form: it is judged this far from it."""
NOISE_SHARE = 1e-5
"""Gap volume below this share of the form's volume does not tell axes apart."""
PROXY_NOISE = 1e-3
"""The same on the stand-in mesh, whose gaps are off by about this share."""
WORKERS = 2


@dataclass(frozen=True)
class LockedPlace:
    """A numbered place that is locked for a pull; `where` in the casting pose."""

    number: int
    where: Point
    reach_mm: float
    volume_mm3: float
    area_mm2: float


@dataclass(frozen=True, eq=False)
class Pull:
    """One axis judged on the full mesh.

    gap_mm3: plaster locked both ways. one_way_mm3: plaster locked when the master leaves along
    +direction out of one piece. locked_mm2: shadow along the axis of what is locked both ways;
    tight_mm2: area of the faces with less draft than asked. reach_mm: of the deepest place locked
    both ways; one_way_reach_mm: of the deepest place in a one-piece mold. pitch_mm: of the columns
    that found the places. face_class: (m,) uint8, FREE, TIGHT or LOCKED for each face of
    `Stand.mesh`; draft_deg: (m,) float, the angle between face and axis.
    """

    direction: Point
    name: str
    pitch_mm: float
    gap_mm3: float
    one_way_mm3: float
    locked_mm2: float
    tight_mm2: float
    reach_mm: float
    one_way_reach_mm: float
    places: tuple[LockedPlace, ...]
    face_class: NDArray[np.uint8] = field(repr=False)
    draft_deg: Floats = field(repr=False)
    verdict: str = ""


@dataclass(frozen=True)
class AxisRow:
    """One candidate axis: what suggested it and what it would lock.

    gap_mm3: locked both ways; parted_mm3: locked when parted by the best plane across the axis;
    one_way_mm3: locked in one piece, the better of the two ways; locked_mm2: shadow of the gaps.
    """

    direction: Point
    source: str
    gap_mm3: float
    parted_mm3: float
    one_way_mm3: float
    locked_mm2: float


@dataclass(frozen=True, eq=False)
class PullStudy:
    """The pulls that matter: `pulls[0]` is up. `axes`: the best five, `best` the first of them."""

    pulls: tuple[Pull, ...]
    axes: tuple[Point, ...]
    table: tuple[AxisRow, ...]
    best: AxisRow
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Shortlist:
    """Axes worth a nearer look, and what suggested each: the maker's own, then those that lock least."""

    axes: tuple[Point, ...]
    sources: tuple[str, ...]


def study_pulls(
    stand: Stand,
    job: PullJob,
    *,
    sizing: Sizing | None = None,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> PullStudy:
    """Judge up, search the other axes, and judge the best of them on the full mesh.

    With the stand's `sizing` the axes' shortlist is made on the form as it was drawn, and `memo` keeps it for every
    size: what an axis locks of the form alone is in proportion to the form.
    """
    kept = memo or Memo()
    form = _unsized(stand, sizing, kept)
    shortlist = kept.get(
        "shortlist", (form,), (job.axes, job.search), lambda: shortlisted(form, job, watch=watch)
    )
    table = best_axes(stand.mesh, shortlist, job)
    best = table[0]
    wanted = [(0.0, 0.0, 1.0)]
    if abs(best.direction[2]) < np.cos(np.radians(APART_DEG)):
        wanted.append(best.direction)
    enclosed = enclosed_faces(stand.mesh)
    pulls = []
    for k, direction in enumerate(wanted):
        watch.step(k, len(wanted))
        pulls.append(judge_pull(stand.mesh, direction, job, enclosed=enclosed))
    return PullStudy(
        tuple(pulls), tuple(row.direction for row in table[:KEPT_AXES]), table, best, _findings(pulls[0])
    )


def search_axes(mesh: Mesh, job: PullJob, *, watch: Watch = SILENT) -> tuple[AxisRow, ...]:
    """Candidate axes, the best first, the kept ones at least `APART_DEG` apart and judged on the full mesh."""
    return best_axes(mesh, shortlisted(mesh, job, watch=watch), job)


def shortlisted(form: Mesh, job: PullJob, *, watch: Watch = SILENT) -> Shortlist:
    """The `SHORTLIST` axes of all candidates along which a form locks least; its size does not matter.

    They are ranked on a stand-in mesh by gap volume (differences below `NOISE_SHARE` of the form's volume do not
    count), then by what the best plane across leaves locked.
    """
    first = [(0.0, 0.0, 1.0), *job.axes]
    proxy = coarse(form)
    axes, sources = candidate_axes(proxy, count=CANDIDATES, first=first)
    if not job.search:
        axes, sources = axes[: len(first)], sources[: len(first)]
    order = _order(form, proxy, axes, sources, first=len(first), watch=watch)[0]
    order = order[: len(first) + SHORTLIST]
    return Shortlist(tuple(_tuple(axes[k]) for k in order), tuple(sources[k] for k in order))


def best_axes(mesh: Mesh, shortlist: Shortlist, job: PullJob) -> tuple[AxisRow, ...]:
    """The best of a shortlist, form and spare together, at least `APART_DEG` apart, the best first.

    They are ranked again on a stand-in mesh and turned in their tangent plane; what comes of it is read on the
    full mesh.
    """
    first = 1 + len(job.axes)
    proxy = coarse(mesh)
    axes, sources = np.array(shortlist.axes), shortlist.sources
    order, gap = _order(mesh, proxy, axes, sources, first=first)
    kept = _spread_out(axes, order, KEPT_AXES + first)
    turned = [axes[k] if _named(axes[k]) else _turn(proxy, axes[k], float(gap[k])) for k in kept]
    final = study_directions(mesh, np.array(turned), lines=STUDY_LINES, workers=WORKERS)
    final_one_way = np.minimum(final.one_way_plus_mm3, final.one_way_minus_mm3)
    judged = [sources[k] for k in kept]
    rows = [
        AxisRow(
            _tuple(turned[i]),
            judged[i],
            float(final.gap_mm3[i]),
            float(final.parted_mm3[i]),
            float(final_one_way[i]),
            _locked(mesh, turned[i], job),
        )
        for i in _ranked(final.gap_mm3, final.parted_mm3, judged, NOISE_SHARE * abs(mesh.volume))
    ]
    return tuple(rows)


def _order(
    mesh: Mesh, proxy: Mesh, axes: Floats, sources: Sequence[str], *, first: int, watch: Watch = SILENT
) -> tuple[list[int], Floats]:
    """Indices of the axes, the `first` ones, which are always judged, then the best; and (k,) their gaps on the
    stand-in."""
    study = study_directions(proxy, axes, lines=SEARCH_LINES, workers=WORKERS, watch=watch)
    noise = (NOISE_SHARE if proxy is mesh else PROXY_NOISE) * abs(mesh.volume)
    ranked = _ranked(study.gap_mm3, study.parted_mm3, sources, noise)
    return [*range(first), *(k for k in ranked if k >= first)], study.gap_mm3


def judge_pull(mesh: Mesh, direction: Point, job: PullJob, *, enclosed: Bools) -> Pull:
    """Everything about one axis; `enclosed` (m,) marks the faces that the cast shrinks onto."""
    axis = np.asarray(direction, dtype=np.float64)
    frame = frame_for(mesh, axis, lines=STUDY_LINES)
    solid = solid_intervals(cast(mesh, frame))
    both = locked_spots(mesh, axis, way="pair", tolerance=job.tolerance_mm, lines=STUDY_LINES)
    one_way = locked_spots(mesh, axis, way="minus", tolerance=job.tolerance_mm, lines=STUDY_LINES)
    face_class, draft = classify(mesh, axis, job, enclosed=enclosed)
    places = tuple(_place(k + 1, spot) for k, spot in enumerate(both))
    return Pull(
        direction=_tuple(axis),
        name=direction_name(direction),
        pitch_mm=frame.pitch,
        gap_mm3=gap_mm3(solid),
        one_way_mm3=one_way_mm3(solid, master_leaves=1),
        locked_mm2=locked_area(solid, "pair", film=job.tolerance_mm),
        tight_mm2=float(mesh.areas[face_class == TIGHT].sum()),
        reach_mm=both[0].reach_mm if both else 0.0,
        one_way_reach_mm=one_way[0].reach_mm if one_way else 0.0,
        places=places,
        face_class=np.asarray(read_only(face_class)),
        draft_deg=np.asarray(read_only(draft)),
        verdict=_verdict(direction, both, one_way, frame.pitch),
    )


def classify(mesh: Mesh, axis: Floats, job: PullJob, *, enclosed: Bools) -> tuple[NDArray[np.uint8], Floats]:
    """(m,) class and (m,) draft in degrees of every face for the pair of pulls along `axis`.

    draft = asin |n.d|. A face is locked when its plaster can leave neither way. It is tight when it
    has less draft than asked (more is asked where the cast shrinks on), except on a band no taller
    than twice `SEAM_BAND_MM` between two sides with enough: every smooth form has one at its seam.
    """
    slope = mesh.normals @ axis
    draft = np.degrees(np.arcsin(np.clip(np.abs(slope), 0, 1)))
    blocked = face_blocked(mesh, axis, offset=job.tolerance_mm, workers=WORKERS)
    upright = draft < np.degrees(np.arcsin(1e-3))  # both ways are open to it
    own = np.where(slope > 0, blocked[:, 0], blocked[:, 1])
    locked = np.where(upright, blocked.all(axis=1), own)
    least = np.where(enclosed, job.least_draft_inside_deg, job.least_draft_deg)
    tight = ~locked & (draft < least - 1e-6) & (mesh.areas > 0)
    tight &= ~_seam_bands(mesh, tight, mesh.vertices @ axis)
    kind = np.full(len(mesh.faces), FREE, np.uint8)
    kind[tight] = TIGHT
    kind[locked] = LOCKED
    return kind, draft


def direction_name(direction: Point) -> str:
    """Words for an axis: "up", "sideways along x", "level at 30 degrees", or its three components."""
    x, y, z = upward(direction)
    if z > np.cos(np.radians(1)):
        return "up"
    if abs(z) < np.sin(np.radians(1)):
        azimuth = np.degrees(np.arctan2(y, x)) % 180
        near = {0.0: "left-right", 90.0: "front-back", 180.0: "left-right"}
        for at, name in near.items():
            if abs(azimuth - at) < 1:
                return name
        return f"level at {azimuth:.0f}° from x"
    azimuth = np.degrees(np.arctan2(y, x)) % 360
    return f"tilted {np.degrees(np.arccos(z)):.0f}° from up toward {azimuth:.0f}°"


def _unsized(stand: Stand, sizing: Sizing | None, kept: Memo) -> Mesh:
    """The form in the casting pose, without its spare, at the size that it was drawn in.

    Its height is in the sized form's proportion. A form that standing changed (a recess filled) is taken as it is.
    """
    if sizing is None or stand.form.faces is not sizing.drawn.faces:
        return stand.form
    rotation, rise = stand.turn[:3, :3], sizing.factor[2] / sizing.factor[0]
    if rise == 1 and np.array_equal(rotation, np.eye(3)):
        return sizing.drawn
    return kept.get(
        "as drawn",
        (sizing.drawn,),
        (rotation.tobytes(), rise),
        lambda: Mesh(sizing.drawn.vertices * (1.0, 1.0, rise) @ rotation.T, sizing.drawn.faces),
    )


def _seam_bands(mesh: Mesh, tight: Bools, height: Floats) -> Bools:
    """(m,) tight faces whose connected patch is no taller than two seam bands; `height` of each vertex."""
    found = np.zeros(len(tight), bool)
    index = np.flatnonzero(tight)
    if not len(index):
        return found
    # faces that share a vertex hang together: a graph of faces on one side, vertices on the other
    rows, vertices = np.repeat(np.arange(len(index)), 3), mesh.faces[index].ravel()
    size = len(index) + len(mesh.vertices)
    bipartite = coo_matrix((np.ones(len(rows), bool), (rows, vertices + len(index))), shape=(size, size))
    _, label = connected_components(bipartite, directed=False)
    patch = label[rows]
    low, high = np.full(label.max() + 1, np.inf), np.full(label.max() + 1, -np.inf)
    np.minimum.at(low, patch, height[vertices])
    np.maximum.at(high, patch, height[vertices])
    found[index] = (high - low)[label[: len(index)]] <= 2 * SEAM_BAND_MM + 1e-9
    return found


def _ranked(gap: Floats, parted: Floats, sources: Sequence[str], noise: float) -> list[int]:
    """Indices, least gap first, then least locked by the best plane across; ties by what suggested them.

    An axis that the maker named, or the form has by itself, is easier to find at the bench than one
    of an even spread that locks as little.
    """
    rank = np.array([SUGGESTED_BY.index(source) for source in sources])
    return [int(k) for k in np.lexsort((rank, np.floor(parted / (100 * noise)), np.floor(gap / noise)))]


def _spread_out(axes: Floats, order: list[int], most: int) -> list[int]:
    """The first `most` of `order` that stand at least `APART_DEG` apart."""
    kept: list[int] = []
    for k in order:
        if all(abs(axes[k] @ axes[other]) < np.cos(np.radians(APART_DEG)) for other in kept):
            kept.append(int(k))
        if len(kept) == most:
            break
    return kept


def _named(axis: Floats) -> bool:
    """Whether the axis is upright or level along x or y: a maker's own direction is not turned."""
    return bool(np.max(np.abs(axis)) > 1 - 1e-9)


def _turn(proxy: Mesh, axis: Floats, gap: float) -> Floats:
    """The axis turned in its tangent plane to where it locks least, by ever smaller steps."""
    best, least = axis, gap
    for step in np.radians([3.0, 1.5, 0.75]):
        across = np.linalg.svd(best[None])[2][1:]
        around = [
            best + np.tan(step) * (np.cos(t) * across[0] + np.sin(t) * across[1])
            for t in np.arange(6) * np.pi / 3
        ]
        study = study_directions(proxy, np.array(around), lines=SEARCH_LINES, workers=WORKERS)
        k = int(np.argmin(study.gap_mm3))
        if study.gap_mm3[k] < least:
            best, least = study.directions[k], float(study.gap_mm3[k])
    return upward(best)


def _locked(mesh: Mesh, axis: Floats, job: PullJob) -> float:
    solid = solid_intervals(cast(mesh, frame_for(mesh, axis, lines=STUDY_LINES)))
    return locked_area(solid, "pair", film=job.tolerance_mm)


def _place(number: int, spot: LockedSpot) -> LockedPlace:
    return LockedPlace(number, spot.where, spot.reach_mm, spot.volume_mm3, spot.area_mm2)


def _verdict(
    direction: Point, both: tuple[LockedSpot, ...], one_way: tuple[LockedSpot, ...], pitch: float
) -> str:
    name = direction_name(direction)
    found = f"(found at a pitch of {pitch:.2f} mm)"
    if not one_way and name == "up":
        return f"Comes out of a one-piece mold upward {found}."
    if not one_way:
        return f"Comes out of a one-piece mold, {name} {found}."
    if not both:
        return f"Nothing is locked both ways, {name}: a mold parted across it can open {found}."
    places = "1 place" if len(both) == 1 else f"{len(both)} places"
    return f"Locked, {name}: {places}, the deepest {both[0].reach_mm:.1f} mm at {at(both[0].where)}."


def _findings(up: Pull) -> tuple[Finding, ...]:
    """What the maker should know of the pull upward."""
    found = []
    if up.tight_mm2 > 0 and up.one_way_reach_mm == 0:
        found.append(
            Finding(
                "warn",
                "tight-draft",
                f"{up.tight_mm2 / 100:.0f} cm² of the form have less draft than asked for, pulled up.",
                remedy="Give the walls 2 to 3 degrees of taper, or soap well and demold early.",
            )
        )
    return tuple(found)


def _tuple(vector: Floats) -> Point:
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
