"""Meshes as files: STL for one part, 3MF for parts to print, binary glTF for parts to look at."""

from __future__ import annotations

import io
import json
import re
import struct
import zipfile
from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from ..geometry.mesh import Floats, Mesh

Singles = NDArray[np.float32]
Json = dict[str, Any]

_CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
_RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="model" Target="/3D/3dmodel.model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
_MODEL = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">\n<resources>\n'
)
_FIRST_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can hold
_NOT_IN_XML = re.compile("[^\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_GLTF_FLOAT, _GLTF_ARRAY_BUFFER = 5126, 34962


def stl_bytes(mesh: Mesh, name: str) -> bytes:
    """Binary STL in mm; the header begins with the name, never with "solid".

    Faces whose corners fall together in the format's single precision are left out: a closed mesh
    stays closed.
    """
    corners = mesh.vertices.astype("<f4")[mesh.faces]
    same = [(corners[:, a] == corners[:, b]).all(axis=1) for a, b in ((0, 1), (1, 2), (2, 0))]
    kept = ~np.logical_or.reduce(same)
    triangles = np.zeros(int(kept.sum()), np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")]))
    triangles["n"] = mesh.normals[kept]
    triangles["v"] = corners[kept]
    header = f"moldprep {name} (mm)".encode("ascii", "replace")[:80].ljust(80, b" ")
    return header + np.uint32(len(triangles)).tobytes() + triangles.tobytes()


def threemf_bytes(parts: Mapping[str, Mesh], *, colours: Mapping[str, str] | None = None) -> bytes:
    """3MF (core specification 1.3) in mm: one object of its name for each part, all of them to be built.

    parts: by name, in the order wanted, placed as they stand (no move to the bed); coordinates are
    written to a millionth of a mm and vertices shared as the mesh shares them.
    colours: sRGB "#rrggbb" by the names of parts that have one. In names line
    breaks and tabs come out as spaces, characters that XML cannot hold as U+FFFD. The same parts give the same bytes. Raises ValueError for a part without faces, a
    colour of another form and a colour for no part.
    """
    colours = colours or {}
    if strangers := [name for name in colours if name not in parts]:
        raise ValueError(f"colours for {strangers}, which are not among the parts {list(parts)}")
    text = [_MODEL]
    if colours:
        bases = (
            f'<base name={_attribute(name)} displaycolor="{_hex(colour)}"/>'
            for name, colour in colours.items()
        )
        text += ['<basematerials id="1">', *bases, "</basematerials>\n"]
    for number, (name, mesh) in enumerate(parts.items(), start=2):
        _refuse_empty(name, mesh)
        colour = f' pid="1" pindex="{list(colours).index(name)}"' if name in colours else ""
        text.append(f'<object id="{number}" type="model" name={_attribute(name)}{colour}>\n')
        text.append(_mesh_xml(mesh))
        text.append("</object>\n")
    items = (f'<item objectid="{number}"/>' for number in range(2, len(parts) + 2))
    text += ["</resources>\n<build>", *items, "</build>\n</model>\n"]
    entries = {"[Content_Types].xml": _CONTENT_TYPES, "_rels/.rels": _RELATIONSHIPS}
    return _zipped({**entries, "3D/3dmodel.model": "".join(text)})


def glb_bytes(parts: Mapping[str, tuple[Mesh, str, float]]) -> bytes:
    """Binary glTF 2.0: one node of its name for each part, in metres and y up, flat and matt.

    parts: by name (mesh in mm and z up, sRGB "#rrggbb", opacity 0 to 1). The form's front (-y) looks
    along +z, which is a viewer's own front. The same parts give the same bytes. Raises ValueError for
    a part without an area, a colour of another form and an opacity out of range.
    """
    # Written directly: trimesh's exporter stores a material's colour in bytes, too coarse for dark
    # colours in linear light, and the container is no more than two chunks.
    nodes: list[Json] = []
    meshes: list[Json] = []
    materials: list[Json] = []
    accessors: list[Json] = []
    views: list[Json] = []
    chunks: list[bytes] = []
    for number, (name, (mesh, colour, opacity)) in enumerate(parts.items()):
        for corners, what in zip(_corners(name, mesh), ("POSITION", "NORMAL"), strict=True):
            view = {"buffer": 0, "byteOffset": sum(map(len, chunks)), "byteLength": corners.nbytes}
            array = {"bufferView": len(views), "componentType": _GLTF_FLOAT, "count": len(corners)}
            ends = {"min": corners.min(axis=0).tolist(), "max": corners.max(axis=0).tolist()}
            accessors.append({**array, "type": "VEC3", **(ends if what == "POSITION" else {})})
            views.append({**view, "target": _GLTF_ARRAY_BUFFER})
            chunks.append(corners.tobytes())
        materials.append(gltf_material(name, colour, opacity))
        attributes = {"POSITION": 2 * number, "NORMAL": 2 * number + 1}
        meshes.append({"name": name, "primitives": [{"attributes": attributes, "material": number}]})
        nodes.append({"name": name, "mesh": number})
    tree: Json = {
        "asset": {"version": "2.0", "generator": "moldprep"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))} if nodes else {}],
    }
    if nodes:  # glTF allows no empty list
        tree |= {"nodes": nodes, "meshes": meshes, "materials": materials, "accessors": accessors}
        tree |= {"bufferViews": views, "buffers": [{"byteLength": sum(map(len, chunks))}]}
    return glb_container(tree, b"".join(chunks))


def gltf_material(name: str, colour: str, opacity: float) -> Json:
    """A matt glTF material of an sRGB "#rrggbb", in linear light as the format wants it; ValueError as above."""
    if not 0 <= opacity <= 1:
        raise ValueError(f"the opacity of {name!r} goes from 0 to 1; it is no {opacity:g}")
    value = np.frombuffer(bytes.fromhex(_hex(colour)[1:]), np.uint8) / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    surface = {"baseColorFactor": [*linear.round(6).tolist(), float(opacity)]}
    matt = {"metallicFactor": 0.0, "roughnessFactor": 1.0}
    blended = {"alphaMode": "BLEND"} if opacity < 1 else {}
    return {"name": name, "pbrMetallicRoughness": {**surface, **matt}, **blended}


def glb_container(tree: Json, data: bytes) -> bytes:
    """The GLB container: header, the tree as JSON padded with spaces, the data as BIN (in whole words of four)."""
    text = json.dumps(tree, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    if data:
        chunks += struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def _mesh_xml(mesh: Mesh) -> str:
    """<mesh> of a 3MF object; one % over a repeated line takes half the time of a line at a time."""
    points = np.round(mesh.vertices, 6) + 0.0  # adding zero turns -0 into 0
    faces = mesh.faces
    # the specification wants three different corners; a face with fewer bounds nothing
    faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    vertices = '<vertex x="%.6f" y="%.6f" z="%.6f"/>\n' * len(points) % tuple(points.ravel().tolist())
    triangles = '<triangle v1="%d" v2="%d" v3="%d"/>\n' * len(faces) % tuple(faces.ravel().tolist())
    return f"<mesh><vertices>\n{vertices}</vertices><triangles>\n{triangles}</triangles></mesh>\n"


def _zipped(entries: Mapping[str, str]) -> bytes:
    """A zip whose bytes depend on nothing but its entries."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name, text in entries.items():
            entry = zipfile.ZipInfo(name, date_time=_FIRST_DATE)
            entry.create_system = 3  # else the system that it was written on
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, text, compresslevel=3)
    return made.getvalue()


def _attribute(name: str) -> str:
    """The name as an XML attribute's value, quotation marks included.

    Line breaks and tabs become spaces: numeric references, which would keep them, stop some readers.
    """
    words = _NOT_IN_XML.sub("\ufffd", re.sub("[\t\n\r]", " ", name))
    return '"' + escape(words, {'"': "&quot;"}) + '"'


def _corners(name: str, mesh: Mesh) -> tuple[Singles, Singles]:
    """(3 m, 3) little-endian float32 places in metres and normals of all faces' corners, y up."""
    _refuse_empty(name, mesh)
    solid = mesh.areas > 0  # a face without area has no normal, and cannot be seen
    places = mesh.vertices[mesh.faces[solid]].reshape(-1, 3) / 1000
    normals = np.repeat(mesh.normals[solid], 3, axis=0)
    return _y_up(places), _y_up(normals)


def _y_up(arrows: Floats) -> Singles:
    """(x, y, z) with z up as (x, z, -y), without -0."""
    return np.asarray(arrows[:, [0, 2, 1]] * [1, 1, -1] + 0.0, dtype="<f4")


def _hex(colour: str) -> str:
    if not re.fullmatch("#[0-9A-Fa-f]{6}", colour):
        raise ValueError(f'a colour is "#rrggbb", not {colour!r}')
    return colour.upper()


def _refuse_empty(name: str, mesh: Mesh) -> None:
    if not mesh.areas.any():
        raise ValueError(f"the part {name!r} has no faces with an area")
