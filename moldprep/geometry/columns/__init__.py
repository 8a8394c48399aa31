"""Columns: all crossings of a mesh with a grid of lines parallel to one direction.

One structure answers everything that needs visibility or thickness along a direction: undercut,
locked volume, parting height, release, drain seeds, overhang and shaded pictures.
"""

from .frame import Frame, frame_for, rotation_for
from .intervals import Intervals, gap_mm3, gaps_by_column, one_way_mm3, parted_mm3, solid_intervals, solid_mm3
from .raster import Columns, Defects, cast, defects, exact_face_projection, projected_area

__all__ = [
    "Columns",
    "Defects",
    "Frame",
    "Intervals",
    "cast",
    "defects",
    "exact_face_projection",
    "frame_for",
    "gap_mm3",
    "gaps_by_column",
    "one_way_mm3",
    "parted_mm3",
    "projected_area",
    "rotation_for",
    "solid_intervals",
    "solid_mm3",
]
