"""How heavy what is lifted will be: for hands or hoist, never for a sling's rating (rule P1)."""

from math import ceil
from typing import Final

from service.findings import Source
from service.reference.bearings import SPHERICAL_ROLLER, Bearing

ROLLER_KG_PER_MM3: Final = 4.9e-6
WIDE_BALL_KG_PER_MM3: Final = 4.3e-6
WIDE_BALL_SERIES: Final = ("22", "23")
SLEEVE_KG: Final = 1.75e-5
PRINTED_OVER: Final = 1.10
"""Masses are printed ten per cent above the formula, which lies 8 % below the heaviest of its published checks."""
TWO_PEOPLE_OVER_KG: Final = 15.0
HOIST_OVER_KG: Final = 25.0
MASSES: Final = Source("mass-estimate", "mass from the boundary dimensions, fitted to published masses", "calculation")


def bearing_mass(bearing: Bearing) -> float | None:
    """Return the mass of a bearing, None without its dimensions, [kg].

    Parameters
    ----------
    bearing : Bearing
        Its type, series and dimensions d, D, B

    Source
    ------
    k (D^2 - d^2) B with k = 4.9e-6 (spherical roller, narrow ball) and 4.3e-6 kg/mm3 (ball bearings of the wide
    series): fitted to 319 masses published in two catalogues, -8 to +10 %; see the checks W40 to W58.
    """
    if bearing.outside_diameter_mm is None or bearing.width_mm is None:
        return None
    wide_ball = bearing.type != SPHERICAL_ROLLER and (bearing.series or "") in WIDE_BALL_SERIES
    per_mm3 = WIDE_BALL_KG_PER_MM3 if wide_ball else ROLLER_KG_PER_MM3
    return per_mm3 * (bearing.outside_diameter_mm**2 - bearing.bore_mm**2) * bearing.width_mm


def sleeve_mass(bore_mm: float) -> float:
    """Return the mass of an adapter sleeve with its locknut, within 40 %, [kg].

    Parameters
    ----------
    bore_mm : float
        Bearing bore d, [mm]

    Source
    ------
    1.75e-5 d^2.5: fit to 94 published masses.
    """
    return float(SLEEVE_KG * bore_mm**2.5)


def printed_mass(mass_kg: float) -> float:
    """Return a mass as it is printed: 10 % more, up to 0.1 kg under 10 kg, up to whole kilograms above, [kg]."""
    over = mass_kg * PRINTED_OVER
    return ceil(round(over * 10, 6)) / 10 if over < 10 else float(ceil(round(over, 6)))


def lifting(mass_kg: float) -> str:
    """Return how a part of this printed mass is handled: ``by_hand``, ``two_people`` or ``hoist``.

    Parameters
    ----------
    mass_kg : float
        As printed, [kg]

    Source
    ------
    25 kg is the reference mass of ISO 11228-1 (from memory); two people from 15 kg on is our own convention.
    """
    if mass_kg > HOIST_OVER_KG:
        return "hoist"
    return "two_people" if mass_kg > TWO_PEOPLE_OVER_KG else "by_hand"
