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
