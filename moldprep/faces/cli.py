"""The command line: `moldprep plan`, `check`, `size`, `pour`, `dry`, `cast`, `page`.

Heavy imports wait inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import json
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
    PAGE,
    PAPER,
    PIECES,
    PLASTER,
    PRINTER,
    SHRINKAGE,
    STAND,
    STUDIO,
    TARGET,
)
from .lines import (
    finding_lines,
    hours_words,
    listed,
    outcome_lines,
    pour_lines,
    pour_record,
    prism_ml,
    size_lines,
    size_record,
)
from .options import Command, job_of, options

if TYPE_CHECKING:
    from rich.console import RenderableType

    from ..sizing import Sizing
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
        click.echo(f"\nWritten to {folder}: {listed(files)}")
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
    from ..findings import any_stop
    from ..planning import size
    from ..sizing import shrinkage_of

    job = job_of(context)
    found = shrinkage_of(job.shrinkage)
    if form is None and any(finding.code == "no-shrinkage" for finding in found.findings):
        raise click.UsageError("Nothing says how much the clay shrinks: give --shrinkage or --bar.", context)
    sizing: Sizing | None = None
    sizes: tuple[Size, ...] = ()
    findings = found.findings
    if form is not None:
        sizing, sizes, findings = size(read_master(form, job.form), job)
    if as_json:
        _print_json({**size_record(found, sizing, fired, findings), "sizes": [asdict(one) for one in sizes]})
    else:
        lines = [*size_lines(found, sizing, fired), *outcome_lines(sizes), *finding_lines(findings)]
        click.echo("\n".join(lines))
    return STOP if any_stop(findings) else OK


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
    plan_file: Path | None,
    piece: str | None,
    as_json: bool,
    **_: Any,
) -> int:
    """How much plaster and water?

    For a volume, or for a box or ring that is filled to a height, less the form that stands in it; or for a
    plan's mold, all of it or one piece.
    """
    from ..files.records import job_of as planned_job
    from ..files.records import solid_ml_of
    from ..findings import any_stop
    from ..mixing import gloss_findings, mix_findings
    from ..pour import mix

    ways = [way for way in (volume_ml, box, ring, plan_file) if way is not None]
    if len(ways) != 1:
        raise click.UsageError(
            f"{len(ways) or 'No'} volumes are given: give one of --volume-ml, --box, --ring, --plan.", context
        )
    volume = volume_ml or (solid_ml_of(plan_file, piece) if plan_file else prism_ml(box, ring))
    if form_ml is not None and form_ml >= volume:
        raise click.UsageError(
            f"A form of {form_ml:g} mL does not fit into {volume:g} mL: look at both figures.", context
        )
    job = job_of(context, planned_job(plan_file) if plan_file else None)
    made = mix(volume - (form_ml or 0.0), job.plaster)
    findings = (
        *mix_findings(job.plaster),
        *gloss_findings(made.batches, job.plaster, what="This pour"),
    )
    record = pour_record(made, job, box or ring, form_ml, findings)
    if as_json:
        _print_json(record)
    else:
        click.echo("\n".join([*pour_lines(made, record), *finding_lines(findings)]))
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
    from ..files.logs import read_log
    from ..files.records import weights_of
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
        click.echo(f"Ready at {state.ready_grams:.0f} g" + hours_words(state.hours_left))
    click.echo("\n".join(finding_lines(state.findings)), nl=bool(state.findings))
    return OK


@main.command("cast", cls=Command, short_help="How long does a wall take, and what is the slip mixed from?")
@options(CASTING, JOB)
@_JSON
@click.pass_context
def cast_command(
    context: click.Context,
    /,
    volume_ml: float | None,
    plan_file: Path | None,
    as_json: bool,
    **given: Any,
) -> int:
    """How long does a wall take, and what is the slip mixed from?

    The time comes from your own trials with this slip in this mold; the slip from its specific gravity.
    """
    from dataclasses import asdict

    from msgspec.structs import replace

    from ..casting import cast_rate, mixed_slip
    from ..files.records import cast_of
    from ..files.records import job_of as planned_job

    job = job_of(context, planned_job(plan_file) if plan_file else None).cast
    if plan_file is not None:
        planned_ml, planned_mm = cast_of(plan_file)
        volume_ml = volume_ml or planned_ml
        job = job if given.get("wall") else replace(job, wall_mm=planned_mm)
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
        f"{job.wall_mm:.3g} mm take about {_minutes(middle)} min on a flat ({chance}: {_minutes(low)} to {_minutes(high)})."
    )
    if slip is not None:
        click.echo(
            f"{slip.volume_ml:.0f} mL of slip weigh {slip.weight_g:.0f} g: {slip.dry_g:.0f} g of dry clay and "
            f"{slip.water_g:.0f} g of water."
        )
        click.echo(
            f"An imperial pint weighs {slip.pint_oz:.1f} oz; a US pint {slip.us_pint_g:.0f} g or {slip.us_pint_oz:.1f} oz."
        )
    click.echo("\n".join(finding_lines(rate.findings)), nl=bool(rate.findings))
    return OK


@main.command("page", cls=Command, short_help="The same plan in your browser: looked at, turned, steered.")
@_MAYBE_FORM
@options(PAGE)
def page_command(*, form: Path | None, port: int, listen: str, library: Path | None, show: bool) -> int:
    """Open a page in your browser that plans the mold of FORM, or of a form that you drop on it.

    It shows the form with what plaster would grip, lets you choose among molds and move their seams, and
    writes what plan writes. It runs on this machine and sends nothing anywhere; end it with Ctrl-C.
    """
    from .page.command import open_page

    return open_page(form=form, port=port, listen=listen, library=library, show=show)


def _print(text: RenderableType) -> None:
    from rich.console import Console

    Console(highlight=False, soft_wrap=True).print(text)


def _print_json(value: Any) -> None:
    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
    click.echo(text.encode())


def _minutes(minutes: float) -> str:
    """Three figures, and never a power of ten."""
    return f"{minutes:.3g}" if minutes < 1000 else f"{minutes:.0f}"
