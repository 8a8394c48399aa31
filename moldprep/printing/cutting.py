"""The sections as solids: the master less what lies beyond them and the holes for their pins."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..formulas.printing import filament_g, filament_m
from ..geometry.mesh import Floats, Mesh
from ..geometry.shell import shell_volume
from ..geometry.solids import Solid, difference, from_manifold, parts, plug, prism, to_manifold, united
from ..job import PrinterJob
from .choice import SectionTables, Slab, support_g_mm3
from .heights import FLUSH_MM
from .pins import Pin, pins_at
from .results import Section

MARGIN = 10.0
"""How far the cutters stand out beyond the form, mm."""
CRUMB_SHARE = 1e-6
"""Bodies below this share of a section are the rounding of a cut."""


def cut_sections(
    mesh: Mesh, tables: SectionTables, slabs: tuple[Slab, ...], job: PrinterJob
) -> tuple[tuple[Section, ...], list[float]]:
    """The sections as solids with their pins, and the heights of joints with patches without pins."""
    levels = tables.heights.heights
    pins: list[tuple[Pin, ...]] = [()]
    bare = []
    for below, above in pairwise(slabs):
        low, here, high = (float(levels[k]) for k in (below.low, above.low, above.high))
        found, missing = pins_at(mesh, here, low=low, high=high, pin_mm=job.pin_mm)
        pins.append(found)
        bare += [here] * bool(missing or not found)
    if len(slabs) == 1:
        return (_section(mesh, 1, 0, slabs[0], tables, (), job),), bare
    master = to_manifold(_drawn(mesh, levels[[slab.high for slab in slabs[:-1]]]))
    made = []
    for k, (slab, under, over) in enumerate(zip(slabs, pins, [*pins[1:], ()], strict=True)):
        away = [_hole(pin, 1.0) for pin in under] + [_hole(pin, -1.0) for pin in over]
        if k > 0:
            away.append(_beyond(mesh, high=float(levels[slab.low])))
        if k + 1 < len(slabs):
            away.append(_beyond(mesh, low=float(levels[slab.high])))
        # all at once, and by subtracting: keeping a half space would keep films in its plane
        solid = difference(master, united(away))
        bodies = [body for body in parts(solid) if body.volume() > CRUMB_SHARE * solid.volume()]
        made.append(_section(from_manifold(solid), len(bodies), k, slab, tables, under, job))
    return tuple(made), bare


def _drawn(mesh: Mesh, cuts: Floats) -> Mesh:
    """The mesh with the vertices that lie within `FLUSH_MM` of a cut drawn into it: a ledge there leaves no film."""
    vertices = np.array(mesh.vertices)
    for cut in cuts:
        vertices[np.abs(vertices[:, 2] - cut) < FLUSH_MM, 2] = cut
    return Mesh(vertices, mesh.faces)


def _beyond(mesh: Mesh, *, low: float | None = None, high: float | None = None) -> Solid:
    """All that lies above `low`, or below `high`."""
    (x0, y0, z0), (x1, y1, z1) = mesh.bounds[0] - MARGIN, mesh.bounds[1] + MARGIN
    plan = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    return prism(plan, z0 if low is None else low, z1 if high is None else high)


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
    pins: tuple[Pin, ...],
    job: PrinterJob,
) -> Section:
    way = 0 if slab.attitude == "upright" else 1
    levels = tables.heights.heights
    support = float(tables.support_mm3[way, slab.low, slab.high])
    support_g = support * support_g_mm3(job)
    mass = support_g + body_g(mesh, job)
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
        pins=pins,
        bodies=bodies,
        size_mm=(x, y, z),
        fits_bed=bool(tables.fits[slab.low, slab.high]),
    )


def body_g(mesh: Mesh, job: PrinterJob) -> float:
    """Filament in a solid without its supports, g."""
    return filament_g(
        mesh.volume,
        shell_volume(mesh, job.shell_mm),
        infill=job.infill_percent / 100,
        density_g_ml=job.filament_g_ml,
    )
