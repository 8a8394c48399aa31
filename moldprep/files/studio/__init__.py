"""The library of one studio, kept in one file on disk: jobs, trials, bars, drying logs and molds."""

from .forms import MOST_FORM_BYTES
from .rows import (
    BarRow,
    CastRow,
    Contents,
    Entry,
    Mold,
    MoldLife,
    ReadingRow,
    SavedJob,
    TrialRow,
    digest_of_record,
    job_of_record,
)
from .store import Imported, Studio

__all__ = [
    "MOST_FORM_BYTES",
    "BarRow",
    "CastRow",
    "Contents",
    "Entry",
    "Imported",
    "Mold",
    "MoldLife",
    "ReadingRow",
    "SavedJob",
    "Studio",
    "TrialRow",
    "digest_of_record",
    "job_of_record",
]
