"""What the small commands print, line by line, and their records."""

from __future__ import annotations

from collections.abc import Iterable
from math import pi
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ..findings import Finding
    from ..job import Job
    from ..mixing import Mix
    from ..sizing import Shrinkage, Sizing
    from ..target import Size


def hours_words(hours: tuple[float, float, float] | None) -> str:
    if hours is None:
        return "."
    middle, low, high = hours
    return f", in about {middle:.0f} hours (nine chances in ten: {low:.0f} to {high:.0f})."


def listed(files: Iterable[str]) -> str:
    """Files by name, those in folders by number: "sheet.pdf, pieces (3)"."""
    names = sorted(files)
    folders = [name.partition("/")[0] for name in names if "/" in name]
    counts = [f"{folder} ({folders.count(folder)})" for folder in dict.fromkeys(folders)]
    return ", ".join([*(name for name in names if "/" not in name), *counts])


def prism_ml(box: tuple[float, ...] | None, ring: tuple[float, ...] | None) -> float:
    if box is not None:
        return box[0] * box[1] * box[2] / 1000
    return pi * ring[0] ** 2 / 4 * ring[1] / 1000 if ring is not None else 0.0


def pour_record(
    made: Mix,
    job: Job,
    prism: tuple[float, ...] | None,
    form_ml: float | None,
    findings: tuple[Finding, ...],
) -> dict[str, Any]:
    """One pour, and what the job's molds of it take in all; what rests on a box or ring where there is one."""
    from dataclasses import asdict

    from ..formulas import hydrostatics
    from ..mixing import SHORT_PERCENT, ml_of_plaster, slab_mm, timing_of
    from ..pour import SLAB_G, hold_kg
    from ..stock import bags_for

    density, stood = 1000 * made.wet_g / made.solid_ml, {}
    if prism is not None:
        area = prism[0] * prism[1] if len(prism) == 3 else pi * prism[0] ** 2 / 4
        stood = {
            "slab_100g_mm": slab_mm(ml_of_plaster(SLAB_G, job.plaster), area),
            "slab_error_mm": slab_mm(made.solid_ml * SHORT_PERCENT / 100, area),
            "pressure_kpa": hydrostatics.pressure_pa(density, prism[-1]) / 1000,
            "band_n": hydrostatics.hoop_force_n(density, prism[-1], max(prism[:-1]) / 2),
        }
    uplift = hydrostatics.uplift_n(density, form_ml or 0.0, 0.0)
    plaster = job.studio.molds * made.plaster_g
    return {
        **asdict(made),
        **stood,
        "uplift_n": uplift,
        "hold_kg": hold_kg(uplift),
        "timing": asdict(timing_of(job.plaster)),
        "molds": job.studio.molds,
        "plaster_total_g": plaster,
        "water_total_g": job.studio.molds * made.water_g,
        "bags": bags_for(plaster, job.studio.bag_kg),
        "findings": finding_rows(findings),
    }


def pour_lines(made: Mix, record: dict[str, Any]) -> Iterable[str]:
    from ..mixing import span_words

    batches = f"{made.batches} batches, each " if made.batches > 1 else ""
    yield f"{batches}{made.batch_plaster_g:g} g of plaster into {made.batch_water_g:g} g of water"
    yield (
        f"for {made.solid_ml:.0f} mL of plaster and {made.slurry_ml - made.solid_ml:.0f} mL left in the bucket; "
        f"set it weighs {made.wet_g:.0f} g, dry {made.dry_g:.0f} g."
    )
    if "slab_100g_mm" in record:
        yield (
            f"100 g of plaster too little or too much is {record['slab_100g_mm']:.1f} mm of height; "
            f"an error of 5 % is {record['slab_error_mm']:.1f} mm."
        )
        yield (
            f"At the foot {record['pressure_kpa']:.1f} kPa; bands round the cottle hold {record['band_n']:.0f} N in all"
            + (f"; the form floats with up to {record['hold_kg']:.1f} kg." if record["hold_kg"] else ".")
        )
    timing = record["timing"]
    yield (
        f"Soak {span_words(timing['soak'])} min, mix {span_words(timing['mix'])} min; gloss gone "
        f"{span_words(timing['gloss'])} min after strewing, set {span_words(timing['set'])} min; demold a plain form from "
        f"{span_words(timing['demold_plain'])} min after the pour."
    )
    yield (
        f"It starts at {timing['start_c']:.0f} °C and becomes at most {timing['limit_c']:.0f} °C, where no heat leaves it."
    )
    if record["molds"] > 1:
        bags = f"{record['bags']} bag{'s' if record['bags'] > 1 else ''}"
        yield (
            f"For {record['molds']} molds {record['plaster_total_g'] / 1000:.2f} kg of plaster ({bags}) and "
            f"{record['water_total_g'] / 1000:.2f} kg of water."
        )


def finding_rows(findings: tuple[Finding, ...]) -> list[dict[str, str]]:
    return [
        {"level": finding.level, "code": finding.code, "says": finding.says, "remedy": finding.remedy}
        for finding in findings
    ]


def size_record(
    found: Shrinkage, sizing: Sizing | None, fired: tuple[float, ...], findings: tuple[Finding, ...]
) -> dict[str, Any]:
    """Keys as in a plan's record where they mean the same."""
    across, _, up = found.factor
    return {
        "sizing": {
            "shrinkage": [found.width, found.width, found.height],
            "drying": found.drying,
            "firing": found.firing,
            "uncertainty": found.uncertainty,
            "factor": list(found.factor),
            **({} if sizing is None else {"fired_size_mm": list(sizing.fired_size_mm or ()) or None}),
        },
        **({} if sizing is None else {"master": {"size_mm": list(sizing.master_size_mm)}}),
        "lengths": [
            {"fired_mm": length, "master_mm": length * across, "master_height_mm": length * up}
            for length in fired
        ],
        "findings": finding_rows(findings),
    }


def size_lines(found: Shrinkage, sizing: Sizing | None, fired: tuple[float, ...]) -> Iterable[str]:
    across, _, up = found.factor
    unsure = f" ± {100 * found.uncertainty:.2f}" if found.uncertainty else ""
    same = found.height == found.width
    width = "" if same else " across"
    yield (
        f"Shrinkage {100 * found.width:.2f}{unsure} % of the wet length{width}: "
        f"the master is {across:.5f} times the fired piece."
    )
    if not same:
        yield f"In height {100 * found.height:.2f} %: {up:.5f} times."
    if found.drying is not None and found.firing is not None:
        yield f"Drying {100 * found.drying:.2f} %, firing {100 * found.firing:.2f} %."
    for length in fired:
        height = "" if same else f" across, {length * up:.2f} mm in height"
        yield f"{length:g} mm fired: {length * across:.2f} mm master{height}"
    if sizing is not None:
        fired_size, master_size = (
            "not known" if size is None else " × ".join(f"{side:.1f}" for side in size) + " mm"
            for size in (sizing.fired_size_mm, sizing.master_size_mm)
        )
        yield f"Form: fired {fired_size}, master {master_size}"


def outcome_lines(sizes: tuple[Size, ...]) -> Iterable[str]:
    from ..target import fluid_ounces

    for one in sizes:
        holds = ""
        if one.brim_ml is not None and one.fill_ml is not None:
            imperial, us = fluid_ounces(one.fill_ml.value)
            line = f", {one.fill_ml.value:.0f} mL to the line" if one.fill_ml != one.brim_ml else ""
            holds = f", holds {one.brim_ml.value:.0f} mL to the brim{line} ({imperial:.1f} imperial, {us:.1f} US fl oz)"
        nests = (
            "" if one.gap_mm is None else f", {one.gap_mm:.1f} mm clear" if one.nests else ", does not nest"
        )
        yield (
            f"Size {one.share:g}: {one.width_mm.value:.1f} mm wide, {one.height_mm.value:.1f} mm high{holds}, "
            f"weighs {one.weight_g.value:.0f} g{nests}"
        )


def finding_lines(findings: tuple[Finding, ...]) -> Iterable[str]:
    for finding in findings:
        yield f"{finding.level}: {finding.says} {finding.remedy}".strip()
