"""The exact form of the torque on a screw, against which the long form is held; published examples check it."""

from math import pi, radians, sqrt, tan


def power_screw_torque(
    *,
    load_n: float,
    lead_mm: float,
    mean_diameter_mm: float,
    thread_friction: float,
    half_flank_angle_deg: float,
    collar_friction: float = 0.0,
    mean_collar_diameter_mm: float = 0.0,
) -> float:
    """Return the torque that raises a load on a screw, [N m]: the exact form behind the long form.

    Parameters
    ----------
    load_n : float
        Axial load, [N]
    lead_mm, mean_diameter_mm, mean_collar_diameter_mm : float
        Lead, mean thread diameter, mean collar diameter, [mm]
    thread_friction, collar_friction : float
        Coefficients, [-]
    half_flank_angle_deg : float
        0 square thread, 14.5 Acme, 30 bolt threads, measured normal to the thread, [deg]

    Source
    ------
    JINDAL, Machine Design (2010), ex. 16-1 and 9-3; WENTZELL, Machine Design (2007), ex. 18.3.
    """
    tan_lead = lead_mm / (pi * mean_diameter_mm)
    secant = sqrt(1 + tan(radians(half_flank_angle_deg)) ** 2)
    flank = thread_friction * secant
    thread_arm_mm = mean_diameter_mm / 2 * (tan_lead + flank) / (1 - flank * tan_lead)
    return load_n * (thread_arm_mm + collar_friction * mean_collar_diameter_mm / 2) / 1000
