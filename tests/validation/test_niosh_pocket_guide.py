"""Isopropyl alcohol, flash point 11.7 °C (NIOSH Pocket Guide to Chemical Hazards 0359): a mist of it burns."""

from __future__ import annotations

from moldprep.materials import ALCOHOL_FLASH_C, ASSUMED
from tests.samples import planned

FLASH_C = 11.7


def test_the_flash_point_stands_on_every_card_that_speaks_of_alcohol() -> None:
    assert ALCOHOL_FLASH_C.value == FLASH_C and ALCOHOL_FLASH_C in ASSUMED
    for pour in planned("tumbler").pours.pours:
        (mist,) = [step for step in pour.steps if "alcohol" in step]
        assert f"{FLASH_C} °C" in mist and "far from any flame" in mist
