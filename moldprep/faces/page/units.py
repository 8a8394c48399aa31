"""Lengths as the page shows them: mm, or inches for a studio that measures so.

Weights and volumes stay g, kg, mL and L: scales and jugs are marked so, and the job's scale step is in grams.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from ...errors import Point
from ...sheet.words import lengths

MM_PER_INCH = 25.4
STEP_DIGITS = 3
"""An input field keeps whole micrometres: finer than any print, cast or caliper."""
MOST_DIGITS = 5
"""Of inches: half of the last one is less than half a micrometre."""
_DIGITS = {False: ((10, 2), (100, 1), (inf, 0)), True: ((1, 3), (inf, 2))}
"""Digits behind the point, by inches or not, for lengths below so much: a tenth of a millimetre is seen in a seam, not in a cottle."""


@dataclass(frozen=True)
class Units:
    """What lengths are shown in; the maker's choice for the whole page."""

    inch: bool = False

    @property
    def suffix(self) -> str:
        """What stands behind a number."""
        return "in" if self.inch else "mm"

    def length(self, mm: float) -> str:
        """A length to read, to about three digits.

        >>> Units().length(163.04), Units(inch=True).length(163.04)
        ('163 mm', '6.42 in')
        """
        value = mm / MM_PER_INCH if self.inch else mm
        digits = next(digits for below, digits in _DIGITS[self.inch] if abs(value) < below)
        return f"{plain(value, digits)} {self.suffix}"

    def size(self, size: Point) -> str:
        """Width, depth and height, named by a cross.

        >>> Units(inch=True).size((78.0, 78.0, 110.0))
        '3.07 × 3.07 × 4.33 in'
        """
        if not self.inch:
            return lengths(size)
        return " × ".join(f"{mm / MM_PER_INCH:.2f}" for mm in size) + " in"

    def number(self, mm: float) -> float:
        """A length for an input field: the shortest number that `to_mm` brings back to the same micrometre.

        >>> Units(inch=True).number(38.1), Units(inch=True).number(163.0)
        (1.5, 6.41732)
        """
        kept = round(mm, STEP_DIGITS)
        if not self.inch:
            return kept
        tries = (round(kept / MM_PER_INCH, digits) for digits in range(MOST_DIGITS + 1))
        return next((value for value in tries if self.to_mm(value) == kept), kept / MM_PER_INCH)

    def to_mm(self, value: float) -> float:
        """What a number in an input field means in mm, to the micrometre."""
        return round(value * MM_PER_INCH if self.inch else value, STEP_DIGITS)


def plain(value: float, digits: int) -> str:
    """A number with so many digits behind the point at the most, without needless zeros or powers of ten.

    >>> plain(12.0, 2), plain(0.5, 2), plain(-0.001, 2), plain(120.0, 0)
    ('12', '0.5', '0', '120')
    """
    shown = f"{value:.{digits}f}"
    shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
    return "0" if shown == "-0" else shown
