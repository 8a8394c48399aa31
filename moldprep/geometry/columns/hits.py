"""The nearest surface to a viewer, and its normals: what the pictures are made of."""

from __future__ import annotations

import numba
import numpy as np

from ..mesh import Bools, Floats, Ints, Mesh
from .frame import Frame
from .raster import depth_at, edge_functions, row_span, snap, sub_pitch_bits


def first_hits(mesh: Mesh, frame: Frame, plane: Floats | None = None) -> tuple[Floats, Ints, Bools]:
    """The highest crossing of each column: what a viewer who looks along -d sees.

    `plane` (3,): crossings above the plane depth = p0 + p1 u + p2 v are passed over. Returns
    (nu, nv) arrays: depth (local d, -inf where the column misses), face (int32, -1 where it misses
    or meets cut solid), and cut: whether the plane lies inside the solid there (then the depth is
    the plane's). Needs far less memory than all crossings.
    """
    bits = sub_pitch_bits(mesh, frame)
    across, depth = snap(mesh.vertices, frame.rotation, frame.origin, (1 << bits) / frame.pitch)
    limit = np.full(frame.shape, np.inf)
    if plane is not None:
        u, v = (frame.origin[axis] + np.arange(frame.shape[axis]) * frame.pitch for axis in (0, 1))
        limit = plane[0] + plane[1] * u[:, None] + plane[2] * v[None, :]
    nearest, face, inside = _first_hits(across, depth, mesh.faces, *frame.shape, bits, limit)
    cut = np.asarray((inside >= 1) & np.isfinite(limit))
    face[cut] = -1
    nearest[cut] = limit[cut]
    return nearest, face, cut


@numba.njit(cache=True, nogil=True)
def _first_hits(across, depth, faces, nu, nv, bits, limit):  # type: ignore[no-untyped-def]
    """Highest depth below the limit, its face, and the sum of signs below the limit."""
    nearest = np.full((nu, nv), -np.inf)
    face = np.full((nu, nv), -1, np.int32)
    inside = np.zeros((nu, nv), np.int16)
    for f in range(len(faces)):
        u0, u1, v0, v1, area2, ea, eb, ec = edge_functions(across, faces, f, nu, nv, bits)
        if u0 > u1:
            continue
        za, zb, zc = depth[faces[f, 0]], depth[faces[f, 1]], depth[faces[f, 2]]
        for row in range(v1 - v0 + 1):
            lo, hi = row_span(u0, u1, row, ea, eb, ec)
            for u in range(lo, hi + 1):
                wa = ea[0] + row * ea[2] + u * ea[1]
                wb = eb[0] + row * eb[2] + u * eb[1]
                wc = ec[0] + row * ec[2] + u * ec[1]
                if wa < ea[3] or wb < eb[3] or wc < ec[3]:
                    continue
                z = depth_at(wa, wb, wc, za, zb, zc)
                v = v0 + row
                if z > limit[u, v]:
                    continue
                inside[u, v] += -1 if area2 > 0 else 1
                # of two surfaces at one depth the one that looks at the viewer is seen
                if z > nearest[u, v] or (z == nearest[u, v] and area2 > 0):
                    nearest[u, v], face[u, v] = z, f
    return nearest, face, inside


@numba.njit(cache=True, nogil=True)
def corner_normals(vertices, faces, wanted, least_cosine):  # type: ignore[no-untyped-def]
    """(k, 3, 3) unit normals at the corners of the k wanted faces.

    Each is the mean, weighted by corner angle, of the normals of those faces round the corner that
    turn from the wanted face by an angle whose cosine is at least `least_cosine`.
    """
    start = np.zeros(len(vertices) + 1, np.int64)
    for f in range(len(faces)):
        for k in range(3):
            start[faces[f, k] + 1] += 1
    for i in range(len(vertices)):
        start[i + 1] += start[i]
    cursor = start[:-1].copy()
    around = np.empty(start[-1], np.int32)  # 3 * face + corner
    normal = np.zeros((len(faces), 3))
    for f in range(len(faces)):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        x = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
        y = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
        z = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        length = np.sqrt(x * x + y * y + z * z)
        if length > 0:
            normal[f, 0], normal[f, 1], normal[f, 2] = x / length, y / length, z / length
        for k in range(3):
            around[cursor[faces[f, k]]] = 3 * f + k
            cursor[faces[f, k]] += 1
    corners = np.zeros((len(wanted), 3, 3), np.float32)
    for w in range(len(wanted)):
        f = wanted[w]
        for k in range(3):
            x = y = z = 0.0
            for i in range(start[faces[f, k]], start[faces[f, k] + 1]):
                g, corner = around[i] // 3, around[i] % 3
                cosine = (
                    normal[g, 0] * normal[f, 0] + normal[g, 1] * normal[f, 1] + normal[g, 2] * normal[f, 2]
                )
                if g == f or cosine >= least_cosine:
                    angle = _angle(vertices, faces, g, corner)
                    x, y, z = (
                        x + angle * normal[g, 0],
                        y + angle * normal[g, 1],
                        z + angle * normal[g, 2],
                    )
            length = np.sqrt(x**2 + y**2 + z**2)
            if length > 0:
                corners[w, k, 0], corners[w, k, 1], corners[w, k, 2] = x / length, y / length, z / length
            else:
                corners[w, k] = normal[f]
    return corners


@numba.njit(cache=True, nogil=True)
def _angle(vertices, faces, f, corner):  # type: ignore[no-untyped-def]
    """Angle of a face at a corner, radians."""
    p, q, r = faces[f, corner], faces[f, (corner + 1) % 3], faces[f, (corner + 2) % 3]
    dot = a2 = b2 = 0.0
    for axis in range(3):
        a, b = vertices[q, axis] - vertices[p, axis], vertices[r, axis] - vertices[p, axis]
        dot, a2, b2 = dot + a * b, a2 + a * a, b2 + b * b
    if a2 == 0 or b2 == 0:
        return 0.0
    return np.arccos(min(1.0, max(-1.0, dot / np.sqrt(a2 * b2))))


@numba.njit(cache=True, nogil=True)
def sample_normals(vertices, faces, wanted, place, corners, rotation, origin, pitch):  # type: ignore[no-untyped-def]
    """(nu, nv, 3) float32 normals in the frame's axes, turned to the viewer.

    place: (nu, nv) index of each sample's face in `wanted`, negative where there is none (+d there).
    """
    nu, nv = place.shape
    out = np.zeros((nu, nv, 3), np.float32)
    flat = np.empty((3, 2))
    for u in range(nu):
        for v in range(nv):
            w = place[u, v]
            if w < 0:
                out[u, v, 2] = 1
                continue
            for k in range(3):
                p = vertices[faces[wanted[w], k]]
                for axis in range(2):
                    r = rotation[axis]
                    flat[k, axis] = r[0] * p[0] + r[1] * p[1] + r[2] * p[2]
            x, y = origin[0] + u * pitch, origin[1] + v * pitch
            wa = (flat[1, 0] - x) * (flat[2, 1] - y) - (flat[1, 1] - y) * (flat[2, 0] - x)
            wb = (flat[2, 0] - x) * (flat[0, 1] - y) - (flat[2, 1] - y) * (flat[0, 0] - x)
            wc = (flat[0, 0] - x) * (flat[1, 1] - y) - (flat[0, 1] - y) * (flat[1, 0] - x)
            total = wa + wb + wc
            if total == 0:
                wa, wb, wc, total = 1.0, 1.0, 1.0, 3.0
            n = (wa * corners[w, 0] + wb * corners[w, 1] + wc * corners[w, 2]) / total
            length = np.sqrt(n[0] ** 2 + n[1] ** 2 + n[2] ** 2)
            for axis in range(3):
                r = rotation[axis]
                out[u, v, axis] = (r[0] * n[0] + r[1] * n[1] + r[2] * n[2]) / max(length, 1e-12)
            if out[u, v, 2] < 0:
                for axis in range(3):
                    out[u, v, axis] = -out[u, v, axis]
    return out
