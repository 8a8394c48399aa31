"""Mesh files read back: by trimesh, and chunk by chunk where the standards say what must stand there.

Core Specification of the 3MF Consortium, version 1.3; glTF 2.0 Specification of the Khronos Group.
"""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh

from moldprep.geometry.mesh import Mesh
from moldprep.sheet.meshes import glb_bytes, threemf_bytes
from tests.forms import from_trimesh, grooved, tumbler

WRITTEN = 0.5e-6
"""mm: 3MF coordinates have six decimals."""
SINGLE = 2.0**-24
"""Relative: half a step of single precision, in which glTF keeps places and normals."""

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
ODD_NAMES = ["foot <&\"> 'A'", "Stück ½ 漢", "]]>&amp;"]


def box() -> Mesh:
    """10 x 20 x 30 mm with its least corner at (1, 2, 3)."""
    made = trimesh.creation.box((10, 20, 30))
    return from_trimesh(made.apply_translation((6, 12, 18)))


def parts() -> dict[str, Mesh]:
    moved = np.eye(4)
    moved[:3, 3] = (-55.5, 1 / 3, 12)
    return {"foot": box(), "left": grooved(sections=24).transformed(moved), "A": tumbler(sections=32)}


# --- 3MF ----------------------------------------------------------------------------------------


def entries(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def model(data: bytes) -> ElementTree.Element:
    return ElementTree.fromstring(entries(data)["3D/3dmodel.model"])


def read_3mf(data: bytes) -> trimesh.Scene:
    return trimesh.load_scene(io.BytesIO(data), file_type="3mf")


def test_3mf_comes_back_with_names_units_sizes_and_volumes() -> None:
    scene = read_3mf(threemf_bytes(parts()))
    assert list(scene.geometry) == list(parts())
    for name, part in parts().items():
        read = scene.geometry[name]
        assert read.units == "millimeter"
        assert len(read.vertices) == len(part.vertices) and read.is_watertight
        assert read.bounds == pytest.approx(part.bounds, abs=WRITTEN)
        assert read.volume == pytest.approx(part.volume, abs=2 * WRITTEN * part.area)
    assert len(scene.graph.nodes_geometry) == len(parts())  # each is built, and once


def test_the_3mf_package_leads_from_its_root_to_the_model() -> None:
    """Sections 2.1 and 2.2 of the core specification, and the Open Packaging Conventions it rests on."""
    package = entries(threemf_bytes(parts()))
    assert next(iter(package)) == "[Content_Types].xml"
    types = {
        entry.get("Extension"): entry.get("ContentType")
        for entry in ElementTree.fromstring(package["[Content_Types].xml"])
    }
    assert types == {
        "rels": "application/vnd.openxmlformats-package.relationships+xml",
        "model": "application/vnd.ms-package.3dmanufacturing-3dmodel+xml",
    }
    (start,) = ElementTree.fromstring(package["_rels/.rels"])
    assert start.get("Type") == "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    assert str(start.get("Target")).removeprefix("/") in package


def test_the_3mf_model_is_made_as_the_core_specification_wants_it() -> None:
    root = model(threemf_bytes(parts(), colours={"A": "#dcd3c2"}))
    assert (root.tag, root.get("unit")) == (f"{CORE}model", "millimeter")
    assert [child.tag for child in root] == [f"{CORE}resources", f"{CORE}build"]
    ids = [resource.get("id") for resource in root[0]]
    assert len(set(ids)) == len(ids) and all(int(str(number)) > 0 for number in ids)
    objects = root[0].findall(f"{CORE}object")
    assert [item.get("objectid") for item in root[1]] == [entry.get("id") for entry in objects]
    for entry, part in zip(objects, parts().values(), strict=True):
        (mesh,) = entry
        assert [child.tag for child in mesh] == [f"{CORE}vertices", f"{CORE}triangles"]
        corners = np.array([[int(corner) for corner in triangle.attrib.values()] for triangle in mesh[1]])
        assert (corners == part.faces).all() and len(mesh[0]) == len(part.vertices)


def test_3mf_colours_belong_to_their_parts() -> None:
    colours = {"A": "#dcd3c2", "foot": "#102030"}
    root = model(threemf_bytes(parts(), colours=colours))
    group, *objects = root[0]
    shown = {
        entry.get("name"): group[int(str(entry.get("pindex")))].get("displaycolor")
        for entry in objects
        if entry.get("pid") == group.get("id")
    }
    assert shown == {"A": "#DCD3C2", "foot": "#102030"}
    assert [base.get("name") for base in group] == ["A", "foot"]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_3mf_names_survive(name: str) -> None:
    data = threemf_bytes({name: box()}, colours={name: "#000000"})
    assert list(read_3mf(data).geometry) == [name]
    group, entry = model(data)[0]
    assert group[0].get("name") == entry.get("name") == name


def test_3mf_names_of_what_xml_cannot_hold_still_make_a_file() -> None:
    (entry,) = model(threemf_bytes({"a\nb\0c\ud800d\uffff": box()}))[0]
    assert entry.get("name") == "a b\ufffdc\ufffdd\ufffd"


def test_3mf_faces_have_three_different_corners() -> None:
    whole = box()
    folded = Mesh(whole.vertices, np.vstack([whole.faces, [[0, 0, 1], [2, 1, 2], [3, 3, 3]]]))
    assert threemf_bytes({"box": folded}) == threemf_bytes({"box": whole})


def test_3mf_has_no_exponents_and_no_minus_zero() -> None:
    corners = np.array([[-0.0, -1e-9, 1e-9], [1234567.125, 0, 0], [0, 1, 0], [0, 0, 1]])
    made = Mesh(corners, np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]))
    vertices = model(threemf_bytes({"sliver": made}))[0][0][0][0]
    assert list(vertices[0].attrib.values()) == ["0.000000"] * 3
    assert vertices[1].get("x") == "1234567.125000"


def test_3mf_bytes_are_the_same_twice_and_in_the_order_given() -> None:
    assert threemf_bytes(parts()) == threemf_bytes(parts())
    turned_round = dict(reversed(parts().items()))
    assert list(read_3mf(threemf_bytes(turned_round)).geometry) == list(turned_round)
    with zipfile.ZipFile(io.BytesIO(threemf_bytes(parts()))) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_3mf_refuses_what_makes_no_sense() -> None:
    with pytest.raises(ValueError, match=r"colours for \['B'\]"):
        threemf_bytes(parts(), colours={"B": "#000000"})
    with pytest.raises(ValueError, match="not 'red'"):
        threemf_bytes(parts(), colours={"A": "red"})
    with pytest.raises(ValueError, match="'gone' has no faces"):
        threemf_bytes({"gone": Mesh(np.zeros((0, 3)), np.zeros((0, 3)))})


# --- binary glTF --------------------------------------------------------------------------------


def coloured() -> dict[str, tuple[Mesh, str, float]]:
    return {
        name: (part, colour, opacity)
        for (name, part), (colour, opacity) in zip(
            parts().items(), [("#dcd3c2", 1.0), ("#102030", 0.35), ("#00ff80", 0.0)], strict=True
        )
    }


def chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    """JSON and BIN of a GLB container, its framing checked (section 4.4 of the specification)."""
    assert struct.unpack_from("<4sII", data) == (b"glTF", 2, len(data))
    length, kind = struct.unpack_from("<I4s", data, 12)
    assert (length % 4, kind) == (0, b"JSON")
    tree = json.loads(data[20 : 20 + length])
    size, kind = struct.unpack_from("<I4s", data, 20 + length)
    assert (size % 4, kind, 28 + length + size) == (0, b"BIN\0", len(data))
    assert tree["buffers"] == [{"byteLength": size}]
    return tree, data[28 + length :]


def arrays(data: bytes, name: str) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """(m, 3, 3) places and normals of a node's corners, as its accessors describe them."""
    tree, binary = chunks(data)
    (node,) = [node for node in tree["nodes"] if node["name"] == name]
    (primitive,) = tree["meshes"][node["mesh"]]["primitives"]
    assert primitive.get("mode", 4) == 4 and "indices" not in primitive
    found = []
    for what in ("POSITION", "NORMAL"):
        accessor = tree["accessors"][primitive["attributes"][what]]
        assert (accessor["componentType"], accessor["type"]) == (5126, "VEC3")
        view = tree["bufferViews"][accessor["bufferView"]]
        assert view["byteLength"] == 12 * accessor["count"]
        array = np.frombuffer(binary, "<f4", 3 * accessor["count"], view["byteOffset"]).reshape(-1, 3)
        if what == "POSITION":  # section 3.6.2.5: least and greatest must be exact
            assert accessor["min"] == array.min(axis=0).tolist()
            assert accessor["max"] == array.max(axis=0).tolist()
        found.append(array.reshape(-1, 3, 3).astype(float))
    return found[0], found[1]


def material(data: bytes, name: str) -> dict[str, Any]:
    tree, _ = chunks(data)
    (node,) = [node for node in tree["nodes"] if node["name"] == name]
    found: dict[str, Any] = tree["materials"][tree["meshes"][node["mesh"]]["primitives"][0]["material"]]
    return found


def test_glb_comes_back_with_names_and_volumes_in_metres() -> None:
    scene = trimesh.load_scene(io.BytesIO(glb_bytes(coloured())), file_type="glb")
    assert list(scene.geometry) == list(parts())
    assert set(scene.graph.nodes_geometry) == set(parts())
    for name, part in parts().items():
        read = scene.geometry[name]
        reach = np.abs(part.bounds).max()
        assert len(read.faces) == len(part.faces)
        assert read.volume * 1e9 == pytest.approx(part.volume, abs=2 * SINGLE * reach * part.area)


def test_glb_stands_with_y_up_and_its_front_along_z() -> None:
    """The box from (1, 2, 3) to (11, 22, 33) mm: x stays, z goes up as y, and y goes away from the eye as -z."""
    scene = trimesh.load_scene(io.BytesIO(glb_bytes({"box": (box(), "#808080", 1.0)})), file_type="glb")
    assert scene.bounds * 1000 == pytest.approx(np.array([[1, 3, -22], [11, 33, -2]]), rel=2 * SINGLE)


@pytest.mark.parametrize("name", list(parts()))
def test_glb_faces_are_flat(name: str) -> None:
    """All three corners carry the unit normal that their order gives by the right-hand rule."""
    places, normals = arrays(glb_bytes(coloured()), name)
    across = np.cross(places[:, 1] - places[:, 0], places[:, 2] - places[:, 0])
    across /= np.linalg.norm(across, axis=1)[:, None]
    assert np.linalg.norm(normals, axis=2) == pytest.approx(1, abs=4 * SINGLE)
    # places are good to SINGLE of 0.1 m and the shortest sides are longer than 5 mm
    assert normals == pytest.approx(np.repeat(across[:, None], 3, axis=1), abs=1e-5)


def linear(byte: int) -> float:
    """IEC 61966-2-1: sRGB to linear light."""
    value = byte / 255
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize("colour", ["#000000", "#ffffff", "#0A0b7f", "#dcd3c2"])
def test_glb_colours_are_linear_and_matt(colour: str) -> None:
    found = material(glb_bytes({"A": (box(), colour, 1.0)}), "A")
    surface = found["pbrMetallicRoughness"]
    expected = [linear(int(colour[k : k + 2], 16)) for k in (1, 3, 5)]
    assert surface["baseColorFactor"] == pytest.approx([*expected, 1.0], abs=1e-6)
    assert (surface["metallicFactor"], surface["roughnessFactor"]) == (0, 1)
    assert found.get("alphaMode", "OPAQUE") == "OPAQUE"


def test_middle_grey_reflects_a_fifth() -> None:
    """#808080 is 0.2159 in linear light (IEC 61966-2-1; calculated by hand)."""
    found = material(glb_bytes({"A": (box(), "#808080", 1.0)}), "A")
    assert found["pbrMetallicRoughness"]["baseColorFactor"][:3] == pytest.approx([0.2159] * 3, abs=5e-5)


def test_glb_parts_that_are_seen_through_are_blended() -> None:
    found = {name: material(glb_bytes(coloured()), name) for name in coloured()}
    for name, (_, _, opacity) in coloured().items():
        assert found[name]["pbrMetallicRoughness"]["baseColorFactor"][3] == opacity
    assert [found[name].get("alphaMode") for name in coloured()] == [None, "BLEND", "BLEND"]


@pytest.mark.parametrize("name", [*ODD_NAMES, "a", "ab", "abc", "a\nb\0c"])
def test_glb_names_survive_and_chunks_stay_aligned(name: str) -> None:
    tree, _ = chunks(glb_bytes({name: (box(), "#808080", 1.0)}))
    assert [entry["name"] for entry in (*tree["nodes"], *tree["meshes"])] == [name, name]


def test_glb_leaves_out_faces_that_have_no_normal() -> None:
    whole = box()
    flat = Mesh(whole.vertices, np.vstack([whole.faces, [[0, 0, 1]]]))
    assert glb_bytes({"A": (flat, "#808080", 1.0)}) == glb_bytes({"A": (whole, "#808080", 1.0)})


def test_glb_bytes_are_the_same_twice_without_a_date() -> None:
    data = glb_bytes(coloured())
    assert data == glb_bytes(coloured())
    assert not re.search(rb"20\d\d-", data[: data.index(b"BIN\0")])


def test_a_glb_without_parts_is_an_empty_scene() -> None:
    scene = trimesh.load_scene(io.BytesIO(glb_bytes({})), file_type="glb")
    assert not scene.geometry


def test_glb_refuses_what_makes_no_sense() -> None:
    with pytest.raises(ValueError, match="opacity of 'A' goes"):
        glb_bytes({"A": (box(), "#808080", 1.5)})
    with pytest.raises(ValueError, match="not '#80808'"):
        glb_bytes({"A": (box(), "#80808", 1.0)})
    with pytest.raises(ValueError, match="'A' has no faces with an area"):
        glb_bytes({"A": (Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]])), "#808080", 1.0)})
