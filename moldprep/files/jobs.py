"""Reading job files."""

from __future__ import annotations

from pathlib import Path

from ..errors import JobError
from ..job import Job, job_from_toml

MOST_BYTES = 1_000_000


def read_job(path: Path) -> Job:
    """The job in a TOML file; JobError where there is none, or it does not fit."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise JobError(
                f"{path} is too large for a job file.", code="job-size", remedy="Is it the right file?"
            )
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(
            f"The job file {path} cannot be read: {error}.", code="job-file", remedy="Check it."
        ) from error
    return job_from_toml(text)
