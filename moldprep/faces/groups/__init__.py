"""The options of the commands by heading, in the order of the work; most set one key of the job."""

from .bench import CASTING, DRY, FILL, LENGTHS
from .form import FORM, JOB, SHRINKAGE, STAND, TARGET
from .mold import CAST, MOLD, PAPER, PIECES, PLASTER, PRINTER, STUDIO
from .page import PAGE

__all__ = [
    "CAST",
    "CASTING",
    "DRY",
    "FILL",
    "FORM",
    "JOB",
    "LENGTHS",
    "MOLD",
    "PAGE",
    "PAPER",
    "PIECES",
    "PLASTER",
    "PRINTER",
    "SHRINKAGE",
    "STAND",
    "STUDIO",
    "TARGET",
]
