"""Cards of the bench that follow the pours: drying with its log, what a studio needs, and the estimate."""

from __future__ import annotations

from typing import Any

from ..planning import Plan
from .words import grams

LOG_LINES = 12
"""Empty lines of a weighing log."""


def dry_card(plan: Plan, tints: dict[str, str]) -> dict[str, Any]:
    """Weights on the way from the pour to ready, hours, and what to do."""
    dry = plan.dry
    return {
        "ready": f"{_span(dry.ready_low_g, dry.ready_high_g)}",
        "set": grams(dry.set_g),
        "pieces": [
            {
                "letter": piece.letter,
                "tint": tints[piece.letter],
                "row": [
                    piece.name,
                    grams(piece.poured_g),
                    grams(piece.set_g),
                    _span(piece.ready_low_g, piece.ready_high_g),
                    grams(piece.dry_g),
                ],
            }
            for piece in dry.pieces
        ],
        "ways": [
            [way.name, f"{_hours(way.hours[0])} to {_hours(way.hours[1])}", f"{way.rate}"] for way in dry.ways
        ],
        "steps": list(dry.steps),
        "lines": LOG_LINES,
    }


def stock_card(plan: Plan) -> list[str]:
    """What to have at hand, in sentences."""
    stock = plan.stock
    count = "one mold" if stock.molds == 1 else f"{stock.molds} molds from the one master"
    found = [
        f"For {count}: {grams(stock.plaster_g)} of plaster ({_counted(stock.bags, 'bag')} of {plan.job.studio.bag_kg:g} kg), "
        f"{stock.water_g / 1000:.1f} L of water, {stock.bench_hours[0]:.0f} to {stock.bench_hours[1]:.0f} hours to the last "
        f"demolding, {stock.shelf_m2:.2f} m² of drying shelf."
    ]
    if stock.order is not None:
        order = stock.order
        found.append(
            f"An order of {order.pieces}: {order.casts} casts with rejects, {_counted(order.molds, 'mold')}, of which each gives "
            f"{order.casts_a_mold} in {plan.job.studio.days} working days."
        )
    return found


def estimate_card(plan: Plan) -> dict[str, Any] | None:
    """Costs by step and the price of each quantity; None where no rates are given."""
    made = plan.costs
    if made is None:
        return None

    def money(value: float) -> str:
        return f"{value:,.2f} {made.currency}".strip()

    return {
        "says": f"The master and its first mold: {money(made.mold_total)} for {made.hours:.1f} hours and material.",
        "mold": [
            [line.step, f"{line.hours:.1f} h", money(line.labour), money(line.material)] for line in made.mold
        ],
        "prices": [
            [
                str(price.pieces),
                str(price.casts),
                str(price.discarded),
                str(price.molds),
                money(price.total),
                money(price.each),
            ]
            for price in made.prices
        ],
        "note": f"Rejects of {plan.job.estimate.reject_percent:g} % and molds that last {plan.job.studio.mold_life_casts} casts are "
        "counted; hours by step are the job's, to be put in by whoever works them.",
    }


def _span(low_g: float, high_g: float) -> str:
    if high_g < 10_000:
        return f"{low_g:.0f}–{high_g:.0f} g"
    return f"{low_g / 1000:.2f}–{high_g / 1000:.2f} kg"


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
