"""Pours: never short, one consistency, the order and pose of the bench."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moldprep.errors import JobError
from moldprep.formulas.gypsum import slurry_litres_per_kg
from moldprep.job import PlasterJob
from moldprep.pour import mix


@given(
    volume=st.floats(50, 20_000),
    consistency=st.floats(55, 90),
    step=st.sampled_from([1.0, 5.0, 10.0, 50.0]),
    allowance=st.floats(0, 20),
)
def test_a_mix_never_falls_short_and_wastes_less_than_a_step(
    volume: float, consistency: float, step: float, allowance: float
) -> None:
    made = mix(volume, PlasterJob(consistency=consistency, scale_step_g=step, allowance_percent=allowance))
    need_g = volume * (1 + allowance / 100) / slurry_litres_per_kg(consistency / 100)
    assert need_g - 1e-6 <= made.plaster_g < need_g + step + 1e-6
    assert made.plaster_g / step == pytest.approx(round(made.plaster_g / step))
    assert (
        abs(made.water_g - made.plaster_g * consistency / 100)
        <= max(step / 2, step - made.plaster_g * consistency / 100) + 1e-6
    )


def test_ten_to_seven_for_a_litre() -> None:
    """1 L with 10 % more, at 1.081 L of slurry a kg (worked by hand): 1017.6 g, so 1020 and 710 g."""
    made = mix(1000, PlasterJob())
    assert (made.plaster_g, made.water_g) == (1020, 710)
    assert made.dry_g == pytest.approx(1097, abs=1)  # a litre of dry plaster at 1097 kg/m3


def test_nothing_to_pour_is_refused() -> None:
    with pytest.raises(JobError, match="nothing to fill"):
        mix(-3, PlasterJob())
