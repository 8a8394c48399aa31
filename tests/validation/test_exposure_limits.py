"""Limits that the cautions name: NIOSH Pocket Guide 0518 and 0359, 29 CFR 1910.1053, a UK HSE case of 2009."""

from __future__ import annotations

import pytest

from moldprep.formulas.drying import STOP_C
from moldprep.sheet.cautions import CAUTIONS

TEXT = " ".join(CAUTIONS)


def test_dust_limits_of_plaster_and_silica_are_named_with_their_sources() -> None:
    """OSHA: 15 mg/m3 total, 5 respirable; NIOSH: 10 and 5; respirable crystalline silica: 50 ug/m3."""
    (dust,) = [caution for caution in CAUTIONS if caution.startswith("Plaster dust")]
    for figure in ("15 mg/m³ total", "5 mg/m³ respirable", "10 and 5", "0518", "50 µg/m³", "1910.1053"):
        assert figure in dust


def test_no_part_of_the_body_is_enclosed_and_no_flame_stands_near_alcohol() -> None:
    (heat,) = [caution for caution in CAUTIONS if caution.startswith("Heat")]
    assert "Never enclose" in heat and "HSE" in heat
    assert "11.7 °C" in TEXT and "0359" in TEXT


def test_the_hottest_place_for_a_mold_is_120_fahrenheit() -> None:
    """120 F (clayart archive, subject38175), to the whole degree Celsius."""
    assert pytest.approx((120 - 32) / 1.8, abs=0.5) == STOP_C


def test_the_sheet_defers_to_rules_data_sheets_and_licensed_practice() -> None:
    for word in ("local rules", "data sheets", "licensed practice", "drain"):
        assert word in TEXT
