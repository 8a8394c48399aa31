"""Lengths in mm or inches, to read and to type."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moldprep.faces.page.units import MM_PER_INCH, Units, plain

MM, INCH = Units(), Units(inch=True)
LENGTHS = st.integers(-100_000_000, 100_000_000).map(lambda micrometres: micrometres / 1000)
"""Whole micrometres, up to the largest length that a job takes."""


@pytest.mark.parametrize("units", [MM, INCH], ids=["mm", "inch"])
@given(mm=LENGTHS)
def test_a_field_that_is_opened_and_left_changes_nothing(units: Units, mm: float) -> None:
    assert units.to_mm(units.number(mm)) == mm
    assert units.to_mm(float(plain(units.number(mm), 9))) == mm


@pytest.mark.parametrize("units", [MM, INCH], ids=["mm", "inch"])
@given(mm=st.floats(-1e5, 1e5))
def test_finer_lengths_move_by_half_a_micrometre_at_most(units: Units, mm: float) -> None:
    assert units.to_mm(units.number(mm)) == pytest.approx(mm, abs=0.5001e-3)


def test_an_inch_is_25_4_mm() -> None:
    assert INCH.number(38.1) == 1.5
    assert INCH.to_mm(1.5) == 38.1
    assert INCH.to_mm(1) == MM_PER_INCH == 25.4
    assert (MM.number(38.1), MM.to_mm(38.1)) == (38.1, 38.1)


@given(mm=LENGTHS)
def test_a_length_to_read_is_true_to_half_a_percent(mm: float) -> None:
    for units, factor, least in ((MM, 1.0, 0.005), (INCH, MM_PER_INCH, 0.0005)):
        number, suffix = units.length(mm).split(" ")
        assert suffix == units.suffix
        value = mm / factor
        assert abs(float(number) - value) <= max(0.005 * abs(value), least) * (1 + 1e-9)


def test_lengths_as_a_maker_reads_them() -> None:
    assert [MM.length(mm) for mm in (0.15, 1.5, 13.64, 163.04, 1234.5)] == [
        "0.15 mm",
        "1.5 mm",
        "13.6 mm",
        "163 mm",
        "1234 mm",
    ]
    assert [INCH.length(mm) for mm in (0.15, 4.0, 38.1, 163.04)] == [
        "0.006 in",
        "0.157 in",
        "1.5 in",
        "6.42 in",
    ]
    assert MM.size((78.0, 78.04, 110.0)) == "78.0 × 78.0 × 110.0 mm"
    assert INCH.size((25.4, 50.8, 110.0)) == "1.00 × 2.00 × 4.33 in"
