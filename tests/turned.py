"""The samples that must release, turned about the vertical and scaled."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import trimesh

from moldprep.files.read import read_master
from moldprep.job import job_from_dict
from moldprep.master import Master
from tests.molds import Mold, mold_of
from tests.samples import FOLDER, catalog

RELEASED = sorted(stem for stem, entry in catalog().items() if entry["must_release"])
SCALES = (0.7, 0.85, 1.0, 1.2, 1.4)
"""The largest sample is then 260 mm, the smallest opening 15."""


@dataclass(frozen=True)
class Pose:
    """A turn about the vertical and a scale."""

    turn_deg: float
    scale: float


def poses(stem: str, *, turns: int) -> list[Pose]:
    """So many random turns, the same ones each time, at each of the scales; the scales in turn first."""
    seed = RELEASED.index(stem)
    angles = np.random.default_rng(seed).uniform(0, 360, turns)
    count = len(SCALES)
    return [
        Pose(float(angle), SCALES[(seed + step + k) % count])
        for step in range(count)
        for k, angle in enumerate(angles)
    ]


def turned_mold(stem: str, pose: Pose, **parts: dict[str, object]) -> Mold:
    """The mold of a sample in a pose; parts: keys of the job that are changed."""
    entry = catalog()[stem]
    raw = dict(entry.get("job") or {})
    for part, values in parts.items():
        raw[part] = {**raw.get(part, {}), **values}
    stand = raw.get("stand", {})
    if "opening_diameter_mm" in stand:  # a made opening belongs to the form
        raw["stand"] = {**stand, "opening_diameter_mm": stand["opening_diameter_mm"] * pose.scale}
    job = job_from_dict(raw)
    master = read_master(FOLDER / entry["file"], job.form)
    return mold_of(posed(master, pose), job)


def posed(master: Master, pose: Pose) -> Master:
    """The master in a pose."""
    matrix = trimesh.transformations.rotation_matrix(np.radians(pose.turn_deg), [0, 0, 1])
    matrix[:3, :3] *= pose.scale
    return replace(master, mesh=master.mesh.transformed(matrix))
