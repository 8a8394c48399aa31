"""Stage 12: how the master is printed: in which sections, which way up, with how much filament, what to sand.

`heights` says where it may be cut, `choice` where it is cut, `pins` how it goes together again, `bed` how it
lies on the printer, `surface` what plaster will feel of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import Point
from ..findings import Finding
from ..formulas import gypsum
from ..formulas.printing import filament_g, filament_m
from ..geometry.columns import cast, frame_for, solid_intervals
from ..geometry.columns.frame import rotation_for
from ..geometry.mesh import Floats, Mesh
from ..geometry.overhang import overhangs, support_mm3
from ..geometry.shell import shell_volume
from ..geometry.solids import Solid, difference, from_manifold, parts, plug, split, to_manifold, united
from ..job import PlasterJob, PrinterJob
from ..parting import Parting
from ..pieces import Pieces
from ..stand import Stand
from ..working import SILENT, Watch
from .bed import Laid, best_turn, laid_out
from .choice import FILM_SHARE, LINES, Attitude, SectionTables, Slab, best_sections, chosen_sections
from .choice import section_tables, support_g_mm3
from .heights import STEPS, Heights, cut_heights
from .pins import Pin, outline_turns, pins_at
from .surface import Surface, surfaces

__all__ = [
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

LYING_STEPS = 4
"""Level axes along which the form is tried lying, each either way up."""
CRUMB_SHARE = 1e-6
"""Bodies below this share of a section are the rounding of a cut."""


@dataclass(frozen=True, eq=False)
class Section:
    """One section of the master.

    bottom_mm, top_mm: in the casting pose; attitude: which way up it prints. joint: what the cut at its
    bottom was drawn to ("seam plane", "crease", "rim", "equator", "neck", ""), "foot" for the lowest.
    overhang_mm2: surface that needs support, support_mm3: the air beneath it. filament_g, filament_m: all
    of it, support_g included. mesh: the closed solid in the casting pose, holes for pins cut; pins: those
    in the joint at its bottom. bodies: connected solids in it. size_mm: as it prints.
    """

    name: str
    bottom_mm: float
    top_mm: float
    attitude: Attitude
    joint: str
    overhang_mm2: float
    support_mm3: float
    support_g: float
    filament_g: float
    filament_m: float
    mesh: Mesh = field(repr=False)
    pins: tuple[Pin, ...]
    bodies: int
    size_mm: Point
    fits_bed: bool

    @property
    def printed(self) -> Mesh:
        """The section as it stands on the bed, z = 0: inverted ones are turned over about x."""
        turn = np.diag([1.0, 1, 1, 1] if self.attitude == "upright" else [1.0, -1, -1, 1])
        turned = self.mesh if self.attitude == "upright" else self.mesh.transformed(turn)
        return Mesh(turned.vertices - [0, 0, turned.bounds[0, 2]], turned.faces)


@dataclass(frozen=True)
class OneGo:
    """The whole master printed in one go. attitude: "upright", "inverted" or "lying"; up: the way along which
    it is built, casting pose. filament_g: all of it, support_g included."""

    attitude: str
    up: Point
    overhang_mm2: float
    support_mm3: float
    support_g: float
    filament_g: float
    fits_bed: bool


@dataclass(frozen=True)
class Heat:
    """How warm setting plaster can become where no heat leaves it, and where the filament softens, Celsius."""

    water_c: float
    rise_k: float
    hottest_c: float
    softens_c: float

    @property
    def margin_k(self) -> float:
        """What is left to the softening, negative above it."""
        return self.softens_c - self.hottest_c


@dataclass(frozen=True, eq=False)
class PrintPlan:
    """How to print the master.

    sections: bottom to top. one_go: the best attitude of the whole master, and all three. saved_g:
    filament that the sections save against it, negative where they cost more. surfaces: the faces that
    plaster meets, those to sand first on top; face_surface: (m,) uint8 class of each face of
    `Stand.mesh` (see `surface`). steps: what to do with the print.
    """

    sections: tuple[Section, ...]
    filament_g: float
    filament_m: float
    support_g: float
    one_go: OneGo
    attitudes: tuple[OneGo, ...]
    saved_g: float
    surfaces: tuple[Surface, ...]
    face_surface: NDArray[np.uint8] = field(repr=False)
    heat: Heat
    steps: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


def plan_print(
    stand: Stand,
    parting: Parting,
    pieces: Pieces,
    plaster: PlasterJob,
    job: PrinterJob,
    *,
    watch: Watch = SILENT,
) -> PrintPlan:
    """The master, spare included, cut level into the sections that print with the least filament.

    Each section prints upright or inverted. A cut costs its price (half at a line where the joint does not
    show) and the shell of its two faces; sections fit the printer's bed where any cutting lets them. Compared
    with the whole master upright, inverted and lying.
    """
    heights = cut_heights(stand, parting)
    tables = section_tables(stand.mesh, heights, job)
    slabs = chosen_sections(tables, job)
    watch.step(1, 4)
    sections, bare = _sections(stand.mesh, tables, slabs, job)
    watch.step(2, 4)
    attitudes = _attitudes(stand.mesh, job)
    one_go = min(attitudes, key=lambda way: (not way.fits_bed, way.filament_g))
    watch.step(3, 4)
    faces, face_surface = surfaces(stand.mesh, pieces, job)
    rise = gypsum.adiabatic_rise_k(plaster.consistency / 100, purity=plaster.purity)
    heat = Heat(plaster.water_temperature_c, rise, plaster.water_temperature_c + rise, job.softens_c)
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
        steps=_steps(sections, faces, heat, job),
        findings=_findings(sections, bare, one_go, total, heat, job),
    )


# --- sections -----------------------------------------------------------------------------------


def _sections(
    mesh: Mesh, tables: SectionTables, slabs: tuple[Slab, ...], job: PrinterJob
) -> tuple[tuple[Section, ...], list[float]]:
    """The sections as solids with their pins, and the heights of joints with patches without pins."""
    levels = tables.heights.heights
    pins: list[tuple[Pin, ...]] = [()]
    bare = []
    for below, above in zip(slabs[:-1], slabs[1:], strict=True):
        ends = {"low": float(levels[below.low]), "high": float(levels[above.high])}
        here = float(levels[above.low])
        found, missing = pins_at(mesh, here, pin_mm=job.pin_mm, **ends)
        pins.append(found)
        bare += [here] * bool(missing or not found)
    rest = to_manifold(mesh) if len(slabs) > 1 else None
    made = []
    for k, slab in enumerate(slabs):
        if rest is None:
            made.append(_section(mesh, 1, k, slab, tables, pins, job))
            continue
        solid = rest
        if k + 1 < len(slabs):
            rest, solid = split(rest, (0.0, 0.0, 1.0), float(levels[slab.high]))
        above = pins[k + 1] if k + 1 < len(slabs) else ()
        holes = [_hole(pin, 1.0) for pin in pins[k]] + [_hole(pin, -1.0) for pin in above]
        if holes:
            solid = difference(solid, united(holes))
        bodies = [body for body in parts(solid) if body.volume() > CRUMB_SHARE * solid.volume()]
        made.append(_section(from_manifold(solid), len(bodies), k, slab, tables, pins, job))
    return tuple(made), bare


def _hole(pin: Pin, way: float) -> Solid:
    """The hole for a pin, upward (1) or downward (-1) from its joint."""
    radius = pin.hole_mm / 2
    return plug(pin.where, (0.0, 0.0, way), radius=radius, tip_radius=radius, length=pin.depth_mm)


def _section(
    mesh: Mesh,
    bodies: int,
    k: int,
    slab: Slab,
    tables: SectionTables,
    pins: list[tuple[Pin, ...]],
    job: PrinterJob,
) -> Section:
    way = 0 if slab.attitude == "upright" else 1
    levels = tables.heights.heights
    support = float(tables.support_mm3[way, slab.low, slab.high])
    support_g = support * support_g_mm3(job)
    mass = support_g + _body_g(mesh, job)
    x, y, z = (float(side) for side in mesh.extents)
    return Section(
        name=f"section-{k + 1}",
        bottom_mm=float(levels[slab.low]),
        top_mm=float(levels[slab.high]),
        attitude=slab.attitude,
        joint=tables.heights.names[slab.low] if k else "foot",
        overhang_mm2=float(tables.overhang_mm2[way, slab.low, slab.high]),
        support_mm3=support,
        support_g=support_g,
        filament_g=mass,
        filament_m=filament_m(mass, diameter_mm=job.filament_diameter_mm, density_g_ml=job.filament_g_ml),
        mesh=mesh,
        pins=pins[k],
        bodies=bodies,
        size_mm=(x, y, z),
        fits_bed=bool(tables.fits[slab.low, slab.high]),
    )


def _body_g(mesh: Mesh, job: PrinterJob) -> float:
    """Filament in a solid without its supports, g."""
    return filament_g(
        mesh.volume,
        shell_volume(mesh, job.shell_mm),
        infill=job.infill_percent / 100,
        density_g_ml=job.filament_g_ml,
    )


# --- in one go ----------------------------------------------------------------------------------


def _attitudes(mesh: Mesh, job: PrinterJob) -> tuple[OneGo, ...]:
    """The whole master upright, inverted, and lying on the side that takes least support."""
    body = _body_g(mesh, job)
    upright, inverted = _both_ways(mesh, np.array([0.0, 0.0, 1.0]), ("upright", "inverted"), body, job)
    lying = [
        way
        for angle in np.arange(LYING_STEPS) * (np.pi / LYING_STEPS)
        for way in _both_ways(mesh, np.array([np.cos(angle), np.sin(angle), 0.0]), ("lying",) * 2, body, job)
    ]
    return upright, inverted, min(lying, key=lambda way: (not way.fits_bed, way.support_mm3))


def _both_ways(
    mesh: Mesh, axis: Floats, names: tuple[str, str], body_g: float, job: PrinterJob
) -> list[OneGo]:
    """The whole master built along an axis, and against it."""
    intervals = solid_intervals(cast(mesh, frame_for(mesh, axis, lines=LINES)))
    both = overhangs(mesh, intervals, limit_deg=job.overhang_deg)
    flat = mesh.vertices @ rotation_for(axis)[:2].T
    tall = intervals.top - intervals.bottom
    fits = best_turn(flat, job.bed_mm)[1] and tall <= job.bed_mm[2] + 1e-6
    found = []
    for name, places, bed, way in zip(names, both, (intervals.bottom, -intervals.top), (1, -1), strict=True):
        support = support_mm3(places, bed=bed)
        grams = support * support_g_mm3(job)
        x, y, z = (float(value) + 0.0 for value in np.round(way * axis, 12))
        standing = places.height > bed + FILM_SHARE * job.layer_mm
        area = float(places.area[standing].sum())
        found.append(OneGo(name, (x, y, z), area, support, grams, body_g + grams, fits))
    return found


# --- words --------------------------------------------------------------------------------------


def _steps(
    sections: tuple[Section, ...], faces: tuple[Surface, ...], heat: Heat, job: PrinterJob
) -> tuple[str, ...]:
    """What to do with the print before plaster meets it, in order."""
    steps = []
    if len(sections) > 1:
        pins = sum(len(section.pins) for section in sections)
        steps.append(
            f"Print {len(sections)} sections, {'inverted ones turned over' if any(s.attitude == 'inverted' for s in sections) else 'all upright'}. "
            f"Dry-fit with {pins} pins of {job.pin_mm:g} mm, {2 * sections[1].pins[0].depth_mm - 1:.0f} mm long, then glue."
            if pins
            else f"Print {len(sections)} sections. Glue them on a flat table, edges flush: no pins fit."
        )
    first = next((surface for surface in faces if surface.name == "grips"), None)
    if first is not None:
        steps.append(
            f"Sand the {first.area_mm2 / 100:.0f} cm² of walls with less than 5° of draft until no beads are felt "
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


def _findings(
    sections: tuple[Section, ...],
    bare: list[float],
    one_go: OneGo,
    total_g: float,
    heat: Heat,
    job: PrinterJob,
) -> tuple[Finding, ...]:
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
    if len(sections) > 0 and one_go.fits_bed and one_go.filament_g < total_g - job.cut_price_g:
        found.append(
            Finding(
                "note",
                "print-whole",
                f"{one_go.attitude.capitalize()} and in one go the master takes {total_g - one_go.filament_g:.0f} g "
                "less filament than in level sections.",
                remedy="Print it so, if stairs along its side can be sanded.",
            )
        )
    if heat.margin_k < 0:
        found.append(
            Finding(
                "warn",
                "print-softens",
                f"Thick plaster may reach {heat.hottest_c:.0f} °C (from {heat.water_c:g} °C, no heat lost), and this "
                f"filament softens at {heat.softens_c:g} °C.",
                remedy="Mix with colder water, print in a filament that stands more heat, with more infill, or pour "
                "the thick pieces in cool air.",
            )
        )
    return tuple(found)
