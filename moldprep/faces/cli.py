"""The command line: `moldprep plan`, `check`, `size`, `pour`.

Heavy imports wait inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from collections.abc import Callable
from math import pi
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn, TypeVar

import click

from .. import __version__
from ..errors import Cancelled, JobError, RequestError

Command = TypeVar("Command", bound=Callable[..., Any])

OK, STOP, REFUSED, INTERRUPTED = 0, 1, 2, 130
"""Exit statuses: done; a stop finding; a request that cannot be met; stopped by Ctrl-C."""


class _StopKey:
    """Remembers that Ctrl-C was pressed, and interrupts the work."""

    def __init__(self) -> None:
        self.pressed = False

    def __enter__(self) -> None:
        self._before = signal.signal(signal.SIGINT, self._press)

    def __exit__(self, *error: object) -> None:
        signal.signal(signal.SIGINT, self._before)

    def _press(self, number: int, frame: FrameType | None) -> None:
        self.pressed = True
        raise KeyboardInterrupt


class _Group(click.Group):
    """Turns every error into one line on standard error and an exit status; never a traceback."""

    def main(self, *args: Any, **kwargs: Any) -> NoReturn:
        kwargs["standalone_mode"] = False
        stopped = _StopKey()
        try:
            with stopped:
                status = super().main(*args, **kwargs)
        except click.exceptions.Exit as stop:
            sys.exit(stop.exit_code)
        except click.ClickException as error:
            _line(error.format_message())
            sys.exit(REFUSED)
        except (KeyboardInterrupt, click.Abort, Cancelled):
            _line("Stopped; nothing was written.")
            sys.exit(INTERRUPTED)
        except RequestError as error:
            _line(str(error))
            sys.exit(REFUSED)
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            sys.exit(OK)
        except Exception as error:
            if stopped.pressed:  # some libraries turn an interrupt into an error of their own
                _line("Stopped; nothing was written.")
                sys.exit(INTERRUPTED)
            if os.environ.get("MOLDPREP_TRACEBACK"):
                raise
            _line(
                f"moldprep failed: {type(error).__name__}: {error}. Please report it, with the form and the job; "
                "MOLDPREP_TRACEBACK=1 shows where."
            )
            sys.exit(REFUSED)
        sys.exit(status if isinstance(status, int) else OK)


def _line(text: str) -> None:
    click.echo(" ".join(text.split()), err=True)


def _form_options(command: Command) -> Command:
    """Options of every command that reads a form; each overrides the job file."""
    for option in reversed(
        [
            click.option("--job", "job_file", type=click.Path(path_type=Path), help="A job file (TOML)."),
            click.option(
                "--units",
                type=click.Choice(["mm", "cm", "m", "inch"]),
                help="Unit of the file's numbers; mm when left out.",
            ),
            click.option(
                "--up",
                type=click.Choice(["x", "y", "z", "-x", "-y", "-z"]),
                help="The file's axis that points up.",
            ),
            click.option(
                "--size",
                "size_mm",
                type=float,
                metavar="MM",
                help="Scale the form so that its largest side is this.",
            ),
            click.option(
                "--close-openings",
                is_flag=True,
                default=None,
                help="Allow openings in the surface to be closed flat.",
            ),
            click.option(
                "--shrinkage",
                type=float,
                metavar="PERCENT",
                help="The clay's total shrinkage, wet to fired, on the wet length.",
            ),
            click.option(
                "--bar",
                "bars",
                multiple=True,
                metavar="WET/DRY/FIRED",
                help="A test bar in mm, such as 150/144/133; may be repeated.",
            ),
            click.option(
                "--fired-height", type=float, metavar="MM", help="How tall the fired piece must be."
            ),
            click.option(
                "--opening", type=click.Choice(["rim", "foot", "made"]), help="Where the slip goes in."
            ),
            click.option("--opening-diameter", type=float, metavar="MM", help="Diameter of a made opening."),
            click.option(
                "--opening-at",
                type=click.Choice(["x", "y", "z", "-x", "-y", "-z"]),
                help="The side of a made opening; z is the top.",
            ),
            click.option(
                "--no-spare", is_flag=True, default=None, help="Leave out the collar of waste above the rim."
            ),
        ]
    ):
        command = option(command)
    return command


def _plan_options(command: Command) -> Command:
    """Options of the whole plan."""
    families = [
        "one-piece",
        "two-piece",
        "halves",
        "halves+foot",
        "halves+top",
        "halves+foot+top",
        "split-layers",
    ]
    for option in reversed(
        [
            click.option(
                "--cottle",
                type=click.Choice(["ring", "box", "sheet"]),
                help="Ring, box of boards, or sheet round the form.",
            ),
            click.option("--wall", type=float, metavar="MM", help="Least plaster round the form."),
            click.option(
                "--ring",
                "rings",
                type=float,
                multiple=True,
                metavar="MM",
                help="Inner diameter of a ring at hand; may be repeated.",
            ),
            click.option("--family", type=click.Choice(families), help="Only this kind of mold."),
            click.option(
                "--plane",
                "planes",
                type=float,
                multiple=True,
                metavar="MM",
                help="Height of a level seam above the foot; may be repeated.",
            ),
            click.option(
                "--consistency",
                type=float,
                metavar="PARTS",
                help="Parts of water to 100 parts of plaster, by weight.",
            ),
            click.option("--paper", type=click.Choice(["a4", "letter"]), help="Paper of the sheet."),
        ]
    ):
        command = option(command)
    return command


_JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print numbers for other programs instead of words."
)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="moldprep %(version)s")
def main() -> None:
    """Plaster molds for slip casting, from the mesh of a form to a sheet for the bench."""


@main.command("plan")
@click.argument("form", type=click.Path(path_type=Path))
@_form_options
@_plan_options
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where to write; FORM's name and .plan when left out.",
)
@_JSON
def plan_command(form: Path, out: Path | None, as_json: bool, **options: Any) -> int:
    """Plan the mold of FORM (STL, OBJ, PLY or 3MF): size, pulls, seams, cottle, plaster; write its sheet.

    Writes a folder with sheet.pdf, plan.json, master.stl and the pieces.
    """
    from rich.console import Console

    from ..files.read import read_master
    from ..files.write import RECORD, write_folder
    from ..findings import any_stop
    from ..planning import plan
    from ..sheet.bundle import plan_files
    from ..sheet.text import plan_text
    from .progress import Bar

    job = _job(options)
    folder = out or Path(f"{form.stem}.plan")
    with Bar() as bar:
        bar.stage("read the form")
        made = plan(read_master(form, job.form, watch=bar), job, watch=bar)
        bar.stage("set the sheet")
        files = plan_files(made)
        write_folder(folder, files)
    if as_json:
        click.echo(files[RECORD].decode(), nl=False)
    else:
        Console(highlight=False, soft_wrap=True).print(plan_text(made))
        click.echo(f"\nWritten to {folder}: {', '.join(sorted(files))}")
    return STOP if any_stop(made.findings) else OK


@main.command("check")
@click.argument("form", type=click.Path(path_type=Path))
@_form_options
@_JSON
def check_command(form: Path, as_json: bool, **options: Any) -> int:
    """Check FORM: is it whole, how does it stand, and which way would plaster let go of it?"""
    from rich.console import Console

    from ..files.read import read_master
    from ..findings import any_stop, worst_first
    from ..planning import check
    from ..sheet.record import check_record
    from ..sheet.text import check_text
    from .progress import Bar

    job = _job(options)
    with Bar() as bar:
        bar.stage("read the form")
        master = read_master(form, job.form, watch=bar)
        sizing, stand, study = check(master, job, watch=bar)
    findings = worst_first(master.findings + sizing.findings + stand.findings + study.findings)
    if as_json:
        _echo_json(check_record(master, sizing, stand, study, findings))
    else:
        Console(highlight=False, soft_wrap=True).print(check_text(master.name, stand, study, findings))
    return STOP if any_stop(findings) else OK


@main.command("size")
@click.option(
    "--shrinkage", type=float, metavar="PERCENT", help="Total shrinkage, wet to fired, on the wet length."
)
@click.option(
    "--bar",
    "bars",
    multiple=True,
    metavar="WET/DRY/FIRED",
    help="A test bar in mm, such as 150/144/133; may be repeated.",
)
@click.option(
    "--measured-from",
    type=click.Choice(["master", "mold", "cast"]),
    help="What the wet lengths were taken from.",
)
@click.option(
    "--plaster-expansion",
    type=float,
    metavar="PERCENT",
    help="Setting expansion of the plaster; 0.2 when left out.",
)
@click.option(
    "--print-shrink", type=float, metavar="PERCENT", help="How much smaller than drawn the printer prints."
)
@click.option(
    "--fired",
    "fired",
    type=float,
    multiple=True,
    metavar="MM",
    help="A fired length to size; may be repeated.",
)
@_JSON
def size_command(fired: tuple[float, ...], as_json: bool, **options: Any) -> int:
    """How much bigger must the master be? From a shrinkage or from test bars, for any fired lengths."""
    from ..job import ShrinkageJob
    from ..sizing import shrinkage_of

    given = {
        "total_percent": options["shrinkage"],
        "bars": _bars(options["bars"]),
        "measured_from": options["measured_from"],
        "plaster_expansion_percent": options["plaster_expansion"],
        "print_shrink_percent": options["print_shrink"],
    }
    part = _checked({"shrinkage": {key: value for key, value in given.items() if value not in (None, [])}})
    found = shrinkage_of(part.shrinkage)
    assert isinstance(part.shrinkage, ShrinkageJob)
    factor = found.factor[0]
    if as_json:
        _echo_json(
            {
                "shrinkage": found.width,
                "drying": found.drying,
                "firing": found.firing,
                "uncertainty": found.uncertainty,
                "factor": factor,
                "lengths": [{"fired_mm": length, "master_mm": length * factor} for length in fired],
                "findings": [{"level": f.level, "code": f.code, "says": f.says} for f in found.findings],
            }
        )
        return OK
    unsure = f" ± {100 * found.uncertainty:.2f}" if found.uncertainty else ""
    click.echo(
        f"Shrinkage {100 * found.width:.2f}{unsure} % of the wet length: the master is {factor:.5f} times the fired piece."
    )
    if found.drying is not None and found.firing is not None:
        click.echo(f"Drying {100 * found.drying:.2f} %, firing {100 * found.firing:.2f} %.")
    for length in fired:
        click.echo(f"{length:g} mm fired: {length * factor:.2f} mm master")
    for finding in found.findings:
        click.echo(f"{finding.level}: {finding.says} {finding.remedy}".strip())
    return OK


@main.command("pour")
@click.option("--volume-ml", type=float, metavar="ML", help="Volume of plaster to pour.")
@click.option("--box", metavar="WxDxH", help="Inside of the box in mm, such as 300x200x120.")
@click.option("--ring", metavar="DxH", help="Inside of the ring in mm, diameter and height, such as 200x150.")
@click.option(
    "--form-ml", type=float, default=0.0, metavar="ML", help="Volume of the form that stands inside."
)
@click.option(
    "--consistency", type=float, metavar="PARTS", help="Parts of water to 100 parts of plaster, by weight."
)
@click.option(
    "--allowance", type=float, metavar="PERCENT", help="What stays in the bucket; 10 when left out."
)
@click.option("--scale-step", type=float, metavar="G", help="The scale's step; 10 when left out.")
@_JSON
def pour_command(as_json: bool, **options: Any) -> int:
    """How much plaster and water? For a volume, or for a box or ring with a form inside."""
    from ..pour import mix

    given = {
        "consistency": options["consistency"],
        "allowance_percent": options["allowance"],
        "scale_step_g": options["scale_step"],
    }
    part = _checked({"plaster": {key: value for key, value in given.items() if value is not None}})
    volume = _volume_ml(options)
    made = mix(volume, part.plaster)
    if as_json:
        _echo_json(
            {
                "solid_ml": made.solid_ml,
                "slurry_ml": made.slurry_ml,
                "plaster_g": made.plaster_g,
                "water_g": made.water_g,
                "consistency": made.consistency,
                "dry_g": made.dry_g,
            }
        )
        return OK
    click.echo(f"{made.plaster_g:.0f} g of plaster into {made.water_g:.0f} g of water")
    click.echo(
        f"for {made.solid_ml:.0f} mL of plaster and {made.slurry_ml - made.solid_ml:.0f} mL left in the bucket; "
        f"dry it weighs {made.dry_g:.0f} g."
    )
    return OK


def _volume_ml(options: dict[str, Any]) -> float:
    """The volume to fill; JobError unless exactly one way of saying it was used."""
    ways = [name for name in ("volume_ml", "box", "ring") if options[name] is not None]
    if len(ways) != 1:
        raise JobError(
            f"{len(ways)} volumes are given.",
            code="pour-volume",
            remedy="Give one of --volume-ml, --box, --ring.",
        )
    form = float(options["form_ml"])
    if options["volume_ml"] is not None:
        return float(options["volume_ml"]) - form
    sides = _numbers(options[ways[0]], "x", 3 if ways[0] == "box" else 2, f"--{ways[0]}")
    if ways[0] == "box":
        return sides[0] * sides[1] * sides[2] / 1000 - form
    return pi * sides[0] ** 2 / 4 * sides[1] / 1000 - form


def _numbers(text: str, between: str, count: int, option: str) -> list[float]:
    """Positive numbers written one after the other."""
    try:
        found = [float(part) for part in text.lower().split(between)]
    except ValueError:
        found = []
    if len(found) != count or min(found, default=0) <= 0:
        raise JobError(
            f"{option} {text!r} is not {count} lengths above 0.",
            code="option-numbers",
            remedy=f"Write it as {between.join(['100'] * count)}, in mm.",
        )
    return found


def _bars(texts: tuple[str, ...]) -> list[dict[str, float]]:
    """Bars written WET/DRY/FIRED or WET/FIRED."""
    found = []
    for text in texts:
        count = 2 if text.count("/") == 1 else 3
        lengths = _numbers(text, "/", count, "--bar")
        bar = {"wet_mm": lengths[0], "fired_mm": lengths[-1]}
        found.append(bar | ({"dry_mm": lengths[1]} if count == 3 else {}))
    return found


def _job(options: dict[str, Any]) -> Any:
    """The job: the file's, overridden by the options that were given."""
    import msgspec

    from ..files.jobs import read_job
    from ..job import Job

    base: dict[str, Any] = msgspec.to_builtins(
        read_job(options["job_file"]) if options["job_file"] else Job()
    )
    places = {
        "units": ("form", "units"),
        "up": ("form", "up"),
        "size_mm": ("form", "size_mm"),
        "close_openings": ("form", "close_openings"),
        "shrinkage": ("shrinkage", "total_percent"),
        "fired_height": ("shrinkage", "fired_height_mm"),
        "opening": ("stand", "opening"),
        "opening_diameter": ("stand", "opening_diameter_mm"),
        "opening_at": ("stand", "opening_at"),
        "cottle": ("cottle", "kind"),
        "wall": ("cottle", "wall_mm"),
        "rings": ("cottle", "rings_mm"),
        "family": ("parting", "family"),
        "planes": ("parting", "planes_mm"),
        "consistency": ("plaster", "consistency"),
        "paper": ("sheet", "paper"),
    }
    for option, (part, key) in places.items():
        if options.get(option) not in (None, ()):
            base[part][key] = options[option]
    if options.get("bars"):
        base["shrinkage"]["bars"] = _bars(options["bars"])
    if options.get("no_spare"):
        base["stand"]["spare"] = False
    return _checked(base)


def _checked(raw: dict[str, Any]) -> Any:
    from ..job import job_from_dict

    return job_from_dict(raw)


def _echo_json(value: Any) -> None:
    click.echo(json.dumps(value, indent=2, ensure_ascii=False))
