"""The sample forms and their plans, made once for all tests."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from moldprep.files.read import read_master
from moldprep.job import job_from_dict
from moldprep.planning import Plan, plan
from tests.shared import shared

FOLDER = Path(__file__).parent.parent / "sample_meshes"


@cache
def catalog() -> dict[str, dict[str, Any]]:
    """The catalogue's entries by the stem of their file."""
    entries = json.loads((FOLDER / "catalog.json").read_text())
    entries = entries.get("forms", entries) if isinstance(entries, dict) else entries
    rows = entries.values() if isinstance(entries, dict) else entries
    return {Path(entry["file"]).stem: entry for entry in rows}


@cache
def planned(stem: str) -> Plan:
    """The plan of a sample with the job that its catalogue entry asks for, made once a run."""
    entry = catalog()[stem]
    job = job_from_dict(entry.get("job") or {})
    return shared(stem, lambda: plan(read_master(FOLDER / entry["file"], job.form), job))
