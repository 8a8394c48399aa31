"""Columns against other ways to find the same crossings, volumes and shadows."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from moldprep.geometry.columns import (
    Columns,
    Defects,
    Frame,
    cast,
    defects,
    exact_face_projection,
    frame_for,
    gap_mm3,
    gaps_by_column,
    one_way_mm3,
    projected_area,
    rotation_for,
    solid_intervals,
    solid_mm3,
)
from moldprep.geometry.columns.raster import LEAST_BITS
from moldprep.geometry.mesh import Mesh
from tests.forms import disc_on_stem, from_trimesh, grooved, tumbler, turned

UP = (0.0, 0.0, 1.0)
NONE = Defects(odd=0, unbalanced=0, not_alternating=0)


def torus() -> Mesh:
    return from_trimesh(trimesh.creation.torus(20, 7, major_sections=48, minor_sections=24))


def knobbly(subdivisions: int = 3) -> Mesh:
    """A free form with undercuts in every direction."""
    ball = trimesh.creation.icosphere(subdivisions)
    x, y, z = ball.vertices.T
    radius = 30 * (1 + 0.3 * np.sin(3 * x + 1) * np.cos(4 * y) + 0.1 * np.sin(7 * z))
    return Mesh(np.array(ball.vertices) * radius[:, None], np.array(ball.faces))


def turned_over(mesh: Mesh, seed: int) -> Mesh:
    return mesh.transformed(
        trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))
    )


def directions(count: int, seed: int = 1) -> list[np.ndarray]:
    return list(np.random.default_rng(seed).normal(size=(count, 3)))


CLOSED = {
    "box": from_trimesh(trimesh.creation.box((10, 20, 30))),
    "torus": torus(),
    "knobbly": knobbly(),
    "tumbler": tumbler(),
    "slivers": turned([(0, 0), (40, 0), (40, 1e-3), (39.999, 80), (0, 80)], sections=2048),
    "needle": from_trimesh(trimesh.creation.cone(0.01, 100, sections=3)),
    "far from the origin": tumbler().transformed(
        trimesh.transformations.translation_matrix((1e5, -3e4, 2e4))
    ),
}


@pytest.mark.parametrize("name", CLOSED)
@pytest.mark.parametrize("direction", [UP, (1, 0, 0), (1, 1, 0), *directions(4)], ids=str)
def test_columns_of_a_closed_mesh_alternate_and_sum_to_zero(name: str, direction: np.ndarray) -> None:
    for lines in (7, 64, 301):
        assert defects(cast(CLOSED[name], frame_for(CLOSED[name], direction, lines=lines))) == NONE


def test_vertices_and_edges_on_the_lines_belong_to_exactly_one_side() -> None:
    """A box of whole millimetres on columns a millimetre apart: every edge runs through columns."""
    box = from_trimesh(trimesh.creation.box((10, 20, 30)))
    for axis in range(3):
        rotation = np.roll(np.eye(3), axis, axis=0)
        frame = Frame(rotation, np.full(2, -20.0), 1.0, (41, 41))
        columns = cast(box, frame)
        across = rotation @ box.extents
        assert defects(columns) == NONE
        assert np.count_nonzero(np.diff(columns.start)) == round(across[0] * across[1])
        assert solid_mm3(solid_intervals(columns)) == pytest.approx(box.volume, rel=1e-12)


def test_a_grid_of_facets_on_the_lines_is_tiled_without_gap_or_overlap() -> None:
    """A relief whose every vertex stands on a column, over a flat base."""
    rng = np.random.default_rng(4)
    n = 12
    u, v = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    top = np.column_stack([u.ravel(), v.ravel(), rng.uniform(1, 5, n * n)])
    base = top * (1, 1, 0)
    a = (u[:-1, :-1] * n + v[:-1, :-1]).ravel()
    up = np.concatenate([np.column_stack([a, a + n, a + n + 1]), np.column_stack([a, a + n + 1, a + 1])])
    columns = cast(
        Mesh(np.concatenate([top, base]), np.concatenate([up, up[:, ::-1] + n * n])),
        Frame(np.eye(3), np.array([-1.0, -1.0]), 1.0, (n + 2, n + 2)),
    )
    assert defects(columns) == NONE  # the walls are upright: no column meets them
    counts = np.diff(columns.start).reshape(n + 2, n + 2)
    assert np.count_nonzero(counts) == (n - 1) ** 2
    assert set(np.unique(counts)) == {0, 2}


def test_a_missing_face_and_a_face_turned_over_show_as_defects() -> None:
    faces = tumbler().faces
    hole = Mesh(tumbler().vertices, faces[1:])
    assert defects(cast(hole, frame_for(hole, (0.3, 0.2, 1), lines=200))).odd > 0
    flipped = Mesh(tumbler().vertices, np.concatenate([faces[:1, ::-1], faces[1:]]))
    found = defects(cast(flipped, frame_for(flipped, (0.3, 0.2, 1), lines=200)))
    assert found.odd == 0
    assert found.unbalanced > 0


@pytest.mark.parametrize("name", ["box", "torus", "knobbly"])
def test_crossings_are_those_of_every_triangle_met_one_by_one(name: str) -> None:
    mesh = turned_over(CLOSED[name], 5)
    frame = frame_for(mesh, (0.2, -0.5, 1), lines=23)
    columns = cast(mesh, frame)
    local = frame.local(mesh.vertices)[mesh.faces]
    for column in range(0, frame.count, 7):
        depth, face = brute_force(local, frame.centres(np.array([column]))[0])
        mine = slice(columns.start[column], columns.start[column + 1])
        assert sorted(columns.face[mine]) == sorted(face)
        np.testing.assert_allclose(columns.depth[mine], depth, atol=1e-4)  # snapped to 1e-6 of a pitch
        inward = np.where(mesh.normals[columns.face[mine]] @ frame.direction < 0, 1, -1)
        np.testing.assert_array_equal(columns.sign[mine], inward)


def brute_force(local: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Depths and faces of an upright line through (m, 3, 3) local triangles, by barycentric weights."""
    a, b, c = local[:, 0, :2] - at, local[:, 1, :2] - at, local[:, 2, :2] - at
    weight = np.stack([np.linalg.det(np.stack(pair, axis=1)) for pair in ((b, c), (c, a), (a, b))], axis=1)
    total = weight.sum(axis=1)
    hit = np.flatnonzero(np.all(weight * np.sign(total)[:, None] > 0, axis=1))
    depth = (weight[hit] * local[hit, :, 2]).sum(axis=1) / total[hit]
    order = np.argsort(depth)
    return depth[order], hit[order]


def test_crossings_are_those_that_embree_finds() -> None:
    pytest.importorskip(
        "embreex", reason="Embree has no wheel for this processor; brute force is tested above"
    )
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    mesh = knobbly()
    frame = frame_for(mesh, (0.4, 0.1, 1), lines=40)
    columns = cast(mesh, frame)
    below = np.column_stack([frame.centres(), np.full(frame.count, columns.bottom - 1)])
    # Embree works in single precision and its multi-hit mode steps on by a small offset
    rays = RayMeshIntersector(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False))
    face, column = rays.intersects_id(
        frame.world(below), np.tile(frame.direction, (frame.count, 1)), multiple_hits=True
    )
    theirs = {(int(c), int(f)) for c, f in zip(column, face, strict=True)}
    mine = set(zip(columns.column.tolist(), columns.face.tolist(), strict=True))
    assert len(mine ^ theirs) <= 2e-3 * len(mine)  # lines that graze an edge to 1e-5 mm


@pytest.mark.parametrize("name", ["box", "torus", "knobbly", "tumbler"])
def test_the_shadow_is_shapelys_union_of_the_projected_triangles(name: str) -> None:
    mesh = CLOSED[name]
    for direction in directions(3, seed=7):
        frame = frame_for(mesh, direction, lines=400, up=(1, 2, 3))  # no edge runs along the grid
        flat = frame.local(mesh.vertices)[mesh.faces][:, :, :2]
        shadow = shapely.union_all(shapely.buffer(shapely.polygons(flat), 0)).area
        # along an outline of n pitches the errors, each below a pitch squared, cancel but for sqrt(n)
        outline = 3 * np.linalg.norm(mesh.extents) / frame.pitch
        assert projected_area(cast(mesh, frame)) == pytest.approx(
            shadow, abs=frame.pitch**2 * np.sqrt(outline)
        )


def test_twice_the_shadow_is_the_sum_of_the_faces_shadows_on_a_convex_form_only() -> None:
    direction = np.array((0.3, 0.5, 0.8))
    box = CLOSED["box"]
    normal = direction / np.linalg.norm(direction)
    faces = np.array([20 * 30, 10 * 30, 10 * 20])
    assert exact_face_projection(box, direction) == pytest.approx(faces @ np.abs(normal), rel=1e-12)
    for mesh in (torus(), knobbly()):
        shadow = projected_area(cast(mesh, frame_for(mesh, (1, 0, 0.1), lines=400)))
        assert exact_face_projection(mesh, np.array((1, 0, 0.1))) > shadow * 1.02


@pytest.mark.parametrize("name", ["box", "torus", "knobbly", "tumbler"])
def test_solid_volume_is_the_mesh_volume_from_any_side(name: str) -> None:
    mesh = CLOSED[name]
    for direction in directions(3, seed=3):
        solid = solid_intervals(cast(mesh, frame_for(mesh, direction, lines=300)))
        assert solid_mm3(solid) == pytest.approx(mesh.volume, rel=5e-4)


def test_overlapping_bodies_are_united_as_manifold3d_unites_them() -> None:
    balls = [trimesh.creation.icosphere(4, radius=20).apply_translation((x, 0, 0)) for x in (0, 15, 25)]
    mesh = from_trimesh(trimesh.util.concatenate(balls))
    union = manifold3d.Manifold.batch_boolean(
        [
            manifold3d.Manifold(
                manifold3d.Mesh(np.array(ball.vertices, np.float32), np.array(ball.faces, np.uint32))
            )
            for ball in balls
        ],
        manifold3d.OpType.Add,
    )
    for direction in (UP, (1, 0, 0), (1, 1, 1)):
        columns = cast(mesh, frame_for(mesh, direction, lines=300))
        assert defects(columns).unbalanced == 0
        assert defects(columns).not_alternating > 0
        assert solid_mm3(solid_intervals(columns)) == pytest.approx(union.volume(), rel=5e-4)


def test_solids_that_touch_are_one_stretch() -> None:
    boxes = [trimesh.creation.box((10, 10, 10)).apply_translation((0, 0, z)) for z in (5, 15, 40)]
    mesh = from_trimesh(trimesh.util.concatenate(boxes))
    for faces in (mesh.faces, mesh.faces[::-1]):
        columns = cast(Mesh(mesh.vertices, faces), frame_for(mesh, UP, lines=8))
        # at one depth entering comes first, whichever face is met first
        np.testing.assert_array_equal(columns.sign.reshape(-1, 6)[0], [1, 1, -1, -1, 1, -1])
        np.testing.assert_allclose(columns.depth.reshape(-1, 6)[0], [0, 10, 10, 20, 35, 45])
    solid = solid_intervals(columns)
    met = np.diff(solid.start)
    assert set(met.tolist()) == {0, 2}
    np.testing.assert_allclose(solid.low.reshape(-1, 2), [[0, 35]] * (len(solid.low) // 2))
    np.testing.assert_allclose(solid.high.reshape(-1, 2), [[20, 45]] * (len(solid.low) // 2))
    assert gap_mm3(solid) == pytest.approx(10 * 10 * 15)


def test_the_faces_of_a_stretch_bound_it() -> None:
    mesh = knobbly()
    solid = solid_intervals(cast(mesh, frame_for(mesh, UP, lines=60)))
    assert (mesh.normals[solid.face_low, 2] < 0).all()
    assert (mesh.normals[solid.face_high, 2] > 0).all()
    assert (solid.high > solid.low).all()
    between = np.flatnonzero(solid.column[1:] == solid.column[:-1])
    assert (solid.low[between + 1] > solid.high[between]).all()


def ring(outer: float, inner: float) -> float:
    """Area between the inscribed polygons of 256 sides of two circles."""
    return 256 / 2 * np.sin(2 * np.pi / 256) * (outer**2 - inner**2)


def test_a_groove_locks_its_own_volume_both_ways() -> None:
    solid = solid_intervals(cast(grooved(), frame_for(grooved(), UP, lines=500)))
    assert gap_mm3(solid) == pytest.approx(10 * ring(40, 34), rel=2e-3)
    assert gap_mm3(solid) == pytest.approx(gaps_by_column(solid).sum() * solid.frame.pitch**2)
    for way in (1, -1):  # nothing else is in the way
        assert one_way_mm3(solid, master_leaves=way) == pytest.approx(gap_mm3(solid), rel=1e-12)


@pytest.mark.parametrize("name", ["box", "tumbler"])
def test_a_convex_form_has_no_gap_in_any_direction(name: str) -> None:
    for direction in directions(5):
        assert (
            gap_mm3(solid_intervals(cast(CLOSED[name], frame_for(CLOSED[name], direction, lines=100)))) == 0
        )


def test_a_tumbler_leaves_by_its_wide_end_and_locks_its_whole_taper_the_other_way() -> None:
    """The form widens upward: drawn up (1) it is free; drawn down (-1) the plaster round its foot is struck."""
    solid = solid_intervals(cast(tumbler(), frame_for(tumbler(), UP, lines=500)))
    assert one_way_mm3(solid, master_leaves=1) == pytest.approx(0, abs=1e-6 * tumbler().volume)
    struck = 100 * ring(40, 0) - tumbler().volume
    assert one_way_mm3(solid, master_leaves=-1) == pytest.approx(struck, rel=5e-3)
    upside_down = solid_intervals(cast(tumbler(), frame_for(tumbler(), (0, 0, -1), lines=500)))
    assert one_way_mm3(upside_down, master_leaves=1) == pytest.approx(struck, rel=5e-3)
    with pytest.raises(ValueError, match="master_leaves"):
        one_way_mm3(solid, master_leaves=0)  # type: ignore[arg-type]


def test_a_disc_on_its_stem_locks_what_lies_under_the_disc_only_when_drawn_down() -> None:
    solid = solid_intervals(cast(disc_on_stem(), frame_for(disc_on_stem(), UP, lines=500)))
    assert one_way_mm3(solid, master_leaves=1) == pytest.approx(0, abs=1e-9)
    assert one_way_mm3(solid, master_leaves=-1) == pytest.approx(50 * ring(50, 25), rel=3e-3)


@settings(max_examples=12, deadline=None)
@given(scale=st.floats(0.01, 100), seed=st.integers(0, 1000))
def test_scaling_the_form_scales_volumes_by_the_cube_and_shadows_by_the_square(
    scale: float, seed: int
) -> None:
    mesh, direction = knobbly(2), directions(1, seed)[0]
    grown = mesh.transformed(np.diag([scale, scale, scale, 1.0]))
    one, two = (cast(form, frame_for(form, direction, lines=50)) for form in (mesh, grown))
    assert projected_area(two) == pytest.approx(scale**2 * projected_area(one), rel=1e-3)
    assert gap_mm3(solid_intervals(two)) == pytest.approx(scale**3 * gap_mm3(solid_intervals(one)), rel=1e-2)


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 1000))
def test_turning_form_and_columns_together_changes_nothing(seed: int) -> None:
    mesh = knobbly(2)
    matrix = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))
    frame = frame_for(mesh, directions(1, seed)[0], lines=50)
    moved = Frame(frame.rotation @ matrix[:3, :3].T, frame.origin, frame.pitch, frame.shape)
    one, two = cast(mesh, frame), cast(mesh.transformed(matrix), moved)
    # a column that grazes an edge may fall to the other side by rounding
    assert np.count_nonzero(np.diff(one.start) != np.diff(two.start)) <= 2
    assert solid_mm3(solid_intervals(two)) == pytest.approx(solid_mm3(solid_intervals(one)), rel=1e-3)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 1000))
def test_the_order_of_faces_and_finer_faces_change_no_total(seed: int) -> None:
    mesh = knobbly(2)
    shuffled = Mesh(mesh.vertices, np.random.default_rng(seed).permutation(mesh.faces))
    finer = Mesh(*trimesh.remesh.subdivide(mesh.vertices, mesh.faces))
    frame = frame_for(mesh, directions(1, seed)[0], lines=60)
    one = solid_intervals(cast(mesh, frame))
    for form in (shuffled, finer):
        two = solid_intervals(cast(form, frame))
        assert solid_mm3(two) == pytest.approx(solid_mm3(one), rel=1e-6)
        assert gap_mm3(two) == pytest.approx(gap_mm3(one), rel=1e-4)


def test_a_shifted_grid_is_another_sample_of_the_same_volume() -> None:
    mesh = knobbly()
    plain, shifted = (frame_for(mesh, UP, lines=150, shift=shift) for shift in ((0, 0), (0.4, -0.3)))
    np.testing.assert_allclose(shifted.origin - plain.origin, np.array((0.4, -0.3)) * plain.pitch)
    volumes = [solid_mm3(solid_intervals(cast(mesh, frame))) for frame in (plain, shifted)]
    assert volumes[0] != volumes[1]
    assert volumes[1] == pytest.approx(mesh.volume, rel=1e-3)


def test_a_window_shows_the_same_surface_as_the_whole() -> None:
    mesh = knobbly()
    window = frame_for(mesh, (0.1, 0.2, 1), pitch=0.05, window=(-3, 2, 1, 4))
    assert window.shape == (100, 60)
    np.testing.assert_allclose(window.centres()[[0, -1]], [[-2.975, 1.025], [1.975, 3.975]])
    columns = cast(mesh, window)
    whole = cast(mesh, frame_for(mesh, (0.1, 0.2, 1), lines=10))
    assert (columns.bottom, columns.top) == (whole.bottom, whole.top)
    np.testing.assert_array_equal(np.diff(columns.start), 2)
    local = window.local(mesh.vertices)[mesh.faces]
    depth, _ = brute_force(local, window.centres(np.array([1234]))[0])
    np.testing.assert_allclose(columns.depth[2 * 1234 : 2 * 1234 + 2], depth, atol=1e-5)


def test_hundreds_of_crossings_in_one_column_are_sorted() -> None:
    plates = [trimesh.creation.box((10, 10, 0.4)).apply_translation((0, 0, z)) for z in range(200)]
    mesh = from_trimesh(trimesh.util.concatenate(plates[::-1]))
    columns = cast(mesh, frame_for(mesh, UP, lines=4))
    assert defects(columns) == NONE
    deepest = columns.depth[columns.start[7] : columns.start[8]]
    np.testing.assert_allclose(deepest, np.repeat(np.arange(200), 2) + np.tile((-0.2, 0.2), 200))


def test_a_frame_is_right_handed_with_its_third_axis_along_the_columns() -> None:
    for direction in (UP, (0, 0, -1), (1, 0, 0), (0, -1, 0), *directions(10)):
        rotation = rotation_for(direction)
        np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-14)
        assert np.linalg.det(rotation) == pytest.approx(1)
        np.testing.assert_allclose(rotation[2], np.array(direction) / np.linalg.norm(direction))
    np.testing.assert_array_equal(rotation_for(UP), np.eye(3))
    np.testing.assert_array_equal(rotation_for((1, 0, 0), up=UP)[1], UP)
    assert rotation_for((1, 1, 0.5), up=(1, 0, 0))[1] @ np.array((1.0, 0, 0)) > 0


def test_places_go_to_the_frame_and_back() -> None:
    frame = frame_for(knobbly(), (1, 2, 3), lines=20)
    points = np.random.default_rng(0).normal(size=(5, 3))
    np.testing.assert_allclose(frame.world(frame.local(points)), points)
    flat = np.array([0, 5, frame.count - 1])
    centres = np.column_stack([frame.centres(flat), np.zeros(3)])
    np.testing.assert_array_equal(frame.nearest(frame.world(centres)), flat)
    assert frame.nearest(frame.world(centres[:1] - frame.pitch))[0] == -1


def test_a_frame_covers_the_form_with_a_margin() -> None:
    for lines in (1, 9, 100):
        columns = cast(knobbly(), frame_for(knobbly(), UP, lines=lines, shift=(0.5, -0.5)))
        met = np.diff(columns.start).reshape(columns.frame.shape)
        assert not met[[0, -1]].any()
        assert not met[:, [0, -1]].any()
        assert max(met.shape) == lines + 2


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        ({}, "exactly one"),
        ({"pitch": 1.0, "lines": 5}, "exactly one"),
        ({"pitch": -1.0}, "positive"),
        ({"lines": 10, "shift": (2.0, 0.0)}, "shift"),
        ({"pitch": 1.0, "window": (5.0, 1.0, 0.0, 1.0)}, "nothing to cover"),
        ({"pitch": 1e-3}, "coarser pitch"),
    ],
)
def test_an_impossible_frame_is_refused(options: dict[str, object], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        frame_for(tumbler(), UP, **options)  # type: ignore[arg-type]


def test_a_direction_without_length_and_a_mesh_without_faces_are_refused() -> None:
    with pytest.raises(ValueError, match="direction"):
        frame_for(tumbler(), (0, 0, 0), lines=5)
    with pytest.raises(ValueError, match="without faces"):
        frame_for(Mesh(np.zeros((3, 3)), np.zeros((0, 3), int)), UP, lines=5)


def test_a_pitch_too_fine_for_whole_numbers_is_refused() -> None:
    fine = 80 / 2.0 ** (31 - LEAST_BITS)
    with pytest.raises(ValueError, match="too fine"):
        cast(tumbler(), frame_for(tumbler(), UP, pitch=fine, window=(0, 4 * fine, 0, 4 * fine)))


def test_results_cannot_be_changed() -> None:
    columns: Columns = cast(tumbler(), frame_for(tumbler(), UP, lines=5))
    for array in (columns.depth, columns.start, solid_intervals(columns).low, columns.frame.rotation):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1
