"""Stage 13: how the master is printed: in which sections, which way up, with how much filament, what to sand.

`heights` says where it may be cut, `choice` where it is cut, `pins` how it goes together again, `bed` how it
lies on the printer, `surface` what plaster will feel of it; `cutting` makes the solids, `whole` the comparison, `remarks`
the words.
"""

from __future__ import annotations

from ..job import PlasterJob, PrinterJob
from ..mixing import timing_of
from ..parting import Parting
from ..pieces import Pieces
from ..stand import Stand
from ..working import SILENT, Memo, Watch
from .bed import Laid, laid_out
from .choice import Attitude, SectionTables, Slab, best_sections, chosen_sections, section_tables
from .cutting import cut_sections
from .heights import Heights, cut_heights
from .pins import Pin, outline_turns, pins_at
from .remarks import remarks_on, steps_for
from .results import Heat, OneGo, PrintPlan, Section
from .surface import WORTH_MM2, Surface, surfaces
from .whole import attitudes_of

__all__ = [
    "WORTH_MM2",
    "Attitude",
    "Heat",
    "Heights",
    "Laid",
    "OneGo",
    "Pin",
    "PrintPlan",
    "Section",
    "SectionTables",
    "Slab",
    "Surface",
    "best_sections",
    "chosen_sections",
    "cut_heights",
    "laid_out",
    "outline_turns",
    "pins_at",
    "plan_print",
    "section_tables",
    "surfaces",
]


def plan_print(
    stand: Stand,
    parting: Parting,
    pieces: Pieces,
    plaster: PlasterJob,
    job: PrinterJob,
    *,
    watch: Watch = SILENT,
    memo: Memo | None = None,
) -> PrintPlan:
    """The master, spare included, cut level into the sections that print with the least filament.

    Each section prints upright or inverted. A cut costs its price (half at a line where the joint does not
    show) and the shell of its two faces; sections fit the printer's bed where any cutting lets them. Compared
    with the whole master upright, inverted and lying. `memo` keeps the sections, whatever plaster they will meet.
    """
    kept = memo or Memo()
    sections, bare = kept.get(
        "print sections", (stand, parting), job, lambda: _sections(stand, parting, job, watch)
    )
    attitudes = kept.get("attitudes", (stand.mesh,), job, lambda: attitudes_of(stand.mesh, job))
    one_go = min(attitudes, key=lambda way: (not way.fits_bed, way.filament_g))
    watch.step(3, 4)
    faces, face_surface = kept.get(
        "print surfaces", (stand.mesh, pieces), job, lambda: surfaces(stand.mesh, pieces, job)
    )
    timing = timing_of(plaster)
    heat = Heat(timing.start_c, timing.limit_c - timing.start_c, timing.limit_c, job.softens_c)
    total = sum(section.filament_g for section in sections)
    watch.step(4, 4)
    return PrintPlan(
        sections=sections,
        filament_g=total,
        filament_m=sum(section.filament_m for section in sections),
        support_g=sum(section.support_g for section in sections),
        one_go=one_go,
        attitudes=attitudes,
        saved_g=one_go.filament_g - total,
        surfaces=faces,
        face_surface=face_surface,
        heat=heat,
        steps=steps_for(sections, faces, heat, job),
        findings=remarks_on(sections, bare, one_go, total, heat, job),
    )


def _sections(
    stand: Stand, parting: Parting, job: PrinterJob, watch: Watch
) -> tuple[tuple[Section, ...], list[float]]:
    """The sections, and heights of the joints in which no pins found room."""
    heights = cut_heights(stand, parting)
    tables = section_tables(stand.mesh, heights, job)
    slabs = chosen_sections(tables, job)
    watch.step(1, 4)
    found = cut_sections(stand.mesh, tables, slabs, job)
    watch.step(2, 4)
    return found
