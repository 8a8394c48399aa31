"""Stage 3: how the form stands in its mold: opening up, a spare above it, a floor beneath.

The casting pose has the opening on top. Where slip goes in is the rim of a vessel, the foot of a
figurine or a lid, or an opening that is made. The spare is a collar of waste that flares outward
above the rim: plaster is poured around form and spare, the cast grows on both, and the waste is
trimmed off at the rim.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

from .errors import FormError, JobError, Point
from .findings import Finding
from .geometry.columns import Frame, cast, frame_for
from .geometry.flood import pooled_depth
from .geometry.levels import Level, level_ends, without_pocket
from .geometry.lips import top_heights
from .geometry.mesh import Floats, Mesh, read_only
from .geometry.outlines import Loop, circle_outline, outlines, section
from .geometry.solids import Solid, from_manifold, prism, to_manifold, triangulated, united
from .job import Axis, OpeningKind, StandJob
from .master.hollow import HOLLOW_SHARE
from .sizing import Sizing
from .working import SILENT, Watch

LEAST_ACROSS_MM = 15.0
"""An opening less than this across drains badly and closes up (common practice)."""
END_SHARE = 0.25
"""An end of the form lies within this share of its height from the top."""
RISES_MM = 0.5
"""What stands higher above the rim than this needs plaster over it."""
LEAST_RECESS_MM = 0.3
"""A foot that is hollowed less than this counts as flat."""
MITRE_LIMIT = 2.0
"""Corners of the spare move out at most this many times the flare's width."""
CLOSE_MM = 0.01
"""Slack with which plan figures are compared."""
FLARE_SHARES = (1.0, 0.75, 0.5, 0.25)
"""Shares of the flare that are tried before a spare stands upright."""
LINES = 192
"""Columns across the form for height maps."""


@dataclass(frozen=True, eq=False)
class Stand:
    """The form in the casting pose, with its spare.

    turn: (4, 4), sizing.mesh -> casting pose. form: the sized master, opening up, lowest point on
    z = 0, without spare; mesh: form united with its spare, which is what the plaster is poured
    around. opening_outlines: closed outlines (k, 2) without repeated last point, counter-clockwise,
    of the opening at `rim_mm`, where the waste trims off. top_mm: the opening plane, top of the
    spare and of the block. The block's bottom is z = -floor_mm. foot_recess_mm: depth of a recess
    under the foot, 0 when there is none.
    """

    opening: OpeningKind
    chosen_by_form: bool
    reason: str
    turn: Floats = field(repr=False)
    form: Mesh = field(repr=False)
    mesh: Mesh = field(repr=False)
    opening_outlines: tuple[Floats, ...] = field(repr=False)
    rim_mm: float
    top_mm: float
    spare_mm: float
    floor_mm: float
    foot_recess_mm: float
    findings: tuple[Finding, ...] = ()


def stand_master(sizing: Sizing, job: StandJob, *, wall_mm: float, watch: Watch = SILENT) -> Stand:
    """Turn the master opening up, put its spare on it and a floor of plaster beneath.

    Left to the form, the opening is a flat level end on top, at least 15 mm across: the rim;
    otherwise a flat level end at the bottom: the foot. A flat neck on top goes before a larger flat
    foot, since a vase stands on more than it pours through. `wall_mm` is the plaster over anything
    that rises above the rim, and under the foot when the job gives no floor.

    Raises FormError "no-opening" when the form has no end for the opening asked for, FormError
    "hollow-form" when its inside is modelled, and JobError when a made opening misses the form or a
    spare is needed and switched off; each says the cure.
    """
    opening, end, turn, reason = _opening(sizing.mesh, job)
    form = _turned(sizing.mesh, turn)
    floor = wall_mm if job.floor_mm is None else job.floor_mm
    if end is None:
        form, mesh, rims, rim, top, findings = _made(form, job, wall_mm)
    else:
        form, mesh, rims, rim, top, findings = _on_level_end(form, end, job, wall_mm)
    return Stand(
        opening=opening,
        chosen_by_form=job.opening is None,
        reason=reason,
        turn=np.asarray(read_only(turn)),
        form=form,
        mesh=mesh,
        opening_outlines=tuple(np.asarray(read_only(outline)) for outline in rims),
        rim_mm=rim,
        top_mm=top,
        spare_mm=top - rim,
        floor_mm=floor,
        foot_recess_mm=_recess(form),
        findings=(*findings, *_across_finding(rims, end, rim)),
    )


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


# --- a spare on a level end ---------------------------------------------------------------------

Stood = tuple[Mesh, Mesh, tuple[Floats, ...], float, float, tuple[Finding, ...]]


def _on_level_end(form: Mesh, end: Level, job: StandJob, wall: float) -> Stood:
    """(form, mesh, outlines, rim, top, findings) for an opening on a flat, level end."""
    findings = []
    if end.holes:
        form, end, depth = without_pocket(form, end)
        findings.append(
            Finding(
                "warn",
                "recess-filled",
                f"A recess {depth:.1f} mm deep inside the opening was filled: slip goes in there.",
                where=(_middle(end),),
                remedy="If it shall be cast (a gallery for a lid), make the opening in its floor: "
                "--opening made --opening-diameter with the floor's diameter.",
            )
        )
    rim = end.height if job.spare else end.low  # a film of plaster over an uneven rim would be no good
    rises = float(form.bounds[1, 2]) - end.high
    top = _top_of_spare(rim, rises, job, wall)
    if rises > RISES_MM:
        findings.append(_rises_finding(rises, top - rim))
    if top == rim:
        return form, form, (end.outline,), rim, top, tuple(findings)
    base = end.outline if rises <= RISES_MM else _base_of_collar(form, end, top - rim, job.spare_flare_deg)
    spread, flare = _flared(base, top - rim, job.spare_flare_deg)
    if flare < job.spare_flare_deg:
        findings.append(
            Finding(
                "warn",
                "spare-flare",
                f"The opening's outline is notched too sharply for a spare that flares {job.spare_flare_deg:.0f}°:"
                f" it flares {flare:.1f}°.",
                where=(_middle(end),),
                remedy="Soap the spare well, or round the notch.",
            )
        )
    if rises > RISES_MM:
        # the collar may meet what rises beside it: a boolean joins them
        collar = _collar_solid(base, spread, end.low, top)
        mesh = from_manifold(united([to_manifold(form), collar]))
    else:
        mesh = _with_collar(form, end.faces, end.loop, spread, top)
    return form, mesh, (end.outline,), rim, top, tuple(findings)


def _top_of_spare(rim: float, rises: float, job: StandJob, wall: float) -> float:
    """Height of the opening plane: the spare's depth above the rim, or a wall above what rises higher."""
    if job.spare:
        return max(rim + job.spare_depth_mm, rim + rises + wall if rises > RISES_MM else rim)
    if rises > RISES_MM:
        raise JobError(
            f"The form rises {rises:.1f} mm above its opening, and only a spare reaches up through the plaster.",
            code="spare-needed",
            remedy="Leave the spare on.",
        )
    return rim


def _with_collar(form: Mesh, patch: Loop, loop: Loop, spread: Floats, top: float) -> Mesh:
    """The form with the level end's faces replaced by upright sides and a lid: the rim stays as sharp as drawn."""
    count, first = len(loop), len(form.vertices)
    after = np.roll(loop, -1)
    upper = first + np.arange(count)
    upper_after = np.roll(upper, -1)
    sides = np.vstack(
        [np.column_stack([loop, after, upper_after]), np.column_stack([loop, upper_after, upper])]
    )
    lid = first + triangulated(spread)
    vertices = np.vstack([form.vertices, np.column_stack([spread, np.full(count, top)])])
    kept = np.ones(len(form.faces), bool)
    kept[patch] = False
    return Mesh(vertices, np.vstack([form.faces[kept], sides, lid]))


def _base_of_collar(form: Mesh, end: Level, depth: float, flare_deg: float) -> Floats:
    """The end's outline, with the notches closed that a handle cuts into the rim where it rises from it.

    A notch is closed when the flare would fold there and the form fills it above the rim.
    """
    reach = depth * np.tan(np.radians(flare_deg)) + CLOSE_MM
    rim = shapely.Polygon(end.outline)
    closed = rim.buffer(reach, join_style="mitre").buffer(-reach, join_style="mitre")
    above = section(form, end.height + RISES_MM / 2).buffer(CLOSE_MM)
    notches = [
        notch.buffer(CLOSE_MM).intersection(closed)
        for notch in shapely.get_parts(closed.difference(rim))
        if above.covers(notch.buffer(-CLOSE_MM))
    ]
    if not notches:
        return end.outline
    # where a notch's edge meets the rim's, points may fall together
    return outlines(shapely.remove_repeated_points(shapely.union_all([rim, *notches]), CLOSE_MM))[0]


def _collar_solid(base: Floats, spread: Floats, low: float, top: float) -> Solid:
    """The collar alone as a solid, from its base outline at `low` to its spread one at `top`."""
    count = len(base)
    under, over = np.arange(count), count + np.arange(count)
    under_after, over_after = np.roll(under, -1), np.roll(over, -1)
    sides = [np.column_stack([under, under_after, over_after]), np.column_stack([under, over_after, over])]
    lids = [triangulated(base)[:, ::-1], count + triangulated(spread)]
    vertices = [np.column_stack([base, np.full(count, low)]), np.column_stack([spread, np.full(count, top)])]
    return to_manifold(Mesh(np.vstack(vertices), np.vstack([*sides, *lids])))


def _flared(outline: Floats, depth: float, flare_deg: float) -> tuple[Floats, float]:
    """The spare's outline at its top, and its flare: the one asked for or the most that does not fold."""
    for share in FLARE_SHARES:
        flare = share * flare_deg
        moved = _moved_out(outline, depth * np.tan(np.radians(flare)))
        if moved is not None:
            return moved, flare
    return outline, 0.0


def _moved_out(outline: Floats, distance: float) -> Floats | None:
    """Each side of a counter-clockwise outline moved outward, corner by corner; None where it would fold."""
    if distance == 0:
        return outline
    edge = np.roll(outline, -1, axis=0) - outline
    normal = np.column_stack([edge[:, 1], -edge[:, 0]])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    before = np.roll(normal, 1, axis=0)
    share = 1 + (normal * before).sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = (normal + before) / share  # moves both sides by one
    length = np.linalg.norm(step, axis=1, keepdims=True)
    if not np.isfinite(step).all():
        return None
    moved = outline + distance * step * np.minimum(1, MITRE_LIMIT / length)
    ring, inner = shapely.Polygon(moved), shapely.Polygon(outline)
    return moved if ring.is_valid and ring.exterior.is_ccw and ring.covers(inner) else None


def _rises_finding(rises: float, spare: float) -> Finding:
    return Finding(
        "note",
        "rises-above-rim",
        f"Something rises {rises:.0f} mm above the rim; the spare is {spare:.0f} mm deep so that plaster covers it.",
    )


def _middle(end: Level) -> Point:
    x, y = end.outline.mean(axis=0)
    return float(x), float(y), float(end.height)


# --- an opening that is made --------------------------------------------------------------------


def _made(form: Mesh, job: StandJob, wall: float) -> Stood:
    """(form, mesh, outlines, rim, top, findings) for a round opening made on top of the form.

    Its axis stands through the middle of the form's highest places, or through the middle of the form,
    or through its highest point, whichever first lets the round lie on the form. The rim is where the whole round lies within
    the form: the spare reaches down to it, and what of the form stands higher inside the round is
    waste.
    """
    radius = float(job.opening_diameter_mm or 0) / 2
    centre, rim = _place(form, radius)
    if not job.spare:
        raise JobError(
            "A made opening is made by its spare.", code="spare-needed", remedy="Leave the spare on."
        )
    outline = circle_outline(centre, radius)
    rises = _rises_beside(form, centre, radius, rim)
    top = _top_of_spare(rim, rises, job, wall)
    sink = min(1.0, rim / 2)  # so that spare and form overlap and no faces coincide
    flare = np.tan(np.radians(job.spare_flare_deg))
    low, high = max(radius - sink * flare, radius / 2), radius + (top - rim) * flare
    spare = prism(circle_outline(centre, low), rim - sink, top, spread=high / low)
    mesh = from_manifold(united([to_manifold(form), spare]))
    findings = (_rises_finding(rises, top - rim),) if rises > RISES_MM else ()
    return form, mesh, (outline,), rim, top, findings


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


# --- foot and findings --------------------------------------------------------------------------


def _recess(form: Mesh) -> float:
    """Depth of the deepest place under the form that is ringed by what stands lower, mm."""
    depth = pooled_depth(-_under_map(form))
    deepest = float(depth[np.isfinite(depth)].max(initial=0.0))
    return deepest if deepest >= LEAST_RECESS_MM else 0.0


def _across_finding(rims: tuple[Floats, ...], end: Level | None, rim: float) -> tuple[Finding, ...]:
    if end is not None:
        across, where = end.across_mm, _middle(end)
    else:
        across = float(np.ptp(rims[0][:, 0]))
        x, y = rims[0].mean(axis=0)
        where = (float(x), float(y), rim)
    if across >= LEAST_ACROSS_MM:
        return ()
    return (
        Finding(
            "warn",
            "narrow-opening",
            f"The opening is {across:.0f} mm across; less than {LEAST_ACROSS_MM:.0f} mm drains badly and closes up.",
            where=(where,),
            remedy="Widen it, or pour and drain with a funnel and a vent, and keep the wall thin.",
        ),
    )
