"""The sample forms that come with moldprep, to try it without a form of one's own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PACKAGE = Path(__file__).parent.parent
PLACES = (PACKAGE / "samples", PACKAGE.parent / "sample_meshes")
"""Where they lie: in an installed package, in a checkout."""


@dataclass(frozen=True)
class Sample:
    """One sample form. name: the catalogue's; title, note: in words; job: the part of a job that a maker has to
    give for it, as `job.job_from_dict` reads it; hollow: drawn with its inside, to be filled on request only."""

    name: str
    title: str
    note: str
    path: Path
    job: dict[str, Any]
    hollow: bool


def samples() -> tuple[Sample, ...]:
    """All sample forms, in the catalogue's order; none where they were not installed."""
    for folder in PLACES:
        catalog = folder / "catalog.json"
        if catalog.is_file():
            entries: dict[str, dict[str, Any]] = json.loads(catalog.read_text(encoding="utf-8"))
            return tuple(_sample(name, entry, folder) for name, entry in entries.items())
    return ()


def _sample(name: str, entry: dict[str, Any], folder: Path) -> Sample:
    return Sample(name, entry["title"], entry["note"], folder / entry["file"], entry["job"], entry["hollow"])
