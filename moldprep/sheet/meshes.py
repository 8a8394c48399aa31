"""Meshes as files."""

from __future__ import annotations

import numpy as np

from ..geometry.mesh import Mesh


def stl_bytes(mesh: Mesh, name: str) -> bytes:
    """Binary STL in mm; the header begins with the name, never with "solid"."""
    triangles = np.zeros(len(mesh.faces), np.dtype([("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")]))
    triangles["n"] = mesh.normals
    triangles["v"] = mesh.vertices[mesh.faces]
    header = f"moldprep {name} (mm)".encode("ascii", "replace")[:80].ljust(80, b" ")
    return header + np.uint32(len(triangles)).tobytes() + triangles.tobytes()
