"""Figures of the trade: each with its unit, range and source, so that the sheet can print them.

`ASSUMED` lists those that a plan leans on; a figure that the maker gives in the job stands beside its
default there.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from .formulas import gypsum

PRACTICE = "common practice"


@dataclass(frozen=True)
class Figure:
    """One figure: `value` in `unit`, the `range` it is met in, and where it comes from."""

    name: str
    value: float
    unit: str
    range: str
    source: str


@dataclass(frozen=True)
class Range:
    """A span of minutes on a card, with its source."""

    name: str
    low: float
    high: float
    unit: str
    source: str

    def __str__(self) -> str:
        return f"{self.low:g}–{self.high:g} {self.unit}"


@dataclass(frozen=True)
class Plaster:
    """A kind of plaster: density of its powder, the consistencies it is mixed at, and its set.

    set: from strewing to hard, for the consistencies `set_at`, with water at 20 °C.
    """

    name: str
    hemihydrate_density_kg_m3: float
    consistency: Range
    set: Range
    set_at: tuple[float, float]
    source: str


@dataclass(frozen=True)
class Clay:
    """A kind of clay: its linear shrinkage from wet to fired, on the wet length."""

    name: str
    total_percent: Range


SOAK = Range("soak", 2, 4, "min", "mixing instructions (plaster.com)")
MIX = Range("mix", 2, 5, "min", "mixing instructions (plaster.com)")
SET = Range("set", 27, 37, "min", "table (glasstips.blogspot.com 2009/11)")
GLOSS_SHARE = Range("gloss gone, of the set", 45, 60, "%", f"{PRACTICE}; our judgement")
DEMOLD_PLAIN = Range("demold, plain form", 20, 45, "min", PRACTICE)
DEMOLD_DELICATE = Range("demold, delicate form", 45, 75, "min", PRACTICE)
DEMOLD_LATEST = Range("demold at the latest", 120, 180, "min", f"{PRACTICE}; our judgement")

_PARTS = "parts water to 100 plaster"
PLASTERS: tuple[Plaster, ...] = (
    Plaster(
        "pottery plaster",
        gypsum.HEMIHYDRATE_DENSITY_KG_M3,
        Range("consistency, beta", 60, 90, _PARTS, PRACTICE),
        SET,
        (65, 74),
        "beta hemihydrate, 2620–2640 kg/m³ (from memory: Wirsching, Ullmann)",
    ),
    Plaster(
        "alpha plaster",
        gypsum.ALPHA_HEMIHYDRATE_DENSITY_KG_M3,
        Range("consistency, alpha", 32, 45, _PARTS, "a gypsum maker's mixing table (plaster.com)"),
        Range("set, alpha", 15, 45, "min", "from memory, and wide: see the bag"),
        (32, 45),
        "alpha hemihydrate, 2740–2760 kg/m³ (from memory: Wirsching, Ullmann)",
    ),
)
_WIDE = "from memory, and wide"
CLAYS: tuple[Clay, ...] = (
    Clay("bone china", Range("shrinkage, bone china", 12, 16, "%", _WIDE)),
    Clay("porcelain", Range("shrinkage, porcelain", 11, 16, "%", _WIDE)),
    Clay("stoneware", Range("shrinkage, stoneware", 8, 13, "%", _WIDE)),
    Clay("earthenware", Range("shrinkage, earthenware", 3, 8, "%", _WIDE)),
)


def plaster_named(name: str) -> Plaster | None:
    """The plaster of that name, None for one that is not known.

    >>> plaster_named("Pottery plaster").hemihydrate_density_kg_m3
    2630.0
    """
    return next((plaster for plaster in PLASTERS if plaster.name == name.strip().lower()), None)


def clay_in(name: str) -> Clay | None:
    """The kind of clay that a maker's own name for it tells, None where it tells nothing.

    >>> clay_in("white stoneware slip").name
    'stoneware'
    >>> clay_in("number nine") is None
    True
    """
    return next((clay for clay in CLAYS if clay.name in name.lower()), None)


PRINT_SOFTENS_C = Range("a PLA print softens", 45, 65, "°C", "glass transition of PLA")
FREEBOARD_MM = Range("cottle above the plaster", 15, 20, "mm", PRACTICE)
ALCOHOL_FLASH_C = Figure("flash point of isopropyl alcohol", 11.7, "°C", "", "NIOSH Pocket Guide 0359")
HEAVY_LIFT_KG = Figure(
    "one-person lift at floor level", 13.07, "kg", "with H 30, V 0, D 75 cm", "NIOSH lifting equation, 94-110"
)

READY_WATER = Figure("water left in a mold ready to cast", 10, "% of dry weight", "5–15", PRACTICE)
SUPPORT_FILL = Figure("print support", 15, "% filament", "10–20", PRACTICE)
SLIP_DENSITY = Figure(
    "casting slip", 1.775, "g/mL", "1.75–1.80", "casting slip's usual specific gravity; practice"
)
AIR_DRYING = Range("evaporation, still room air", 0.05, 0.20, "kg/m²h", f"{PRACTICE}, and wide")
SHELF_DRYING = Range("evaporation, warm shelf, air moving", 0.20, 0.60, "kg/m²h", f"{PRACTICE}, and wide")
KILN_DRYING = Range("evaporation, cooling kiln below 45 °C", 0.30, 0.80, "kg/m²h", f"{PRACTICE}, and wide")
MOLD_LIFE = Figure("casts in a mold's life", 100, "casts", "60–120", PRACTICE)
CAST_WALL = Figure("wall of the cast, wet", 4, "mm", "3–5 for tableware", PRACTICE)
SOLIDS_DENSITY = Figure("density of the clay's grains", 2.6, "g/mL", "2.5–2.7", "from memory")
CAST_WATER = Figure("water in the demolded cast", 20, "% of wet weight", "18–22", PRACTICE)
LOSS_ON_IGNITION = Figure("loss on ignition", 8, "% of dry weight", "5–12", PRACTICE)
CLEAR_WIDTH = Figure("clear width that drains", 15, "mm", "opening less twice the wall", PRACTICE)
CAST_RATE = Range(
    "rate of the wall, without a trial",
    0.5,
    5,
    "mm²/min",
    "trials seen (hot-clay.com, ceramicarts.com), widened",
)
SLIP_ALLOWANCE = Figure("slip over what the mold takes", 10, "%", "5–15", PRACTICE)
DISCARDED = Range("first casts of a new mold thrown away", 2, 3, "casts", PRACTICE)
DRAIN = Range("hold the mold upside down", 2, 10, "min", PRACTICE)
SHEEN = Range("sheen gone after draining, wall of 4 mm", 5, 15, "min", PRACTICE)
TRIM = Range("trim after draining, wall of 4 mm", 15, 45, "min", PRACTICE)
CAST_DEMOLD = Range("demold the cast after draining, wall of 4 mm", 60, 240, "min", PRACTICE)
START_WATER = Range("water in a mold when it is cast into", 5, 10, "% of dry weight", PRACTICE)
WORKABLE_WATER = Figure(
    "water up to which a mold casts well", 15, "% of dry weight", "5–15 workable", PRACTICE
)
WATER_REACH = Figure("how far into plaster a cast's water goes", 40, "mm", "", "our judgement")
GULP_WIDTH = Figure("clear width that lets air in past the slip", 25, "mm", "20–25", "our judgement")
SLIDES_DEG = Figure("tilt at which plaster slides on wet wood", 25, "°", "friction 0.45–0.6", "our judgement")


def _middle(span: Range) -> Figure:
    """A span as a figure: its middle, and the span as its range."""
    return Figure(
        span.name, (span.low + span.high) / 2, span.unit, f"{span.low:g}–{span.high:g}", span.source
    )


ASSUMED: tuple[Figure, ...] = (
    Figure(
        "hemihydrate density",
        gypsum.HEMIHYDRATE_DENSITY_KG_M3,
        "kg/m³",
        "2620–2640 (beta)",
        "from memory: Ullmann",
    ),
    Figure("gypsum density", gypsum.DIHYDRATE_DENSITY_KG_M3, "kg/m³", "2305–2320", "saltwiki.net, Gypsum"),
    Figure("water density at 20 °C", gypsum.WATER_DENSITY_KG_M3, "kg/m³", "", "from memory"),
    Figure("combining water", round(gypsum.COMBINING_WATER, 4), "kg/kg", "", "IUPAC 1995 atomic weights"),
    Figure("consistency", 70, "parts water to 100 plaster", "60–90", PRACTICE),
    Figure("allowance for the bucket", 10, "%", "5–15", PRACTICE),
    Figure(
        "setting expansion",
        0.20,
        "%",
        "0.10–0.30",
        "table, 0.19–0.22 (glasstips.blogspot.com)",
    ),
    Figure("least draft, outside", 2, "°", "2–3; 5 when textured", PRACTICE),
    Figure("least draft, inside", 5, "°", "5–8", PRACTICE),
    Figure("least reach that locks", 0.15, "mm", "", "about the roughness of a printed line; practice"),
    Figure("spare depth", 20, "mm", "20 or 1.5 × level drop", PRACTICE),
    Figure("wall of plaster", 38, "mm", "25–65 by size", PRACTICE),
    Figure(
        "heat of setting",
        round(gypsum.HEAT_OF_HYDRATION_J_G, 1),
        "J/g",
        "16.30 kJ/mol",
        "Thermoddem (BRGM)",
    ),
    *(
        _middle(span)
        for span in (
            SOAK,
            MIX,
            SET,
            GLOSS_SHARE,
            DEMOLD_PLAIN,
            DEMOLD_DELICATE,
            DEMOLD_LATEST,
            FREEBOARD_MM,
            PRINT_SOFTENS_C,
            AIR_DRYING,
            SHELF_DRYING,
            KILN_DRYING,
        )
    ),
    ALCOHOL_FLASH_C,
    HEAVY_LIFT_KG,
    READY_WATER,
    MOLD_LIFE,
    SLIP_DENSITY,
    SUPPORT_FILL,
    CAST_WALL,
    SOLIDS_DENSITY,
    CAST_WATER,
    LOSS_ON_IGNITION,
    CLEAR_WIDTH,
    *(_middle(span) for span in (DISCARDED, START_WATER, DRAIN, SHEEN, TRIM, CAST_DEMOLD)),
    Figure(
        CAST_RATE.name, round(sqrt(CAST_RATE.low * CAST_RATE.high), 2), "mm²/min", "0.5–5", CAST_RATE.source
    ),
    SLIP_ALLOWANCE,
    WORKABLE_WATER,
    WATER_REACH,
    GULP_WIDTH,
    SLIDES_DEG,
)
