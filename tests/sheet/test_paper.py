"""The sheet as a reader has it: its words, pages, sizes of type, and bytes."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from functools import cache

import pytest
from pypdf import PdfReader

from moldprep.job import job_from_dict
from moldprep.planning import plan
from moldprep.sheet.paper import sheet_pdf
from moldprep.sheet.words import grams
from tests.samples import planned

STEMS = ["tumbler", "bud-vase", "gallery-jar"]
BODY_PT, WEIGHT_PT = 11, 24


@cache
def pdf(stem: str, paper: str = "a4") -> bytes:
    return sheet_pdf(planned(stem), paper=paper)


@cache
def words(stem: str) -> str:
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf(stem))).pages)
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("stem", STEMS)
def test_the_numbers_that_matter_stand_on_it(stem: str) -> None:
    made, text = planned(stem), words(stem)
    assert grams(made.pours.plaster_total_g) in text
    for pour in made.pours.pours:
        assert grams(pour.plaster_g) in text and grams(pour.water_g) in text
    for value in made.sizing.master_size_mm:
        assert f"{value:.1f}" in text
    for finding in made.findings:
        assert finding.says.split()[0] in text
    assert "Take care" in text and "dust" in text


def test_the_figures_are_those_that_the_plan_used() -> None:
    """A job of 80 parts of water: the card and the list of figures say 80, and every used figure has its name."""
    base = planned("tumbler")
    job = job_from_dict({"plaster": {"consistency": 80.0}, "pull": {"tolerance_mm": 0.25}})
    made = plan(base.master, job)
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(sheet_pdf(made))).pages)
    text = re.sub(r"\s+", " ", text)
    assert "consistency 80 parts water" in text and "least reach that locks 0.25 mm" in text


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("letter", (612, 792))])
def test_paper_sizes(paper: str, size: tuple[float, float]) -> None:
    for page in PdfReader(io.BytesIO(pdf("tumbler", paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.5)


@pytest.mark.parametrize("stem", STEMS)
def test_each_page_says_form_number_and_record(stem: str) -> None:
    pages = PdfReader(io.BytesIO(pdf(stem))).pages
    for number, page in enumerate(pages, 1):
        text = re.sub(r"\s+", " ", page.extract_text())
        assert planned(stem).name in text and f"page {number} of {len(pages)}" in text
        assert re.search(r"record [0-9a-f]{8}", text)


def test_body_is_at_least_11_points_and_weights_24() -> None:
    sizes: dict[float, str] = {}

    def see(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        scale = abs(tm[3] * cm[3]) or 1.0
        if text.strip():
            sizes[round(size * scale, 2)] = sizes.get(round(size * scale, 2), "") + text

    for page in PdfReader(io.BytesIO(pdf("bud-vase"))).pages:
        page.extract_text(visitor_text=see)
    # two- and threefold digits of "mm³" are set as real characters, so no smaller type is needed
    assert min(sizes) >= BODY_PT - 0.01, sizes[min(sizes)]
    big = "".join(text for size, text in sizes.items() if size >= WEIGHT_PT)
    for pour in planned("bud-vase").pours.pours:
        assert grams(pour.plaster_g).split()[0] in big and grams(pour.water_g).split()[0] in big


def test_the_same_plan_gives_the_same_bytes() -> None:
    assert pdf("tumbler") == sheet_pdf(planned("tumbler"), paper="a4")


def test_it_is_tagged_with_language_title_and_pictures_in_words() -> None:
    root = PdfReader(io.BytesIO(pdf("tumbler"))).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] and root["/Lang"].startswith("en")
    assert PdfReader(io.BytesIO(pdf("tumbler"))).metadata.title == "Bench sheet: tumbler"
    assert b"/Alt" in pdf("tumbler") or b"/StructTreeRoot" in pdf("tumbler")


@pytest.mark.parametrize("stem", STEMS)
def test_nothing_reaches_into_the_margin(stem: str) -> None:
    """Rendered at 36 dpi: a border of 8 mm stays white on every page."""
    tool = shutil.which("pdftoppm")
    assert tool, "install poppler-utils: pages are looked at as pictures"
    data = subprocess.run(
        [tool, "-r", "36", "-gray", "-"], input=pdf(stem), capture_output=True, check=True
    ).stdout
    rim = int(8 / 25.4 * 36)
    for picture in re.finditer(rb"P5\n(\d+) (\d+)\n255\n", data):
        width, height = int(picture[1]), int(picture[2])
        rows = data[picture.end() : picture.end() + width * height]
        inked = [k for k, value in enumerate(rows) if value < 200]
        columns = [k % width for k in inked]
        assert min(columns) >= rim and max(columns) < width - rim
        assert inked[0] // width >= rim and inked[-1] // width < height - rim
