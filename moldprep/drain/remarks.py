"""What is worth saying about draining."""

from __future__ import annotations

from ..errors import at
from ..findings import Finding, Level
from ..inside import Inside
from ..job import DrainJob
from ..materials import CLEAR_WIDTH, GULP_WIDTH, SLIDES_DEG
from ..pieces.drip import STEADY_MM
from .results import Hold, Stays, Tilt

STOPS_SHARE = 0.1
"""A cast that cannot be rid of this share of its slip is not a drained cast (our judgement)."""


def about_puddle(
    straight: Tilt,
    least: Tilt | None,
    best: Tilt,
    *,
    down: tuple[Stays, ...],
    stays: tuple[Stays, ...],
    inside: Inside,
    hold: Hold,
    job: DrainJob,
) -> tuple[Finding, ...]:
    """What stays straight down and the tilt that rids of it, or that none does; down, stays: the puddles of each."""
    if least is None:
        level: Level = "stop" if best.left_ml > STOPS_SHARE * inside.capacity_ml else "warn"
        places = ", ".join(f"{one.ml:.1f} mL at {at(one.where)}" for one in stays[:3])
        says = (
            f"At no tilt up to {job.most_tilt_deg:.0f}° does it drain: at best, tilted by {best.tilt_deg:.0f}° towards "
            f"{best.azimuth_deg:.0f}°, {best.left_ml:.1f} mL of slip stay{f', {places}' if places else ''}."
        )
        remedy = "Turn the mold while it drains, suck the slip out with a tube, or open the form there."
        return (Finding(level, "drain-never", says, where=tuple(one.where for one in stays), remedy=remedy),)
    if least is straight:
        return ()
    places = f" at {at(down[0].where)}" if down else ""
    says = (
        f"Straight down, {straight.left_ml:.1f} mL of slip stay{places}; tilted by {least.tilt_deg:.0f}° or a little more, "
        f"side {least.azimuth_deg:.0f}° lowest, less than {job.most_left_ml:g} mL does."
    )
    remedy = f"Raise the edge that lies opposite by {hold.prop_mm:.0f} mm while it drains."
    return (Finding("note", "drain-tilt", says, where=tuple(one.where for one in down), remedy=remedy),)


def about_holds(holds: tuple[Hold, ...], job: DrainJob, bevel_deg: float | None) -> tuple[Finding, ...]:
    """Molds that topple or slide, and a bevel at which slip stays; a bevel that topples, the pieces have said.

    bevel_deg: a tilt that drains, with the bevel where the pieces would have it.
    """
    found = []
    slats = holds[0]
    steady = [hold for hold in holds if hold.margin_mm >= STEADY_MM and hold.tilt.left_ml < job.most_left_ml]
    if slats.margin_mm < STEADY_MM and not steady:
        how = f"tilted by {slats.tilt.tilt_deg:.0f}°" if slats.tilt.tilt_deg else "opening down"
        says = (
            f"On two slats, {how}, the emptied mold topples: its centre of mass stands {abs(slats.margin_mm):.0f} mm "
            f"{'beside' if slats.margin_mm < 0 else 'within'} what it rests on."
        )
        remedy = "Hold it by hand, lean it against a wall"
        if bevel_deg is not None:
            remedy += f", or cut it a flat to rest on (drip_bevel_deg = {bevel_deg:.0f})"
        found.append(Finding("warn", "drain-topples", says, remedy=remedy + "."))
    elif slats.tilt.tilt_deg > SLIDES_DEG.value and not steady[1:]:
        says = f"At {slats.tilt.tilt_deg:.0f}° the wet mold slides off its slats (from about {SLIDES_DEG.value:g}°)."
        found.append(Finding("note", "drain-slides", says, remedy="Set a stop against its lower edge."))
    for hold in holds[1:]:
        if hold.tilt.left_ml >= job.most_left_ml:
            says = f"On its drip bevel, tilted by {hold.tilt.tilt_deg:.0f}°, {hold.tilt.left_ml:.1f} mL of slip stay."
            remedy = f"Prop it by {slats.prop_mm:.0f} mm instead, or cut the bevel at another tilt."
            found.append(Finding("warn", "bevel-puddle", says, remedy=remedy))
    return tuple(found)


def about_air(pockets: tuple[Stays, ...], job: DrainJob) -> tuple[Finding, ...]:
    """Air that filling shuts in."""
    caught = sum(one.ml for one in pockets)
    if caught < job.most_left_ml:
        return ()
    says = f"Filled with the opening up, it shuts in {caught:.1f} mL of air at {', '.join(at(one.where) for one in pockets)}."
    remedy = (
        "Tilt and turn the mold while you fill it, or drill a vent there: what the air keeps dry is not cast."
    )
    return (Finding("warn", "air-pocket", says, where=tuple(one.where for one in pockets), remedy=remedy),)


def about_gulps(inside: Inside) -> tuple[Finding, ...]:
    """A neck through which air cannot pass the slip; below what drains at all the inside has said so."""
    if not CLEAR_WIDTH.value <= inside.throat_mm < GULP_WIDTH.value:
        return ()
    says = (
        f"Slip leaves in gulps through {inside.throat_mm:.0f} mm at {at(inside.throat_at)}: air gets in past it from "
        f"about {GULP_WIDTH.value:g} mm."
    )
    remedy = "Turn it over slowly, so that air gets in along the upper side; gulps can tear the wall off."
    return (Finding("note", "neck-gulps", says, where=(inside.throat_at,), remedy=remedy),)
