"""Options about the form, its size and how it stands."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ..options import POSITIVE, Group, lengths, number, option

AXES = ("x", "y", "z", "-x", "-y", "-z")
CAPACITY_UNITS = ("mL", "imperial fl oz", "US fl oz")


def _taller(text: str) -> dict[str, Any]:
    """Reads 20 or 20:30-80 as a stretch."""
    by, _, zone = text.partition(":")
    try:
        found: dict[str, Any] = {"taller_mm": float(by)}
        if zone:
            low, high = (float(height) for height in zone.split("-"))
            found["zone_mm"] = (low, high)
    except ValueError:
        raise click.BadParameter(
            f"{text} does not read as a stretch in mm. Write it as 20, or as 20:30-80 for a zone of heights."
        ) from None
    return found


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
TARGET: Group = (
    option(
        "Size of the fired piece",
        ("target", "height_mm"),
        "--fired-height",
        type=POSITIVE,
        metavar="MM",
        help="How tall the fired piece shall be; the whole form is scaled to it.",
    ),
    option(
        "Size of the fired piece",
        ("target", "width_mm"),
        "--fired-width",
        type=POSITIVE,
        metavar="MM",
        help="How wide at the widest, instead.",
    ),
    option(
        "Size of the fired piece",
        ("target", "weight_g"),
        "--fired-weight",
        type=POSITIVE,
        metavar="G",
        help="What it shall weigh, instead.",
    ),
    option(
        "Size of the fired piece",
        ("target", "capacity"),
        "--capacity",
        type=POSITIVE,
        metavar="AMOUNT",
        help="What it shall hold, instead: to the brim, or to --fill-below.",
    ),
    option(
        "Size of the fired piece",
        ("target", "capacity_unit"),
        "--capacity-unit",
        type=click.Choice(CAPACITY_UNITS),
        help="Unit of --capacity; mL when left out.",
    ),
    option(
        "Size of the fired piece",
        ("target", "fill_mm"),
        "--fill-below",
        type=number(),
        metavar="MM",
        help="How far the fill line lies below the brim, fired.",
    ),
    option(
        "Size of the fired piece",
        ("target", "stretch"),
        "--taller",
        type=_taller,
        metavar="MM[:LOW-HIGH]",
        help="Taller by so much at the same width, such as 20, or 20:30-80 to stretch it between those heights only.",
    ),
    option(
        "Size of the fired piece",
        ("target", "sizes"),
        "--also-size",
        multiple=True,
        type=number(0.05, 20, above=True),
        metavar="SHARE",
        help="A further size of the form, such as 0.7: what it would hold and weigh; may be repeated.",
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
