"""Which way up the form stands: its opening, by its level ends or made on top, and the rim there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..errors import FormError, JobError, Point
from ..findings import Finding
from ..geometry.columns import Frame, cast, frame_for
from ..geometry.flood import pooled_depth
from ..geometry.levels import Level, level_ends, without_pocket
from ..geometry.lips import top_heights
from ..geometry.mesh import Floats, Mesh, read_only
from ..geometry.outlines import circle_outline
from ..job import Axis, OpeningKind, StandJob
from ..master.hollow import HOLLOW_SHARE

LEAST_ACROSS_MM = 15.0
"""An opening less than this across drains badly and closes up (common practice)."""
END_SHARE = 0.25
"""An end of the form lies within this share of its height from the top."""
RISES_MM = 0.5
"""What stands higher above the rim than this needs plaster over it."""
LEAST_RECESS_MM = 0.3
"""A foot that is hollowed less than this counts as flat."""
LINES = 192
"""Columns across the form for height maps."""


@dataclass(frozen=True, eq=False)
class Turned:
    """The form opening up, before spare and plaster.

    end: its level end, None for an opening that is made; centre: of that, else None. outlines, rim_mm: where the
    waste will trim off. rises_mm: how far something stands above the rim, beside the opening. recess_mm: depth of
    a recess under the foot. findings: of the level end.
    """

    opening: OpeningKind
    reason: str
    turn: Floats
    form: Mesh
    end: Level | None
    centre: tuple[float, float] | None
    outlines: tuple[Floats, ...]
    rim_mm: float
    rises_mm: float
    recess_mm: float
    findings: tuple[Finding, ...]


def turn_form(mesh: Mesh, job: StandJob) -> Turned:
    """Turn a form opening up, find its rim and what rises above it."""
    opening, end, turn, reason = _opening(mesh, job)
    form = _turned(mesh, turn)
    findings: tuple[Finding, ...] = ()
    centre: tuple[float, float] | None
    if end is None:
        outline, centre, rim, rises = _round_opening(form, job)
    else:
        centre = None
        form, end, findings = _whole_end(form, end)
        rim = end.height if job.spare else end.low  # a film of plaster over an uneven rim would be no good
        outline, rises = end.outline, float(form.bounds[1, 2]) - end.high
    return Turned(
        opening=opening,
        reason=reason,
        turn=np.asarray(read_only(turn)),
        form=form,
        end=end,
        centre=centre,
        outlines=(np.asarray(read_only(outline)),),
        rim_mm=rim,
        rises_mm=rises,
        recess_mm=_recess(form),
        findings=findings,
    )


def middle_of(end: Level) -> Point:
    """The mean of a level end's outline, at its height."""
    x, y = end.outline.mean(axis=0)
    return float(x), float(y), float(end.height)


# --- which way up -------------------------------------------------------------------------------


def _opening(mesh: Mesh, job: StandJob) -> tuple[OpeningKind, Level | None, Floats, str]:
    """Kind of the opening, its level end (None when made) in the casting pose, the turn, and why."""
    if job.opening == "made":
        if job.opening_diameter_mm is None:
            raise JobError(
                "A made opening needs its diameter.",
                code="opening-diameter",
                remedy="Give it: --opening made --opening-diameter 30.",
            )
        return "made", None, _casting_turn(mesh, job.opening_at), "asked for"
    kinds: tuple[OpeningKind, ...] = ("rim", "foot") if job.opening is None else (job.opening,)
    for kind in kinds:
        turn = _casting_turn(mesh, "z" if kind == "rim" else "-z")
        form = _turned(mesh, turn)
        _refuse_hollow(form, below=job.opening is None and kind == "rim")
        ends = _ends(form, near_top=job.opening is None)
        if ends and (job.opening is not None or ends[0].across_mm >= LEAST_ACROSS_MM):
            return kind, ends[0], turn, "asked for" if job.opening else _why(kind, ends[0])
    raise _no_opening(mesh, job)


def _casting_turn(mesh: Mesh, up: Axis) -> Floats:
    """(4, 4) that turns the form's side `up` to the top, sets it on z = 0 and centres it on the z axis."""
    turns = {
        "z": np.eye(3),
        "-z": np.diag([1.0, -1.0, -1.0]),  # over about x
        "x": np.array([[0.0, 0, -1], [0, 1, 0], [1, 0, 0]]),
        "-x": np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]]),
        "y": np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]),
        "-y": np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]),
    }
    turn = np.eye(4)
    turn[:3, :3] = turns[up]
    low, high = np.sort(mesh.bounds @ turns[up].T, axis=0)
    turn[:3, 3] = -(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -low[2]
    return turn


def _turned(mesh: Mesh, turn: Floats) -> Mesh:
    """The mesh in the casting pose: itself when it stands so already."""
    return mesh if np.allclose(turn, np.eye(4), atol=1e-9) else mesh.transformed(turn)


def _ends(form: Mesh, *, near_top: bool) -> list[Level]:
    """Level ends with open sky that slip can enter by, largest first; `near_top`: only in the top quarter."""
    height = float(form.bounds[1, 2])
    ends = [end for end in level_ends(form) if not near_top or end.height >= (1 - END_SHARE) * height]
    if not ends:
        return []
    top, centres = _top_map(form).ravel(), _frame(form).centres()
    return [end for end in ends if not _covered(end, top, centres)]


def _covered(end: Level, top: Floats, centres: Floats) -> bool:
    """Whether form stands over the area inside the end's outline."""
    area = shapely.Polygon(end.outline)
    above = top > end.high + RISES_MM
    return bool(shapely.contains_xy(area, *centres[above].T).any())


def _why(kind: OpeningKind, end: Level) -> str:
    where = "top" if kind == "rim" else "foot; it is cast base up"
    return f"the form's flat, level {where} ({end.across_mm:.0f} mm across)"


def _no_opening(mesh: Mesh, job: StandJob) -> FormError:
    side = {"rim": "top", "foot": "bottom", None: "top or bottom"}[job.opening]
    more = "" if job.opening else f" of at least {LEAST_ACROSS_MM:.0f} mm across"
    size = min(mesh.extents[0], mesh.extents[1])
    return FormError(
        f"The form has no flat, level {side}{more} for the slip to go in.",
        code="no-opening",
        remedy="Name one: --opening made --opening-diameter "
        f"{min(30, max(LEAST_ACROSS_MM, size / 2)):.0f}, and the side with --opening-at (z, -z, x, ...); "
        "or cut the form off level where slip shall go in.",
    )


def _refuse_hollow(form: Mesh, *, below: bool) -> None:
    """Raise FormError when the form would hold water like a vessel; `below`: upside down, too."""
    for heights, how in (
        (_top_map(form), "is"),
        *([(-_under_map(form), "is, seen from below,")] if below else []),
    ):
        depth = pooled_depth(heights)
        depth[np.isinf(depth)] = 0  # an eye right through the form
        held = float(depth.sum()) * _frame(form).pitch ** 2
        if held >= HOLLOW_SHARE * (held + form.volume):
            raise FormError(
                f"The form {how} hollow: its inside holds {held / 1000:.0f} mL and is {depth.max():.0f} mm deep.",
                code="hollow-form",
                remedy="Fill it solid, level with its edge: slip follows the mold, so the master is the "
                "outside alone. Or allow it to be filled, with --fill-hollow (form.fill_hollow in a job file).",
            )


def _frame(form: Mesh) -> Frame:
    """Upright columns over the form, for its height maps."""
    return frame_for(form, (0.0, 0.0, 1.0), lines=LINES)


def _top_map(form: Mesh) -> Floats:
    """(nu, nv) height of the form's top in each column, -inf beside it."""
    return top_heights(cast(form, _frame(form)))


def _under_map(form: Mesh) -> Floats:
    """(nu, nv) height of the form's underside in each column, inf beside it."""
    columns = cast(form, _frame(form))
    met = np.diff(columns.start) > 0
    under = np.full(len(met), np.inf)
    under[met] = columns.depth[columns.start[:-1][met]]
    return under.reshape(columns.frame.shape)


def _whole_end(form: Mesh, end: Level) -> tuple[Mesh, Level, tuple[Finding, ...]]:
    """Form and level end without a recess inside the opening."""
    if not end.holes:
        return form, end, ()
    form, end, depth = without_pocket(form, end)
    found = Finding(
        "warn",
        "recess-filled",
        f"A recess {depth:.1f} mm deep inside the opening was filled: slip goes in there.",
        where=(middle_of(end),),
        remedy="If it shall be cast (a gallery for a lid), make the opening in its floor: "
        "--opening made --opening-diameter with the floor's diameter.",
    )
    return form, end, (found,)


# --- an opening that is made -------------------------------------------------------------------


def _round_opening(form: Mesh, job: StandJob) -> tuple[Floats, tuple[float, float], float, float]:
    """Outline, centre and rim of a round opening made on top, and how far the form rises above it beside it.

    Its axis stands through the middle of the form's highest places, or through the middle of the form,
    or through its highest point, whichever first lets the round lie on the form. The rim is where the whole round lies within
    the form: the spare reaches down to it, and what of the form stands higher inside the round is
    waste.
    """
    radius = float(job.opening_diameter_mm or 0) / 2
    centre, rim = _place(form, radius)
    return circle_outline(centre, radius), centre, rim, _rises_beside(form, centre, radius, rim)


def _place(form: Mesh, radius: float) -> tuple[tuple[float, float], float]:
    """Where the round goes: its centre, and its rim."""
    height = float(form.bounds[1, 2])
    highest = form.vertices[form.vertices[:, 2] > height - 1e-3 * height, :2]
    x, y = (float(value) for value in (highest.min(axis=0) + highest.max(axis=0)) / 2)
    middle, peak = (0.0, 0.0), form.vertices[np.lexsort(form.vertices.T)[-1]]
    near = np.hypot(x, y) < 0.05 * radius  # as good as on the form's own axis
    for centre in (*(() if near else ((x, y),)), middle, (float(peak[0]), float(peak[1]))):
        rim = _lowest_top(form, centre, radius)
        if rim is not None:
            return centre, rim
    raise JobError(
        f"A round opening of {2 * radius:.0f} mm stands out beyond the form there.",
        code="opening-misses",
        remedy="Give a smaller --opening-diameter or another side with --opening-at.",
    )


def _lowest_top(form: Mesh, centre: tuple[float, float], radius: float) -> float | None:
    """Least height of the form's top within the round; None where it stands out beyond the form."""
    x, y = centre
    window = (x - radius, x + radius, y - radius, y + radius)
    frame = frame_for(form, (0.0, 0.0, 1.0), lines=LINES, window=window)
    columns = cast(form, frame)
    within = np.hypot(*(frame.centres() - centre).T) <= radius
    met = np.diff(columns.start) > 0
    if not met[within].all():
        return None
    return float(columns.depth[columns.start[1:][within & met] - 1].min())


def _rises_beside(form: Mesh, centre: tuple[float, float], radius: float, rim: float) -> float:
    """How far the form rises above the rim outside the round."""
    beside = np.hypot(*(form.vertices[:, :2] - centre).T) > radius
    return max(0.0, float(form.vertices[beside, 2].max(initial=rim)) - rim)


def _recess(form: Mesh) -> float:
    """Depth of the deepest place under the form that is ringed by what stands lower, mm."""
    depth = pooled_depth(-_under_map(form))
    deepest = float(depth[np.isfinite(depth)].max(initial=0.0))
    return deepest if deepest >= LEAST_RECESS_MM else 0.0
