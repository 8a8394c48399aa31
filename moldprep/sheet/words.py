"""Numbers as a maker reads them; shared by terminal and paper."""

from __future__ import annotations

from ..cottle import Block
from ..errors import Point
from ..inside import Inside
from ..parting import Seam
from ..planning import Plan


def lengths(size: Point) -> str:
    """Width, depth and height in mm, named by a cross: "78.0 × 78.0 × 110.0 mm"."""
    return " × ".join(f"{value:.1f}" for value in size) + " mm"


def fired_words(plan: Plan) -> str:
    """The fired piece's size, where the shrinkage is known."""
    fired = plan.sizing.fired_size_mm
    return "not known" if fired is None else lengths(fired)


def holds_words(plan: Plan) -> str:
    """What the fired piece holds and weighs, where that is known; to follow the word Holds."""
    inside = plan.inside
    weighs = f"weighs {grams(inside.weights.fired_g)}"
    if inside.mode == "solid" or not inside.vessel:
        return f"nothing, {weighs}, fired"
    if inside.fired_capacity_ml is None:
        return f"{inside.capacity_ml:.0f} mL just cast, {weighs}, fired"
    line = plan.outcomes[0].fill_ml if plan.outcomes and plan.job.target.fill_mm > 0 else None
    to_line = "" if line is None else f", {line.value:.0f} mL to the line"
    return f"{inside.fired_capacity_ml:.0f} mL {brim_words(inside)}{to_line}, {weighs}, fired"


def brim_words(inside: Inside) -> str:
    """Up to where the piece holds what is said."""
    return "to the brim" if inside.spill_mm >= inside.rim_mm - 1e-6 else "until it spills"


def grams(value: float) -> str:
    """Grams below 10 kg, else kilograms: never more digits than a scale shows."""
    return f"{value:.0f} g" if value < 10_000 else f"{value / 1000:.2f} kg"


def millilitres(volume_ml: float) -> str:
    """Whole mL below 10 L, else litres."""
    return f"{volume_ml:.0f} mL" if volume_ml < 10_000 else f"{volume_ml / 1000:.2f} L"


def cottle_words(block: Block) -> str:
    """What to set up: kind, inner size, height of plaster, walls."""
    size = {
        "ring": f"ring, {block.inner_mm[0]:.0f} mm inside",
        "box": "boards, " + " × ".join(f"{side:.0f}" for side in block.inner_mm) + " mm inside",
        "sheet": f"sheet round the form, {block.inner_mm[0]:.0f} mm round inside",
    }[block.kind]
    walls = f"walls {block.least_wall_mm:.0f} to {block.greatest_wall_mm:.0f} mm"
    return f"{size}, {block.fill_mm:.0f} mm of plaster, {walls}"


def seam_words(seam: Seam) -> str:
    """Where a seam runs and how much of it lies on a crease."""
    crease = f", {100 * seam.crease_share:.0f} % on a crease" if seam.crease_share >= 0.05 else ""
    if seam.kind == "horizontal":
        place = f"{seam.height_mm:.1f} mm above the foot ({seam.name})"
        return f"level, {place}, {seam.length_mm:.0f} mm long{crease}"
    return f"upright, {seam.length_mm:.0f} mm long in all{crease}"


def shrinkage_words(plan: Plan) -> str:
    """The clay's shrinkage and the factor that follows."""
    sizing = plan.sizing
    if any(finding.code == "no-shrinkage" for finding in sizing.findings):
        return "no shrinkage given: the file is taken as the master's own size"
    width, height = 100 * sizing.width_shrinkage, 100 * sizing.height_shrinkage
    unsure = f" ± {100 * sizing.uncertainty:.1f}" if sizing.uncertainty else ""
    both = (
        f"{width:.1f}{unsure} %"
        if width == height
        else f"{width:.1f}{unsure} % across, {height:.1f} % in height"
    )
    factor = (
        f"{sizing.factor[0]:.4f}" if width == height else f"{sizing.factor[0]:.4f} / {sizing.factor[2]:.4f}"
    )
    return f"{plan.job.shrinkage.clay} shrinks {both}: the master is {factor} times the fired piece"
