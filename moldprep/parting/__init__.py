"""Stage 6: where the mold comes apart: the fewest pieces, seams level and on lines the form has."""

from .judge import locked_in
from .layers import Candidate, Layer, LayerKind, Seam, family_of, piece_count
from .lines import NaturalLines
from .pricing import SeamRule, locked_volumes, price
from .ranking import Parting, part_mold
from .steering import Steered, Steering
from .tables import PartingTables, tabulate

__all__ = [
    "Candidate",
    "Layer",
    "LayerKind",
    "NaturalLines",
    "Parting",
    "PartingTables",
    "Seam",
    "SeamRule",
    "Steered",
    "Steering",
    "family_of",
    "locked_in",
    "locked_volumes",
    "part_mold",
    "piece_count",
    "price",
    "tabulate",
]
