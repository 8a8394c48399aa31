"""The whole page in a browser without a window: a maker's way through it, and what must not happen on it."""

from __future__ import annotations

import io
import json
import re
import urllib.error
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from playwright.sync_api import Browser, Page, expect

import moldprep
from moldprep.faces.cli import main
from tests.faces.page.browser import ROOT, browser, serving

SPHERE = ROOT / "sample_meshes" / "sphere.stl"
BOWL = ROOT / "sample_meshes" / "noodle-bowl.stl"
TUMBLER = ROOT / "sample_meshes" / "tumbler.stl"
PATIENCE_MS = 120_000
"""A plan on a machine that runs other tests beside."""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    library = tmp_path_factory.mktemp("studio") / "studio.db"
    with serving("tests.faces.page.whole_page", str(library)) as address:
        yield address


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser(webgl=False) as chromium:  # the view has tests of its own; drawing it takes a core
        yield chromium


@pytest.fixture
def page(address: str, chromium: Browser) -> Iterator[Page]:
    """A new page; at its end every request that it made must have stayed on this machine."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    context.set_default_timeout(PATIENCE_MS)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    page.goto(address)
    yield page
    context.close()
    assert asked
    assert [url for url in asked if not url.startswith((address, "blob:", "data:"))] == []


def drop(page: Page, path: Path) -> None:
    """Put a form down, and wait until it is looked at."""
    page.locator("input[type=file]").first.set_input_files(path)


def looked(page: Page, name: str) -> None:
    expect(page.locator("#form")).to_contain_text(name, timeout=PATIENCE_MS)
    expect(page.get_by_role("button", name="Plan the mold")).to_be_enabled(timeout=PATIENCE_MS)


def record_hash(page: Page, *, other_than: str = "") -> str:
    """The hash of the plan that is shown, once it is not an earlier one's."""
    shown = page.locator("#sheet").get_by_text(re.compile("Record [0-9a-f]{8},"))
    if other_than:
        expect(shown).not_to_contain_text(other_than, timeout=PATIENCE_MS)
    expect(shown).to_be_visible(timeout=PATIENCE_MS)
    return shown.inner_text().split()[1].rstrip(",")


def taken(page: Page, button: str) -> bytes:
    """What a button of the sheet gives to take away."""
    with page.expect_download(timeout=PATIENCE_MS) as waiting:
        page.locator("#sheet").get_by_role("button", name=button, exact=True).click()
    return waiting.value.path().read_bytes()


def test_from_a_form_to_the_zip_as_library_and_command_have_it(page: Page, tmp_path: Path) -> None:
    page.get_by_label("Or a sample").select_option(label="Sphere")
    page.get_by_role("button", name="Take it").click()
    looked(page, "sphere")
    shrinkage = page.get_by_label("Total shrinkage")
    shrinkage.fill("12")
    shrinkage.press("Tab")
    page.get_by_role("button", name="Plan the mold").click()
    first = record_hash(page)

    seam = page.locator("#seams input[type=range]")
    before = float(seam.input_value())
    level = page.locator("#seams").get_by_text("Seam, level").locator("xpath=..")
    length = level.inner_text()
    seam.focus()
    for _ in range(20):
        seam.press("ArrowRight")
    expect(level).not_to_have_text(length)  # at once: nothing is cut for it
    second = record_hash(page, other_than=first)
    moved = json.loads(taken(page, "The record"))
    assert moved["job"]["parting"]["planes_mm"] == [pytest.approx(before + 2.0, abs=1e-6)]
    assert moved["job"]["shrinkage"]["total_percent"] == 12.0

    page.locator("#seams").get_by_role("button", name=re.compile("^Two halves 2 pieces")).click()
    record_hash(page, other_than=second)
    with zipfile.ZipFile(io.BytesIO(taken(page, "Everything, as one zip"))) as archive:
        found = archive.read("plan.json")
        assert {"sheet.pdf", "master.stl", "pieces.3mf", "view.glb"} <= set(archive.namelist())
    record: dict[str, Any] = json.loads(found)
    assert record["parting"]["family"] == "halves"

    job = moldprep.job_from_dict(record["job"])
    assert found == moldprep.record_json(moldprep.plan(moldprep.read_master(SPHERE, job.form), job))
    (tmp_path / "job.toml").write_bytes(taken(page, "The job"))
    words = ["plan", str(SPHERE), "--job", str(tmp_path / "job.toml"), "--out", str(tmp_path / "sphere.plan")]
    CliRunner().invoke(main, words)
    assert (tmp_path / "sphere.plan" / "plan.json").read_bytes() == found


def test_a_broken_file_is_refused_in_the_command_lines_words(page: Page, tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(SPHERE.read_bytes()[:-1000])
    said = CliRunner().invoke(main, ["check", str(broken)]).stderr.strip()
    drop(page, broken)
    alert = page.locator("#form").get_by_role("alert")
    expect(alert).to_be_visible(timeout=PATIENCE_MS)
    sentence = said.removeprefix("moldprep: ")
    assert "truncated" in sentence
    expect(alert).to_contain_text(sentence)
    drop(page, TUMBLER)  # nothing else is lost
    looked(page, "tumbler")


def test_a_plan_can_be_stopped_and_made_after_all(page: Page) -> None:
    drop(page, TUMBLER)
    looked(page, "tumbler")
    page.get_by_role("button", name="Plan the mold").click()
    cancel = page.get_by_role("button", name="Cancel")
    cancel.click()
    expect(cancel).not_to_be_visible(timeout=PATIENCE_MS)
    assert page.locator("#sheet").get_by_text("Record").count() == 0
    page.get_by_role("button", name="Plan the mold").click()
    record_hash(page)


def test_two_pages_do_not_disturb_each_other(page: Page) -> None:
    other = page.context.new_page()
    other.goto(page.url)
    drop(page, TUMBLER)
    drop(other, BOWL)
    looked(page, "tumbler")
    looked(other, "noodle-bowl")
    one = page.get_by_label("Total shrinkage")
    one.fill("10")
    one.press("Tab")
    expect(page.locator("#clay")).to_contain_text("Factor")
    assert other.get_by_label("Total shrinkage").input_value() == ""
    assert "noodle-bowl" in other.locator("#form dl").inner_text()
    assert "tumbler" in page.locator("#form dl").inner_text()


def test_bombs_and_floods_are_refused_and_the_page_lives(page: Page, tmp_path: Path) -> None:
    bomb = tmp_path / "bomb.3mf"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", bytes(100_000_000))
    flood = tmp_path / "flood.stl"
    with flood.open("wb") as file:
        file.truncate(300_000_000)
    alert = page.locator("#form").get_by_role("alert")
    drop(page, bomb)
    expect(alert).to_contain_text("1029 times its size", timeout=PATIENCE_MS)
    drop(page, flood)
    expect(alert).to_contain_text("300 MB; at most 250 MB are read", timeout=PATIENCE_MS)
    drop(page, TUMBLER)
    looked(page, "tumbler")


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/", {"Host": "elsewhere.example"}),
        ("/closed/00000000-0000-0000-0000-000000000000", {"Origin": "http://elsewhere.example"}),
    ],
    ids=["forged host", "cross-origin post"],
)
def test_other_web_pages_cannot_drive_it(address: str, path: str, headers: dict[str, str]) -> None:
    asked = urllib.request.Request(
        address + path, headers=headers, method="POST" if "Origin" in headers else "GET"
    )
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(asked)
    assert refused.value.code in (400, 403, 421)
    refused.value.close()
