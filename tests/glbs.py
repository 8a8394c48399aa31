"""Binary glTF read back, by trimesh and as the tree that stands in it."""

from __future__ import annotations

import io
import json
import struct
from typing import Any

import numpy as np
import trimesh


def glb_nodes(data: bytes) -> dict[str, trimesh.Trimesh]:
    """Nodes by name in the file's order, in mm and z up again."""
    scene = trimesh.load_scene(io.BytesIO(data), file_type="glb")
    found = {}
    for name in [node["name"] for node in glb_tree(data)["nodes"]]:
        matrix, geometry = scene.graph[name]
        mesh = scene.geometry[geometry].copy()
        mesh.apply_transform(matrix)
        x, y, z = mesh.vertices.T * 1000
        mesh.vertices = np.column_stack([x, -z, y])
        found[name] = mesh
    return found


def glb_tree(data: bytes) -> dict[str, Any]:
    """The file's JSON chunk."""
    (length,) = struct.unpack("<I", data[12:16])
    return dict(json.loads(data[20 : 20 + length]))
