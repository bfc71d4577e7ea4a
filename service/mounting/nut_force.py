"""Force and torque that drive a bearing up its taper: what tools the work needs, never a target (rule C9)."""

from dataclasses import dataclass
from math import pi
from typing import Final

from service.findings import Source
from service.mounting.taper_fit import TAPER_RATIO, growth_ratio, press_fit, raceway_diameter
from service.reference.bearings import Bearing

MODULUS_MPA: Final = 203_000.0
TAPER_FRICTION: Final = 0.12
"""Friction on the taper: from memory."""
NUT_FACTOR: Final = 0.15
"""Torque over force times diameter of a lubricated locknut: from memory."""
NUT_FORCE: Final = Source("nut-force", "elastic theory and friction of a locknut, ring on its taper", "calculation")


@dataclass(frozen=True, slots=True)
class NutForce:
    """Contact pressure [MPa], axial force [N] and torque on the locknut [N m] at a reduction."""

    pressure_mpa: float
    force_n: float
    torque_n_m: float


def nut_force(bearing: Bearing, *, reduction_nm: float) -> NutForce | None:
    """Return pressure, force and torque that a reduction of the clearance takes, None without dimensions.

    Parameters
    ----------
    bearing : Bearing
        With a tapered bore; d, D and B are needed
    reduction_nm : float
        Reduction of the radial internal clearance, [nm]

    Source
    ------
    F = pi d B p (0.12 + 1/(2 k)) with p by Lame for the interference that the reduction stands for, k the taper;
    T = 0.15 F d. The frictions are from memory; a solid shaft is assumed.
    """
    if not bearing.tapered or bearing.outside_diameter_mm is None or bearing.width_mm is None:
        return None
    raceway_mm = raceway_diameter(
        bearing_type=bearing.type, bore_mm=bearing.bore_mm, outside_diameter_mm=bearing.outside_diameter_mm
    )
    interference_mm = reduction_nm / 1e6 / growth_ratio(bore_mm=bearing.bore_mm, raceway_mm=raceway_mm)
    fit = press_fit(
        interference_mm=interference_mm,
        inner_bore_mm=0.0,
        joint_mm=bearing.bore_mm,
        outer_mm=raceway_mm,
        modulus_mpa=MODULUS_MPA,
    )
    slope = TAPER_FRICTION + 1 / (2 * TAPER_RATIO[bearing.taper])
    force_n = pi * bearing.bore_mm * bearing.width_mm * fit.pressure_mpa * slope
    return NutForce(fit.pressure_mpa, force_n, NUT_FACTOR * force_n * bearing.bore_mm / 1000)
