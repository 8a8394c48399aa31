"""Pictures of a form: orthographic, matt, with fine dark lines, from the first hit of each column.

The picture's columns look at the viewer: their direction is the reverse of the line of sight, so
that u runs to the right, v up, and the greatest depth is nearest. Everything is found on a grid
finer than the picture and averaged down, which smooths all edges alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from ..mesh import Bools, Floats, Ints, Mesh, read_only
from .frame import Frame, Window, frame_for
from .hits import corner_normals, first_hits, sample_normals

Colour: TypeAlias = tuple[int, int, int]
Bytes: TypeAlias = NDArray[np.uint8]

CLAY: Colour = (226, 217, 203)
"""The form, where no colours are given: the warm grey of dry slip."""
CUT: Colour = (247, 241, 229)
"""Where a section cuts through the solid."""
TEXTURES = ("plain", "dots", "stripes")
"""What `face_texture` counts: plain, dark dots, pale stripes."""
INK: Colour = (43, 38, 34)
"""Outlines and creases."""


@dataclass(frozen=True)
class Lines:
    """How lines are drawn: widths in pixels, strengths from 0 (none) to 1 (full ink).

    outline: where the form ends against the ground or stands in front of itself, or a section cuts
    it. crease: where its surface turns by more than crease_deg within one step of the fine grid.
    """

    outline: float = 1.6
    outline_strength: float = 0.9
    crease: float = 1.0
    crease_strength: float = 0.55
    crease_deg: float = 30.0


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture and the way back to the form.

    pixels: (h, w, 4) uint8 RGBA, not premultiplied, row 0 on top; the ground is transparent.
    frame: one column a pixel; column [iu, iv] is the pixel in row h - 1 - iv, place iu; its
    direction points at the viewer. depth: (h, w) float64 local d of the nearest surface, -inf on
    the ground. face: (h, w) int32, -1 on the ground and on cut solid. cut: (h, w) where a section
    cuts through the solid. All three are read at (nearly) the pixels' centres.
    """

    pixels: Bytes
    frame: Frame
    depth: Floats
    face: Ints
    cut: Bools

    def __post_init__(self) -> None:
        for array in (self.pixels, self.depth, self.face, self.cut):
            read_only(array)

    @cached_property
    def on_white(self) -> Bytes:
        """(h, w, 3) uint8, laid on white."""
        alpha = self.pixels[..., 3:].astype(np.float64) / 255
        return np.asarray(np.rint(self.pixels[..., :3] * alpha + 255 * (1 - alpha)), dtype=np.uint8)

    def pixel(self, points: ArrayLike) -> Floats:
        """(n, 2) places of (n, 3) world points, in pixels right and down from the top left corner."""
        step = (self.frame.local(points)[..., :2] - self.frame.origin) / self.frame.pitch + 0.5
        return np.asarray(np.stack([step[..., 0], self.pixels.shape[0] - step[..., 1]], axis=-1))

    def visible(self, points: ArrayLike, *, tolerance: float) -> Bools:
        """(n,) whether each (n, 3) world point is seen: nothing is nearer by more than `tolerance` mm."""
        at = np.floor(self.pixel(points)).astype(np.int64)
        height, width = self.face.shape
        inside = (at >= 0).all(axis=-1) & (at[..., 0] < width) & (at[..., 1] < height)
        at = np.clip(at, 0, [width - 1, height - 1])
        nearest = self.depth[at[..., 1], at[..., 0]]
        return np.asarray(inside & (self.frame.local(points)[..., 2] >= nearest - tolerance))


def picture(
    mesh: Mesh,
    direction: ArrayLike,
    *,
    up: ArrayLike = (0.0, 0.0, 1.0),
    lines: int | None = 900,
    pitch: float | None = None,
    window: Window | None = None,
    margin: int = 4,
    supersample: int = 2,
    face_colour: Bytes | None = None,
    face_texture: Bytes | None = None,
    colour: Colour = CLAY,
    cut_colour: Colour = CUT,
    clip: tuple[ArrayLike, ArrayLike] | None = None,
    smooth_deg: float = 35.0,
    drawn: Lines | None = Lines(),
) -> Picture:
    """The form as seen when looking along `direction`, with `up` upward on the picture.

    Seen from above (direction -z with up z) world y is up. Size: `lines` pixels across the longer
    side, or `pitch` mm a pixel (set lines=None), plus `margin` pixels all round; `window` in local
    mm of the picture's frame (see `frame_for`; its direction is the reverse of the sight).
    face_colour: (m, 3) uint8 sRGB for each face, else `colour` for all. face_texture: (m,) index into
    `TEXTURES` for each face, so that classes differ without colour too. `clip` = (point, normal)
    takes away everything on the viewer's side of that plane; the solid that it cuts through is shown
    flat in `cut_colour` and reported. Neighbouring faces that turn by less than `smooth_deg` degrees
    are shaded as one smooth surface (0: every facet shows). `drawn=None` draws no lines.

    Light comes from the upper left; valleys and what lies behind an edge are a little darker. Raises
    ValueError for a clip plane seen edge-on and for colours or textures of the wrong shape.
    """
    count = len(mesh.faces)
    if face_colour is not None and np.shape(face_colour) != (count, 3):
        raise ValueError(f"face_colour must be ({count}, 3), not {np.shape(face_colour)}")
    if face_texture is not None and np.shape(face_texture) != (count,):
        raise ValueError(f"face_texture must be ({count},), not {np.shape(face_texture)}")
    sight = np.asarray(direction, dtype=np.float64)
    plain = frame_for(mesh, -sight, lines=None if pitch else lines, pitch=pitch, window=window, up=up)
    frame = _padded(plain, margin)
    fine = _refined(frame, supersample)
    plane = _plane(clip, frame)
    depth, face, cut = first_hits(mesh, fine, plane)
    hit = (face >= 0) | cut
    normals = _normals(mesh, fine, face, cut, plane, smooth_deg)
    albedo = _albedo(face, face_colour, colour)
    if face_texture is not None:
        albedo = _textured(albedo, np.where(face >= 0, np.asarray(face_texture)[face], 0), supersample)
    albedo = np.where(cut[..., None], _linear(np.array(cut_colour, dtype=np.uint8)), albedo)
    span = fine.pitch * max(fine.shape)
    light = np.where(cut, 0.97, _light(normals) * _hollows(depth, hit, span, supersample))
    shaded = albedo * light[..., None]
    ink = (
        np.zeros(face.shape)
        if drawn is None
        else _ink(depth, normals, hit, cut, fine.pitch, supersample, drawn)
    )
    shaded = shaded * (1 - ink[..., None]) + _linear(np.array(INK, dtype=np.uint8)) * ink[..., None]
    alpha = np.maximum(hit, ink)
    middle = slice(supersample // 2, None, supersample)

    def upright(array: NDArray[np.generic]) -> NDArray[np.generic]:
        return np.ascontiguousarray(np.moveaxis(array, 0, 1)[::-1])

    return Picture(
        upright(_averaged(shaded, alpha, supersample)),  # type: ignore[arg-type]
        frame,
        upright(depth[middle, middle]),  # type: ignore[arg-type]
        upright(face[middle, middle]),  # type: ignore[arg-type]
        upright(cut[middle, middle]),  # type: ignore[arg-type]
    )


def _padded(frame: Frame, margin: int) -> Frame:
    nu, nv = frame.shape
    return Frame(
        frame.rotation, frame.origin - margin * frame.pitch, frame.pitch, (nu + 2 * margin, nv + 2 * margin)
    )


def _refined(frame: Frame, times: int) -> Frame:
    """The same picture with times x times columns in each pixel."""
    pitch = frame.pitch / times
    nu, nv = frame.shape
    return Frame(frame.rotation, frame.origin - (frame.pitch - pitch) / 2, pitch, (nu * times, nv * times))


def _plane(clip: tuple[ArrayLike, ArrayLike] | None, frame: Frame) -> Floats | None:
    """(3,) of the clip plane in the frame: depth = p0 + p1 u + p2 v."""
    if clip is None:
        return None
    point, normal = frame.local(np.array(clip[0])), frame.local(np.array(clip[1]))
    if abs(normal[2]) < 1e-9 * np.linalg.norm(normal) or not normal.any():
        raise ValueError(f"a clip plane with normal {clip[1]!r} is seen edge-on along {-frame.direction}")
    slope = -normal[:2] / normal[2]
    return np.array([point[2] - slope @ point[:2], *slope])


def _normals(
    mesh: Mesh, fine: Frame, face: Ints, cut: Bools, plane: Floats | None, smooth_deg: float
) -> Floats:
    """(nu, nv, 3) float32 unit normals in the frame, turned to the viewer; +d on the ground."""
    seen, place = np.unique(face, return_inverse=True)
    place = place.reshape(face.shape).astype(np.int32)
    if len(seen) and seen[0] < 0:
        seen, place = seen[1:], place - 1
    corners = corner_normals(mesh.vertices, mesh.faces, seen.astype(np.int32), np.cos(np.radians(smooth_deg)))
    normals = sample_normals(
        mesh.vertices, mesh.faces, seen, place, corners, fine.rotation, fine.origin, fine.pitch
    )
    if plane is not None:
        flat = np.array([-plane[1], -plane[2], 1.0])
        normals[cut] = flat / np.linalg.norm(flat)
    return np.asarray(normals)


def _albedo(face: Ints, face_colour: Bytes | None, colour: Colour) -> Floats:
    """(nu, nv, 3) the samples' own colours in linear light."""
    if face_colour is None:
        return np.broadcast_to(_linear(np.array(colour, dtype=np.uint8)), (*face.shape, 3))
    return np.asarray(_linear(np.asarray(face_colour))[face])


def _textured(albedo: Floats, texture: Bytes, supersample: int) -> Floats:
    """Dark dots and pale stripes over the faces that ask for them, about 9 pixels apart."""
    step = 9 * supersample
    u, v = np.indices(texture.shape)
    row = v // step
    away = np.hypot((u + row % 2 * (step // 2)) % step - (step - 1) / 2, v % step - (step - 1) / 2)
    dots = (texture == TEXTURES.index("dots")) & (away < 1.4 * supersample)
    stripes = (texture == TEXTURES.index("stripes")) & ((u + v) % step < 2.0 * supersample)
    dark, pale = albedo * 0.25, albedo * 0.45 + 0.40
    return np.where(dots[..., None], dark, np.where(stripes[..., None], pale, albedo))


def _light(normals: Floats) -> Floats:
    """Light on matt clay, 0 to about 1: a wide lamp from the upper left, sky, and a little from the right."""
    key = np.array([-0.50, 0.62, 0.60])
    fill = np.array([0.80, -0.10, 0.59])
    # wrapped: a wide lamp reaches round the terminator, so that no half of a form goes black
    lamp = np.clip((normals @ (key / np.linalg.norm(key)) + 0.25) / 1.25, 0, 1)
    side = np.clip(normals @ (fill / np.linalg.norm(fill)), 0, 1)
    sky = 0.5 + 0.5 * normals[..., 1]
    return np.asarray(0.20 + 0.74 * lamp + 0.10 * side + 0.14 * sky)


def _hollows(depth: Floats, hit: Bools, span: float, step: int) -> Floats:
    """A factor below 1 where the surface lies behind its surroundings: blurred depth less depth."""
    near, there = depth[::step, ::step], hit[::step, ::step].astype(np.float64)
    near = np.where(there > 0, near, 0.0)
    dark = np.zeros(near.shape)
    for width, strength in ((0.012, 9.0), (0.04, 3.0)):
        sigma = width * max(near.shape)
        weight = ndimage.gaussian_filter(there, sigma)
        mean = ndimage.gaussian_filter(near, sigma) / np.maximum(weight, 1e-6)
        dark += strength * np.clip((mean - near) / span, 0, 0.03)
    coarse = np.repeat(np.repeat(1 - np.clip(dark, 0, 0.38), step, 0), step, 1)
    return np.asarray(coarse[: depth.shape[0], : depth.shape[1]])


def _ink(
    depth: Floats, normals: Floats, hit: Bools, cut: Bools, pitch: float, supersample: int, drawn: Lines
) -> Floats:
    """(nu, nv) 0 to 1: how much ink lies on each fine sample."""
    outline, crease = np.zeros(depth.shape), np.zeros(depth.shape)
    span = pitch * max(depth.shape)
    near = np.where(hit, depth, 0.0)
    for axis in (0, 1):
        one, two = _neighbours(axis)
        step = np.where(hit[one] & hit[two], near[two] - near[one], 0.0)
        # what either surface's own slope explains is no jump; the gentler of the two decides
        slope = [
            -normals[part][..., axis] / np.maximum(normals[part][..., 2], 0.05) * pitch for part in (one, two)
        ]
        jump = np.minimum(np.abs(step - slope[0]), np.abs(step - slope[1]))
        edge = np.clip((jump - 0.006 * span) / (0.006 * span), 0, 1)
        edge = np.maximum(edge, (hit[one] != hit[two]) | (cut[one] != cut[two]))
        # the line lies on the nearer side, so that it does not thicken the form behind
        nearer = np.where(hit[two] & (~hit[one] | (step > 0)), 1, 0)
        outline[one] = np.maximum(outline[one], edge * (nearer == 0))
        outline[two] = np.maximum(outline[two], edge * (nearer == 1))
        turn = 1 - np.einsum("...i,...i->...", normals[one], normals[two])
        limit = 1 - np.cos(np.radians(drawn.crease_deg))
        fold = np.clip((turn - 0.6 * limit) / (0.8 * limit), 0, 1) * (hit[one] & hit[two])
        crease[one] = np.maximum(crease[one], fold)
    dark = np.maximum(
        drawn.outline_strength * _widened(outline, drawn.outline * supersample),
        drawn.crease_strength * _widened(crease, drawn.crease * supersample),
    )
    return np.asarray(dark)


def _neighbours(axis: int) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    one, two = [slice(None), slice(None)], [slice(None), slice(None)]
    one[axis], two[axis] = slice(None, -1), slice(1, None)
    return tuple(one), tuple(two)


def _widened(mask: Floats, width: float) -> Floats:
    """The greatest value within a disc of the given width, in samples."""
    reach = int(np.floor(width / 2))
    offsets = np.arange(-reach, reach + 1)
    disc = np.hypot(*np.meshgrid(offsets, offsets)) <= width / 2
    return np.asarray(ndimage.maximum_filter(mask, footprint=disc))


def _averaged(shaded: Floats, alpha: Floats, times: int) -> Bytes:
    """(nu, nv, 4) uint8 pixels from fine linear colours and coverage."""
    nu, nv = alpha.shape[0] // times, alpha.shape[1] // times
    cover = alpha.reshape(nu, times, nv, times).mean(axis=(1, 3))
    light = (shaded * alpha[..., None]).reshape(nu, times, nv, times, 3).mean(axis=(1, 3))
    light /= np.maximum(cover, 1e-9)[..., None]
    pixels = np.concatenate([_encoded(light), cover[..., None]], axis=-1)
    return np.asarray(np.rint(255 * np.clip(pixels, 0, 1)), dtype=np.uint8)


def _linear(colour: Bytes) -> Floats:
    """sRGB bytes in linear light, 0 to 1 (IEC 61966-2-1)."""
    value = colour.astype(np.float64) / 255
    return np.asarray(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4))


def _encoded(light: Floats) -> Floats:
    """Linear light in sRGB, 0 to 1."""
    value = np.clip(light, 0, 1)
    return np.asarray(np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055))
