"""Makes README's pictures and its output from a real run: python -m notebooks.make_pictures

The page's picture needs Chromium and the test extra.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import moldprep
from moldprep.sheet.paper import sheet_pngs
from tests.faces.page.browser import browser, serving

ROOT = Path(__file__).parent.parent
PATIENCE_MS = 300_000
TURNS_MS = 6_000
"""The form turns a little when it is first shown."""
FORM = ROOT / "sample_meshes" / "bud-vase.stl"


def main() -> None:
    """Write pictures/sheet-N.png, and the main block's output into README.md."""
    job = moldprep.job_from_dict({"shrinkage": {"total_percent": 12.0}})
    plan = moldprep.plan(moldprep.read_master(FORM, job.form), job)
    pages = sheet_pngs(plan, dots_per_inch=80)
    for number in (1, 2, 4):
        (ROOT / "notebooks" / "pictures" / f"sheet-{number}.png").write_bytes(pages[number - 1])
    with tempfile.TemporaryDirectory() as place:
        words = [
            sys.executable,
            "-m",
            "moldprep",
            "plan",
            str(FORM),
            "--shrinkage",
            "12",
            "--out",
            "bud-vase.plan",
        ]
        done = subprocess.run(
            words, cwd=place, capture_output=True, text=True, check=True, env={"PYTHONPATH": str(ROOT)}
        )
    _picture_the_page(ROOT / "notebooks" / "pictures" / "page.png")
    output = "\n".join(line.rstrip() for line in done.stdout.splitlines())
    readme = ROOT / "README.md"
    marked = re.compile(r"(<!-- output: main -->\n```text\n).*?(\n```)", re.DOTALL)
    readme.write_text(marked.sub(lambda found: found[1] + output + found[2], readme.read_text()))


def _picture_the_page(path: Path) -> None:
    """The bud vase on the page, its mold drawn apart beside the seams."""
    with (
        tempfile.TemporaryDirectory() as place,
        serving("tests.faces.page.whole_page", f"{place}/studio.db", str(FORM)) as address,
        browser() as chromium,
    ):
        page = chromium.new_page(viewport={"width": 1280, "height": 860})
        page.set_default_timeout(PATIENCE_MS)
        page.goto(address)
        shrinkage = page.get_by_label("Total shrinkage")
        shrinkage.fill("12")
        shrinkage.press("Tab")
        page.get_by_role("button", name="Plan the mold").click()
        page.locator("#sheet").get_by_role("button", name="Show the pages").wait_for()
        page.evaluate("document.querySelector('#seams').scrollIntoView()")
        page.wait_for_timeout(TURNS_MS)
        page.screenshot(path=path)


if __name__ == "__main__":
    main()
