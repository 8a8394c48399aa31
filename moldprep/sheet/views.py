"""What a screen shows in 3D, as binary glTF: the form by its classes, and the parts of the mold.

The files are small enough for a phone: places in 16 bits and normals in 8 (KHR_mesh_quantization), corners
shared, and very fine meshes thinned out. They are in metres and y up like `meshes.glb_bytes`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import starmap

import numpy as np
from numpy.typing import NDArray

from ..errors import Point
from ..geometry.columns.hits import corner_normals
from ..geometry.mesh import Bools, Mesh
from ..geometry.thinning import thinned
from ..planning import Plan
from ..pull import LOCKED
from .apart import drawn_apart
from .meshes import Json, glb_container, gltf_material
from .pictures import CLASS_COLOURS

CLASS_NAMES = ("free", "tight", "locked")
"""Names of the nodes, by class."""
MOST_SHOWN = 200_000
"""Triangles of one view; finer meshes are shown by a stand-in of about so many."""
SMOOTH_DEG = 35.0
"""Neighbouring faces that turn by less are shaded as one surface, as in the sheet's pictures."""
_STEPS = 65_535
"""Of a part's longest side: places are whole numbers of 16 bits."""
_BYTE, _UNSIGNED_SHORT, _UNSIGNED_INT = 5120, 5123, 5125
_ARRAY_BUFFER, _ELEMENT_BUFFER = 34962, 34963


@dataclass(frozen=True)
class ShownPart:
    """One solid of the mold to look at. letter: "" for the master; tint: sRGB "#rrggbb"; apart: the way in mm
    from where it stands in the closed mold to where it is drawn when everything is apart; glb: one node,
    where it stands in the closed mold."""

    letter: str
    name: str
    tint: str
    apart: Point
    glb: bytes = field(repr=False)


def class_view(mesh: Mesh, face_class: NDArray[np.uint8]) -> bytes:
    """The form with one node for each class that occurs, in the order and colours of the classes.

    face_class: (m,) FREE, TIGHT or LOCKED for each face. A mesh of more than `MOST_SHOWN` faces is shown by
    a stand-in whose faces keep the class of the face that they were. Every locked place stays: see
    `thinned`; of another class at least its largest face.
    """
    if len(face_class) != len(mesh.faces):
        raise ValueError(f"{len(mesh.faces)} faces need a class each, not {len(face_class)}")
    shown, origin = thinned(mesh, faces=MOST_SHOWN, held=_held(mesh, face_class))
    kinds = np.asarray(face_class)[origin]
    return _glb(
        shown,
        [
            (name, _hex(CLASS_COLOURS[kind]), kinds == kind)
            for kind, name in enumerate(CLASS_NAMES)
            if (kinds == kind).any()
        ],
    )


def part_views(plan: Plan) -> tuple[ShownPart, ...]:
    """Master and pieces, each thinned out where it is very fine, in the order and tints of the sheet."""
    return tuple(
        ShownPart(
            letter=part.letter,
            name=part.name,
            tint=part.tint,
            apart=(float(part.moved[0]), float(part.moved[1]), float(part.moved[2])),
            glb=part_view(part.mesh, part.name, part.tint),
        )
        for part in drawn_apart(plan)
    )


def part_view(mesh: Mesh, name: str, tint: str) -> bytes:
    """One solid as one node of its name."""
    shown, _ = thinned(mesh, faces=MOST_SHOWN)
    return _glb(shown, [(name, tint, np.ones(len(shown.faces), bool))])


def _held(mesh: Mesh, face_class: NDArray[np.uint8]) -> Bools:
    """(m,) the faces whose places must be seen: all that are locked, and the largest of each other class."""
    held = np.array(face_class == LOCKED, bool)
    for kind in np.unique(face_class):
        own = np.flatnonzero(face_class == kind)
        held[own[mesh.areas[own].argmax()]] = True
    return held


def _glb(mesh: Mesh, nodes: list[tuple[str, str, Bools]]) -> bytes:
    """Nodes of a name, a colour and the mesh's faces (m,) that they show."""
    low = mesh.bounds[0]
    step = float(mesh.extents.max()) / _STEPS
    places = np.round((mesh.vertices - low) / step)[:, [0, 2, 1]]
    # y up: (x, y, z) becomes (x, z, -y), counted up from the form's back
    places[:, 2] = round(float(mesh.extents[1]) / step) - places[:, 2]
    stored = np.clip(places, 0, _STEPS).astype("<u2")
    origin = np.array([low[0], low[2], -low[1] - round(float(mesh.extents[1]) / step) * step])
    every = np.arange(len(mesh.faces), dtype=np.int64)
    normals = corner_normals(mesh.vertices, mesh.faces, every, np.cos(np.radians(SMOOTH_DEG)))
    arrows = np.round(127 * normals[:, :, [0, 2, 1]] * [1, 1, -1]).astype(np.int8)
    tree: Json = {
        "asset": {"version": "2.0", "generator": "moldprep"},
        "extensionsUsed": ["KHR_mesh_quantization"],
        "extensionsRequired": ["KHR_mesh_quantization"],
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": [],
        "meshes": [],
        "materials": list(starmap(gltf_material, ((name, colour, 1.0) for name, colour, _ in nodes))),
        "accessors": [],
        "bufferViews": [],
    }
    chunks: list[bytes] = []
    for number, (name, _, chosen) in enumerate(nodes):
        primitive = _primitive(tree, chunks, stored, mesh.faces[chosen], arrows[chosen])
        tree["meshes"].append({"name": name, "primitives": [{**primitive, "material": number}]})
        stands = {"translation": (origin / 1000).tolist(), "scale": [step / 1000] * 3}
        tree["nodes"].append({"name": name, "mesh": number, **stands})
    tree["buffers"] = [{"byteLength": sum(map(len, chunks))}]
    return glb_container(tree, b"".join(chunks))


def _primitive(
    tree: Json,
    chunks: list[bytes],
    places: NDArray[np.uint16],
    faces: NDArray[np.int32],
    arrows: NDArray[np.int8],
) -> Json:
    """Faces as a list of corners, each place and normal (k, 3, 3) stored once; the accessors are added."""
    x, y, z = np.moveaxis(arrows.astype(np.int64) + 128, -1, 0)
    names = (((faces.astype(np.int64) << 8 | x) << 8 | y) << 8 | z).ravel()
    _, first, corner = np.unique(names, return_index=True, return_inverse=True)
    used = places[faces.ravel()[first]]
    wide = len(first) > 65_535  # the last number of 16 bits means a break
    position = np.zeros((len(first), 4), "<u2")  # rows begin at multiples of four bytes
    position[:, :3] = used
    normal = np.zeros((len(first), 4), np.int8)
    normal[:, :3] = arrows.reshape(-1, 3)[first]
    ends = {"min": used.min(axis=0).tolist(), "max": used.max(axis=0).tolist()}
    corners = corner.astype("<u4" if wide else "<u2")
    found = {
        "POSITION": _accessor(tree, chunks, position, _UNSIGNED_SHORT, ends),
        "NORMAL": _accessor(tree, chunks, normal, _BYTE, {"normalized": True}),
    }
    kind = _UNSIGNED_INT if wide else _UNSIGNED_SHORT
    return {"attributes": found, "indices": _accessor(tree, chunks, corners, kind, {})}


def _accessor(tree: Json, chunks: list[bytes], array: NDArray[np.generic], kind: int, more: Json) -> int:
    """Adds an array: rows of three and a filler for corners, a plain row of numbers for indices."""
    data = array.tobytes()
    rows = array.ndim == 2
    view: Json = {"buffer": 0, "byteOffset": sum(map(len, chunks)), "byteLength": len(data)}
    view |= {"target": _ARRAY_BUFFER, "byteStride": array.strides[0]} if rows else {"target": _ELEMENT_BUFFER}
    tree["accessors"].append(
        {
            "bufferView": len(tree["bufferViews"]),
            "componentType": kind,
            "count": len(array),
            "type": "VEC3" if rows else "SCALAR",
            **more,
        }
    )
    tree["bufferViews"].append(view)
    chunks.append(data + bytes(-len(data) % 4))
    return len(tree["accessors"]) - 1


def _hex(colour: NDArray[np.uint8]) -> str:
    return "#" + bytes(colour.tolist()).hex()
