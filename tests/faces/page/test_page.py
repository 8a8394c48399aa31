"""The page in a browser without a window: a maker's way through it, and what must not happen on it."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

import moldprep
from moldprep.job import job_from_dict
from tests.faces.page.browser import browser, serving_page

ROOT = Path(moldprep.__file__).parent.parent
SPHERE = ROOT / "sample_meshes" / "sphere.stl"
PATIENCE_MS = 60_000
"""A plan on a machine that tests in parallel."""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving_page(tmp_path_factory.mktemp("studio") / "studio.db") as address:
        yield address


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as chromium:
        yield chromium


@pytest.fixture
def page(address: str, chromium: Browser) -> Iterator[Page]:
    """A new page; at its end every request that it made must have stayed on this machine."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    yield page
    context.close()
    assert asked
    assert [url for url in asked if not url.startswith((address, "blob:", "data:"))] == []


def drop(page: Page, path: Path) -> None:
    page.locator("input[type=file]").first.set_input_files(path)


def plan_it(page: Page) -> None:
    page.get_by_role("button", name="Plan the mold").click()
    settled(page)


def settled(page: Page) -> None:
    """Work is done, and its mold is shown."""
    expect(page.locator("#sheet")).to_contain_text("Record", timeout=PATIENCE_MS)


def record_of(page: Page) -> dict[str, object]:
    """The record in the zip that the page gives away."""
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Everything, as one zip").click()
    with zipfile.ZipFile(io.BytesIO(Path(waiting.value.path()).read_bytes())) as archive:
        return json.loads(archive.read("plan.json"))


def test_the_way_from_a_form_to_the_zip(page: Page) -> None:
    """Drop, say the clay, plan, move the seam, switch the candidate: the record is the library's for that job."""
    drop(page, SPHERE)
    page.get_by_label("Shrinkage").first.fill("12")
    page.keyboard.press("Tab")
    plan_it(page)
