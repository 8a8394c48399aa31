"""The library of one studio, kept in one file on disk: jobs, trials, bars, drying logs and molds."""

from .rows import BarRow, CastRow, Contents, Mold, MoldLife, ReadingRow, SavedJob, TrialRow, job_of_record
from .store import Imported, Studio

__all__ = [
    "BarRow",
    "CastRow",
    "Contents",
    "Imported",
    "Mold",
    "MoldLife",
    "ReadingRow",
    "SavedJob",
    "Studio",
    "TrialRow",
    "job_of_record",
]
