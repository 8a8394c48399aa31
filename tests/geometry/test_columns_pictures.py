"""Pictures: what they show stands where the form says, and survives a grey printer."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from moldprep.geometry.columns import cast, frame_for
from moldprep.geometry.columns.hits import first_hits
from moldprep.geometry.columns.shading import CUT, Lines, picture
from moldprep.geometry.mesh import Mesh
from tests.forms import chord_error, from_trimesh, tumbler

SIZE = 160
FREE, TIGHT, LOCKED = (0x8F, 0xB8, 0xA4), (0xD9, 0xA4, 0x41), (0x7B, 0x2D, 0x5B)


def ball(radius: float = 40) -> Mesh:
    return from_trimesh(trimesh.creation.icosphere(4, radius=radius))


def box() -> Mesh:
    return from_trimesh(trimesh.creation.box((40, 60, 80)))


def lightness(pixels: np.ndarray) -> np.ndarray:
    """Rec. 601 luma, 0 to 255: what a grey printer makes of it."""
    return pixels[..., :3].astype(float) @ (0.299, 0.587, 0.114)


def coloured(mesh: Mesh, axis: int) -> np.ndarray:
    """Red where a face looks along +axis, green elsewhere."""
    positive = mesh.normals[:, axis] > 0.9
    return np.where(positive[:, None], (255, 0, 0), (0, 160, 0)).astype(np.uint8)


@pytest.mark.parametrize("direction", [(0, 0, -1), (1, 0.3, -0.5)])
def test_first_hits_are_the_highest_crossings(direction: tuple[float, float, float]) -> None:
    mesh = from_trimesh(trimesh.creation.torus(20, 7, major_sections=48, minor_sections=24))
    frame = frame_for(mesh, direction, lines=50)
    columns = cast(mesh, frame)
    depth, face, cut = first_hits(mesh, frame)
    met = np.diff(columns.start) > 0
    last = columns.start[1:][met] - 1
    np.testing.assert_array_equal(face.ravel() >= 0, met)
    np.testing.assert_array_equal(depth.ravel()[met], columns.depth[last])
    np.testing.assert_array_equal(face.ravel()[met], columns.face[last])
    assert not cut.any()


def test_a_ball_covers_its_disc_and_the_ground_is_clear() -> None:
    shown = picture(ball(), (0.5, 1, -0.3), lines=SIZE, drawn=None)
    cover = shown.pixels[..., 3].astype(float).sum() / 255 * shown.frame.pitch**2
    # the outline's pixels are averaged over four samples; the ball's facets stand inside the sphere
    assert cover == pytest.approx(
        np.pi * 40**2, abs=2 * np.pi * 40 * (chord_error(40, 64) + 0.05 * shown.frame.pitch)
    )
    assert (shown.pixels[0, :, 3] == 0).all()
    assert shown.pixels.shape == (*shown.face.shape, 4)


@pytest.mark.parametrize(
    ("direction", "up", "axis", "where"),
    [
        ((0, 1, 0), (0, 0, 1), 0, "right"),  # from the front, +x is on the right
        ((0, 1, -1), (0, 0, 1), 2, "upper"),  # from the front and above, the top is above
        ((1, 0, 0), (0, 0, 1), 1, "left"),  # from the left side, the back (+y) is on the left
    ],
)
def test_left_is_left_and_up_is_up(
    direction: tuple[float, ...], up: tuple[float, ...], axis: int, where: str
) -> None:
    aside = np.array(direction, dtype=float)
    aside[axis] -= 0.3  # so that the face looked for is seen at all
    shown = picture(box(), aside, up=up, lines=SIZE, face_colour=coloured(box(), axis), drawn=None)
    rows, places = np.nonzero((shown.pixels[..., 0] > 2 * shown.pixels[..., 1]) & (shown.pixels[..., 3] > 0))
    height, width = shown.face.shape
    found = {
        "right": places.mean() > width / 2,
        "left": places.mean() < width / 2,
        "upper": rows.mean() < height / 2,
    }
    assert found[where]


def test_points_of_the_form_are_found_in_the_picture() -> None:
    mesh = box()
    shown = picture(mesh, (0.6, 1, -0.5), lines=SIZE, margin=5)
    at = shown.pixel(mesh.vertices)
    covered = np.argwhere(shown.face >= 0)
    # the outermost corners are the outermost pixels, to a pixel
    np.testing.assert_allclose(at.min(axis=0)[::-1], covered.min(axis=0), atol=1)
    np.testing.assert_allclose(at.max(axis=0)[::-1], covered.max(axis=0) + 1, atol=1)
    for face in np.unique(shown.face[shown.face >= 0]):
        x, y = np.floor(shown.pixel(mesh.centroids[face][None])[0]).astype(int)
        assert shown.face[y, x] == face


def test_a_point_behind_the_form_is_not_visible() -> None:
    shown = picture(ball(), (0, 1, 0), lines=SIZE)
    points = [(0, -40, 0), (0, 40, 0), (0, 0, 0), (0, -60, 0), (500, 0, 0)]
    np.testing.assert_array_equal(
        shown.visible(np.array(points, dtype=float), tolerance=0.5), [True, False, False, True, False]
    )


def test_light_comes_from_the_upper_left() -> None:
    shown = picture(ball(), (0, 1, 0), lines=SIZE, drawn=None)
    grey, (height, width) = lightness(shown.pixels), shown.face.shape
    upper_left, lower_right = grey[height // 4, width // 4], grey[3 * height // 4, 3 * width // 4]
    assert upper_left > lower_right + 30


def test_the_classes_differ_in_lightness_and_in_texture() -> None:
    """Three bands of a tumbler wall under the same light, read on a grey printer."""
    mesh = tumbler(rings=3)
    band = np.clip(mesh.centroids[:, 2] // 33.4, 0, 2).astype(np.uint8)
    colours = np.array([FREE, TIGHT, LOCKED], np.uint8)[band]
    plain = picture(mesh, (0, 1, 0), lines=SIZE, face_colour=colours, drawn=None)
    middle = plain.face.shape[1] // 2
    rows = [int(plain.pixel([(0, -30, z)])[0, 1]) for z in (16, 50, 84)]
    free, tight, locked = (lightness(plain.pixels[row, middle]) for row in rows)
    assert min(free, tight) > locked + 60
    textured = picture(mesh, (0, 1, 0), lines=SIZE, face_colour=colours, face_texture=band, drawn=None)
    spread = [np.std(lightness(textured.pixels[row - 8 : row + 8, middle - 8 : middle + 8])) for row in rows]
    assert spread[0] < 5
    assert min(spread[1:]) > 10


def test_lines_are_drawn_on_outlines_and_creases_and_nowhere_on_a_smooth_ball() -> None:
    with_lines, without = (picture(ball(), (0, 1, 0), lines=SIZE, drawn=drawn) for drawn in (Lines(), None))
    darker = lightness(without.pixels) - lightness(with_lines.pixels) > 10
    height, width = darker.shape
    inner = (
        np.hypot(*np.meshgrid(np.arange(width) - width / 2, np.arange(height) - height / 2)) < 0.93 * SIZE / 2
    )
    assert not darker[inner].any()
    assert darker[~inner].sum() > 2 * SIZE  # round the outline
    flat = picture(box(), (0.6, 1, -0.5), lines=SIZE)
    bare = picture(box(), (0.6, 1, -0.5), lines=SIZE, drawn=None)
    edge = np.array([(x, -30.0, 40.0) for x in np.linspace(-15, 15, 20)])  # front and top meet here
    x, y = np.round(flat.pixel(edge)).astype(int).T
    around = [
        (lightness(bare.pixels) - lightness(flat.pixels))[j - 2 : j + 3, i].max()
        for i, j in zip(x, y, strict=True)
    ]
    assert min(around) > 20


def test_a_section_shows_its_cut_and_what_lies_behind() -> None:
    hollow = trimesh.boolean.difference(
        [trimesh.creation.icosphere(4, radius=40), trimesh.creation.icosphere(4, radius=30)],
        engine="manifold",
    )
    shown = picture(from_trimesh(hollow), (0, 1, 0), lines=SIZE, clip=((0, 0, 0), (0, -1, 0)), drawn=None)
    area = shown.cut.sum() * shown.frame.pitch**2
    outline = 2 * np.pi * (40 + 30)
    assert area == pytest.approx(np.pi * (40**2 - 30**2), abs=outline * chord_error(40, 64) + 0.1 * outline)
    middle = shown.face.shape[0] // 2, shown.face.shape[1] // 2
    assert not shown.cut[middle]
    assert shown.depth[middle] == pytest.approx(-30, abs=0.1)  # the far side of the hollow
    np.testing.assert_allclose(shown.depth[shown.cut], 0, atol=1e-9)
    wall = shown.pixels[middle[0], int(shown.pixel([(35, 0, 0)])[0, 0])]
    np.testing.assert_allclose(wall[:3], CUT, atol=6)


def test_a_slanted_section_cuts_along_its_plane() -> None:
    shown = picture(ball(), (0, 1, 0), lines=SIZE, clip=((0, 0, 10), (0, -1, 1)), drawn=None)
    flat = np.argwhere(shown.cut)
    height = shown.face.shape[0]
    v = shown.frame.origin[1] + (height - 1 - flat[:, 0]) * shown.frame.pitch
    # the plane y = z - 10; the depth toward the viewer is -y; read within half a fine sample
    np.testing.assert_allclose(shown.depth[shown.cut], 10 - v, atol=shown.frame.pitch)


def test_the_same_form_gives_the_same_picture_and_impossible_ones_are_refused() -> None:
    one, two = (picture(tumbler(), (1, 1, -1), lines=60) for _ in range(2))
    np.testing.assert_array_equal(one.pixels, two.pixels)
    np.testing.assert_array_equal(one.on_white[0, 0], (255, 255, 255))
    with pytest.raises(ValueError, match="edge-on"):
        picture(ball(), (0, 1, 0), lines=60, clip=((0, 0, 0), (1, 0, 0)))
    with pytest.raises(ValueError, match="face_colour"):
        picture(ball(), (0, 1, 0), lines=60, face_colour=np.zeros((3, 3), np.uint8))
    with pytest.raises(ValueError, match="face_texture"):
        picture(ball(), (0, 1, 0), lines=60, face_texture=np.zeros(3, np.uint8))
