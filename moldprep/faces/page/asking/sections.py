"""What is asked in each section of the page, in the order of the work."""

from __future__ import annotations

from typing import Literal

from ....job import Bar, Job, ShrinkageJob
from ....materials import CLAYS, PLASTERS
from ....sizing import shrinkage_of
from . import finer
from .questions import Ask, Questions, Way, Ways

Section = Literal[
    "file",
    "clay",
    "size",
    "opening",
    "seams",
    "cottle",
    "plaster",
    "cast",
    "molds",
    "boards",
    "print",
    "costs",
    "sheet",
]

ELSEWHERE = (("parting", "planes_mm"), ("parting", "azimuth_deg"))
"""Keys that are moved in the picture of the form, not asked for here."""
SIDES: dict[str | None, str] = {
    "z": "top (+z)",
    "-z": "bottom (−z)",
    "x": "+x",
    "-x": "−x",
    "y": "+y",
    "-y": "−y",
}
BAR = {"wet_mm": "wet", "dry_mm": "dry, if read", "fired_mm": "fired"}


def _shrinks(bar: Bar) -> None:
    """Raises JobError for a bar that does not shrink as clay does."""
    shrinkage_of(ShrinkageJob(bars=(bar,)))


def _bars(key: str, help: str) -> Ask:
    return Ask(("shrinkage", key), "Test bars", help, columns=BAR, row="bar", check=_shrinks)


def _made(job: Job) -> bool:
    return job.stand.opening == "made"


FILE = Questions(
    "Form",
    (
        Ask(
            ("form", "units"),
            "Unit of the file",
            "Where the file does not say, it is taken to be mm.",
            words={None: "by the file", "mm": "mm", "cm": "cm", "m": "m", "inch": "inch"},
        ),
        Ask(
            ("form", "up"),
            "Axis that points up",
            "In the file, when the piece stands on its foot.",
            words={"z": "z", "y": "y", "x": "x", "-z": "−z", "-y": "−y", "-x": "−x"},
        ),
        Ask(("form", "name"), "Name of the form", "What the sheet calls it.", empty="the file's name"),
        Ask(
            ("form", "close_openings"),
            "Close openings in the surface",
            "Flat, and only with your consent; what was closed is said.",
        ),
        Ask(
            ("form", "fill_hollow"),
            "Fill a form drawn with its inside",
            "Level with its lip, holes in its wall closed; the master is the outside alone.",
        ),
    ),
    finer.FILE,
)
CLAY = Questions(
    "Clay and shrinkage",
    (
        Ask(
            ("shrinkage", "clay"),
            "Clay",
            "As the sheet shall call it.",
            offers=tuple(clay.name for clay in CLAYS),
        ),
        Ways(
            "Shrinkage, wet to fired",
            (
                Way(
                    "in percent",
                    (
                        Ask(
                            ("shrinkage", "total_percent"),
                            "Total shrinkage",
                            "On the wet length. Without it the file is taken as the master.",
                            empty="not known",
                        ),
                    ),
                ),
                Way(
                    "from test bars",
                    (_bars("bars", "Lengths between the same two marks, wet, dry and fired."),),
                ),
            ),
        ),
    ),
    (
        Ways(
            "Shrinkage in height",
            (
                Way("as in width"),
                Way(
                    "in percent",
                    (Ask(("shrinkage", "height_percent"), "Shrinkage in height", empty="as in width"),),
                ),
                Way("from test bars", (_bars("height_bars", "Bars that dried and were fired upright."),)),
            ),
        ),
        Ask(
            ("shrinkage", "measured_from"),
            "Wet length taken from",
            "Marks in the mold are usual; from the master, plaster and print are inside already.",
            words={"mold": "marks in the mold", "master": "marks on the master", "cast": "the fresh cast"},
        ),
        *finer.CLAY,
    ),
)
SIZE = Questions(
    "Size of the fired piece",
    (
        Ways(
            "The whole form is scaled",
            (
                Way("as drawn"),
                Way("to a height", (Ask(("target", "height_mm"), "Height, fired", empty="as drawn"),)),
                Way(
                    "to a width",
                    (Ask(("target", "width_mm"), "Width, fired", "At its widest.", empty="as drawn"),),
                ),
                Way("to a weight", (Ask(("target", "weight_g"), "Weight, fired", empty="as drawn"),)),
                Way(
                    "to what it holds",
                    (
                        Ask(
                            ("target", "capacity"),
                            "Holds",
                            "To the brim, or to the fill line.",
                            unit="",
                            empty="as drawn",
                        ),
                        Ask(
                            ("target", "capacity_unit"),
                            "Measured in",
                            words={"mL": "mL", "imperial fl oz": "imperial fl oz", "US fl oz": "US fl oz"},
                        ),
                    ),
                ),
                Way(
                    "to any length",
                    (
                        Ask(
                            ("target", "length_drawn_mm"),
                            "Length as drawn",
                            "Measured in the file.",
                            empty="as drawn",
                        ),
                        Ask(
                            ("target", "length_mm"),
                            "The same, fired",
                            "What it shall become.",
                            empty="as drawn",
                        ),
                    ),
                ),
            ),
        ),
    ),
    (
        Ask(("target", "fill_mm"), "Fill line below the brim", "Fired; 0 for the brim itself."),
        Ask(
            ("target", "sizes"),
            "Further sizes",
            "As shares of this one, such as 0.7 1.4: what each would hold and weigh.",
            unit="× this",
            empty="none",
        ),
        Ask(
            ("target", "stretch"),
            "Stretch the form",
            "Taller, or lower with a minus, at the same width and fired. Foot and rim stay as they are.",
            empty="as drawn",
            columns={"taller_mm": "taller by", "zone_mm.0": "from height", "zone_mm.1": "to height"},
        ),
    ),
)
OPENING = Questions(
    "Opening",
    (
        Ask(
            ("stand", "opening"),
            "Slip goes in at",
            "",
            words={
                None: "by the form",
                "rim": "the rim",
                "foot": "the foot",
                "made": "a made opening",
            },
        ),
        Ask(
            ("stand", "opening_diameter_mm"),
            "Diameter of the opening",
            "At the form.",
            when=_made,
        ),
        Ask(
            ("stand", "opening_at"),
            "Side of the opening",
            "Of the form, standing on its foot.",
            words=SIDES,
            when=_made,
        ),
        Ask(("stand", "spare"), "Spare", "A flared collar of waste above the rim, trimmed off at the rim."),
        Ask(
            ("stand", "spare_depth_mm"),
            "Depth of the spare",
            "At least 1.5 times what the slip sinks while the wall grows.",
            when=lambda job: job.stand.spare,
        ),
    ),
    finer.OPENING,
)
SEAMS = Questions(
    "Seams",
    (
        Ask(
            ("parting", "family"),
            "Kind of mold",
            "Only this kind is tried.",
            words={
                None: "whichever is best",
                "one-piece": "one piece",
                "two-piece": "two pieces, level seam",
                "halves": "two halves",
                "halves+foot": "halves and foot",
                "halves+top": "halves and top",
                "halves+foot+top": "halves, foot and top",
                "split-layers": "split layers",
            },
            also=dict.fromkeys(ELSEWHERE),
        ),
    ),
    finer.SEAMS,
)
COTTLE = Questions(
    "Cottle",
    (
        Ask(
            ("cottle", "kind"),
            "Cottle",
            "A sheet hugs the form.",
            words={None: "what wastes least", "ring": "ring", "box": "box of boards", "sheet": "bent sheet"},
        ),
        Ask(("cottle", "wall_mm"), "Least wall of plaster", "", empty="by the form's size"),
        Ask(
            ("cottle", "rings_mm"),
            "Rings at hand",
            "Inner diameters, a space between them.",
            empty="any diameter",
        ),
    ),
)
PLASTER = Questions(
    "Plaster",
    (
        Ask(
            ("plaster", "plaster"),
            "Plaster",
            "Any name; its density is known for those offered.",
            offers=tuple(one.name for one in PLASTERS),
        ),
        Ask(
            ("plaster", "consistency"),
            "Consistency",
            "Parts of water to 100 parts of plaster, by weight.",
            unit="parts",
        ),
        Ask(("plaster", "scale_step_g"), "Step of your scale"),
        Ask(
            ("plaster", "bucket_ml"),
            "Bucket",
            "Slurry that it holds with room to stir; larger pours go in batches.",
            empty="as large as the pour",
        ),
    ),
    (
        Ask(("plaster", "water_temperature_c"), "Water", "Warm water hurries the set."),
        Ask(("plaster", "age_months"), "Age of the plaster", "Since its bag was made; kept dry."),
        Ask(("plaster", "allowance_percent"), "Allowance", "What stays in the bucket and on the hands."),
        *finer.PLASTER,
    ),
)
CAST = Questions(
    "Cast",
    (
        Ask(
            ("cast", "mode"),
            "The cast is",
            "Drained when its wall has grown, or left until it is solid clay.",
            words={"drain": "drained", "solid": "solid"},
        ),
        Ask(
            ("cast", "wall_mm"),
            "Wall",
            "Of wet clay, when the slip is poured out.",
            when=lambda job: job.cast.mode == "drain",
        ),
        Ask(("cast", "slip_g_ml"), "Density of the slip", "1.75 to 1.80 is usual."),
        Ask(
            ("cast", "trials"),
            "Your trials",
            "Fill the mold, drain, measure the wall at the rim: only trials tell how long a wall takes.",
            columns={"minutes": "stood for", "wall_mm": "wall"},
            row="trial",
        ),
    ),
    (
        Ask(
            ("cast", "spill_mm"),
            "Spills at a height of",
            "The tip of a low spout, above the foot, on the master before it is scaled.",
            empty="the rim's lowest place",
        ),
        *finer.CAST,
    ),
)
MOLDS = Questions(
    "Molds and orders",
    (
        Ask(("studio", "molds"), "Molds", "The same mold so many times."),
        Ask(("studio", "order_pieces"), "Order", "Good pieces that are wanted.", unit="pieces", empty="none"),
        Ask(("studio", "days"), "Due in", "Working days.", unit="days"),
        Ask(("studio", "casts_a_day"), "Casts a day", "Of each mold; with one it dries in between."),
        Ask(
            ("studio", "shelf_c"),
            "Drying shelf",
            "The warmest place where molds dry; above 49 °C gypsum loses its own water.",
        ),
        Ask(("studio", "bag_kg"), "Bag of plaster", ""),
    ),
    finer.MOLDS,
)
BOARDS = Questions(
    "Boards and natches",
    (
        Ask(
            ("boards", "way"),
            "First piece is poured on",
            "",
            words={"boards": "printed boards", "bedded": "a bed of clay"},
        ),
        Ask(
            ("pieces", "natches"),
            "Natches",
            "What keeps the pieces in register.",
            words={"cast": "knobs of plaster", "insert": "printed inserts", "none": "none"},
        ),
        Ask(
            ("boards", "each_piece"),
            "A board for every piece",
            "Instead of pouring against set plaster; the fit then suffers.",
        ),
        Ask(("boards", "date"), "Date in the mark", "As you write dates.", empty="none"),
        Ways(
            "Mark in an outside face",
            (
                Way("name, piece, size and date"),
                Way("your own", (Ask(("boards", "mark"), "Mark", "", empty="name, piece, size and date"),)),
                Way("none", sets={("boards", "mark"): ""}),
            ),
        ),
    ),
    finer.BOARDS,
)
PRINT = Questions(
    "Print",
    (
        Ask(
            ("printer", "bed_mm"),
            "Bed of the printer",
            "What is larger is cut and pinned.",
            columns={"0": "width", "1": "depth", "2": "height"},
        ),
        Ask(("printer", "layer_mm"), "Layer"),
        Ask(("printer", "shell_mm"), "Shell"),
        Ask(("printer", "infill_percent"), "Infill"),
    ),
    finer.PRINT,
)
COSTS = Questions(
    "Costs",
    (
        Ask(
            ("estimate", "labour_per_hour"),
            "Your hour",
            "Without it nothing is estimated.",
            unit="an hour",
            empty="not given",
        ),
        Ask(("estimate", "currency"), "Currency", "One for all rates.", empty="not named"),
        Ask(("estimate", "plaster_per_kg"), "Plaster", unit="a kg"),
        Ask(("estimate", "filament_per_kg"), "Filament", unit="a kg"),
        Ask(("estimate", "slip_per_litre"), "Slip", unit="a litre"),
        Ask(
            ("estimate", "firing_per_piece"),
            "Firing, by the piece",
            "Both shares of the kiln are added up.",
            unit="a piece",
        ),
        Ask(
            ("estimate", "firing_per_kg"), "Firing, by weight", "By the dry weight of the piece.", unit="a kg"
        ),
    ),
    finer.COSTS,
)
SHEET = Questions(
    "Sheet",
    (
        Ask(("sheet", "paper"), "Paper", words={"a4": "A4", "letter": "Letter"}),
        Ask(("sheet", "studio"), "Studio's name", "Beside the name of the form.", empty="none"),
    ),
)

SECTIONS: dict[Section, Questions] = {
    "file": FILE,
    "clay": CLAY,
    "size": SIZE,
    "opening": OPENING,
    "seams": SEAMS,
    "cottle": COTTLE,
    "plaster": PLASTER,
    "cast": CAST,
    "molds": MOLDS,
    "boards": BOARDS,
    "print": PRINT,
    "costs": COSTS,
    "sheet": SHEET,
}
