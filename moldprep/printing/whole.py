"""The whole master printed in one go, to compare with."""

from __future__ import annotations

import numpy as np

from ..geometry.columns import cast, frame_for, rotation_for, solid_intervals
from ..geometry.mesh import Floats, Mesh
from ..geometry.overhang import overhangs, support_mm3
from ..job import PrinterJob
from .bed import best_turn
from .choice import FILM_SHARE, LINES, support_g_mm3
from .cutting import body_g
from .results import OneGo

LYING_STEPS = 4
"""Level axes along which the form is tried lying, each either way up."""


def attitudes_of(mesh: Mesh, job: PrinterJob) -> tuple[OneGo, ...]:
    """The whole master upright, inverted, and lying on the side that takes least support."""
    body = body_g(mesh, job)
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
    flat = np.column_stack([mesh.vertices @ across for across in rotation_for(axis)[:2]])
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
