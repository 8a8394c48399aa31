"""The casting and draining cards: slip, times, what the plaster takes, and how the mold is held to drain."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..casting.plan import MOST_TOP_UPS
from ..drain import Drain, Hold, Section
from ..errors import at
from ..geometry.columns.shading import picture
from ..materials import Range
from ..pieces.drip import STEADY_MM
from ..planning import Plan
from .drawings import INK
from .pictures import CLASS_COLOURS, svg, svg_of, three_quarters
from .words import grams, millilitres

FEW_CASTS, HARDLY_ONE = 2.0, 1.0
"""Plaster that takes fewer casts than these is dotted, and striped, on the map."""
PUDDLE = "#b5793f"
_RESTS = {"slats": "slats", "bevel": "its bevel"}
_LINES = 400


def casting_card(plan: Plan, pictures: dict[str, bytes]) -> dict[str, Any]:
    """Slip and times, what to do in order, and the map of what the plaster takes."""
    made = plan.casting
    takes = made.absorption
    pictures["takes.svg"] = _takes(plan)
    few, many = takes.casts_between
    return {
        "big": [
            ["Slip ready in the jug", millilitres(made.slip.volume_ml)],
            [_grown(plan), _minutes(made.minutes[1], made.minutes[2])],
            ["Casts, then dry the mold", f"{few}" if few == many else f"{few}–{many}"],
        ],
        "slip": f"{grams(made.slip.weight_g)} of slip, mixed from {grams(made.slip.dry_g)} of dry clay and "
        f"{grams(made.slip.water_g)} of water at {plan.job.cast.slip_g_ml:g} g/mL: an imperial pint of it weighs "
        f"{made.slip.pint_oz:.1f} oz, a US pint {made.slip.us_pint_g:.0f} g. A bucket of 10 L gives {made.bucket_casts} casts.",
        "rate": _rate(plan),
        "steps": _steps(plan),
        "takes": f"A cast puts {millilitres(takes.water_ml)} of water into the plaster; from the usual start all of it together takes "
        f"{millilitres(takes.holds_ml)}, half of its walls {takes.middle:.1f} casts, the worst place {takes.wall.casts:.1f}, at "
        f"{at(takes.wall.where)} with {takes.wall.plaster_mm:.0f} mm behind it. Dry again in {_hours(made.air_hours)} in still "
        f"air, {_hours(made.shelf_hours)} on a warm shelf. Plain on the picture: {FEW_CASTS:g} casts or more; dotted: fewer; "
        f"striped: hardly {HARDLY_ONE:g}.",
        "picture": "takes.svg",
        "alt": "The form, coloured by how many casts the plaster behind each place takes",
    }


def drain_card(plan: Plan, pictures: dict[str, bytes]) -> dict[str, Any] | None:
    """How to hold the mold, what stays, and the hollow cut through the puddle; None when cast solid."""
    drain = plan.drain
    if drain is None:
        return None
    tilted = drain.best.tilt_deg > 0
    views = []
    for section, name in zip(drain.sections, ("straight", "tilted"), strict=True):
        if name == "tilted" and not tilted:
            continue
        pictures[f"drain-{name}.svg"] = _section(section).encode()
        how = "straight down" if section.tilt.tilt_deg == 0 else f"tilted by {section.tilt.tilt_deg:.0f}°"
        views.append(
            {
                "picture": f"drain-{name}.svg",
                "alt": f"The inside of the cast, {how}, with what stays in it",
                "name": f"{how}: {section.tilt.left_ml:.1f} mL stay",
            }
        )
    return {
        "says": _drains(drain),
        "big": [
            ["Opening down, tilted by", f"{drain.best.tilt_deg:.0f}°"],
            ["Prop one edge up by", f"{drain.holds[0].prop_mm:.0f} mm"],
            ["Stays inside", f"{drain.best.left_ml:.1f} mL"],
        ],
        "holds": [_stands(hold) for hold in drain.holds],
        "tilts": [[f"{tilt.tilt_deg:.0f}°", f"{tilt.left_ml:.1f} mL"] for tilt in drain.tilts],
        "pockets": [
            f"Air stays at {at(pocket.where)} when it is filled: {pocket.ml:.1f} mL. Rock the mold."
            for pocket in drain.pockets
        ],
        "views": views,
    }


def _stands(hold: Hold) -> str:
    rest = _RESTS[hold.way]
    if hold.margin_mm >= STEADY_MM:
        return f"On {rest}: its weight stands {hold.margin_mm:.0f} mm within what it rests on."
    where = (
        f"only {hold.margin_mm:.0f} mm within" if hold.margin_mm >= 0 else f"{-hold.margin_mm:.0f} mm outside"
    )
    return f"On {rest} it topples: its weight stands {where}. Hold it."


def _grown(plan: Plan) -> str:
    return "Solid after" if plan.casting.mode == "solid" else f"Wall of {plan.casting.wall_mm:g} mm after"


def _rate(plan: Plan) -> str:
    rate = plan.casting.rate
    if not rate.trials:
        return "No trial is given: the time is what has been seen anywhere. Cast a small cup, measure its wall, and give minutes and wall as a trial."
    count = "one trial" if rate.trials == 1 else f"{rate.trials} trials"
    return f"By {count}: {rate.rate:.2f} mm² a minute ({rate.low:.2f} to {rate.high:.2f}); most likely {_time(plan.casting.minutes[0])}."


def _steps(plan: Plan) -> list[str]:
    made = plan.casting
    drop = made.drop
    solid = made.drain is None
    often = drop.top_ups > MOST_TOP_UPS
    top = (
        f"Top up {'all the while ' if often else ''}as the level sinks, {millilitres(drop.water_ml)} in all."
        if solid or often
        else f"Top up {drop.top_ups} times with {drop.water_ml / drop.top_ups:.0f} mL as the level sinks."
        if drop.top_ups
        else f"The level sinks by {drop.first_mm:.0f} mm or a little more: the spare holds it."
    )
    found = [
        "Band the mold, stand it level. Sieve the slip and pour it in one stream down the middle, to the top of the spare.",
        top,
        f"After {_minutes(made.minutes[1], made.minutes[2])} "
        + (
            "it is clay throughout: nothing gives under a needle in the spare."
            if solid
            else f"look at the wall in the spare: {made.wall_mm:g} mm of clay."
        ),
    ]
    if made.drain is not None:
        pours = plan.pours
        heaviest = ", the heaviest lift" if pours.heaviest_lift_g == pours.full_g else ""
        found.append(
            f"Pour the slip out slowly, in twos: full of slip the mold weighs about {grams(pours.full_g)}{heaviest}. "
            f"Hold it down {_span(made.drain)} to drain."
        )
    found.append(
        f"Sheen gone {_span(made.sheen)} after that; trim the spare at the rim {_span(made.trim)} after it."
    )
    found.append(
        f"Take it out {_span(made.demold)} after {'that' if solid else 'draining'}, in the order on page 2."
    )
    found.append(
        f"Throw the first {made.discarded.low:g} or {made.discarded.high:g} casts of a new mold away."
    )
    return found


def _takes(plan: Plan) -> bytes:
    casts = plan.casting.absorption.casts_until_wet
    kind = np.where(casts < HARDLY_ONE, 2, np.where(casts < FEW_CASTS, 1, 0)).astype(np.uint8)  # NaN: plain
    mesh = plan.stand.mesh
    shown = picture(
        mesh, three_quarters(-60.0), lines=_LINES, face_colour=CLASS_COLOURS[kind], face_texture=kind
    )
    return svg_of(shown).encode()


def _drains(drain: Drain) -> str:
    if drain.least is None:
        return (
            f"It never drains: held as best it may, {drain.best.left_ml:.0f} mL stay in it. Sponge them out."
        )
    if drain.least.tilt_deg == 0:
        return "It drains straight down."
    return f"Straight down {drain.straight.left_ml:.1f} mL stay; from {drain.least.tilt_deg:.0f}° all but {drain.least.left_ml:.1f} mL run out."


def _section(section: Section, *, width: float = 210.0, height: float = 210.0) -> str:
    """The hollow as it hangs, what stays filled; SVG within a box of points."""
    tilt = np.radians(section.tilt.tilt_deg)
    turn = np.array([[np.cos(tilt), -np.sin(tilt)], [np.sin(tilt), np.cos(tilt)]])

    def rings(figure: BaseGeometry) -> list[np.ndarray]:
        return [
            np.asarray(ring.coords) @ turn.T
            for polygon in shapely.get_parts(figure)
            if isinstance(polygon, shapely.Polygon)
            for ring in (polygon.exterior, *polygon.interiors)
        ]

    outline, puddles = rings(section.hollow), rings(section.puddles)
    low, high = (
        np.min([ring.min(axis=0) for ring in outline], axis=0),
        np.max([ring.max(axis=0) for ring in outline], axis=0),
    )
    scale = min((width - 8) / (high - low)[0], (height - 8) / (high - low)[1])

    def path(paths: list[np.ndarray]) -> str:
        return "".join(
            "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in (ring - low) * scale + 4) + "Z" for ring in paths
        )

    wide, tall = (high - low) * scale + 8
    body = [
        f'<path d="{path(outline)}" fill="white" fill-rule="evenodd" stroke="{INK}" stroke-width="1.1"/>',
        f'<path d="{path(puddles)}" fill="{PUDDLE}" fill-rule="evenodd" stroke="{INK}" stroke-width="0.5"/>',
    ]
    return svg(body, float(wide), float(tall))


def _span(span: Range) -> str:
    return _minutes(span.low, span.high)


def _minutes(low: float, high: float) -> str:
    if high < 100:
        return f"{low:.0f}–{high:.0f} min"
    return f"{low / 60:.1f}–{high / 60:.1f} h"


def _time(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60:.1f} h"


def _hours(hours: tuple[float, float]) -> str:
    low, high = hours
    return f"{low:.0f}–{high:.0f} h" if high < 72 else f"{low / 24:.1f}–{high / 24:.1f} days"
