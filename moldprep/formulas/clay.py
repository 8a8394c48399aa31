"""What cast clay is made of: grains and water without air, as long as it is wet.

A wet basis throughout: `water` is water over the wet weight. Pores hold water, none is air, until the
cast dries.
"""

from __future__ import annotations

WATER_G_ML = 1.0
"""Slip and grains are weighed against water: their figures are specific gravities."""


def wet_density_g_ml(water: float, solids_g_ml: float) -> float:
    """Density of wet, cast clay [g/mL]: 1/[(1 - w)/rho_solids + w/rho_water].

    >>> round(wet_density_g_ml(0.20, 2.6), 3)
    1.97
    """
    return 1 / ((1 - water) / solids_g_ml + water / WATER_G_ML)


def water_given_up(slip_g_ml: float, water: float, solids_g_ml: float) -> float:
    """Water that goes into the mold per volume of cast [mL/mL]: n = phi_cast/phi_slip - 1.

    phi: share of the volume that is grains. So (1 + n) volumes of slip make one of cast. With
    solids of 2.6 and 20 % water left:

    >>> [round(water_given_up(slip, 0.20, 2.6), 4) for slip in (1.80, 1.75)]
    [0.2121, 0.2929]
    """
    in_cast = wet_density_g_ml(water, solids_g_ml) * (1 - water) / solids_g_ml
    in_slip = (slip_g_ml - WATER_G_ML) / (solids_g_ml - WATER_G_ML)
    return in_cast / in_slip - 1


def weights_g(
    wet_ml: float, *, water: float, solids_g_ml: float, ignition: float
) -> tuple[float, float, float]:
    """Weight of a cast wet, dry and fired [g] from its volume in the mold [mL].

    ignition: loss on ignition, of the dry weight.

    >>> [round(value, 1) for value in weights_g(100, water=0.20, solids_g_ml=2.6, ignition=0.08)]
    [197.0, 157.6, 145.0]
    """
    wet = wet_ml * wet_density_g_ml(water, solids_g_ml)
    return wet, wet * (1 - water), wet * (1 - water) * (1 - ignition)
