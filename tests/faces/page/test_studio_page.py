"""The studio's part of the page in a browser: what is entered stays, and is the library's own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from moldprep.drying import Reading
from moldprep.files.studio import Studio
from moldprep.job import Bar, ShrinkageJob, Trial, job_from_toml
from moldprep.sizing import shrinkage_of
from tests.faces.page.browser import browser, serving
from tests.studios import FORM, PLAN_JOB, RECORD, filled

SERVER = "tests.faces.page.studio_page"
NARROW = {"width": 390, "height": 844}
expect.set_options(timeout=30_000)  # a busy machine is slow to draw


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser(webgl=False) as found:
        yield found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("libraries")


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    with serving(SERVER, str(folder)) as found:
        yield found


def opened(chromium: Browser, address: str, path: Path) -> Page:
    """The page of a library, with all that is in it."""
    page = chromium.new_page(viewport=NARROW)  # type: ignore[arg-type]
    page.goto(f"{address}/{path.parent.name}")
    expect(page.get_by_text("an export leaves")).to_be_visible()
    return page


def put(page: Page, form: str, **values: str) -> None:
    """Fill a form's fields by their labels, and enter it by the keyboard."""
    place = page.get_by_role("form", name=form, exact=True)
    for label, value in values.items():
        place.get_by_label(label.replace("_", " "), exact=True).fill(value)
    place.get_by_label(label.replace("_", " "), exact=True).press("Enter")


def said(page: Page, sentence: str) -> None:
    expect(page.get_by_role("status").filter(has_text=sentence)).to_be_visible()


def press(page: Page, name: str) -> None:
    """By the keyboard alone."""
    button = page.get_by_role("button", name=name, exact=True)
    button.focus()
    button.press("Enter")


def test_what_is_entered_is_there_after_a_restart_and_can_be_taken_back(
    chromium: Browser, folder: Path, tmp_path: Path
) -> None:
    path = folder / "kept" / "library.db"
    with serving(SERVER, str(folder)) as address:
        page = opened(chromium, address, path)
        put(page, "Add a bar", Clay="white", Wet_length="100", Fired_length="111,5")
        said(page, "A bar of 100/111.5 mm does not shrink as clay does.")
        put(page, "Add a bar", Fired_length="87,5")
        said(page, "A bar of white is entered.")
        put(page, "Register the present plan", Mark="B-7")
        said(page, "B-7 is registered, with its plan.")
        put(page, "Add a trial", Slip="white", Wall="4", Time="10")
        said(page, "A trial of white is entered.")
        page.locator("summary").filter(has_text="B-7").press("Enter")
        press(page, "A lost cast of B-7")
        said(page, "A lost cast of B-7 is entered.")
        put(page, "Weigh B-7", Weight="7800")
        said(page, "B-7 weighs 7800 g at 0 h.")
        page.close()
    with Studio(path) as studio:
        before = studio.contents()
        assert studio.bars("white") == (Bar(100, 87.5),)
        assert studio.trials() == (Trial(10, 4),)
        assert studio.log_of("B-7") == (Reading(0, 7800),)
        (life,) = studio.molds()
        assert (life.mold.plan, life.mold.pieces, life.losses) == (RECORD.decode(), 2, 1)
        assert [studio.form(digest) for digest in studio.forms()] == [("bowl.stl", FORM)]
        studio.export_to(tmp_path / "expected.json")
    with serving(SERVER, str(folder)) as address:
        page = opened(chromium, address, path)
        found = shrinkage_of(ShrinkageJob(bars=(Bar(100, 87.5),)))
        shrinks = f"Shrinks {100 * found.width:.2f} ± {100 * (found.uncertainty or 0):.2f} % from wet to fired by 1 bar;"
        expect(page.get_by_text(shrinks)).to_be_visible()
        expect(page.get_by_text("a wall of 4 mm takes about 10 min")).to_be_visible()
        expect(page.get_by_text("bowl, 2 pieces · 1 cast, 1 lost · 42 % water, not ready")).to_be_visible()
        with page.expect_download() as download:
            press(page, "Export everything")
        assert download.value.path().read_bytes() == (tmp_path / "expected.json").read_bytes()
        press(page, "Take back white bar 1 that lay")
        expect(page.get_by_role("button", name="Keep it")).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.get_by_role("dialog")).to_be_hidden()
        expect(page.get_by_role("button", name="Take back white bar 1 that lay")).to_be_focused()
        press(page, "Take back white bar 1 that lay")
        press(page, "Take it back")
        expect(page.get_by_text("No bar is entered yet.")).to_be_visible()
        expect(page.get_by_role("heading", name="Clays")).to_be_focused()
        page.close()
    with Studio(path) as studio:
        after = studio.contents()
    assert after.bars == () and after.casts == before.casts and after.molds == before.molds


def test_an_entry_is_corrected_in_its_place(chromium: Browser, address: str, folder: Path) -> None:
    path = folder / "corrected" / "library.db"
    path.parent.mkdir()
    before = filled(path)
    page = opened(chromium, address, path)
    press(page, "Correct white trial 1")
    put(page, "Correct white trial 1", Wall="77")
    expect(page.get_by_role("alert").filter(has_text="Wall is 50 mm or less.")).to_be_visible()
    put(page, "Correct white trial 1", Wall="4.4", Time="11")
    said(page, "Corrected.")
    expect(page.get_by_role("button", name="Correct white trial 1")).to_be_focused()
    page.close()
    with Studio(path) as studio:
        first, second = studio.contents().trials
    assert (first.minutes, first.wall_mm) == (11, 4.4)
    assert (first.slip, first.mold, first.after_casts, first.date) == ("white", "J-1", 3, "June")
    assert second == before.trials[1]


def test_jobs_are_saved_with_their_form_opened_and_handed_out(
    chromium: Browser, address: str, folder: Path
) -> None:
    path = folder / "jobs" / "library.db"
    page = opened(chromium, address, path)
    put(page, "Add a bar", Clay="white", Wet_length="100", Fired_length="88")
    put(page, "Save this job", Name="bowl / 1")
    said(page, "bowl / 1 is saved.")
    press(page, "Use these bars of white")
    expect(page.locator("#job")).to_have_text("1 bars of white, 0 trials")
    put(page, "Save this job", Name="bowl / 2")
    said(page, "bowl / 2 is saved.")
    press(page, "Open bowl / 1")
    expect(page.locator("#job")).to_have_text("0 bars of clay, 0 trials")
    with page.expect_download() as download:
        press(page, "bowl / 2 as a file")
    assert download.value.suggested_filename == "bowl-2.toml"
    handed_out = job_from_toml(download.value.path().read_text())
    page.close()
    with Studio(path) as studio:
        one, two = studio.jobs()
        assert one.job == PLAN_JOB and one.record == RECORD.decode()
        assert two.job == handed_out and two.record is None  # the plan at hand was for other bars
        assert two.job.shrinkage.bars == (Bar(100, 88),)
        assert studio.form(one.digest or "") == ("bowl.stl", FORM) and two.digest == one.digest


def test_a_file_is_imported_and_the_page_keeps_to_a_narrow_screen(
    chromium: Browser, address: str, folder: Path, tmp_path: Path
) -> None:
    path = folder / "imported" / "library.db"
    expected = filled(tmp_path / "other.db")
    with Studio(tmp_path / "other.db") as other:
        other.export_to(tmp_path / "other.json")
    page = opened(chromium, address, path)
    with page.expect_file_chooser() as chooser:
        press(page, "Import a file")
    chooser.value.set_files(tmp_path / "other.json")
    said(page, f"{sum(len(rows) for rows in vars(expected).values())} entries added.")
    for summary in page.locator("summary").all():
        summary.click()
    expect(page.get_by_role("img", name="1 weighings")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") == NARROW["width"]
    page.close()
    with Studio(path) as studio:
        assert studio.contents() == expected
