"""What the sheet says of forms that would come away more easily."""

from __future__ import annotations

import numpy as np

from ..ease import Offer
from ..geometry.columns.shading import picture
from ..planning import Plan
from .pictures import CLASS_COLOURS, svg_of, three_quarters

KEPT_MM = 0.05
"""A vertex that moves less is drawn as kept."""
_LINES = 380


def ease_card(plan: Plan, pictures: dict[str, bytes]) -> list[dict[str, str]]:
    """Each offer with a picture of where it departs from the form; the pictures go into `pictures`."""
    return [_offer(plan, offer, pictures) for offer in plan.ease.offers]


def _offer(plan: Plan, offer: Offer, pictures: dict[str, bytes]) -> dict[str, str]:
    form = plan.stand.form
    of_face = offer.deviation[form.faces].max(axis=1)
    most = max(offer.greatest_mm, KEPT_MM)
    kind = np.where(of_face > most / 2, 2, np.where(of_face > KEPT_MM, 1, 0)).astype(np.uint8)
    x, y = form.centroids[int(of_face.argmax())][:2] - form.bounds.mean(axis=0)[:2]
    facing = float(np.degrees(np.arctan2(y, x))) if offer.kind == "fill" and np.hypot(x, y) > 1e-6 else -60.0
    shown = picture(
        form, three_quarters(facing), lines=_LINES, face_colour=CLASS_COLOURS[kind], face_texture=kind
    )
    name = f"ease-{offer.kind}.svg"
    pictures[name] = svg_of(shown).encode()
    more = "more" if offer.volume_mm3 >= 0 else "less"
    return {
        "name": offer.kind.capitalize(),
        "picture": name,
        "alt": f"The form, coloured by how far the {offer.kind} departs from it",
        "says": offer.says,
        "figures": f"It departs from the form by {offer.greatest_mm:.2f} mm at the most and holds "
        f"{abs(offer.volume_mm3) / 1000:.1f} mL {more}. Locked {_cm2(offer.locked_before_mm2)} before, "
        f"{_cm2(offer.locked_after_mm2)} after; tight {_cm2(offer.tight_before_mm2)} before, {_cm2(offer.tight_after_mm2)} after.",
        "legend": f"Plain: kept. Dotted: moved by up to {most / 2:.2f} mm. Striped: by more. File: ease/{offer.kind}.stl, "
        "at the size of your own file, to look at and to plan again.",
    }


def _cm2(area_mm2: float) -> str:
    return f"{area_mm2 / 100:.1f} cm²"
