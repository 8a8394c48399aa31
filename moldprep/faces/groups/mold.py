"""Options about the mold: cottle, seams, pieces, boards, cast, plaster, printer, paper."""

from __future__ import annotations

import click

from ..options import OUTPUT, POSITIVE, Group, lengths, number, option

FAMILIES = (
    "one-piece",
    "two-piece",
    "halves",
    "halves+foot",
    "halves+top",
    "halves+foot+top",
    "split-layers",
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
CAST: Group = (
    option(
        "Cast",
        ("cast", "mode"),
        "--cast",
        type=click.Choice(["drain", "solid"]),
        help="Drained when the wall has grown, or left until it is solid clay; drain when left out.",
    ),
    option(
        "Cast",
        ("cast", "wall_mm"),
        "--cast-wall",
        type=number(0, 50, above=True),
        metavar="MM",
        help="Wall of wet clay when the slip is poured out; 4 when left out.",
    ),
    option(
        "Cast",
        ("cast", "spill_mm"),
        "--spill",
        type=number(-1e4, 1e4),
        metavar="MM",
        help="Height above the foot, on the master, at which it spills; the rim's when left out.",
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
    option(
        "Plaster",
        ("plaster", "bucket_ml"),
        "--bucket",
        type=POSITIVE,
        metavar="ML",
        help="Slurry that your bucket holds with room to stir; larger pours go in equal batches.",
    ),
    option(
        "Plaster",
        ("plaster", "water_temperature_c"),
        "--water-temperature",
        type=number(1, 60),
        metavar="C",
        help="Of the mixing water, in °C; 20 when left out.",
    ),
    option(
        "Plaster",
        ("plaster", "age_months"),
        "--plaster-age",
        type=number(0, 240),
        metavar="MONTHS",
        help="Since its bag was made; 3 when left out.",
    ),
)
STUDIO: Group = (
    option(
        "Studio",
        ("studio", "molds"),
        "--molds",
        type=click.IntRange(1, 10_000),
        metavar="N",
        help="So many of the same mold; 1 when left out.",
    ),
    option(
        "Studio",
        ("studio", "bag_kg"),
        "--bag",
        type=POSITIVE,
        metavar="KG",
        help="Plaster in a bag; 25 when left out.",
    ),
)
PRINTER: Group = (
    option(
        "Printer",
        ("printer", "bed_mm"),
        "--bed",
        type=lengths("x", "220x220x250", (3,)),
        metavar="WxDxH",
        help="The printer's bed and height; what is larger is cut and pinned.",
    ),
    option(
        "Printer",
        ("printer", "layer_mm"),
        "--layer",
        type=number(0.01, 2, above=True),
        metavar="MM",
        help="Height of a printed layer; 0.2 when left out.",
    ),
    option(
        "Printer",
        ("printer", "infill_percent"),
        "--infill",
        type=number(0, 100),
        metavar="PERCENT",
        help="Of the master's inside; 15 when left out.",
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
