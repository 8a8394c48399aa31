"""Shaded pictures of a form: the first hit of the columns, lit from the upper left, edges drawn in.

Made to survive a grey printer: a class of faces differs by lightness and may carry a texture too.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from ..mesh import Bools, Floats, Mesh, read_only
from .frame import Frame, frame_for
from .raster import Columns, cast

Pixels = NDArray[np.uint8]
Texture = Literal["plain", "dots", "stripes"]
TEXTURES: tuple[Texture, ...] = ("plain", "dots", "stripes")

CLAY = (222, 207, 186)
"""Colour of a form that shows no classes."""
_LIGHT = np.array([0.45, 0.65, -0.65])
"""Where the light comes from, in (left, up, away from the eye)."""
_AMBIENT = 0.42
_CREASE = np.cos(np.radians(28))
_SMOOTH = np.cos(np.radians(32))
"""Facets that meet at less than this angle are shaded as one smooth surface."""
_LINE = np.array([58, 48, 42])


@dataclass(frozen=True, eq=False)
class Picture:
    """An (h, w, 4) uint8 image, transparent round the form, and where it came from.

    frame: its columns; v runs up and u to the left, since the frame is right-handed and its third axis
    leads away from the eye. scale: pixels of the image per column.
    """

    pixels: Pixels = field(repr=False)
    frame: Frame
    scale: float

    @property
    def mm_per_pixel(self) -> float:
        """Size of a pixel on the form."""
        return self.frame.pitch / self.scale

    def pixel(self, points: ArrayLike) -> Floats:
        """(n, 2) x (right) and y (down) in pixels of (n, 3) world points."""
        local = (self.frame.local(points)[:, :2] - self.frame.origin) / self.frame.pitch
        x, y = self.frame.shape[0] - (local[:, 0] + 0.5), self.frame.shape[1] - (local[:, 1] + 0.5)
        return np.column_stack([x, y]) * self.scale


def picture(
    mesh: Mesh,
    direction: ArrayLike,
    *,
    up: ArrayLike = (0.0, 0.0, 1.0),
    lines: int = 500,
    supersample: int = 3,
    face_colour: Pixels | None = None,
    face_texture: NDArray[np.uint8] | None = None,
) -> Picture:
    """The form seen along `direction` (from the eye into the scene), `lines` pixels along its longer side.

    face_colour: (m, 3) uint8, else clay. face_texture: (m,) index into `TEXTURES`. `supersample`
    columns stand for each pixel's side and are averaged.
    """
    frame = frame_for(mesh, direction, lines=lines * supersample, up=up)
    shape = tuple(-(-(side + 2 * supersample) // supersample) * supersample for side in frame.shape)
    frame = Frame(frame.rotation, frame.origin - supersample * frame.pitch, frame.pitch, (shape[0], shape[1]))
    face, depth = first_hit(cast(mesh, frame))
    hit = face >= 0
    normal = _smooth_normals(mesh, frame, face, depth)
    light = _LIGHT / np.linalg.norm(_LIGHT)
    shade = _AMBIENT + (1.06 - _AMBIENT) * ((1 + normal @ light) / 2) ** 1.3  # no side is lost in the dark
    base = np.array(CLAY, dtype=float) if face_colour is None else face_colour[face].astype(float)
    colour = np.broadcast_to(base, (*face.shape, 3)) * shade[..., None]
    if face_texture is not None:
        colour = _textured(colour, face_texture[face], supersample)
    ink = _edges(hit, depth, normal, frame.pitch, supersample)
    colour = np.where(ink[..., None], _LINE, np.clip(colour, 0, 255))
    alpha = np.where(hit | ink, 255.0, 0.0)
    small = _averaged(
        np.concatenate([colour * alpha[..., None] / 255, alpha[..., None]], axis=2), supersample
    )
    rgb = np.divide(
        255 * small[..., :3], small[..., 3:], out=np.zeros_like(small[..., :3]), where=small[..., 3:] > 0
    )
    image = np.concatenate([rgb, small[..., 3:]], axis=2).round().clip(0, 255).astype(np.uint8)
    upright = np.ascontiguousarray(np.swapaxes(image, 0, 1)[::-1, ::-1])  # rows from the top, from the left
    return Picture(np.asarray(read_only(upright)), frame, 1 / supersample)


def first_hit(columns: Columns) -> tuple[NDArray[np.int64], Floats]:
    """(nu, nv) the face that each column meets first, -1 where none, and (nu, nv) its local depth."""
    start = columns.start
    met = start[1:] > start[:-1]
    face, depth = np.full(len(met), -1, np.int64), np.full(len(met), np.inf)
    face[met], depth[met] = columns.face[start[:-1][met]], columns.depth[start[:-1][met]]
    return face.reshape(columns.frame.shape), depth.reshape(columns.frame.shape)


def _smooth_normals(mesh: Mesh, frame: Frame, face: NDArray[np.int64], depth: Floats) -> Floats:
    """(nu, nv, 3) unit normals in (left, up, away), facets blended where they meet at a small angle."""
    seen = face >= 0
    index = face[seen]
    total = np.zeros((len(mesh.vertices), 3))
    weighted = mesh.normals * mesh.areas[:, None]
    for k in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, k], weighted[:, axis], minlength=len(total))
    total /= np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)
    own = mesh.normals[index]
    corner = total[mesh.faces[index]]
    near = np.einsum("ijk,ik->ij", corner, own) > _SMOOTH
    corner = np.where(near[..., None], corner, own[:, None, :])
    i, j = np.nonzero(seen)
    local = np.column_stack([frame.origin + np.column_stack([i, j]) * frame.pitch, depth[seen]])
    weight = _barycentric(frame.world(local), mesh.vertices[mesh.faces[index]])
    normal = np.einsum("ij,ijk->ik", weight, corner)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    found = np.zeros((*face.shape, 3))
    found[seen] = normal @ frame.rotation.T
    return found


def _barycentric(points: Floats, corners: Floats) -> Floats:
    """(k, 3) weights of the (k, 3, 3) corners at (k, 3) points, clipped into the triangle."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap = b - a, c - a, points - a
    d00, d01, d11 = (np.einsum("ij,ij->i", p, q) for p, q in ((ab, ab), (ab, ac), (ac, ac)))
    d20, d21 = np.einsum("ij,ij->i", ap, ab), np.einsum("ij,ij->i", ap, ac)
    scale = np.maximum(d00 * d11 - d01 * d01, 1e-300)
    v, w = (d11 * d20 - d01 * d21) / scale, (d00 * d21 - d01 * d20) / scale
    weight = np.clip(np.column_stack([1 - v - w, v, w]), 0, 1)
    return np.asarray(weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-12))


def _textured(colour: Floats, texture: NDArray[np.uint8], supersample: int) -> Floats:
    """Dots and stripes over the faces that ask for them, so that classes differ without colour."""
    i, j = np.indices(texture.shape)
    step = 7 * supersample
    dots = ((i % step - step // 2) ** 2 + (j % step - step // 2) ** 2) < (1.3 * supersample) ** 2
    stripes = (i + j) % step < 1.6 * supersample
    dark = ((texture == 1) & dots)[..., None]
    pale = ((texture == 2) & stripes)[..., None]
    return np.where(dark, colour * 0.45, np.where(pale, colour * 0.6 + 95, colour))


def _edges(hit: Bools, depth: Floats, normal: Floats, pitch: float, supersample: int) -> Bools:
    """Pixels of silhouettes (a jump in depth) and creases (a jump in slope)."""
    ink = np.zeros(hit.shape, bool)
    for axis in (0, 1):
        here, there = _pair(hit, axis)
        rim = here != there
        both = here & there
        near, far = _pair(depth, axis)
        with np.errstate(invalid="ignore"):
            jump = both & (np.abs(near - far) > 14 * pitch)
        first, second = _pair(normal, axis)
        crease = both & (np.einsum("...k,...k->...", first, second) < _CREASE)
        edge = rim | jump | crease
        if axis == 0:
            ink[:-1] |= edge
        else:
            ink[:, :-1] |= edge
    return np.asarray(ndimage.binary_dilation(ink, iterations=max(1, supersample // 3)))


def _pair(array: NDArray[np.generic], axis: int) -> tuple[NDArray, NDArray]:  # type: ignore[type-arg]
    return (array[:-1], array[1:]) if axis == 0 else (array[:, :-1], array[:, 1:])


def _averaged(image: Floats, side: int) -> Floats:
    """Means over squares of `side` by `side`."""
    nu, nv, bands = image.shape
    return np.asarray(image.reshape(nu // side, side, nv // side, side, bands).mean(axis=(1, 3)))
