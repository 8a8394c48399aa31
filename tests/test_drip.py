"""The drip bevel: at the angle asked, half a wall from the form, and steady or said not to be."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from moldprep.files.read import read_master
from moldprep.job import job_from_dict
from moldprep.pieces import MOST_IMBALANCE
from tests.molds import Mold, mold_of
from tests.samples import FOLDER


def bevelled(stem: str, tilt: float) -> Mold:
    job = job_from_dict({"pieces": {"drip_bevel_deg": tilt}, "pull": {"search": False}})
    return mold_of(read_master(FOLDER / f"{stem}.stl", job.form), job)


def flat_of(made: Mold, tilt: float) -> tuple[trimesh.Trimesh, np.ndarray, float]:
    """All plaster as one mesh, and the bevel's normal and offset by its own definition."""
    whole = trimesh.util.concatenate(
        [trimesh.Trimesh(p.mesh.vertices, p.mesh.faces, process=False) for p in made.pieces.pieces]
    )
    layers = made.parting.chosen.layers
    azimuth = np.radians(next((one.azimuth_deg for one in layers if one.kind == "split"), 0.0))
    turn = np.radians(tilt)
    normal = np.array([np.sin(turn) * np.cos(azimuth), np.sin(turn) * np.sin(azimuth), np.cos(turn)])
    return whole, normal, float((made.stand.mesh.vertices @ normal).max() + made.block.wall_mm / 2)


@pytest.mark.parametrize(("stem", "tilt"), [("noodle-bowl", 60.0), ("bud-vase", 75.0)])
def test_a_steady_flat_at_the_angle_asked(stem: str, tilt: float) -> None:
    """Nothing stands out beyond the flat; seen along it, the centre of mass lies inside its hull."""
    made = bevelled(stem, tilt)
    assert made.pieces.findings == () and made.pieces.balance <= MOST_IMBALANCE and made.release.opens
    whole, normal, offset = flat_of(made, tilt)
    assert (whole.vertices @ normal).max() == pytest.approx(offset, abs=1e-6)
    across = trimesh.geometry.plane_transform([0, 0, 0], normal)[:3, :3]
    flat = whole.vertices[np.abs(whole.vertices @ normal - offset) < 1e-6] @ across.T
    centre = across @ whole.center_mass
    hull = shapely.MultiPoint(flat[:, :2]).convex_hull
    assert hull.contains(shapely.Point(centre[:2])) and hull.boundary.distance(shapely.Point(centre[:2])) > 1


def test_one_that_topples_or_is_not_there_says_so() -> None:
    made = bevelled("noodle-bowl", 45.0)
    (topples,) = made.pieces.findings
    assert topples.code == "drip-bevel" and "topples" in topples.says and topples.remedy
    whole, normal, offset = flat_of(made, 45.0)
    across = trimesh.geometry.plane_transform([0, 0, 0], normal)[:3, :3]
    flat = shapely.MultiPoint(
        whole.vertices[np.abs(whole.vertices @ normal - offset) < 1e-6] @ across.T[:, :2]
    )
    away = flat.convex_hull.distance(shapely.Point((across @ whole.center_mass)[:2]))
    assert f"{away:.0f} mm beside the flat" in topples.says
    (outside,) = bevelled("tumbler", 10.0).pieces.findings
    assert "outside the block" in outside.says
