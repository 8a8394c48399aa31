"""Makes README's pictures and its output from a real run: python notebooks/make_pictures.py"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import moldprep
from moldprep.sheet.paper import sheet_pngs

ROOT = Path(__file__).parent.parent
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
    output = "\n".join(line.rstrip() for line in done.stdout.splitlines())
    readme = ROOT / "README.md"
    marked = re.compile(r"(<!-- output: main -->\n```text\n).*?(\n```)", re.DOTALL)
    readme.write_text(marked.sub(lambda found: found[1] + output + found[2], readme.read_text()))


if __name__ == "__main__":
    main()
