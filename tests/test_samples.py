"""The sample meshes are what their catalogue says, found without moldprep's own geometry.

Whether a mold comes off is asked with straight lines along each pull: plaster is free along a line
when nothing of the form lies before it.
"""

from __future__ import annotations

import importlib
import json
import sys
import tomllib
from functools import cache
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from moldprep.job import job_from_dict, job_from_toml

ROOT = Path(__file__).resolve().parents[1]
sys.path.append(str(ROOT))
make = importlib.import_module("sample_meshes.make")
lofts = importlib.import_module("sample_meshes.lofts")

SAMPLES = ROOT / "sample_meshes"
CATALOG = json.loads((SAMPLES / "catalog.json").read_text(encoding="utf-8"))
NAMES = sorted(CATALOG)
RELEASED = [name for name in NAMES if CATALOG[name]["must_release"]]

STORED = 2e-5
"""mm: half a float32 step at 250 mm is 8e-6; coordinates differ by less than two of them."""
FACET = 0.03
"""mm: what a seam plane may miss of a facet; the widest facet at a level outline sags by less."""
LINES = 150
END = 5.0
CUBIC_MM = {"mm": 1.0, "cm": 1000.0}


@cache
def made(name: str) -> tuple[np.ndarray, np.ndarray]:
    """The form in the resolution it is committed in, made once; nobody may write in it."""
    vertices, faces = make.made(name)
    vertices.flags.writeable = faces.flags.writeable = False
    return vertices, faces


@cache
def filed(name: str) -> trimesh.Trimesh:
    """The committed file, as a stranger reads it, welded."""
    mesh = trimesh.load(SAMPLES / CATALOG[name]["file"], force="mesh")
    mesh.merge_vertices()
    return mesh


def crossings(mesh: tuple[np.ndarray, np.ndarray], along: np.ndarray, points: np.ndarray) -> list[np.ndarray]:
    """Where lines through points (n, 3) along a direction cross the mesh: distances, sorted."""
    vertices, faces = mesh
    side = np.cross(along, (0.3, 0.5, 0.8))
    frame = np.stack([side / np.linalg.norm(side), np.cross(along, side / np.linalg.norm(side)), along])
    a, b, c = ((vertices @ frame.T)[faces[:, k]] for k in range(3))
    found = []
    for x, y, _ in points @ frame.T:
        u, v, w = (
            (q[:, 0] - x) * (r[:, 1] - y) - (q[:, 1] - y) * (r[:, 0] - x) for q, r in ((b, c), (c, a), (a, b))
        )
        hit = ((u >= 0) & (v >= 0) & (w >= 0)) | ((u <= 0) & (v <= 0) & (w <= 0))
        total = (u + v + w)[hit]
        depth = (u[hit] * a[hit, 2] + v[hit] * b[hit, 2] + w[hit] * c[hit, 2])[total != 0] / total[total != 0]
        found.append(np.sort(depth))
    return found


def scattered(mesh: tuple[np.ndarray, np.ndarray], low: float, high: float) -> np.ndarray:
    """LINES points in the mesh's box, heights between low and high, the same ones each time.

    Two thirds lie within END of the layer's ends, where a plane a little off leaves plaster locked.
    """
    random = np.random.default_rng(20240229)
    points = mesh[0].min(axis=0) + random.random((LINES, 3)) * np.ptp(mesh[0], axis=0)
    share = np.where(np.arange(LINES) % 3 == 0, high - low, min(END, high - low)) * random.random(LINES)
    points[:, 2] = np.where(np.arange(LINES) % 3 == 1, low + share, high - share)
    return points


def halves_come_off(mesh: tuple[np.ndarray, np.ndarray], azimuth_deg: float, low: float, high: float) -> bool:
    """Whether every level line in the layer crosses the form at most once, on both sides of the seam."""
    angle = np.radians(azimuth_deg)
    along = np.array([np.cos(angle), np.sin(angle), 0])
    lines = crossings(mesh, along, scattered(mesh, low, high))
    assert any(len(line) for line in lines)
    once = all(len(line) in (0, 2) for line in lines)
    return once and all(line[0] < FACET and line[1] > -FACET for line in lines if len(line))


def upright(mesh: tuple[np.ndarray, np.ndarray]) -> list[np.ndarray]:
    """The crossings of upright lines that meet the form, a third of them just inside its silhouette."""
    points = scattered(mesh, 0, 1)
    outline = mesh[0][np.argsort(np.hypot(mesh[0][:, 0], mesh[0][:, 1]))[-LINES // 2 :]]
    inside = outline * (1 - 1e-4) + np.cross((0, 0, 2e-5), outline)  # beside the edges that meet there
    lines = crossings(mesh, np.array([0, 0, 1.0]), np.vstack([points, inside]))
    return [line for line in lines if len(line)]


def drops_out(mesh: tuple[np.ndarray, np.ndarray], opening: str) -> bool:
    """Whether the form widens all the way to its opening plane: each line leaves it there."""
    end = mesh[0][:, 2].max() if opening == "rim" else 0.0
    return all(len(line) == 2 and np.abs(line - end).min() < 1e-6 for line in upright(mesh))


def pair_locked(mesh: tuple[np.ndarray, np.ndarray]) -> bool:
    """Whether some plaster has form above and below it, so that no level seam frees it."""
    return any(len(line) > 2 for line in upright(mesh))


@pytest.mark.parametrize("name", NAMES)
def test_the_committed_file_is_one_closed_outward_solid_of_the_catalogued_size(name: str) -> None:
    entry, mesh = CATALOG[name], filed(name)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
    assert len(mesh.faces) == entry["triangles"] and mesh.body_count == 1
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.uint64))
    )
    assert solid.status() == manifold3d.Error.NoError
    assert mesh.area_faces.min() > 0
    scale = CUBIC_MM[entry["units"]] ** (1 / 3)
    size = np.ptp(mesh.vertices, axis=0) * scale
    size = size[[0, 2, 1]] if entry["up"] == "y" else size
    assert size == pytest.approx(entry["size_mm"], abs=1e-3)  # the catalogue's last digit
    up = 1 if entry["up"] == "y" else 2
    assert mesh.vertices[:, up].min() == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("name", [name for name in NAMES if CATALOG[name]["volume_mm3"]])
def test_the_mesh_has_the_volume_of_its_formula(name: str) -> None:
    entry, mesh = CATALOG[name], filed(name)
    # float32 moves the surface by up to STORED at random; ten times its mean share is ample
    tolerance = 0.1 * STORED * mesh.area * CUBIC_MM[entry["units"]] ** (2 / 3) + 0.05
    assert mesh.volume * CUBIC_MM[entry["units"]] == pytest.approx(entry["volume_mm3"], abs=tolerance)


def test_smooth_volumes_are_the_textbooks() -> None:
    smooth = {name: CATALOG[name]["smooth_volume_mm3"] for name in NAMES}
    assert smooth["cylinder"] == pytest.approx(np.pi * 40**2 * 95, abs=0.05)
    assert smooth["sphere"] == pytest.approx(4 / 3 * np.pi * 50**3, abs=0.05)
    # A frustum of revolution, pi h/3 (R^2 + R r + r^2): 387,463 for radii 40 and 30, height 100.
    frustum = [[[0, 0]], [[30, 0]], [[40, 100]], [[0, 100]]]
    assert lofts.smooth_volume(frustum, lofts.scaled_area(np.pi)) == pytest.approx(387_463, abs=0.5)


@pytest.mark.parametrize("name", [name for name in NAMES if CATALOG[name]["volume_mm3"]])
def test_finer_meshes_close_in_on_the_smooth_volume(name: str) -> None:
    factor = {"segments": 16, "rings": 100, "cells": 16}
    finer = {key: factor[key] * value for key, value in make.FORMS[name]["resolution"].items()}
    mesh, smooth = make.volumes(name, **finer)
    # the tray's corners, 1024 sides, are the coarsest: an inscribed n-gon is short by 2/3 (pi/n)^2 = 6.3e-6;
    # of the profile's chords, a hundred times as many, less than that is left
    assert mesh == pytest.approx(smooth, rel=1e-5)
    assert smooth == pytest.approx(CATALOG[name]["smooth_volume_mm3"], abs=0.06)


@pytest.mark.parametrize("name", NAMES)
def test_making_again_gives_the_same_bytes_and_the_committed_shape(name: str) -> None:
    assert make.filed(name) == make.filed(name)
    mesh = filed(name)
    vertices, faces = made(name)
    again = trimesh.Trimesh(make.as_filed(name, vertices), faces, process=False)
    again.merge_vertices()
    assert len(again.faces) == len(mesh.faces)
    if CATALOG[name]["volume_mm3"]:  # other versions of manifold3d may cut in another order
        assert np.abs(np.sort(again.vertices, axis=0) - np.sort(mesh.vertices, axis=0)).max() < STORED
    assert again.bounds == pytest.approx(mesh.bounds, abs=STORED)
    assert again.volume == pytest.approx(mesh.volume, rel=1e-6)


def test_forms_come_at_any_resolution() -> None:
    for maker in (make.tumbler, make.bud_vase, make.mug):
        small, large = maker(segments=32, rings=24), maker(segments=128, rings=96)
        assert len(large[1]) > 6 * len(small[1])
        for vertices, faces in (small, large):
            assert trimesh.Trimesh(vertices, faces).is_watertight


@pytest.mark.parametrize("name", RELEASED)
def test_the_catalogued_mold_comes_off(name: str) -> None:
    entry, mesh = CATALOG[name], made(name)
    top = float(mesh[0][:, 2].max())
    if entry["family"] == "one-piece":
        assert drops_out(mesh, entry["opening"])
        return
    planes = entry["witness"]["planes_mm"]
    if entry["family"] == "two-piece":
        assert all(line[0] <= planes[0] + FACET and line[-1] >= planes[0] - FACET for line in upright(mesh))
        assert not pair_locked(mesh)
        return
    low = planes[0] if "foot" in entry["family"] else 0.0
    high = planes[-1] if "top" in entry["family"] else top
    assert halves_come_off(mesh, entry["witness"]["azimuth_deg"], low, high)
    for line in upright(mesh):  # the foot piece leaves downward, the top piece upward
        assert (line < low - 1e-9).sum() <= 1
        assert (line > high + 1e-9).sum() <= 1


@pytest.mark.parametrize("name", RELEASED)
def test_no_mold_of_fewer_pieces_comes_off(name: str) -> None:
    entry, mesh = CATALOG[name], made(name)
    top = float(mesh[0][:, 2].max())
    if entry["pieces"] > 1:
        assert not drops_out(mesh, entry["opening"])
    if entry["pieces"] > 2:
        assert pair_locked(mesh)
        assert not any(halves_come_off(mesh, azimuth, 0.0, top) for azimuth in range(0, 180, 30))
    if entry["pieces"] > 3:  # with one end piece the other end still closes its plaster in
        low, high = entry["witness"]["planes_mm"]
        assert not any(halves_come_off(mesh, azimuth, 0.0, high) for azimuth in range(0, 180, 30))
        assert not any(halves_come_off(mesh, azimuth, low, top) for azimuth in range(0, 180, 30))


def test_the_kidney_comes_off_across_its_dent_only() -> None:
    mesh = made("kidney_vase")
    free = {azimuth: halves_come_off(mesh, azimuth, 0.0, 158.0) for azimuth in range(0, 180, 30)}
    assert free == {0: False, 30: False, 60: False, 90: False, 120: True, 150: False}


def test_no_azimuth_frees_three_lugs() -> None:
    mesh = made("three_lug_vase")
    assert pair_locked(mesh)
    assert not any(halves_come_off(mesh, azimuth, 0.0, 156.0) for azimuth in range(0, 180, 10))


@pytest.mark.parametrize(
    "name", [name for name in NAMES if "profile" in make.FORMS[name] and name in make.TURNED]
)
def test_the_depth_of_what_is_locked_follows_from_the_profile(name: str) -> None:
    """Plaster at a height is locked from the wall out to the widest form above and below it."""
    levels = lofts.sampled(make.PROFILES[name], 4000)
    outside = levels[: int(np.argmax(levels[:, 1])) + 1]
    outside = outside[int(np.flatnonzero(outside[:, 1] == 0)[-1]) :]
    radius = outside[:, 0]
    below = np.maximum.accumulate(radius)
    above = np.maximum.accumulate(radius[::-1])[::-1]
    reach = {"pair": (np.minimum(below, above) - radius).max(), "one-way": (below - radius).max()}
    given = {place["pull"]: place for place in CATALOG[name]["locked"]}
    for pull in ("pair", "one-way"):
        if pull in given:
            assert given[pull]["reach_mm"] == pytest.approx(reach[pull], abs=0.05)  # its last digit
    if CATALOG[name]["opening"] == "rim" and "pair" not in given:
        assert reach["pair"] == pytest.approx(0, abs=1e-9)


def test_catalogued_jobs_and_job_files_are_jobs() -> None:
    for name in NAMES:
        assert job_from_dict(CATALOG[name]["job"]) is not None
    files = sorted((SAMPLES / "jobs").glob("*.toml"))
    assert len(files) >= 2
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert "(invented)" in job_from_toml(text).sheet.studio
        assert file.stem in {Path(entry["file"]).stem for entry in CATALOG.values()}


def test_the_catalogue_and_the_folder_hold_the_same_forms() -> None:
    meshes = {file.name for suffix in ("stl", "obj", "ply", "3mf") for file in SAMPLES.glob(f"*.{suffix}")}
    assert meshes == {entry["file"] for entry in CATALOG.values()}
    forms = tomllib.loads((SAMPLES / "forms.toml").read_text(encoding="utf-8"))
    assert set(forms) == set(NAMES)
    assert json.loads(json.dumps({name: make.catalog_entry(name) for name in CATALOG})) == CATALOG
