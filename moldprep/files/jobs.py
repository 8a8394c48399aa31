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
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise JobError(
            f"The job file {path} cannot be read: {error.strerror or error}.",
            code="job-file",
            remedy="Look at its name and folder.",
        ) from error
    except UnicodeDecodeError as error:
        raise JobError(
            f"The job file {path} is not text in UTF-8: byte {error.start + 1} does not fit.",
            code="job-encoding",
            remedy="Save it as UTF-8, as text editors offer.",
        ) from error
    return job_from_toml(text)
