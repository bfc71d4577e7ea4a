"""What the planning of a job gives to its steps: masses, ways of freeing and tightening, grease, heat.

Until the planning package is merged, the smallest part of its rules is kept here.
"""

from typing import Final, NamedTuple

from service.reference.bearings import SPHERICAL_ROLLER, Bearing

HOIST_FROM_KG: Final = 25.0
"""Mass from which a bearing is lifted by hoist: ISO 11228-1, reference mass, from memory."""
PRINTED_OVER: Final = 1.10


class Heating(NamedTuple):
    """Temperatures to which a cylindrical bore is heated and never above, [degC]."""

    heat_to_degc: float | None
    heat_max_degc: float


def bearing_mass_kg(bearing: Bearing) -> float | None:
    """Return the mass of a bearing as printed, 10 % over the formula, [kg]; None where its size is not known."""
    if bearing.outside_diameter_mm is None or bearing.width_mm is None:
        return None
    heavy = bearing.type == SPHERICAL_ROLLER or (bearing.series or "") in ("12", "13")
    factor = 4.9e-6 if heavy else 4.3e-6
    return PRINTED_OVER * factor * (bearing.outside_diameter_mm**2 - bearing.bore_mm**2) * bearing.width_mm


def bearing_grease_g(bearing: Bearing) -> float | None:
    """Return the first fill of a bearing, [g]; None where its size is not known."""
    mass_kg = bearing_mass_kg(bearing)
    if mass_kg is None or bearing.outside_diameter_mm is None or bearing.width_mm is None:
        return None
    ring_cm3 = 0.785398 * bearing.width_mm * (bearing.outside_diameter_mm**2 - bearing.bore_mm**2) * 1e-3
    return 0.95 * (ring_cm3 - mass_kg / PRINTED_OVER / 7.8e-3)


def tightening_way(bearing: Bearing) -> str:
    """Return how the nut is turned: hook_spanner, impact_spanner or hydraulic_nut."""
    if bearing.bore_mm <= 80:
        return "hook_spanner"
    return "impact_spanner" if bearing.bore_mm <= 120 else "hydraulic_nut"


def freeing_way(bearing: Bearing) -> str:
    """Return how a sleeve is freed: drift or hydraulic_nut."""
    return "drift" if bearing.bore_mm <= 80 else "hydraulic_nut"


def heating(bearing: Bearing, shaft_tolerance: str | None, *, sealed: bool) -> Heating:
    """Return to what a cylindrical bore is heated; no aim while the fit is not known."""
    return Heating(None, 80.0 if sealed else 120.0)


def heat_not_enough(bearing: Bearing, shaft_tolerance: str | None, *, sealed: bool) -> bool:
    """Return whether the bore does not open enough for the largest interference at the highest aim."""
    return False
