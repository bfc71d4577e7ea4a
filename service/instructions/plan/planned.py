"""What the planning of a job gives to its steps: masses, ways of freeing and tightening, grease, heat."""

from typing import Final

from service.instructions.planning import ways
from service.instructions.planning.grease import bearing_fill
from service.instructions.planning.masses import HOIST_OVER_KG, bearing_mass, printed_mass, sleeve_mass
from service.mounting.heating import MOST_DEGC, SEALED_DEGC, Heating, heating
from service.mounting.nut_force import nut_force
from service.reference.bearings import Bearing

HOIST_FROM_KG: Final = HOIST_OVER_KG


def bearing_mass_kg(bearing: Bearing) -> float | None:
    """Return the mass of a bearing as printed, [kg]; None where its size is not known."""
    mass_kg = bearing_mass(bearing)
    return None if mass_kg is None else printed_mass(mass_kg)


def lifted_mass_kg(bearing: Bearing, *, on_sleeve: bool) -> float | None:
    """Return the mass of a bearing with its sleeve, as printed, [kg]; None where its size is not known."""
    mass_kg = bearing_mass(bearing)
    if mass_kg is None:
        return None
    return printed_mass(mass_kg + (sleeve_mass(bearing.bore_mm) if on_sleeve else 0.0))


def bearing_grease_g(bearing: Bearing) -> float | None:
    """Return the first fill of a bearing, [g]; None where its size is not known."""
    return bearing_fill(bearing)


def tightening_way(bearing: Bearing, reduction_nm: float | None) -> str:
    """Return how the nut is turned: hook_spanner, impact_spanner or hydraulic_nut.

    Parameters
    ----------
    reduction_nm : float or None
        Largest reduction of the clearance, None when it is not known, [nm]
    """
    force = None if reduction_nm is None or not bearing.tapered else nut_force(bearing, reduction_nm=reduction_nm)
    return ways.tightening_way(bore_mm=bearing.bore_mm, torque_n_m=None if force is None else force.torque_n_m)


def freeing_way(bearing: Bearing) -> str:
    """Return how a sleeve is freed: drift or hydraulic_nut."""
    return ways.freeing_way(bearing.bore_mm)


def heated(bearing: Bearing, interference_mm: float | None, *, room_degc: float, sealed: bool) -> Heating | None:
    """Return how a cylindrical bore is heated; None while its largest interference is not known, [mm]."""
    if interference_mm is None:
        return None
    return heating(bore_mm=bearing.bore_mm, largest_interference_mm=interference_mm, room_degc=room_degc, sealed=sealed)


def never_above_degc(*, sealed: bool) -> float:
    """Return the temperature that no bearing is heated above, [degC]."""
    return SEALED_DEGC if sealed else MOST_DEGC
