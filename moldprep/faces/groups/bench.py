"""Options of the commands that do one step alone."""

from __future__ import annotations

from pathlib import Path

import click

from ..options import POSITIVE, Group, lengths, number, option

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
    option(
        "Volume",
        None,
        "--plan",
        "plan_file",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Take the volume from a plan's record (plan.json).",
    ),
    option(
        "Volume",
        None,
        "--piece",
        metavar="LETTER",
        help="One piece of that plan; the whole mold when left out.",
    ),
)
DRY: Group = (
    option(
        "Weights",
        None,
        "--set",
        "set_g",
        type=POSITIVE,
        metavar="G",
        help="The mold's weight when it was demolded.",
    ),
    option(
        "Weights",
        None,
        "--dry",
        "dry_g",
        type=POSITIVE,
        metavar="G",
        help="Its weight bone dry; by the consistency when left out.",
    ),
    option(
        "Weights",
        None,
        "--plan",
        "plan_file",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Take both from a plan's record (plan.json).",
    ),
    option(
        "Weights",
        None,
        "--piece",
        metavar="LETTER",
        help="One piece of that plan; the whole mold when left out.",
    ),
    option(
        "Weights",
        None,
        "--ready",
        type=number(1, 30),
        default=10.0,
        metavar="PERCENT",
        help="Water on dry weight at which you cast; 10 when left out.",
    ),
)


def _trial(text: str) -> dict[str, float]:
    """Reads a trial written MINUTES/MM."""
    try:
        minutes, wall = (float(part) for part in text.split("/"))
    except ValueError:
        raise click.BadParameter(
            f"{text} does not read as a trial. Write it as 10/4.2 (minutes, mm)."
        ) from None
    return {"minutes": minutes, "wall_mm": wall}


CASTING: Group = (
    option(
        "Slip",
        None,
        "--volume-ml",
        type=POSITIVE,
        metavar="ML",
        help="Slip to mix: what the mold holds to the top of its spare, and what you top up.",
    ),
    option(
        "Slip",
        None,
        "--plan",
        "plan_file",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Take slip and wall from a plan's record (plan.json).",
    ),
    option(
        "Slip",
        ("cast", "slip_g_ml"),
        "--slip-density",
        type=number(1, 2.5, above=True),
        metavar="G/ML",
        help="Specific gravity of the slip; 1.775 when left out.",
    ),
    option(
        "Slip",
        ("cast", "solids_g_ml"),
        "--solids-density",
        type=number(1.5, 4, above=True),
        metavar="G/ML",
        help="Density of the dry clay's grains; 2.6 when left out.",
    ),
    option(
        "Wall",
        ("cast", "wall_mm"),
        "--wall",
        type=number(0, 50, above=True),
        metavar="MM",
        help="Wall of wet clay when the slip is poured out; 4 when left out.",
    ),
    option(
        "Wall",
        ("cast", "trials"),
        "--trial",
        multiple=True,
        type=_trial,
        metavar="MIN/MM",
        help="A trial of yours: minutes and the wall that it made, such as 10/4.2; may be repeated.",
    ),
)
