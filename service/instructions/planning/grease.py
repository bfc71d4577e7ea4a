"""How much grease a bearing takes, and how much to draw from the store (rule I8)."""

from math import ceil, pi
from typing import Final

from service.findings import Source
from service.instructions.planning.masses import bearing_mass
from service.reference.bearings import Bearing

DENSITY_G_PER_CM3: Final = 0.95
STEEL_KG_PER_CM3: Final = 7.8e-3
DRAWN_PER_FILL: Final = 4
DRAWN_STEP_G: Final = 50
GREASE: Final = Source("grease-estimate", "free volume of the bearing times the density of grease", "calculation")


def bearing_fill(bearing: Bearing) -> float | None:
    """Return the grease that fills a bearing, None without its dimensions, [g].

    Parameters
    ----------
    bearing : Bearing
        Its type, series and dimensions d, D, B

    Source
    ------
    0.95 g/cm3 times the free volume, pi/4 B (D^2 - d^2) less the steel: the free volume is printed by two
    publications, the density by one.
    """
    mass_kg = bearing_mass(bearing)
    if mass_kg is None or bearing.outside_diameter_mm is None or bearing.width_mm is None:
        return None
    ring_cm3 = pi / 4 * bearing.width_mm * (bearing.outside_diameter_mm**2 - bearing.bore_mm**2) / 1000
    return DENSITY_G_PER_CM3 * (ring_cm3 - mass_kg / STEEL_KG_PER_CM3)


def drawn_from_store(fill_g: float) -> int:
    """Return the grease to draw for one block whose book gives no grams: four fills, up to the next 50 g, [g].

    Parameters
    ----------
    fill_g : float
        As ``bearing_fill`` returns it, [g]

    Source
    ------
    Own convention: published first fills of eight blocks at 40 % are 2.7 to 3.6 times the fill of their bearing.
    """
    return ceil(round(DRAWN_PER_FILL * fill_g / DRAWN_STEP_G, 9)) * DRAWN_STEP_G


def printed_grease(grease_g: float) -> int:
    """Return grams as a scale is read: 5 g under 100, 10 g under 500, else 50 g, nearest, [g]."""
    step = 5 if grease_g < 100 else 10 if grease_g < 500 else 50
    return int(grease_g / step + 0.5) * step
