"""Moving a seam at a million triangles: each answer's time, beside a whole plan in the same run.

    python -m tests.bench.seam [--json FILE] [--faces N]

In a process of its own: the form is planned once, with a level plane fixed so that there is one to move,
then `moves` steers it. The first answer, which makes what the others use again, is told apart. Then the same on the
page, in headless Chromium: from the slider's event to the moment when the new figures stand on the page. There the
view is drawn by the processor, on the cores that answer, or not at all.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from moldprep.parting import Steering
from tests.bench.planning import _apart, _peak_mb, write_form
from tests.faces.page.browser import browser, serving

MOVES = 100
FAMILY = "halves+foot"
"""The bench's mug with its handle has a level and an upright seam when it is cut so."""


PATIENCE_MS = 600_000
SETTLES_MS = 5_000
"""The view of a fine form is drawn a few times before it rests."""
MOVE_THE_SLIDER = """async (count) => {
  const slider = document.querySelector("#seams input[type=range]");
  const shown = slider.closest("section").querySelector(".page-big").parentElement;
  const [low, high] = [Number(slider.min), Number(slider.max)];
  const times = [];
  for (let k = 0; k < count; k++) {
    const begin = performance.now();
    const changed = new Promise((resolve) => {
      const seen = new MutationObserver(() => (seen.disconnect(), requestAnimationFrame(resolve)));
      seen.observe(shown, { subtree: true, childList: true, characterData: true });
    });
    slider.value = low + (high - low) * (0.05 + (0.9 * k) / count);
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    await changed;
    times.push((performance.now() - begin) / 1000);
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  return times;
}"""
"""Seconds of each move, until a frame with the new price is drawn."""


def main() -> None:
    """Measure, print a table, write JSON."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--faces", type=int, default=1_000_000)
    parser.add_argument("--json", type=Path, default=Path("bench-seam.json"))
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "form.stl"
        _apart(write_form, str(path), options.faces)
        small = Path(place) / "small.stl"
        _apart(write_form, str(small), 20_000)
        _apart(steered, str(small))  # compiled code is kept on disk
        found = _apart(steered, str(path))
        for name, webgl in (("on the page, 3D drawn by the processor", True), ("on the page, no 3D", False)):
            found["moves"][name] = figures(on_the_page(path, Path(place) / "studio.db", webgl=webgl))
    found |= {
        "machine": platform.processor() or platform.machine(),
        "python": platform.python_version(),
        "threads": os.cpu_count(),
    }
    table = Table("what", "ms", title=f"{found['faces']} faces, {found['threads']} threads")
    table.add_row("a whole plan", f"{1000 * found['plan_s']:.0f}")
    table.add_row("the first answer", f"{1000 * found['first_s']:.0f}")
    for name, row in found["moves"].items():
        table.add_row(f"{name}: median of {MOVES}", f"{1000 * row['median_s']:.1f}")
        table.add_row(f"{name}: 95th percentile", f"{1000 * row['p95_s']:.1f}")
    Console().print(table)
    options.json.write_text(json.dumps(found, indent=2) + "\n")


def steered(path: str) -> dict[str, Any]:
    """The times of a plan and of the moves of its seams."""
    from moldprep.files.read import read_master
    from moldprep.job import Job, PartingJob
    from moldprep.planning import plan

    job = Job(parting=PartingJob(family=FAMILY))
    begin = time.perf_counter()
    made = plan(read_master(Path(path), job.form), job)
    planned = time.perf_counter() - begin
    begin = time.perf_counter()
    steering = Steering(made.stand, made.parting, job.parting)
    steering.price(made.parting.chosen.planes_mm)
    first = time.perf_counter() - begin
    return {
        "faces": len(made.stand.mesh.faces),
        "family": made.parting.chosen.family,
        "plan_s": planned,
        "first_s": first,
        "moves": {
            "a level plane moved": figures(moves(steering, made.stand.rim_mm)),
            "an upright plane turned": figures(turns(steering, made.parting.chosen.planes_mm)),
        },
        "peak_mb": _peak_mb(),
    }


def moves(steering: Steering, rim_mm: float, *, count: int = MOVES) -> list[float]:
    """Seconds of each answer while a plane goes through the form below its rim."""
    heights = np.linspace(0.05, 0.95, count) * rim_mm
    return _times([lambda height=float(height): steering.price((height,)) for height in heights])


def turns(steering: Steering, planes_mm: tuple[float, ...], *, count: int = MOVES) -> list[float]:
    """Seconds of each answer while the upright plane turns through a half turn."""
    azimuths = np.arange(count) * 180 / count
    return _times([lambda angle=float(angle): steering.price(planes_mm, angle) for angle in azimuths])


def on_the_page(path: Path, library: Path, *, webgl: bool, count: int = MOVES) -> list[float]:
    """Seconds from each move of the slider until the page shows its price."""
    with (
        serving("tests.faces.page.whole_page", str(library), str(path)) as address,
        browser(webgl=webgl) as chromium,
    ):
        page = chromium.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(PATIENCE_MS)
        page.goto(address)
        page.get_by_role("button", name="Plan the mold").click()
        page.get_by_text("How seams are looked for").click()
        page.locator("[data-key='parting.family']").select_option(FAMILY)
        page.locator("#seams").get_by_text("The level seam stands at").wait_for()
        if webgl:
            page.get_by_text("In this mold", exact=True).click()  # where the seam is drawn on the form
            page.wait_for_timeout(SETTLES_MS)
        found: list[float] = page.evaluate(MOVE_THE_SLIDER, count)
        return found


def figures(times: list[float]) -> dict[str, float]:
    """Median and 95th percentile."""
    return {"median_s": float(np.median(times)), "p95_s": float(np.percentile(times, 95))}


def _times(work: list[Callable[[], object]]) -> list[float]:
    found = []
    for one in work:
        begin = time.perf_counter()
        one()
        found.append(time.perf_counter() - begin)
    return found


if __name__ == "__main__":
    main()
