"""Meshes of others through the whole plan: a mold, or a stop whose places Embree finds locked too."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.errors import FormError
from moldprep.job import job_from_dict
from moldprep.master import Master, master_from_bytes
from moldprep.parting import Candidate
from moldprep.planning import plan
from tests import npm_meshes

NEAR_MM = 2.0


def bunny(**parts: object) -> tuple[Master, object]:
    job = job_from_dict({"form": {"up": "y", "size_mm": 120}, **parts})
    return master_from_bytes(npm_meshes.bunny(), file_type="obj", name="bunny.obj", form=job.form), job


def pull_at(chosen: Candidate, place: np.ndarray) -> list[np.ndarray]:
    """The pulls of the pieces that lie within `NEAR_MM` of a place (upright stack axis)."""
    found = []
    for layer in chosen.layers:
        first, last = layer is chosen.layers[0], layer is chosen.layers[-1]
        above = first or place[2] >= layer.low_mm - NEAR_MM
        below = last or place[2] <= layer.high_mm + NEAR_MM
        if not (above and below):
            continue
        if layer.kind == "split":
            turn = np.radians(layer.azimuth_deg)
            way = np.array([np.cos(turn), np.sin(turn), 0.0])
            side = way @ place - layer.offset_mm
            found += [sign * way for sign in (1, -1) if sign * side >= -NEAR_MM]
        else:
            found.append(np.array([0, 0, 1.0 if layer.kind == "up" else -1.0]))
    return found


def test_the_bunny_has_no_opening_of_its_own_and_the_cure_is_named() -> None:
    master, job = bunny()
    with pytest.raises(FormError) as caught:
        plan(master, job)
    assert caught.value.code == "no-opening" and "--opening made" in caught.value.remedy


def test_the_bunny_is_planned_or_stopped_where_embree_finds_it_locked() -> None:
    master, job = bunny(stand={"opening": "made", "opening_diameter_mm": 30, "opening_at": "-z"})
    made = plan(master, job)
    stops = [finding for finding in made.findings if finding.code == "parting-locked"]
    assert stops or made.parting.chosen.reach_mm <= made.job.pull.tolerance_mm
    form = trimesh.Trimesh(made.stand.mesh.vertices, made.stand.mesh.faces, process=False)
    assert type(form.ray).__module__ == "trimesh.ray.ray_pyembree"
    around = np.random.default_rng(0).normal(size=(400, 3))
    around *= (
        NEAR_MM
        * np.random.default_rng(1).random((400, 1)) ** (1 / 3)
        / np.linalg.norm(around, axis=1)[:, None]
    )
    places = [np.array(place) for finding in stops for place in finding.where]
    for place in places:
        near = place + np.vstack([np.zeros((1, 3)), around])
        outside = near[~form.contains(near)]
        assert len(outside), place
        hits = [
            form.ray.intersects_any(outside, np.tile(way, (len(outside), 1))).any()
            for way in pull_at(made.parting.chosen, place)
        ]
        assert any(hits), f"nothing bars the way at {place}"
