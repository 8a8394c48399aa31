"""A solid shared among patches of its surface: slabs, rings, balls and fins by formula."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.mesh import Bools, Floats, Mesh
from moldprep.geometry.sharing import Patches, filling, joined, patches_of, shared_depth
from moldprep.geometry.solids import difference, from_manifold, to_manifold
from tests.forms import from_trimesh, turned

SIZE, SPREAD, FAR = 3.0, 6.0, 200.0
POINTS = 200_000
THREE_PERCENT = 0.03


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    return from_trimesh(trimesh.creation.box(bounds=[low, high]))


def less(mesh: Mesh, cutter: Mesh) -> Mesh:
    return from_manifold(difference(to_manifold(mesh), to_manifold(cutter)))


def shared(mesh: Mesh, chosen: Bools, *, reach: float = FAR) -> tuple[Patches, Floats]:
    patches = patches_of(mesh, chosen, size=SIZE)
    points, volume = filling(mesh, pitch=float(np.cbrt(mesh.volume / POINTS)))
    return patches, shared_depth(patches, points, volume, reach=reach, spread=SPREAD)


@pytest.mark.parametrize("thick", [5.0, 20.0])
def test_a_slab_lies_behind_its_face_by_its_thickness(thick: float) -> None:
    slab = box((0, 0, 0), (100, 90, thick))
    patches, depth = shared(slab, slab.normals[:, 2] > 0.9)
    assert depth @ patches.area == pytest.approx(slab.volume, rel=THREE_PERCENT)
    assert np.median(depth) == pytest.approx(thick, rel=THREE_PERCENT)
    assert np.abs(depth - thick).max() < 0.25 * thick


def test_two_faces_of_a_fin_have_half_of_it_each() -> None:
    fin = box((0, 0, 0), (8, 100, 100))
    _, depth = shared(fin, np.abs(fin.normals[:, 0]) > 0.9)
    assert np.median(depth) == pytest.approx(4, rel=THREE_PERCENT)


def test_a_ball_holds_a_third_of_its_radius() -> None:
    ball = from_trimesh(trimesh.creation.icosphere(subdivisions=5, radius=30))
    _, depth = shared(ball, np.ones(len(ball.faces), bool))
    assert np.median(depth) == pytest.approx(10, rel=THREE_PERCENT)


def test_a_ring_round_a_hole_holds_more_than_its_thickness() -> None:
    """(2 R t + t^2)/2 R."""
    ring = less(
        turned([(0, 0), (70, 0), (70, 100), (0, 100)]), turned([(0, -1), (40, -1), (40, 101), (0, 101)])
    )
    inner = (np.hypot(*ring.vertices[:, :2].T) < 41)[ring.faces].all(axis=1) & (
        np.abs(ring.normals[:, 2]) < 0.5
    )
    _, depth = shared(ring, inner)
    assert np.median(depth) == pytest.approx((2 * 40 * 30 + 30**2) / 80, rel=THREE_PERCENT)


def test_the_slab_under_a_shallow_recess_is_not_lost_to_its_rim() -> None:
    """A boss 3 mm high on a slab of 40: a way down is hardly longer from its middle than from the ledge round it."""
    boss = turned([(0, 0), (60, 0), (60, 40), (18, 40), (18, 43), (0, 43)])
    patches, depth = shared(boss, boss.normals[:, 2] > 0.9, reach=40)
    inner = np.hypot(*patches.middle[:, :2].T) < 12
    assert (depth[inner] > 20).all() and (depth[inner] < 45).all()


def test_what_is_out_of_reach_goes_to_no_patch() -> None:
    slab = box((0, 0, 0), (100, 90, 60))
    _, depth = shared(slab, slab.normals[:, 2] > 0.9, reach=25)
    assert np.median(depth) == pytest.approx(25, rel=THREE_PERCENT)


@pytest.mark.parametrize("rounds", [0, 2, 5])
def test_patches_have_the_faces_area_however_finely_it_is_cut(rounds: int) -> None:
    cube = trimesh.creation.box(extents=(40, 40, 40))
    for _ in range(rounds):
        cube = cube.subdivide()
    mesh = from_trimesh(cube)
    chosen = mesh.normals[:, 0] > 0.9
    patches = patches_of(mesh, chosen, size=SIZE)
    assert patches.area.sum() == pytest.approx(1600)
    assert set(patches.face.tolist()) == set(np.flatnonzero(chosen).tolist())
    assert 0.5 * (40 / SIZE) ** 2 < len(patches.area) < 2 * (40 / SIZE + 1) ** 2
    assert np.ptp(patches.middle[:, 1]) > 40 - 2 * SIZE


def test_slivers_of_a_fan_are_met_all_along() -> None:
    disc = turned([(0, 0), (30, 0), (30, 5), (0, 5)], sections=1000)
    _, depth = shared(disc, disc.normals[:, 2] > 0.9)
    assert np.median(depth) == pytest.approx(5, rel=THREE_PERCENT)
    assert np.abs(depth - 5).max() < 1.25


def test_two_sides_of_a_thin_wall_are_never_one_patch() -> None:
    plate = box((0, 0, 0), (0.5, 50, 50))
    patches = patches_of(plate, np.abs(plate.normals[:, 0]) > 0.9, size=SIZE)
    assert np.abs(patches.normal[:, 0]) == pytest.approx(1)


def test_points_fill_a_solid_to_its_volume_and_lie_within() -> None:
    torus = from_trimesh(
        trimesh.creation.torus(major_radius=40, minor_radius=10, major_sections=128, minor_sections=64)
    )
    points, volume = filling(torus, pitch=1.0)
    assert volume.sum() == pytest.approx(torus.volume, rel=1e-3)
    assert (np.hypot(np.hypot(points[:, 0], points[:, 1]) - 40, points[:, 2]) < 10).all()


def test_joined_patches_keep_their_faces_patches() -> None:
    plate = box((0, 0, 0), (10, 10, 10))
    one, other = (patches_of(plate, plate.normals[:, k] > 0.9, size=SIZE) for k in (0, 1))
    both = joined([one, other])
    assert len(both.area) == len(one.area) + len(other.area)
    assert both.normal[both.patch[len(one.face) :], 1] == pytest.approx(1)
