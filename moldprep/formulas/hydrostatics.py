"""What slurry does before it sets: pressure, pull on the cottle, uplift on the master."""

from __future__ import annotations

GRAVITY_M_S2 = 9.80665
"""Standard gravity."""


def pressure_pa(density_kg_m3: float, head_mm: float) -> float:
    """Pressure at the foot of a full liquid head [Pa]: rho g h (as ACI 347-04 2.2.2 for forms).

    >>> round(pressure_pa(1586, 300))
    4666
    """
    return density_kg_m3 * GRAVITY_M_S2 * head_mm / 1000


def hoop_tension_n_m(pressure: float, radius_mm: float) -> float:
    """Tension in a round cottle [N per m of height]: p r.

    >>> round(hoop_tension_n_m(pressure_pa(1586, 300), 100), 1)
    466.6
    """
    return pressure * radius_mm / 1000


def hoop_force_n(density_kg_m3: float, head_mm: float, radius_mm: float) -> float:
    """Tension of a round cottle over its whole height [N]: rho g h^2 r / 2, what straps must hold.

    >>> round(hoop_force_n(1586, 300, 100), 1)
    70.0
    """
    return pressure_pa(density_kg_m3, head_mm) * (head_mm / 1000) * (radius_mm / 1000) / 2


def uplift_n(density_kg_m3: float, displaced_ml: float, mass_g: float) -> float:
    """Net upward force on a master that slurry wets all round [N]: (rho V - m) g.

    Positive when it floats. A base sealed to the board takes less (`sealed_uplift_n`), but a leak
    gives it back: design for the leak.

    >>> round(uplift_n(1586, 500, 150), 3)
    6.306
    """
    return (density_kg_m3 * displaced_ml / 1e6 - mass_g / 1000) * GRAVITY_M_S2


def sealed_uplift_n(
    density_kg_m3: float, displaced_ml: float, mass_g: float, *, base_mm2: float, head_mm: float
) -> float:
    """Net upward force on a master whose base no slurry reaches [N]: (rho V - m) g - rho g h A.

    base_mm2: area A sealed to the board; head_mm: depth h of the slurry there. Negative when it is
    held down: half a litre on 50 cm2, 150 mm deep, by 3.888 N; with its 150 g by 5.359 N.

    >>> round(sealed_uplift_n(1586, 500, 0, base_mm2=5000, head_mm=150), 3)
    -3.888
    >>> round(sealed_uplift_n(1586, 500, 150, base_mm2=5000, head_mm=150), 3)
    -5.359
    """
    held = pressure_pa(density_kg_m3, head_mm) * base_mm2 / 1e6
    return uplift_n(density_kg_m3, displaced_ml, mass_g) - held
