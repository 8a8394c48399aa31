"""Numbers in input fields: how they are shown, and how what a maker types is read.

A decimal comma is a decimal point. Where "1,500" could also be fifteen hundred, the key's range decides; where it
cannot, the maker is asked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import floor, log10
from typing import Any

import msgspec
from msgspec import inspect as kinds

from ..units import MM_PER_INCH, STEP_DIGITS, Units, plain
from .keys import Key, item_type, type_at

DIGITS = 3
"""Significant digits of a length in inches below 1; behind the point elsewhere at least as many."""
SUFFIXES = {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, '"': MM_PER_INCH}
"""Units that may stand behind a length, whatever the page shows: mm in each."""
BY_ENDING = {
    "_g_ml": "g/mL",
    "_deg": "°",
    "_percent": "%",
    "_g": "g",
    "_ml": "mL",
    "_kg": "kg",
    "_c": "°C",
    "_hours": "h",
    "_months": "months",
    "minutes": "min",
}
IN_MM = ("printer",)
"""Parts whose lengths are mm on every page: slicers, nozzles and filament are named in mm everywhere."""
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)", re.ASCII)
_FRACTION = re.compile(r"([+-]?)(?:(\d+)\s+)?(\d+)/(\d+)", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)


class Wrong(ValueError):
    """What was typed cannot stand in the job; its text is a sentence for the maker, without its full stop."""


@dataclass(frozen=True)
class Figure:
    """One number of the job. unit: as shown beside it; length: shown in the page's units, mm inside."""

    type: Any
    unit: str = ""
    length: bool = False

    def shown_unit(self, units: Units) -> str:
        """What stands beside the field."""
        return units.suffix if self.length else self.unit

    def text(self, value: float, units: Units) -> str:
        """A value as its field shows it: short; the field itself keeps the exact one behind it."""
        shown = value / MM_PER_INCH if self.length and units.inch else value
        size = abs(shown)
        return plain(shown, DIGITS if size >= 1 or not size else DIGITS - 1 - floor(log10(size)))

    def with_unit(self, value: float, units: Units) -> str:
        """A value and its unit, to stand in a sentence."""
        unit = self.shown_unit(units)
        return self.text(value, units) + (unit if unit in ("", "°") else f" {unit}")

    def read(self, typed: str, units: Units) -> float:
        """The value that a maker typed; Wrong for what is no number, out of range, or to be read in two ways."""
        meant, found = readings(self._bare(typed, units)), []
        for number in meant:
            try:
                found.append(self._value(number, self._factor(typed, units)))
            except msgspec.ValidationError:
                found += self._end_shown_as(number, units)
        if len(found) > 1:
            one, other = (plain(number, DIGITS) for number in meant)
            raise Wrong(f"{typed} can be read in two ways: write {one} or {other}")
        if not found:
            raise Wrong(f"Give a {'whole ' if self._whole else ''}number{self.span(units)}")
        return found[0]

    def span(self, units: Units) -> str:
        """The range in words and shown units, with a space before it; "" where any number goes.

        A range of the job has two ends or none.
        """
        limits = self._limits
        least = limits.gt if limits.ge is None else limits.ge
        most = limits.lt if limits.le is None else limits.le
        if least is None or most is None:
            return ""
        low, high = self.text(least, units), self.with_unit(most, units)
        if limits.ge is not None:
            return f" from {low} to {high}" if limits.le is not None else f" from {low} to below {high}"
        return f" above {low} and {'up to' if limits.le is not None else 'below'} {high}"

    @property
    def input_mode(self) -> str:
        """The keypad that a phone offers: those for numbers have no minus."""
        if self._whole:
            return "numeric"
        limits = self._limits
        least = limits.gt if limits.ge is None else limits.ge
        return "text" if least is None or least < 0 else "decimal"

    @property
    def _limits(self) -> kinds.FloatType | kinds.IntType:
        limits = kinds.type_info(self.type)
        assert isinstance(limits, kinds.FloatType | kinds.IntType)
        return limits

    @property
    def _whole(self) -> bool:
        return isinstance(self._limits, kinds.IntType)

    def _end_shown_as(self, number: float, units: Units) -> list[float]:
        """The end of the range that is told as this number: rounded to inches it may lie just outside."""
        ends = [end for end in (self._limits.ge, self._limits.le) if end is not None]
        return [end for end in ends if self.length and float(self.text(end, units)) == number]

    def _value(self, number: float, mm: float) -> float:
        """A number in the job's own unit, as the type takes it."""
        value = number if mm == 1 else round(number * mm, STEP_DIGITS)
        given: float = int(value) if self._whole and value.is_integer() else value
        made: float = msgspec.convert(given, self.type)
        return made

    def _suffix(self, typed: str) -> str:
        """The unit that stands behind the number, "" for none."""
        return re.sub(r"^[\s\d.,/+−-]*", "", typed).strip().lower()

    def _factor(self, typed: str, units: Units) -> float:
        """Millimetres in the unit that the maker wrote, or else in the page's."""
        if not self.length:
            return 1.0
        return SUFFIXES.get(self._suffix(typed), MM_PER_INCH if units.inch else 1.0)

    def _bare(self, typed: str, units: Units) -> str:
        """The number without its unit, where the unit is one that fits."""
        suffix = self._suffix(typed)
        fits = suffix == self.shown_unit(units).lower() or (self.length and suffix in SUFFIXES)
        return typed.strip()[: -len(suffix)].strip() if suffix and fits else typed.strip()


def figure_at(key: Key) -> Figure:
    """The figure at a place of the job; of a list, the figure that it is made of."""
    kind = type_at(key)
    name = next(step for step in reversed(key) if not step.isdigit())
    kind = item_type(kind) or kind
    if name.endswith("_mm"):
        return Figure(kind, "mm", key[0] not in IN_MM)
    ending = next((ending for ending in BY_ENDING if name.endswith(ending)), "")
    return Figure(kind, BY_ENDING.get(ending, ""))


def readings(typed: str) -> tuple[float, ...]:
    """All numbers that a text can mean: none, one, or two where a comma may mark decimals or thousands.

    >>> readings("12,5"), readings("1,500"), readings("1 1/2"), readings("wide")
    ((12.5,), (1.5, 1500.0), (1.5,), ())
    """
    text = typed.strip().replace("−", "-")
    if fraction := _FRACTION.fullmatch(text):
        sign, whole, part, of = fraction.groups()
        return () if int(of) == 0 else (float(f"{sign}1") * (int(whole or 0) + int(part) / int(of)),)
    if not _NUMBER.fullmatch(text):
        return ()
    number = float(text.replace(",", "."))
    return (number, float(text.replace(",", ""))) if _THOUSANDS.fullmatch(text) else (number,)


def split_list(typed: str) -> list[str]:
    """The numbers of a list: spaces, semicolons, or commas with a space behind them stand between.

    Where there are fractions a space does not part, for it stands inside of "6 1/2". Wrong for a comma that may
    stand between two numbers or before thousandths.

    >>> split_list("160, 200; 250 12,5"), split_list("6 1/2, 8")
    (['160', '200', '250', '12,5'], ['6 1/2', '8'])
    """
    between = r";|,\s+|,$" if "/" in typed else r"[;\s]+|,\s+|,$"
    parts = [part.strip() for part in re.split(between, typed.strip()) if part.strip()]
    for part in parts:
        if re.search(r",\d{3}|,.*,", part):
            raise Wrong(f"{part} can be read in two ways: write a space between the numbers, or a point")
    return parts
