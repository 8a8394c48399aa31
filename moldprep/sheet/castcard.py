"""The cast card: what the piece holds and weighs, where clay closes up, and how further sizes come out."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..errors import at
from ..geometry.columns.shading import picture
from ..inside import Inside
from ..planning import Plan
from ..target import Measure, Size, fluid_ounces
from .pictures import CLASS_COLOURS, svg_of
from .words import brim_words, grams, millilitres

SAME_MM = 0.5
"""A drained inside this near to the modelled one counts as the same."""
BELOW_MM = (0.0, 5.0, 10.0, 15.0, 20.0, 30.0)
"""Fill lines that the card tells, below the brim, fired."""
MOST_CLOSING = 6
_LINES = 420
_SAME, _LESS, _MORE = 0, 1, 2


def cast_card(plan: Plan, pictures: dict[str, bytes]) -> dict[str, Any]:
    """What the sheet says of the cast; the picture of a modelled inside goes into `pictures`."""
    inside = plan.inside
    weights = inside.weights
    return {
        "says": _says(plan),
        "big": [
            _holds(inside),
            ["Slip to fill the mold", millilitres(inside.slip_ml)],
            ["Wall", f"{inside.wall_mm:g} mm" if inside.mode == "drain" else "solid"],
        ],
        "ounces": _ounces(inside),
        "weights": [
            ["Wet, out of the mold, trimmed", grams(weights.wet_g)],
            ["Dry", grams(weights.dry_g)],
            [
                f"Fired, {100 * weights.loss_on_ignition:g} % lost on ignition",
                grams(weights.fired_g),
            ],
        ],
        "slip": _slip(plan),
        "fill": _fill(inside),
        "closing": [
            [
                at(place.where),
                f"{place.across_mm:.1f} mm",
                f"{place.time:.2f} × the wall's time",
                millilitres(place.traps_ml) if place.traps_ml >= 0.5 else "–",
            ]
            for place in inside.closing[:MOST_CLOSING]
        ],
        "sizes": [_size(size) for size in plan.outcomes],
        "deviation": _deviation(plan, pictures),
    }


def _says(plan: Plan) -> str:
    inside = plan.inside
    if inside.mode == "solid":
        return "Cast solid: the mold stays full until all of it is clay."
    clear = f"The opening leaves {inside.throat_mm:.0f} mm clear to drain through"
    if not inside.vessel:
        return f"Drained through its foot; in use it holds nothing. {clear}."
    spill = (
        "the rim" if inside.spill_mm >= inside.rim_mm - 1e-6 else f"{inside.spill_mm:.1f} mm on the master"
    )
    return f"Drained; it spills at {spill}. {clear}."


def _holds(inside: Inside) -> list[str]:
    if inside.mode == "solid" or not inside.vessel:
        return ["Holds", "nothing"]
    if inside.fired_capacity_ml is None:
        return ["Holds, just cast", millilitres(inside.capacity_ml)]
    return [f"Holds, {brim_words(inside)}", millilitres(inside.fired_capacity_ml)]


def _ounces(inside: Inside) -> str:
    if inside.mode == "solid" or not inside.vessel:
        return ""
    if inside.fired_capacity_ml is None:
        return "What the fired piece holds is not known without the clay's shrinkage."
    imperial, us = fluid_ounces(inside.fired_capacity_ml)
    return f"Fired; {imperial:.1f} imperial or {us:.1f} US fluid ounces. In the mold, wet: {millilitres(inside.capacity_ml)}."


def _slip(plan: Plan) -> str:
    inside, water = plan.inside, plan.casting.drop.water_ml
    back = inside.slip_ml + water - inside.slip_kept_ml
    if inside.mode == "solid":
        return f"Top up as it sinks: {millilitres(inside.slip_kept_ml)} of slip go in for good."
    return f"{millilitres(inside.slip_kept_ml)} of it stay in the mold, as clay (spare and all) and as water in the plaster; {millilitres(max(back, 0))} come back."


def _fill(inside: Inside) -> list[list[str]]:
    """What it holds up to lines below the brim, fired."""
    curve = inside.fill
    if curve is None or curve.fired_ml is None or curve.fired_height_mm is None or not inside.vessel:
        return []
    top = float(curve.fired_height_mm[-1])
    return [
        [
            f"{below:g} mm below" if below else "brim",
            millilitres(float(np.interp(top - below, curve.fired_height_mm, curve.fired_ml))),
        ]
        for below in BELOW_MM
        if below < 0.6 * top
    ]


def _size(size: Size) -> list[str]:
    gap = "–" if size.gap_mm is None else f"{size.gap_mm:.1f} mm" if size.nests else "does not go in"
    return [
        f"{size.share:g}",
        _measured(size.height_mm, "mm", 1),
        _measured(size.width_mm, "mm", 1),
        "–" if size.brim_ml is None else _measured(size.brim_ml, "mL", 0),
        "–" if size.fill_ml is None else _measured(size.fill_ml, "mL", 0),
        grams(size.weight_g.value),
        gap,
    ]


def _measured(figure: Measure, unit: str, digits: int) -> str:
    unsure = "" if figure.uncertainty is None else f" ± {figure.uncertainty:.{digits}f}"
    return f"{figure.value:.{digits}f}{unsure} {unit}"


def _deviation(plan: Plan, pictures: dict[str, bytes]) -> dict[str, str] | None:
    """The modelled inside from above, coloured by how the drained cast differs from it."""
    inside = plan.inside
    if inside.modelled is None or inside.deviation is None or inside.mode == "solid":
        return None
    worst = inside.deviation[inside.modelled.faces]
    of_face = np.take_along_axis(worst, np.abs(worst).argmax(axis=1)[:, None], axis=1)[:, 0]
    kind = np.where(of_face > SAME_MM, _LESS, np.where(of_face < -SAME_MM, _MORE, _SAME)).astype(np.uint8)
    shown = picture(
        inside.modelled,
        (0.0, 0.55, -0.85),
        lines=_LINES,
        face_colour=CLASS_COLOURS[kind],
        face_texture=kind,
    )
    pictures["inside.svg"] = svg_of(shown).encode()
    less, more = (
        abs(float(most)) for most in (inside.deviation.max(initial=0), inside.deviation.min(initial=0))
    )
    says = f"A drained cast follows the outside, not the inside that was modelled. Plain: within {SAME_MM:g} mm of it."
    if less > SAME_MM:
        says += f" Dotted: less clay than modelled, by {less:.1f} mm at the most."
    if more > SAME_MM:
        says += f" Striped: more clay, by {more:.1f} mm at the most."
    return {
        "picture": "inside.svg",
        "alt": "The modelled inside seen from above, coloured by how the drained cast differs from it",
        "says": says,
    }
