"""The options of the command line, and how they become a job.

Most options set one key of the job and go before the job file. They are told apart by headings in
`--help`, in the order of the work. `job` is imported only when a command runs: it costs a third of
what `--help` takes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from ..job import Job

Decorated = TypeVar("Decorated", bound=Callable[..., Any])
Key = tuple[str, str]
Group = tuple[Callable[[Any], Any], ...]

_SIZES = ("height_mm", "width_mm", "weight_g", "capacity")
EITHER_OR: tuple[tuple[Key, Key], ...] = (
    (("shrinkage", "total_percent"), ("shrinkage", "bars")),
    (("shrinkage", "height_percent"), ("shrinkage", "height_bars")),
    *((("target", one), ("target", other)) for one, other in combinations(_SIZES, 2)),
    *((("target", one), ("target", other)) for one in _SIZES for other in ("length_mm", "length_drawn_mm")),
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


def job_of(context: click.Context, base: Job | None = None) -> Job:
    """The job file's job (else `base`, else the usual one), with every option that was given in its place.

    Raises JobError as `read_job` and `job_from_dict`, UsageError for options that do nothing together.
    """
    import msgspec

    from ..files.jobs import read_job
    from ..job import Job, job_from_dict

    path = context.params.get("job_file")
    raw: dict[str, Any] = msgspec.to_builtins(read_job(path) if path else base or Job())
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
