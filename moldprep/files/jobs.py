"""Reading job files, and the text of one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from msgspec import Struct

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


def job_text(job: Job) -> str:
    """The job as TOML, only what differs from the usual job; `job_from_toml` gives the same job back.

    >>> print(job_text(job_from_toml("shrinkage.total_percent = 12")), end="")
    [shrinkage]
    total_percent = 12.0
    """
    usual, parts = Job(), []
    for name in job.__struct_fields__:
        part, same = getattr(job, name), getattr(usual, name)
        lines = [
            f"{key} = {_toml(getattr(part, key))}"
            for key in part.__struct_fields__
            if getattr(part, key) != getattr(same, key)
        ]
        if lines:
            parts.append("\n".join((f"[{name}]", *lines)) + "\n")
    return "\n".join(parts)


def _toml(value: Any) -> str:
    """One value on one line. What is left out of a struct is left out here: TOML has no word for nothing."""
    if isinstance(value, Struct):
        given = ((key, getattr(value, key)) for key in value.__struct_fields__)
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in given if one is not None) + " }"
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # a JSON string is a basic string of TOML, but for one control character
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
