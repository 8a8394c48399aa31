"""What the screen shows, read back by trimesh: areas by class, places that must not be lost, colours, sizes.

glTF 2.0 Specification and KHR_mesh_quantization of the Khronos Group; colours after IEC 61966-2-1.
"""

from __future__ import annotations

import struct
from functools import cache

import numpy as np
import pytest
import trimesh

from moldprep.geometry.mesh import Mesh
from moldprep.geometry.thinning import thinned
from moldprep.pull import FREE, LOCKED, TIGHT
from moldprep.sheet.views import CLASS_NAMES, MOST_SHOWN, class_view, part_view
from tests.forms import from_trimesh, grooved, tumbler, turned
from tests.glbs import glb_nodes, glb_tree

CELL = np.sqrt(3 * np.pi * (100.5 * 70 + 30**2 + 40**2) / MOST_SHOWN)
"""About how wide the cells are in which the fine tumbler is drawn together, by its area, mm."""


@cache
def fine() -> Mesh:
    """A tumbler of some 420,000 faces of one size."""
    return tumbler(sections=840, rings=250)


def by_height(mesh: Mesh, *bands: tuple[float, float, int]) -> np.ndarray:
    """(m,) FREE, and the class of each band (low, high, class) of heights."""
    kinds = np.full(len(mesh.faces), FREE, np.uint8)
    for low, high, kind in bands:
        kinds[(mesh.centroids[:, 2] > low) & (mesh.centroids[:, 2] < high)] = kind
    return kinds


def test_a_small_form_is_shown_as_it_is() -> None:
    mesh = grooved(sections=48)
    kinds = by_height(mesh, (29, 41, LOCKED), (50, 70, TIGHT))
    shown = glb_nodes(class_view(mesh, kinds))
    step = mesh.extents.max() / 65535
    assert list(shown) == [CLASS_NAMES[kind] for kind in np.unique(kinds)]
    for kind, name in enumerate(CLASS_NAMES):
        if name not in shown:
            continue
        expected = mesh.vertices[mesh.faces[kinds == kind]]
        got = np.asarray(shown[name].vertices)[shown[name].faces]
        # half a step of rounding, and the node's place in single precision
        assert got == pytest.approx(expected, abs=step / 2 + 1e-4)


def test_classes_keep_their_order_and_only_those_that_occur_are_there() -> None:
    mesh = grooved(sections=24)
    kinds = by_height(mesh, (29, 41, LOCKED), (0.5, 29, TIGHT))
    assert list(glb_nodes(class_view(mesh, kinds))) == ["free", "tight", "locked"]
    assert list(glb_nodes(class_view(mesh, by_height(mesh, (29, 41, LOCKED))))) == ["free", "locked"]
    assert list(glb_nodes(class_view(mesh, by_height(mesh)))) == ["free"]
    with pytest.raises(ValueError, match="faces need a class each, not 3"):
        class_view(mesh, np.zeros(3, np.uint8))


def linear(byte: int) -> float:
    """IEC 61966-2-1: sRGB to linear light."""
    value = byte / 255
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def test_class_colours_are_in_linear_light() -> None:
    mesh = grooved(sections=24)
    data = class_view(mesh, by_height(mesh, (29, 41, LOCKED), (0.5, 29, TIGHT)))
    found = {entry["name"]: entry["pbrMetallicRoughness"] for entry in glb_tree(data)["materials"]}
    for name, colour in {"free": "8FB8A4", "tight": "D9A441", "locked": "7B2D5B"}.items():
        expected = [linear(byte) for byte in bytes.fromhex(colour)]
        assert found[name]["baseColorFactor"] == pytest.approx([*expected, 1.0], abs=1e-6)


def test_normals_point_outward_and_bend_only_at_creases() -> None:
    """Of a smooth wall across its facets: radial and a little down; of the level ends: upright."""
    mesh = tumbler(sections=96, rings=4)
    (shown,) = glb_nodes(part_view(mesh, "tumbler", "#808080")).values()
    normals = np.asarray(shown.vertex_normals)
    level = np.abs(normals[:, 2]) > 0.9
    x, y, _ = np.asarray(shown.vertices)[~level].T
    outward = np.column_stack([x, y, np.zeros_like(x)]) / np.hypot(x, y)[:, None]
    slope = np.hypot(1, 0.1)  # the wall gains 10 mm of radius over 100
    expected = (outward - [0, 0, 0.1]) / slope
    assert normals[~level] == pytest.approx(expected, abs=1.5 / 127)  # three bytes to a normal
    upper = np.asarray(shown.vertices)[level][:, 2] > 50
    assert normals[level][:, 2] == pytest.approx(np.where(upper, 1, -1), abs=1 / 127)


def test_a_fine_form_is_thinned_and_its_classes_keep_their_areas() -> None:
    """But for their borders, which move by less than a quarter of a cell; twice the same bytes, and few."""
    mesh = fine()
    assert len(mesh.faces) > 2 * MOST_SHOWN
    bands = ((20, 45, TIGHT), (60, 63, LOCKED))
    kinds = by_height(mesh, *bands)
    data = class_view(mesh, kinds)
    shown = glb_nodes(data)
    count = sum(len(part.faces) for part in shown.values())
    assert count == pytest.approx(MOST_SHOWN, rel=0.1)
    border = {kind: sum(2 * np.pi * (30 + z / 10) for z in ends) for *ends, kind in bands}
    border[FREE] = sum(border.values())
    for kind, name in enumerate(CLASS_NAMES):
        area = mesh.areas[kinds == kind].sum()
        assert shown[name].area == pytest.approx(area, abs=CELL / 4 * border[kind] + 1e-3 * area)
    # 12 bytes a corner, of which a smooth closed mesh has half as many as faces; 3 numbers of 4 a face
    assert len(data) < count * (12 / 2 + 12) * 1.05
    assert data == class_view(mesh, kinds)


def test_each_face_of_a_stand_in_lies_where_the_face_it_was_lies() -> None:
    mesh = fine()
    shown, origin = thinned(mesh, faces=50_000)
    cell = np.sqrt(3 * mesh.area / 50_000)
    away = np.linalg.norm(shown.centroids - mesh.centroids[origin], axis=1)
    assert away.max() < 3 * cell  # every corner stays within a cell's width of its cell
    assert (np.diff(origin) > 0).all()


def test_no_locked_place_is_lost_however_small() -> None:
    """Single faces, a hair-fine ring and a spot, all much smaller than the cells; each keeps half its area."""
    step = 0.01
    rings = [(40.0, z) for z in (39.99, 40.0, 40.01, 40.02)]
    wall = [(40.0, z) for z in np.linspace(0.5, 99.5, 200) if not 39.9 < z < 40.1]
    profile = [
        (0.0, 0.0),
        (40.0, 0.0),
        *sorted([*wall, *rings], key=lambda at: at[1]),
        (40.0, 100.0),
        (0.0, 100.0),
    ]
    mesh = turned(profile, sections=1024)
    ring = np.flatnonzero(np.abs(mesh.centroids[:, 2] - 40.005) < step / 2)
    apart = np.flatnonzero((mesh.centroids[:, 2] > 60) & (mesh.centroids[:, 2] < 90))[
        :: len(mesh.faces) // 97
    ]
    kinds = np.full(len(mesh.faces), FREE, np.uint8)
    kinds[ring] = LOCKED
    kinds[apart] = LOCKED
    assert len(mesh.faces) > 2 * MOST_SHOWN and len(apart) > 20
    shown = glb_nodes(class_view(mesh, kinds))["locked"]
    middles = shown.triangles_center
    area = shown.area_faces
    near = np.abs(middles[:, 2] - 40.005) < CELL
    assert area[near].sum() >= 0.5 * mesh.areas[ring].sum()
    for k in apart:
        here = np.linalg.norm(middles - mesh.centroids[k], axis=1) < CELL
        assert area[here].sum() >= 0.5 * mesh.areas[k]


def test_a_class_of_one_small_face_is_not_lost() -> None:
    mesh = fine()
    kinds = np.full(len(mesh.faces), FREE, np.uint8)
    kinds[len(kinds) // 2] = TIGHT
    assert list(glb_nodes(class_view(mesh, kinds))) == ["free", "tight"]


def test_the_file_says_that_its_places_are_whole_numbers() -> None:
    """KHR_mesh_quantization must be required: a reader that does not know it would show nonsense."""
    data = part_view(from_trimesh(trimesh.creation.box((10, 20, 30))), "box", "#808080")
    found = glb_tree(data)
    assert found["extensionsRequired"] == ["KHR_mesh_quantization"]
    for view in found["bufferViews"]:
        assert view["byteOffset"] % 4 == 0 and view.get("byteStride", 4) % 4 == 0
    assert len(data) % 4 == 0 == struct.unpack("<I", data[8:12])[0] - len(data)
