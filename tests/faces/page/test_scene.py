"""The 3D view in a browser: colours on the canvas, planes moved by the mouse, flights, and what happens without."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from typing import Any, Literal

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Browser, Page

from tests.faces.page.browser import browser, serving
from tests.faces.page.scene_page import HEIGHTS, MOST, PLACES

COLOURS = {"free": (0x8F, 0xB8, 0xA4), "tight": (0xD9, 0xA4, 0x41), "locked": (0x7B, 0x2D, 0x5B)}
PAPER = (0xF6, 0xF1, 0xE7)
POSE = """() => {
  const { camera, controls } = getElement(document.querySelector(".nicegui-scene"));
  return { eye: camera.position.toArray(), target: controls.target.toArray() };
}"""
READY = """() => {
  const stage = typeof mounted_app !== "undefined" && getElement(document.querySelector(".nicegui-scene"))?.scene?.children
    .map((child) => child.userData.stage).find(Boolean);
  return Boolean(stage?.solids.size && !stage.flight && !stage.swing && !stage.dirty);
}"""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with serving("tests.faces.page.scene_page") as found:
        yield found


@pytest.fixture
def opened(chromium: Browser, address: str) -> Iterator[Callable[..., Page]]:
    """Opens the page in a window of its own, with the view at rest; no error may appear in its console."""
    windows, errors = [], []

    def open_page(*, width: int = 800, still: bool = True, before: str = "", ready: bool = True) -> Page:
        motion: Literal["reduce", "no-preference"] = "reduce" if still else "no-preference"
        window = chromium.new_context(viewport={"width": width, "height": 700}, reduced_motion=motion)
        windows.append(window)
        page = window.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("requestfailed", lambda request: errors.append(request.url))
        if before:
            page.add_init_script(before)
        page.goto(address)
        if ready:
            page.wait_for_function(READY)
        return page

    yield open_page
    for window in windows:
        window.close()
    assert not errors


def canvas(page: Page) -> NDArray[np.int64]:
    """(h, w, 3) what the view shows, marks and handles left out."""
    page.add_style_tag(
        content=".form-scene-mark, .form-scene-grip, .form-scene-letter { visibility: hidden; }"
    )
    picture = Image.open(io.BytesIO(page.locator(".form-scene").screenshot())).convert("RGB")
    return np.asarray(picture).astype(np.int64)


def near(pixels: NDArray[np.int64], colour: tuple[int, int, int], *, within: int = 14) -> NDArray[np.bool_]:
    return np.asarray(np.abs(pixels - colour).max(axis=-1) <= within)


def pose(page: Page) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    found = page.evaluate(POSE)
    return np.array(found["eye"]), np.array(found["target"])


def rows_of(pixels: NDArray[np.int64], colour: tuple[int, int, int], share: float) -> NDArray[np.bool_]:
    """(h,) the rows of which at least a share is of that colour, light or dark."""
    hue = pixels / np.maximum(pixels.max(axis=-1, keepdims=True), 1) - np.array(colour) / max(colour)
    return np.asarray((np.abs(hue).max(axis=-1) < 0.12).mean(axis=1) >= share)


def pale(pixels: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Nearly grey and not dark."""
    return np.asarray((pixels.min(axis=-1) > 105) & (np.ptp(pixels, axis=-1) < 25))


def heard(page: Page) -> list[list[Any]]:
    return list(json.loads(page.locator("#heard").inner_text()))


def heights(page: Page) -> list[str]:
    return [text.removeprefix("↕ ") for text in page.locator(".form-scene-grip").all_inner_texts()]


def test_the_classes_are_seen_in_their_colours_on_paper(opened: Callable[..., Page]) -> None:
    pixels = canvas(opened())
    for name, colour in COLOURS.items():
        assert near(pixels, colour).mean() > 0.002, f"no {name} is seen"
    border = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    assert near(border, PAPER, within=1).all()


def test_lit_celadon_looks_celadon_but_is_shaded(opened: Callable[..., Page]) -> None:
    """The class's colour is the middle of its lit faces, and its darkest are clearly darker."""
    pixels = canvas(opened())
    red, green, blue = np.moveaxis(pixels, -1, 0)
    celadon = pixels[(green > red + 20) & (green > blue + 8)]
    bright = celadon[celadon.sum(axis=1) >= np.median(celadon.sum(axis=1))]
    assert len(celadon) > 5000
    assert bright.mean(axis=0) == pytest.approx(COLOURS["free"], abs=10)
    assert np.quantile(celadon[:, 1], 0.02) < 0xB8 - 30


def test_classes_differ_without_their_colours(opened: Callable[..., Page]) -> None:
    """Dark dots on tight faces, pale stripes on locked ones, and neither on free ones."""
    pixels = canvas(opened())[:, 300:500]
    ochre = pixels[rows_of(pixels, COLOURS["tight"], 0.9)]
    assert 0.02 < (ochre.max(axis=-1) < 130).mean() < 0.3
    plum = pixels[rows_of(pixels, COLOURS["locked"], 0.3)]
    assert pale(plum).mean() > 0.05
    celadon = pixels[rows_of(pixels, COLOURS["free"], 0.99)][:50]  # above the seams' sheets
    assert len(celadon) == 50
    assert not pale(celadon).any() and not (celadon.max(axis=-1) < 100).any()


def test_a_plane_follows_the_mouse_and_says_its_height(opened: Callable[..., Page]) -> None:
    page = opened()
    before = pose(page)
    grip = page.locator(".form-scene-grip").first
    box = grip.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(8):
        page.mouse.move(x, y - 3 * step)
        page.wait_for_timeout(60)
    page.mouse.up()
    page.wait_for_function("() => document.querySelector('#heard').textContent.includes('true')")
    said = heard(page)
    assert [done for _, _, done in said] == [False] * (len(said) - 1) + [True]
    assert {number for number, _, _ in said} == {0}
    risen = [height for _, height, done in said if not done]
    assert len(risen) >= 4 and all(np.diff(risen) >= 0) and risen[-1] > risen[0]
    assert HEIGHTS[0] < said[-1][1] < HEIGHTS[1]
    # the handle stays under the pointer
    after = grip.bounding_box()
    assert after is not None
    assert after["y"] + after["height"] / 2 == pytest.approx(y - 21, abs=1.5)
    assert heights(page)[0] == f"{said[-1][1]:.1f} mm"
    for was, now in zip(before, pose(page), strict=True):
        assert now == pytest.approx(was)  # the view has not turned


@pytest.mark.parametrize(
    ("number", "pixels", "least", "most"), [(0, -600, 58, 60), (0, 600, 0, 0.5), (1, -600, 79, MOST)]
)
def test_a_plane_stays_within_the_form_and_below_the_next(
    opened: Callable[..., Page], number: int, pixels: int, least: float, most: float
) -> None:
    page = opened()
    box = page.locator(".form-scene-grip").nth(number).bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y + pixels, steps=3)
    page.mouse.up()
    page.wait_for_function("() => document.querySelector('#heard').textContent.includes('true')")
    for plane, height, _ in heard(page):
        assert plane == number and 0 < height < MOST
    assert least < heard(page)[-1][1] < most


def test_the_eye_flies_to_a_place_and_back(opened: Callable[..., Page]) -> None:
    page = opened()
    eye, target = pose(page)
    assert target == pytest.approx([0, 0, 40])
    page.get_by_role("button", name="fly").click()
    where = np.array(PLACES[1][1])
    page.wait_for_function(f"({POSE})().target[0] > {where[0] - 0.1}")
    near_eye, near_target = pose(page)
    assert near_target == pytest.approx(where)
    assert np.linalg.norm(near_eye - where) < 0.6 * np.linalg.norm(eye - target)
    # from outside: the place lies to the right, at 36 mm along x
    assert np.degrees(np.arctan2(near_eye[1], near_eye[0] - 36)) == pytest.approx(0, abs=1)
    page.get_by_role("button", name="whole").click()
    page.wait_for_function(f"({POSE})().target[0] < 0.1")
    assert pose(page)[0] == pytest.approx(eye)


def test_a_mark_takes_the_eye_to_its_place_and_says_so(opened: Callable[..., Page]) -> None:
    page = opened(width=390)
    page.get_by_label("Show locked place 1").click()
    page.wait_for_function("() => document.querySelector('#marked').textContent === '1'")
    assert pose(page)[1] == pytest.approx(PLACES[0][1])


def test_the_view_is_worked_by_the_keyboard(opened: Callable[..., Page]) -> None:
    page = opened()
    view = page.locator("canvas")
    assert "Arrow keys" in str(view.get_attribute("aria-label"))
    view.focus()
    eye, target = pose(page)

    def azimuth() -> float:
        at = pose(page)[0] - target
        return float(np.degrees(np.arctan2(at[1], at[0])))

    first = azimuth()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert azimuth() == pytest.approx(first + 20)
    page.keyboard.press("+")
    assert np.linalg.norm(pose(page)[0] - target) == pytest.approx(np.linalg.norm(eye - target) / 1.2)
    page.keyboard.press("ArrowUp")
    assert pose(page)[0][2] > eye[2] / 1.2
    page.keyboard.press("Home")
    assert pose(page)[0] == pytest.approx(eye)


def test_the_form_turns_a_little_at_first_until_it_is_touched(opened: Callable[..., Page]) -> None:
    page = opened(still=False, ready=False)
    page.wait_for_function(
        READY.replace("!stage.flight && !stage.swing && !stage.dirty", "stage.swing?.begin")
    )
    first = pose(page)[0]
    page.wait_for_function(f"([x]) => Math.abs(({POSE})().eye[0] - x) > 1", arg=first.tolist())
    page.locator("canvas").click()
    stopped = pose(page)[0]
    page.wait_for_timeout(300)
    assert pose(page)[0] == pytest.approx(stopped)


def test_all_that_is_shown_fits_into_a_narrow_window(opened: Callable[..., Page]) -> None:
    pixels = canvas(opened(width=390))
    border = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    assert near(border, PAPER, within=1).all()


def test_parts_go_apart_and_are_seen_through(opened: Callable[..., Page]) -> None:
    page = opened()
    page.get_by_role("button", name="parts").click()
    page.wait_for_function("() => document.querySelectorAll('.form-scene-letter').length === 2")
    assert page.locator(".form-scene-grip").count() == 0 == page.locator(".form-scene-mark").count()
    solids = """() => {
      const { scene } = getElement(document.querySelector(".nicegui-scene"));
      const stage = scene.children.map((child) => child.userData.stage).find(Boolean);
      return [...stage.solids].map((s) => [s.mesh.position.y, s.faces[0].material.opacity]);
    }"""
    assert page.evaluate(solids) == [[0, 1], [0, 1]]
    page.get_by_role("button", name="apart").click()
    page.get_by_role("button", name="clear").click()
    page.wait_for_function(f"() => ({solids})().every(([y, opacity]) => opacity < 0.5)")
    assert sorted(y for y, _ in page.evaluate(solids)) == [-30, 30]
    page.get_by_role("button", name="classes").click()
    page.wait_for_function("() => document.querySelectorAll('.form-scene-mark').length === 2")
    page.wait_for_function("() => document.querySelectorAll('.form-scene-letter').length === 0")
    assert heights(page) == [f"{height:.1f} mm" for height in HEIGHTS]
    page.wait_for_function(READY)
    assert near(canvas(page), COLOURS["free"]).mean() > 0.002


def test_after_the_graphics_context_was_lost_all_is_as_it_was(opened: Callable[..., Page]) -> None:
    page = opened()
    page.get_by_role("button", name="lower").click()
    page.locator("canvas").focus()
    page.keyboard.press("ArrowLeft")
    eye, _ = pose(page)
    page.wait_for_function("() => document.querySelector('.form-scene-grip').textContent.includes('10.0')")
    page.evaluate(
        "() => getElement(document.querySelector('.nicegui-scene')).renderer"
        ".getContext().getExtension('WEBGL_lose_context').loseContext()"
    )
    page.get_by_text("put away by the graphics card").click()
    page.wait_for_function(READY)
    assert heights(page) == ["10.0 mm", "60.0 mm"]
    assert page.locator(".form-scene-mark").count() == len(PLACES)
    assert pose(page)[0] == pytest.approx(eye)
    assert near(canvas(page), COLOURS["free"]).mean() > 0.002


def test_without_webgl_a_sentence_stands_there_and_the_page_works(opened: Callable[..., Page]) -> None:
    page = opened(before="HTMLCanvasElement.prototype.getContext = () => null;", ready=False)
    page.get_by_text("This browser cannot show the form in 3D").wait_for()
    for label in ("fly", "lower", "parts", "apart"):
        page.get_by_role("button", name=label).click()
