"""The options of the command line, and how they become a job.

Most options set one key of the job and go before the job file. They are told apart by headings in
`--help`, in the order of the work. `job` is imported only when a command runs: it costs a third of
what `--help` takes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from ..job import Job

Decorated = TypeVar("Decorated", bound=Callable[..., Any])
Key = tuple[str, str]
Group = tuple[Callable[[Any], Any], ...]

AXES = ("x", "y", "z", "-x", "-y", "-z")
FAMILIES = (
    "one-piece",
    "two-piece",
    "halves",
    "halves+foot",
    "halves+top",
    "halves+foot+top",
    "split-layers",
)
EITHER_OR: tuple[tuple[Key, Key], ...] = (
    (("shrinkage", "total_percent"), ("shrinkage", "bars")),
    (("shrinkage", "height_percent"), ("shrinkage", "height_bars")),
)
"""Keys that say the same thing in two ways: an option for one goes before the job file's other."""
MOST_MM = 1e5
OUTPUT = "Output"
"""The heading of options that name none."""


def number(least: float = 0.0, most: float = 1e6, *, above: bool = False) -> Callable[[str], float]:
    """Reads a finite number from `least` (or above it) to `most`."""
    span = f"above {least:.9g} and up to {most:.9g}" if above else f"from {least:.9g} to {most:.9g}"

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not ((value > least if above else value >= least) and value <= most):
            raise click.BadParameter(f"{text} is not a number {span}.")
        return value

    return read


def lengths(between: str, example: str, counts: Sequence[int]) -> Callable[[str], tuple[float, ...]]:
    """Reads lengths in mm written one after the other, such as 300x200x120."""

    def read(text: str) -> tuple[float, ...]:
        try:
            found = tuple(float(part) for part in text.lower().split(between))
        except ValueError:
            found = ()
        if len(found) not in counts or not all(0 < length < MOST_MM for length in found):
            raise click.BadParameter(f"{text} does not read as lengths in mm. Write it as {example}.")
        return found

    return read


POSITIVE = number(above=True)


class JobOption(click.Option):
    """An option that stands under a heading in the help, and sets one key of the job when `sets` names it."""

    def __init__(self, *names: Any, heading: str, sets: Key | None = None, **rest: Any) -> None:
        super().__init__(*names, **rest)
        self.heading = heading
        self.sets = sets


class Command(click.Command):
    """A command whose help lists its options by heading."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Headings in the order of the work; what has none comes last."""
        groups: dict[str, list[tuple[str, str]]] = {}
        for option in self.get_params(ctx):
            row = option.get_help_record(ctx) if isinstance(option, click.Option) else None
            if row is not None:
                groups.setdefault(getattr(option, "heading", OUTPUT), []).append(row)
        last = {OUTPUT: groups.pop(OUTPUT, [])}
        for heading, rows in (groups | last).items():
            with formatter.section(heading):
                formatter.write_dl(rows)


def option(heading: str, sets: Key | None, *names: str, **rest: Any) -> Callable[[Decorated], Decorated]:
    """An option under a heading, for the key of the job that it sets."""
    return click.option(*names, cls=JobOption, heading=heading, sets=sets, **rest)


def options(*groups: Group) -> Callable[[Decorated], Decorated]:
    """A decorator that adds groups of options, in this order."""

    def add(command: Decorated) -> Decorated:
        for group in reversed(groups):
            for one in reversed(group):
                command = one(command)
        return command

    return add


_BAR = lengths("/", "150/144/133 (wet, dry, fired) or 150/133 (wet, fired)", (2, 3))
_PERCENT = number(0, 49.9)

JOB: Group = (
    option(
        "Job",
        None,
        "--job",
        "job_file",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="A job file (TOML) with what stays the same in your studio; options go before it.",
    ),
)
FORM: Group = (
    option("The file", ("form", "name"), "--name", metavar="NAME", help="What the sheet calls the form."),
    option(
        "The file",
        ("form", "units"),
        "--units",
        type=click.Choice(["mm", "cm", "m", "inch"]),
        help="Unit of the file's numbers; mm when left out.",
    ),
    option(
        "The file",
        ("form", "up"),
        "--up",
        type=click.Choice(AXES),
        help="The file's axis that points up when the piece stands; z when left out.",
    ),
    option(
        "The file",
        ("form", "size_mm"),
        "--size",
        type=POSITIVE,
        metavar="MM",
        help="Scale the form so that its largest side is this.",
    ),
    option(
        "The file",
        ("form", "close_openings"),
        "--close-openings",
        is_flag=True,
        default=None,
        help="Allow openings in the surface to be closed flat; what was closed is said.",
    ),
    option(
        "The file",
        ("form", "fill_hollow"),
        "--fill-hollow",
        is_flag=True,
        default=None,
        help="Allow a form that is modelled with its inside to be filled solid, level with its lip; it is said how.",
    ),
)
SHRINKAGE: Group = (
    option(
        "Shrinkage",
        ("shrinkage", "total_percent"),
        "--shrinkage",
        type=_PERCENT,
        metavar="PERCENT",
        help="The clay's total shrinkage, wet to fired, on the wet length.",
    ),
    option(
        "Shrinkage",
        ("shrinkage", "bars"),
        "--bar",
        multiple=True,
        type=_BAR,
        metavar="WET/DRY/FIRED",
        help="A test bar in mm instead, such as 150/144/133; may be repeated.",
    ),
    option(
        "Shrinkage",
        ("shrinkage", "height_percent"),
        "--height-shrinkage",
        type=_PERCENT,
        metavar="PERCENT",
        help="In height, where it differs from the width.",
    ),
    option(
        "Shrinkage",
        ("shrinkage", "height_bars"),
        "--height-bar",
        multiple=True,
        type=_BAR,
        metavar="WET/DRY/FIRED",
        help="A bar that was measured upright; may be repeated.",
    ),
    option(
        "Shrinkage",
        ("shrinkage", "measured_from"),
        "--measured-from",
        type=click.Choice(["master", "mold", "cast"]),
        help="What the wet lengths were taken from: marks on the master, in the mold (when left out), or on the fresh cast.",
    ),
    option(
        "Shrinkage",
        ("shrinkage", "plaster_expansion_percent"),
        "--plaster-expansion",
        type=number(-1, 3),
        metavar="PERCENT",
        help="How much the plaster grows as it sets; 0.2 when left out.",
    ),
    option(
        "Shrinkage",
        ("shrinkage", "print_shrink_percent"),
        "--print-shrink",
        type=number(-2, 5),
        metavar="PERCENT",
        help="How much smaller than drawn the printer prints; 0 when left out.",
    ),
)
FIRED_HEIGHT: Group = (
    option(
        "Shrinkage",
        ("target", "height_mm"),
        "--fired-height",
        type=POSITIVE,
        metavar="MM",
        help="How tall the fired piece shall be; the whole form is scaled to it.",
    ),
)
STAND: Group = (
    option(
        "Opening",
        ("stand", "opening"),
        "--opening",
        type=click.Choice(["rim", "foot", "made"]),
        help="Where the slip goes in: the rim, the foot, or an opening to be made; found on the form when left out.",
    ),
    option(
        "Opening",
        ("stand", "opening_diameter_mm"),
        "--opening-diameter",
        type=POSITIVE,
        metavar="MM",
        help="Diameter of an opening to be made.",
    ),
    option(
        "Opening",
        ("stand", "opening_at"),
        "--opening-at",
        type=click.Choice(AXES),
        help="The side of an opening to be made; z, the top, when left out.",
    ),
    option(
        "Opening",
        ("stand", "spare"),
        "--spare/--no-spare",
        default=None,
        help="With or without the collar of waste above the opening.",
    ),
)
MOLD: Group = (
    option(
        "Cottle",
        ("cottle", "kind"),
        "--cottle",
        type=click.Choice(["ring", "box", "sheet"]),
        help="Ring, box of boards, or a sheet round the form; what wastes least when left out.",
    ),
    option(
        "Cottle",
        ("cottle", "wall_mm"),
        "--wall",
        type=POSITIVE,
        metavar="MM",
        help="Least plaster round the form; by its size when left out.",
    ),
    option(
        "Cottle",
        ("cottle", "rings_mm"),
        "--ring",
        multiple=True,
        type=POSITIVE,
        metavar="MM",
        help="Inner diameter of a ring at hand; may be repeated.",
    ),
    option(
        "Seams",
        ("parting", "family"),
        "--family",
        type=click.Choice(FAMILIES),
        help="Only this kind of mold.",
    ),
    option(
        "Seams",
        ("parting", "planes_mm"),
        "--plane",
        multiple=True,
        type=number(-1e5, 1e5),
        metavar="MM",
        help="Height of a level seam above the foot; may be repeated.",
    ),
)
PIECES: Group = (
    option(
        "Pieces",
        ("pieces", "natches"),
        "--natches",
        type=click.Choice(["cast", "insert", "none"]),
        help="What keeps pieces in register: knobs of plaster, sockets for printed inserts, or nothing.",
    ),
    option(
        "Pieces",
        ("pieces", "chamfer_mm"),
        "--chamfer",
        type=number(0, 10),
        metavar="MM",
        help="Taken off the outer edges; 1.5 when left out.",
    ),
    option(
        "Pieces",
        ("pieces", "drip_bevel_deg"),
        "--drip-bevel",
        type=number(0, 80),
        metavar="DEG",
        help="A flat on which the emptied mold rests, its opening tilted this far from straight down.",
    ),
    option(
        "Boards",
        ("boards", "way"),
        "--pour-on",
        type=click.Choice(["boards", "bedded"]),
        help="Printed boards, or the master bedded in clay up to each seam.",
    ),
    option(
        "Boards",
        ("boards", "each_piece"),
        "--boards-for-each",
        is_flag=True,
        default=None,
        help="A board for every piece, not for the first alone.",
    ),
    option(
        "Boards",
        ("boards", "bed_mm"),
        "--bed",
        type=lengths("x", "220x220x250", (3,)),
        metavar="WxDxH",
        help="The printer's bed and height; larger boards are cut and pinned.",
    ),
    option(
        "Boards",
        ("boards", "mark"),
        "--mark",
        metavar="TEXT",
        help='Cast into the pieces; name, piece and size when left out, "" for none.',
    ),
    option(
        "Boards",
        ("boards", "date"),
        "--date",
        metavar="TEXT",
        help="Part of the mark, as you write dates.",
    ),
)
PLASTER: Group = (
    option(
        "Plaster",
        ("plaster", "plaster"),
        "--plaster",
        metavar="NAME",
        help="Its kind: pottery plaster (when left out) or alpha plaster.",
    ),
    option(
        "Plaster",
        ("plaster", "consistency"),
        "--consistency",
        type=number(30, 120),
        metavar="PARTS",
        help="Parts of water to 100 parts of plaster, by weight; 70 when left out.",
    ),
    option(
        "Plaster",
        ("plaster", "allowance_percent"),
        "--allowance",
        type=number(0, 100),
        metavar="PERCENT",
        help="What stays in the bucket; 10 when left out.",
    ),
    option(
        "Plaster",
        ("plaster", "scale_step_g"),
        "--scale-step",
        type=POSITIVE,
        metavar="G",
        help="The step of your scale; 10 when left out.",
    ),
)
LENGTHS: Group = (
    option(
        "Lengths",
        None,
        "--fired",
        multiple=True,
        type=POSITIVE,
        metavar="MM",
        help="A length of the fired piece, to be drawn so much longer; may be repeated.",
    ),
)
FILL: Group = (
    option("Volume", None, "--volume-ml", type=POSITIVE, metavar="ML", help="Volume of plaster to pour."),
    option(
        "Volume",
        None,
        "--box",
        type=lengths("x", "300x200x120 (width, depth, height)", (3,)),
        metavar="WxDxH",
        help="Inside of the box and height of the plaster in mm, such as 300x200x120.",
    ),
    option(
        "Volume",
        None,
        "--ring",
        type=lengths("x", "200x150 (diameter, height)", (2,)),
        metavar="DxH",
        help="Inside diameter of the ring and height of the plaster in mm, such as 200x150.",
    ),
    option(
        "Volume",
        None,
        "--form-ml",
        type=number(),
        metavar="ML",
        help="Volume of the form that stands inside.",
    ),
)
PAPER: Group = (
    option(
        OUTPUT,
        ("sheet", "paper"),
        "--paper",
        type=click.Choice(["a4", "letter"]),
        help="Paper of the sheet; a4 when left out.",
    ),
)


def job_of(context: click.Context) -> Job:
    """The job file's job, with every option that was given in its place.

    Raises JobError as `read_job` and `job_from_dict`, UsageError for options that do nothing together.
    """
    import msgspec

    from ..files.jobs import read_job
    from ..job import Job, job_from_dict

    path = context.params.get("job_file")
    raw: dict[str, Any] = msgspec.to_builtins(read_job(path) if path else Job())
    given = {
        one.sets: context.params[str(one.name)]
        for one in context.command.params
        if isinstance(one, JobOption) and one.sets and context.params[str(one.name)] not in (None, ())
    }
    for one, other in (*EITHER_OR, *((b, a) for a, b in EITHER_OR)):
        if one in given and other not in given:
            raw[other[0]][other[1]] = msgspec.to_builtins(getattr(getattr(Job(), other[0]), other[1]))
    for (part, key), value in given.items():
        raw[part][key] = [_bar(lengths) for lengths in value] if key.endswith("bars") else value
    made = {("stand", "opening_diameter_mm"), ("stand", "opening_at")} & given.keys()
    if made and raw["stand"]["opening"] != "made":
        raise click.UsageError("An opening of that diameter or side needs --opening made too.", context)
    return job_from_dict(raw)


def _bar(lengths: tuple[float, ...]) -> dict[str, float]:
    """A bar written WET/FIRED or WET/DRY/FIRED."""
    bar = {"wet_mm": lengths[0], "fired_mm": lengths[-1]}
    return bar | ({"dry_mm": lengths[1]} if len(lengths) == 3 else {})
