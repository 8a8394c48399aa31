"""The spare: a flared collar of waste above the rim, through which the slip goes in."""

from __future__ import annotations

import numpy as np
import shapely

from ..errors import JobError
from ..findings import Finding
from ..geometry.levels import Level
from ..geometry.mesh import Floats, Mesh
from ..geometry.outlines import Loop, circle_outline, outlines, section
from ..geometry.solids import Solid, from_manifold, prism, to_manifold, triangulated, united
from ..job import StandJob
from .opening import RISES_MM, Turned, middle_of

MITRE_LIMIT = 2.0
"""Corners of the spare move out at most this many times the flare's width."""
CLOSE_MM = 0.01
"""Slack with which plan figures are compared."""
FLARE_SHARES = (1.0, 0.75, 0.5, 0.25)
"""Shares of the flare that are tried before a spare stands upright."""


def top_of_spare(turned: Turned, job: StandJob, wall: float) -> float:
    """Height of the opening plane: the spare's depth above the rim, or a wall above what rises higher."""
    rim, rises = turned.rim_mm, turned.rises_mm
    if not job.spare and turned.end is None:
        raise JobError(
            "A made opening is made by its spare.", code="spare-needed", remedy="Leave the spare on."
        )
    if job.spare:
        return max(rim + job.spare_depth_mm, rim + rises + wall if rises > RISES_MM else rim)
    if rises > RISES_MM:
        raise JobError(
            f"The form rises {rises:.1f} mm above its opening, and only a spare reaches up through the plaster.",
            code="spare-needed",
            remedy="Leave the spare on.",
        )
    return rim


def with_spare(turned: Turned, job: StandJob, top: float) -> tuple[Mesh, tuple[Finding, ...]]:
    """The form united with a spare up to `top`, and what was noticed up to there."""
    if turned.centre is not None:
        return _on_round_opening(turned, turned.centre, job, top)
    assert turned.end is not None  # an opening is made, or on a level end
    return _on_level_end(turned, turned.end, job, top)


def _on_level_end(turned: Turned, end: Level, job: StandJob, top: float) -> tuple[Mesh, tuple[Finding, ...]]:
    """The form with a collar on its flat, level end, and what was noticed up to there."""
    form, rim, rises = turned.form, turned.rim_mm, turned.rises_mm
    findings = list(turned.findings)
    if rises > RISES_MM:
        findings.append(_rises_finding(rises, top - rim))
    if top == rim:
        return form, tuple(findings)
    base = end.outline if rises <= RISES_MM else _base_of_collar(form, end, top - rim, job.spare_flare_deg)
    spread, flare = _flared(base, top - rim, job.spare_flare_deg)
    if flare < job.spare_flare_deg:
        findings.append(
            Finding(
                "warn",
                "spare-flare",
                f"The opening's outline is notched too sharply for a spare that flares {job.spare_flare_deg:.0f}°:"
                f" it flares {flare:.1f}°.",
                where=(middle_of(end),),
                remedy="Soap the spare well, or round the notch.",
            )
        )
    if rises > RISES_MM:
        # the collar may meet what rises beside it: a boolean joins them
        collar = _collar_solid(base, spread, end.low, top)
        return from_manifold(united([to_manifold(form), collar])), tuple(findings)
    return _with_collar(form, end.faces, end.loop, spread, top), tuple(findings)


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


def _on_round_opening(
    turned: Turned, centre: tuple[float, float], job: StandJob, top: float
) -> tuple[Mesh, tuple[Finding, ...]]:
    """The form with a spare on its made opening, and what was noticed."""
    rim, rises, radius = turned.rim_mm, turned.rises_mm, float(job.opening_diameter_mm or 0) / 2
    sink = min(1.0, rim / 2)  # so that spare and form overlap and no faces coincide
    flare = np.tan(np.radians(job.spare_flare_deg))
    low, high = max(radius - sink * flare, radius / 2), radius + (top - rim) * flare
    spare = prism(circle_outline(centre, low), rim - sink, top, spread=high / low)
    mesh = from_manifold(united([to_manifold(turned.form), spare]))
    return mesh, (_rises_finding(rises, top - rim),) if rises > RISES_MM else ()
