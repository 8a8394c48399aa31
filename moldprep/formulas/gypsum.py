"""Plaster as chemistry: what a mix of hemihydrate and water takes, sets to and dries to.

CaSO4.1/2H2O + 3/2 H2O -> CaSO4.2H2O. Consistency c is parts of water per part of plaster by mass
(0.70 for "70"). Everything here assumes full hydration and no air, and holds for c > r.
"""

from __future__ import annotations

HEMIHYDRATE_MOLAR_MASS_G = 145.149
DIHYDRATE_MOLAR_MASS_G = 172.171
"""IUPAC 1995 atomic weights (Coplen, Pure Appl. Chem. 68:2339)."""
COMBINING_WATER = (DIHYDRATE_MOLAR_MASS_G - HEMIHYDRATE_MOLAR_MASS_G) / HEMIHYDRATE_MOLAR_MASS_G
"""kg of water that a kg of pure hemihydrate binds: 0.1862."""
HEMIHYDRATE_DENSITY_KG_M3 = 2630.0
"""Beta hemihydrate, 2620-2640 (from memory: Wirsching, Ullmann's Encyclopedia)."""
ALPHA_HEMIHYDRATE_DENSITY_KG_M3 = 2740.0
"""Alpha hemihydrate, 2740-2760 (from memory: the same)."""
DIHYDRATE_DENSITY_KG_M3 = 2305.0
"""From the molar volume 74.69 cm3/mol (saltwiki.net, Gypsum)."""
WATER_DENSITY_KG_M3 = 998.2
"""At 20 degrees C (from memory)."""
HEAT_OF_HYDRATION_J_G = 16300 / HEMIHYDRATE_MOLAR_MASS_G
"""16.30 kJ/mol of hemihydrate (Thermoddem, BRGM): 112 J/g."""
GYPSUM_HEAT_CAPACITY_J_GK = 1.081
"""Dihydrate near 25 degrees C (Thermoddem, BRGM)."""
WATER_HEAT_CAPACITY_J_GK = 4.18
"""Near 25 degrees C (from memory)."""


def combining_water(purity: float = 1.0) -> float:
    """Water bound by one part of plaster of that purity, by mass [kg/kg].

    >>> round(combining_water(), 5)
    0.18617
    """
    return COMBINING_WATER * purity


def slurry_litres_per_kg(
    consistency: float, *, hemihydrate_density: float = HEMIHYDRATE_DENSITY_KG_M3
) -> float:
    """Slurry from one kg of plaster [L/kg]: 1/rho_hemihydrate + c/rho_water.

    consistency [kg/kg], density [kg/m3]. Two pounds of water to three of plaster by this give 87 cubic
    inches, where the common rule says 80 to be on the safe side (Ceramics Monthly, Mold Making 101).

    >>> round(slurry_litres_per_kg(0.70), 3)
    1.081
    """
    _check(consistency)
    return 1000 * (1 / hemihydrate_density + consistency / WATER_DENSITY_KG_M3)


def wet_density_kg_m3(consistency: float, *, hemihydrate_density: float = HEMIHYDRATE_DENSITY_KG_M3) -> float:
    """Density of slurry and of wet, just set plaster [kg/m3]: (1 + c)/V.

    >>> round(wet_density_kg_m3(0.70))
    1572
    """
    volume = slurry_litres_per_kg(consistency, hemihydrate_density=hemihydrate_density)
    return 1000 * (1 + consistency) / volume


def dry_density_kg_m3(
    consistency: float, *, purity: float = 1.0, hemihydrate_density: float = HEMIHYDRATE_DENSITY_KG_M3
) -> float:
    """Density of dry plaster as a body with its pores [kg/m3]: (1 + r)/V.

    >>> round(dry_density_kg_m3(0.70))
    1097
    """
    volume = slurry_litres_per_kg(consistency, hemihydrate_density=hemihydrate_density)
    return 1000 * (1 + combining_water(purity)) / volume


def dry_to_wet_ratio(consistency: float, *, purity: float = 1.0) -> float:
    """Dry over wet mass of a piece [kg/kg]: (1 + r)/(1 + c).

    >>> round(dry_to_wet_ratio(0.70), 4)
    0.6977
    """
    _check(consistency)
    return (1 + combining_water(purity)) / (1 + consistency)


def porosity(
    consistency: float, *, purity: float = 1.0, hemihydrate_density: float = HEMIHYDRATE_DENSITY_KG_M3
) -> float:
    """Share of dry plaster that is pores [m3/m3]: 1 - rho_dry/rho_dihydrate.

    >>> round(porosity(0.70), 3)
    0.524
    """
    dry = dry_density_kg_m3(consistency, purity=purity, hemihydrate_density=hemihydrate_density)
    return 1 - dry / DIHYDRATE_DENSITY_KG_M3


def adiabatic_rise_k(consistency: float, *, purity: float = 1.0) -> float:
    """How much setting plaster warms when no heat leaves it [K]: the limit for a thick pour.

    Heat of hydration over what the gypsum and the free water c - r take up; what is not plaster
    counts as gypsum. A thin wall stays well below.

    >>> round(adiabatic_rise_k(0.70), 1)
    32.7
    """
    _check(consistency)
    return purity * HEAT_OF_HYDRATION_J_G / _taken_j_k(consistency, purity)


def wet_heat_capacity_kj_m3k(
    consistency: float, *, purity: float = 1.0, hemihydrate_density: float = HEMIHYDRATE_DENSITY_KG_M3
) -> float:
    """Heat that a volume of wet, set plaster takes up [kJ/(m3 K)]: its gypsum's and its free water's.

    >>> round(wet_heat_capacity_kj_m3k(0.70))
    3172
    """
    litres = slurry_litres_per_kg(consistency, hemihydrate_density=hemihydrate_density)
    return 1000 * _taken_j_k(consistency, purity) / litres


def _taken_j_k(consistency: float, purity: float) -> float:
    """Heat that a gram of plaster takes up once it is set, with its free water [J/K]."""
    bound = combining_water(purity)
    return (1 + bound) * GYPSUM_HEAT_CAPACITY_J_GK + (consistency - bound) * WATER_HEAT_CAPACITY_J_GK


def _check(consistency: float) -> None:
    if not consistency > COMBINING_WATER:
        raise ValueError(
            f"a consistency of {consistency:g} kg/kg is not above the {COMBINING_WATER:.3f} plaster binds; "
            "give parts of water per part of plaster, such as 0.70"
        )
