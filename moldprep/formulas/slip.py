"""Casting slip: what is in it, and how far its level falls.

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


def level_drop_mm(cast_mm3: float, opening_mm2: float, water_share: float) -> float:
    """How far the slip sinks in the opening while a cast of that volume grows [mm].

    water_share: of `clay.water_given_up`. The opening narrows by the wall as it grows: give what is left of
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
