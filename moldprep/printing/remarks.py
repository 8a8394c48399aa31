"""What to do with the print, and what to know about it."""

from __future__ import annotations

from ..findings import Finding
from ..job import PrinterJob
from .results import Heat, OneGo, Section
from .surface import GRIP_DRAFT_DEG, WORTH_MM2, Surface

PIN_SHORT_MM = 1.0
"""A pin is so much shorter than its two holes: room for glue (common practice)."""


def steps_for(
    sections: tuple[Section, ...], faces: tuple[Surface, ...], heat: Heat, job: PrinterJob
) -> tuple[str, ...]:
    """What to do with the print before plaster meets it, in order."""
    steps = []
    if len(sections) > 1:
        steps.append(_gluing(sections, job))
    first = next((surface for surface in faces if surface.name == "grips"), None)
    if first is not None and first.area_mm2 >= WORTH_MM2:
        steps.append(
            f"Sand the {first.area_mm2 / 100:.0f} cm² of walls with less than {GRIP_DRAFT_DEG:g}° of draft until no beads are felt "
            f"along the pull: as printed they stand out by up to {job.layer_mm / 2:.2f} mm."
        )
    steps.append(
        "Fill joints and stairs, sand, and seal the whole print (shellac, varnish or primer, two thin coats): plaster "
        "takes every line, and water creeps into an unsealed one."
    )
    steps.append("Soap or wax every face before each pour, also the edges of the joints.")
    steps.append(
        f"Thick plaster may reach {heat.hottest_c:.0f} °C; this filament softens at {heat.softens_c:.0f} °C. "
        "Take the master out only when the plaster has cooled to hand warmth."
    )
    return tuple(steps)


def _gluing(sections: tuple[Section, ...], job: PrinterJob) -> str:
    pins = [pin for section in sections for pin in section.pins]
    inverted = [section.name for section in sections if section.attitude == "inverted"]
    over = f", {', '.join(inverted)} upside down" if inverted else ""
    if not pins:
        return f"Print {len(sections)} sections{over}. Glue them on a flat table, edges flush: no pins fit."
    length = 2 * min(pin.depth_mm for pin in pins) - PIN_SHORT_MM
    return (
        f"Print {len(sections)} sections{over}. Fit them dry on {len(pins)} pins of {job.pin_mm:g} mm, {length:.0f} mm "
        "long: they go together one way only. Then glue."
    )


def remarks_on(
    sections: tuple[Section, ...],
    bare: list[float],
    one_go: OneGo,
    total_g: float,
    heat: Heat,
    job: PrinterJob,
) -> tuple[Finding, ...]:
    """What the maker should know of a print plan: beds, low sections, joints without pins, bodies, heat.

    bare: heights of joints in which no pins found room, mm. total_g: filament of all sections.
    """
    found = []
    wide, deep, tall = job.bed_mm
    large = [section for section in sections if not section.fits_bed]
    if large:
        sizes = "; ".join(
            f"{s.name} is {s.size_mm[0]:.0f} × {s.size_mm[1]:.0f} × {s.size_mm[2]:.0f} mm" for s in large
        )
        found.append(
            Finding(
                "warn",
                "section-bed",
                f"Level cuts do not bring the master into the printer ({wide:g} × {deep:g} × {tall:g} mm): {sizes}.",
                where=tuple((0.0, 0.0, (s.bottom_mm + s.top_mm) / 2) for s in large),
                remedy="Print it on a larger machine, cut it upright as well, or allow more sections (most_sections).",
            )
        )
    low = [s for s in sections if len(sections) > 1 and s.top_mm - s.bottom_mm < job.least_section_mm - 1e-6]
    if low:
        found.append(
            Finding(
                "note",
                "section-low",
                f"To fit the printer, {', '.join(s.name for s in low)} is lower than {job.least_section_mm:g} mm.",
                remedy="Print on a higher machine, or glue with care.",
            )
        )
    if bare:
        found.append(
            Finding(
                "note",
                "no-pins",
                f"The joint at {', '.join(f'{height:.0f} mm' for height in bare)} has no room for two pins of "
                f"{job.pin_mm:g} mm everywhere.",
                where=tuple((0.0, 0.0, height) for height in bare),
                remedy="Choose thinner pins (pin_mm), or line the edges up by eye and tape them while the glue sets.",
            )
        )
    loose = [s for s in sections if s.bodies > 1]
    if loose:
        found.append(
            Finding(
                "note",
                "section-bodies",
                "; ".join(f"{s.name} comes in {s.bodies} bodies" for s in loose) + ".",
                remedy="Mark them as they come off the bed.",
            )
        )
    less_g = total_g - one_go.filament_g
    if (
        one_go.attitude == "lying"
        and one_go.fits_bed
        and less_g > (0 if len(sections) > 1 else job.cut_price_g)
    ):
        found.append(
            Finding(
                "note",
                "print-whole",
                f"Lying and in one go the master takes {less_g:.1f} g less filament than in "
                f"{len(sections)} level section{'s' if len(sections) > 1 else ''}.",
                remedy="Print it so, if its stairs can be sanded.",
            )
        )
    if heat.margin_k < 0:
        found.append(
            Finding(
                "warn",
                "print-softens",
                f"Thick plaster may reach {heat.hottest_c:.0f} °C (from {heat.start_c:.0f} °C, no heat lost), and this "
                f"filament softens at {heat.softens_c:g} °C.",
                remedy="Mix with colder water, print in a filament that stands more heat, with more infill, or pour "
                "the thick pieces in cool air.",
            )
        )
    return tuple(found)
