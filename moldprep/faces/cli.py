"""The command line: `moldprep plan`, `check`, `size`, `pour`, `dry`, `cast`.

Heavy imports wait inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from math import pi
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .. import __version__
from .exits import OK, STOP, Commands, StopKey
from .groups import (
    CAST,
    CASTING,
    DRY,
    FILL,
    FORM,
    JOB,
    LENGTHS,
    MOLD,
    PAPER,
    PIECES,
    PLASTER,
    PRINTER,
    SHRINKAGE,
    STAND,
    STUDIO,
    TARGET,
)
from .options import Command, job_of, options

if TYPE_CHECKING:
    from rich.console import RenderableType

    from ..findings import Finding
    from ..job import Job
    from ..mixing import Mix
    from ..sizing import Shrinkage, Sizing
    from ..target import Size

_FORM = click.argument("form", type=click.Path(path_type=Path))
_MAYBE_FORM = click.argument("form", type=click.Path(path_type=Path), required=False)
_JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print numbers for other programs instead of words."
)


@click.group(
    cls=Commands,
    invoke_without_command=True,
    subcommand_metavar="COMMAND",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, message="moldprep %(version)s")
@click.pass_context
def main(context: click.Context) -> None:
    """Plaster molds for slip casting, from the mesh of a form to a sheet for the bench.

    Begin with: moldprep plan FORM.stl --shrinkage 12
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


@main.command(
    "plan",
    cls=Command,
    short_help="The whole mold of a form: size, pulls, seams, cottle, plaster, and its sheet.",
)
@_FORM
@options(JOB, FORM, SHRINKAGE, TARGET, STAND, MOLD, PIECES, CAST, PLASTER, STUDIO, PRINTER, PAPER)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where to write; FORM's name and .plan, in the folder you are in, when left out.",
)
@_JSON
@click.pass_context
def plan_command(context: click.Context, /, form: Path, out: Path | None, as_json: bool, **_: Any) -> int:
    """Plan the mold of FORM (STL, OBJ, PLY or 3MF): its size, pulls, seams, cottle and plaster.

    Writes a folder with the bench sheet (sheet.pdf), the numbers (plan.json), the sized master with its
    spare (master.stl), the pieces of the mold, boards to print and templates at true scale. An earlier
    plan there is replaced; anything else is not.
    """
    from ..files.read import read_master
    from ..files.write import RECORD, check_folder, write_folder
    from ..findings import any_stop
    from ..planning import plan
    from ..sheet.bundle import plan_files
    from ..sheet.text import plan_text
    from .progress import Bar

    stop_key: StopKey = context.obj
    job = job_of(context)
    folder = out or Path(f"{form.stem}.plan")
    check_folder(folder)
    with Bar(stop_key) as bar:
        bar.stage("read the form")
        made = plan(read_master(form, job.form, watch=bar), job, watch=bar)
        bar.stage("set the sheet")
        files = plan_files(made)
    stop_key.too_late()
    write_folder(folder, files)
    if as_json:
        click.echo(files[RECORD], nl=False)
    else:
        _print(plan_text(made))
        click.echo(f"\nWritten to {folder}: {_listed(files)}")
    return STOP if any_stop(made.findings) else OK


@main.command(
    "check", cls=Command, short_help="Is a form whole, how does it stand, which way does plaster let go?"
)
@_FORM
@options(JOB, FORM, SHRINKAGE, TARGET, STAND)
@_JSON
@click.pass_context
def check_command(context: click.Context, /, form: Path, as_json: bool, **_: Any) -> int:
    """Check FORM: is it whole, how does it stand, and which way would plaster let go of it?"""
    from ..files.read import read_master
    from ..findings import any_stop, worst_first
    from ..planning import check
    from ..sheet.record import check_record
    from ..sheet.text import check_text
    from .progress import Bar

    job = job_of(context)
    with Bar(context.obj) as bar:
        bar.stage("read the form")
        master = read_master(form, job.form, watch=bar)
        sizing, stand, study = check(master, job, watch=bar)
    findings = worst_first(master.findings + sizing.findings + stand.findings + study.findings)
    if as_json:
        _print_json(check_record(master, sizing, stand, study, findings))
    else:
        _print(check_text(master.name, stand, study, findings))
    return STOP if any_stop(findings) else OK


@main.command("size", cls=Command, short_help="How much bigger than the fired piece must the master be?")
@_MAYBE_FORM
@options(LENGTHS, JOB, FORM, SHRINKAGE, TARGET, CAST, STAND)
@_JSON
@click.pass_context
def size_command(
    context: click.Context, /, form: Path | None, fired: tuple[float, ...], as_json: bool, **_: Any
) -> int:
    """How much bigger must the master be?

    From a shrinkage or from test bars: the factor, any fired lengths as they must be drawn, and the
    size of FORM's master when a form is given, with what it will hold and weigh when that is asked.
    """
    from dataclasses import asdict

    from ..files.read import read_master
    from ..planning import size
    from ..sizing import shrinkage_of

    job = job_of(context)
    found = shrinkage_of(job.shrinkage)
    if form is None and any(finding.code == "no-shrinkage" for finding in found.findings):
        raise click.UsageError("Nothing says how much the clay shrinks: give --shrinkage or --bar.", context)
    sizing, sizes = (None, ()) if form is None else size(read_master(form, job.form), job)
    findings = found.findings if sizing is None else sizing.findings
    if as_json:
        _print_json({**_size_record(found, sizing, fired, findings), "sizes": [asdict(one) for one in sizes]})
    else:
        lines = [*_size_lines(found, sizing, fired), *_outcome_lines(sizes), *_finding_lines(findings)]
        click.echo("\n".join(lines))
    return OK


@main.command("pour", cls=Command, short_help="How much plaster and water for a volume, a box or a ring?")
@options(FILL, JOB, PLASTER, STUDIO)
@_JSON
@click.pass_context
def pour_command(
    context: click.Context,
    /,
    volume_ml: float | None,
    box: tuple[float, ...] | None,
    ring: tuple[float, ...] | None,
    form_ml: float | None,
    as_json: bool,
    **_: Any,
) -> int:
    """How much plaster and water?

    For a volume, or for a box or ring that is filled to a height, less the form that stands in it.
    """
    from ..findings import any_stop
    from ..mixing import gloss_findings, mix_findings
    from ..pour import mix

    ways = [way for way in (volume_ml, box, ring) if way is not None]
    if len(ways) != 1:
        raise click.UsageError(
            f"{len(ways) or 'No'} volumes are given: give one of --volume-ml, --box, --ring.", context
        )
    volume = volume_ml or _prism_ml(box, ring)
    if form_ml is not None and form_ml >= volume:
        raise click.UsageError(
            f"A form of {form_ml:g} mL does not fit into {volume:g} mL: look at both figures.", context
        )
    job = job_of(context)
    made = mix(volume - (form_ml or 0.0), job.plaster)
    findings = (
        *mix_findings(job.plaster),
        *gloss_findings(made.batches, job.plaster, what="This pour"),
    )
    record = _pour_record(made, job, box or ring, form_ml, findings)
    if as_json:
        _print_json(record)
    else:
        click.echo("\n".join([*_pour_lines(made, record), *_finding_lines(findings)]))
    return STOP if any_stop(findings) else OK


@main.command("dry", cls=Command, short_help="How dry is a mold, and when will it be ready to cast?")
@click.argument("log", type=click.Path(path_type=Path))
@options(DRY, JOB, PLASTER)
@_JSON
@click.pass_context
def dry_command(
    context: click.Context,
    /,
    log: Path,
    set_g: float | None,
    dry_g: float | None,
    plan_file: Path | None,
    piece: str | None,
    ready: float,
    as_json: bool,
    **_: Any,
) -> int:
    """How dry is a mold, and when will it be ready?

    LOG is a CSV file with a line for each weighing: hours (or date and time) and grams.
    """
    from dataclasses import asdict

    from ..drying import dry_state
    from ..files.logs import read_log, weights_of
    from ..formulas.gypsum import dry_to_wet_ratio

    if (set_g is None) == (plan_file is None):
        raise click.UsageError("Give the mold's weight when demolded (--set), or a plan (--plan).", context)
    if plan_file is not None:
        set_g, planned = weights_of(plan_file, piece)
        dry_g = dry_g or planned
    plaster = job_of(context).plaster
    assert set_g is not None
    dry = dry_g or set_g * dry_to_wet_ratio(plaster.consistency / 100, purity=plaster.purity)
    state = dry_state(read_log(log), set_g=set_g, dry_g=dry, ready_water=ready / 100)
    if as_json:
        _print_json(asdict(state))
        return OK
    click.echo(
        f"{state.free_left_percent:.0f} % of the free water is left: {state.water_percent:.1f} % of dry weight."
    )
    if state.ready:
        click.echo(f"Ready to cast: {state.ready_grams:.0f} g or less.")
    else:
        click.echo(f"Ready at {state.ready_grams:.0f} g" + _hours_words(state.hours_left))
    click.echo("\n".join(_finding_lines(state.findings)), nl=bool(state.findings))
    return OK


@main.command("cast", cls=Command, short_help="How long does a wall take, and what is the slip mixed from?")
@options(CASTING, JOB)
@_JSON
@click.pass_context
def cast_command(context: click.Context, /, volume_ml: float | None, as_json: bool, **_: Any) -> int:
    """How long does a wall take, and what is the slip mixed from?

    The time comes from your own trials with this slip in this mold; the slip from its specific gravity.
    """
    from dataclasses import asdict

    from ..casting import cast_rate, mixed_slip

    job = job_of(context).cast
    rate = cast_rate(job.trials)
    minutes = rate.minutes(job.wall_mm)
    slip = None if volume_ml is None else mixed_slip(volume_ml, job)
    if as_json:
        wall = {"wall_mm": job.wall_mm, "minutes": list(minutes), "rate": asdict(rate)}
        _print_json(wall | {"slip": None if slip is None else asdict(slip)})
        return OK
    middle, low, high = minutes
    chance = "nine chances in ten" if rate.trials else "by what has been observed"
    click.echo(
        f"{job.wall_mm:g} mm take about {middle:.3g} min on a flat ({chance}: {low:.3g} to {high:.3g})."
    )
    if slip is not None:
        click.echo(
            f"{slip.volume_ml:.0f} mL of slip weigh {slip.weight_g:.0f} g: {slip.dry_g:.0f} g of dry clay and "
            f"{slip.water_g:.0f} g of water."
        )
        click.echo(
            f"An imperial pint weighs {slip.pint_oz:.1f} oz; a US pint {slip.us_pint_g:.0f} g or {slip.us_pint_oz:.1f} oz."
        )
    click.echo("\n".join(_finding_lines(rate.findings)), nl=bool(rate.findings))
    return OK


def _hours_words(hours: tuple[float, float, float] | None) -> str:
    if hours is None:
        return "."
    middle, low, high = hours
    return f", in about {middle:.0f} hours (nine chances in ten: {low:.0f} to {high:.0f})."


def _listed(files: Iterable[str]) -> str:
    """Files by name, those in folders by number: "sheet.pdf, pieces (3)"."""
    names = sorted(files)
    folders = [name.partition("/")[0] for name in names if "/" in name]
    counts = [f"{folder} ({folders.count(folder)})" for folder in dict.fromkeys(folders)]
    return ", ".join([*(name for name in names if "/" not in name), *counts])


def _prism_ml(box: tuple[float, ...] | None, ring: tuple[float, ...] | None) -> float:
    if box is not None:
        return box[0] * box[1] * box[2] / 1000
    return pi * ring[0] ** 2 / 4 * ring[1] / 1000 if ring is not None else 0.0


def _pour_record(
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
        "findings": _finding_rows(findings),
    }


def _pour_lines(made: Mix, record: dict[str, Any]) -> Iterable[str]:
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


def _finding_rows(findings: tuple[Finding, ...]) -> list[dict[str, str]]:
    return [
        {"level": finding.level, "code": finding.code, "says": finding.says, "remedy": finding.remedy}
        for finding in findings
    ]


def _size_record(
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
        "findings": _finding_rows(findings),
    }


def _size_lines(found: Shrinkage, sizing: Sizing | None, fired: tuple[float, ...]) -> Iterable[str]:
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


def _outcome_lines(sizes: tuple[Size, ...]) -> Iterable[str]:
    from ..target import fluid_ounces

    for one in sizes:
        holds = ""
        if one.brim_ml is not None and one.fill_ml is not None:
            imperial, us = fluid_ounces(one.fill_ml.value)
            holds = (
                f", holds {one.brim_ml.value:.0f} mL to the brim, {one.fill_ml.value:.0f} mL to the line "
                f"({imperial:.1f} imperial, {us:.1f} US fl oz)"
            )
        nests = (
            "" if one.gap_mm is None else f", {one.gap_mm:.1f} mm clear" if one.nests else ", does not nest"
        )
        yield (
            f"Size {one.share:g}: {one.width_mm.value:.1f} mm wide, {one.height_mm.value:.1f} mm high{holds}, "
            f"weighs {one.weight_g.value:.0f} g{nests}"
        )


def _finding_lines(findings: tuple[Finding, ...]) -> Iterable[str]:
    for finding in findings:
        yield f"{finding.level}: {finding.says} {finding.remedy}".strip()


def _print(text: RenderableType) -> None:
    from rich.console import Console

    Console(highlight=False, soft_wrap=True).print(text)


def _print_json(value: Any) -> None:
    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
    click.echo(text.encode())
