"""Casting slip: what is in it, what the mold drinks from it, and how far its level falls.

Densities in g/mL; water counts as 1 g/mL, as the trade's specific gravities do.
"""

from __future__ import annotations

OUNCES_A_PINT = 20.0
"""Fluid ounces in an imperial pint, which weigh an ounce each as water."""


def dry_g_per_litre(slip_g_ml: float, solids_g_ml: float) -> float:
    """Dry matter in a litre of slip [g]: W = (D - 1000) S/(S - 1), D in g/L.

    slip_g_ml, solids_g_ml: density of the slip, and S of the dry grains [g/mL]. Source: Brongniart 1854,
    in Cardew, Pioneer Pottery, p. 269.

    >>> round(dry_g_per_litre(1.7, 2.5), 1)
    1166.7
    """
    _check(slip_g_ml, solids_g_ml)
    return 1000 * (slip_g_ml - 1) * solids_g_ml / (solids_g_ml - 1)


def water_g_per_litre(slip_g_ml: float, solids_g_ml: float) -> float:
    """Water in a litre of slip [g]: what its weight has besides the dry matter.

    >>> round(water_g_per_litre(1.5, 2.5), 1)
    666.7
    """
    return 1000 * slip_g_ml - dry_g_per_litre(slip_g_ml, solids_g_ml)


def dry_oz_per_pint(slip_oz: float, solids_g_ml: float) -> float:
    """Dry matter in an imperial pint of slip [oz], from the pint's weight [oz]: (P - 20) S/(S - 1).

    >>> dry_oz_per_pint(34, 2.5) == OUNCES_A_PINT * dry_g_per_litre(1.7, 2.5) / 1000
    True
    """
    return OUNCES_A_PINT * dry_g_per_litre(slip_oz / OUNCES_A_PINT, solids_g_ml) / 1000


def solids_share(slip_g_ml: float, solids_g_ml: float) -> float:
    """Share of a slip's volume that is grains [mL/mL]: (D - 1)/(S - 1).

    >>> round(solids_share(1.8, 2.6), 9)
    0.5
    """
    _check(slip_g_ml, solids_g_ml)
    return (slip_g_ml - 1) / (solids_g_ml - 1)


def cast_solids_share(water_percent: float, solids_g_ml: float) -> float:
    """Share of the fresh cast's volume that is grains [mL/mL], its pores full of water.

    water_percent: of the cast's wet weight.

    >>> round(cast_solids_share(20, 2.6), 4)
    0.6061
    """
    grains, water = (1 - water_percent / 100) / solids_g_ml, water_percent / 100
    return grains / (grains + water)


def cast_g_ml(water_percent: float, solids_g_ml: float) -> float:
    """Density of the fresh cast, its pores full of water [g/mL].

    >>> round(cast_g_ml(20, 2.6), 4)
    1.9697
    """
    share = cast_solids_share(water_percent, solids_g_ml)
    return share * solids_g_ml + (1 - share)


def water_into_mold(slip_g_ml: float, solids_g_ml: float, water_percent: float) -> float:
    """Water that the mold takes for each volume of cast that grows [mL/mL]: n = phi_cast/phi_slip - 1.

    Raises ValueError for a slip that is as dense as the cast.

    >>> round(water_into_mold(1.80, 2.6, 20), 4), round(water_into_mold(1.75, 2.6, 20), 4)
    (0.2121, 0.2929)
    """
    taken = cast_solids_share(water_percent, solids_g_ml) / solids_share(slip_g_ml, solids_g_ml) - 1
    if taken <= 0:
        raise ValueError(
            f"a slip of {slip_g_ml:g} g/mL holds no more water than a cast of {water_percent:g} % water; "
            "look at both figures"
        )
    return taken


def level_drop_mm(cast_mm3: float, opening_mm2: float, water_share: float) -> float:
    """How far the slip sinks in the opening while a cast of that volume grows [mm].

    water_share: of `water_into_mold`. The opening narrows by the wall as it grows: give what is left of
    it for the drop at the end.

    >>> from math import pi
    >>> wall = 4.0 * (pi * 80 * 120 + pi * 40**2)  # 80 mm across, 120 mm deep
    >>> round(level_drop_mm(wall, pi * 40**2, 0.2121), 2)
    5.94
    """
    return water_share * cast_mm3 / opening_mm2


def _check(slip_g_ml: float, solids_g_ml: float) -> None:
    if not 1 < slip_g_ml < solids_g_ml:
        raise ValueError(
            f"a slip of {slip_g_ml:g} g/mL does not lie between water (1) and its grains ({solids_g_ml:g}); "
            "give g/mL, such as 1.775"
        )
