"""Stage 7: pieces. `slabs` cuts the block, `natches` keeps pieces in register, one way only (`register`),
`islands` hands loose plaster on, `met` says which face meets which piece, `order` names them and orders
them, `cutting` is the stage."""

from .cutting import MOST_IMBALANCE, Piece, Pieces, cut_pieces
from .natches import Joint, Natch, plug_for, turned_over
from .order import SAME_WAY, leaves, pouring_ranks, sideways

__all__ = [
    "MOST_IMBALANCE",
    "SAME_WAY",
    "Joint",
    "Natch",
    "Piece",
    "Pieces",
    "cut_pieces",
    "leaves",
    "plug_for",
    "pouring_ranks",
    "sideways",
    "turned_over",
]
