"""What a layered print weighs and how rough it is."""

from __future__ import annotations

from math import pi


def filament_g(volume_mm3: float, shell_mm3: float, *, infill: float, density_g_ml: float) -> float:
    """Filament in a print with a solid shell and a sparse inside [g]: rho [V_shell + f (V - V_shell)].

    volume [mm3] of the whole solid, shell [mm3] the part of it near the surface, infill f [1], density
    rho [g/mL]. A cube of 100 mm with a shell of 1.2 mm (6 faces less what they share at the edges):

    >>> shell = 100**3 - 97.6**3
    >>> round(filament_g(100**3, shell, infill=0.15, density_g_ml=1.24), 1)
    260.1
    """
    if not 0 <= shell_mm3 <= volume_mm3 * (1 + 1e-9):
        raise ValueError(f"a shell of {shell_mm3:g} mm3 is no part of a solid of {volume_mm3:g} mm3")
    return density_g_ml / 1000 * (shell_mm3 + infill * (volume_mm3 - shell_mm3))


def filament_m(mass_g: float, *, diameter_mm: float, density_g_ml: float) -> float:
    """Length of filament of a mass [m]: m / (rho pi d^2 / 4).

    A kilogram at 1.24 g/mL and 1.75 mm (worked by hand: 806.45 mL over 2.4053 mm2):

    >>> round(filament_m(1000, diameter_mm=1.75, density_g_ml=1.24), 1)
    335.3
    """
    return mass_g / density_g_ml / (pi * diameter_mm**2 / 4)


def cusp_mm(layer_mm: float, upward: float) -> float:
    """Greatest distance between a drawn face and its printed stairs [mm]: c = t |n_z|.

    layer t [mm], n_z [1] the face's unit normal along the build. After Dolenc and Makela, Computer-Aided
    Design 26(2), 1994. At 0.2 mm layers a face that leans by 45 degrees:

    >>> round(cusp_mm(0.2, 2**-0.5), 4)
    0.1414
    """
    return layer_mm * abs(upward)


def bead_mm(layer_mm: float) -> float:
    """How far the beads of filament ridge an upright wall, at most [mm]: half a layer (common practice).

    >>> bead_mm(0.2)
    0.1
    """
    return layer_mm / 2
