"""Torque and preload of a bolt: the short form with a nut factor, the long form with both frictions (rule B2)."""

from math import pi, sqrt
from typing import Final

from service.reference.bolts import Thread

FLANK_FACTOR: Final = 1 / (2 * 0.8660254037844386)
"""Half the secant of the half flank angle of 30 degrees: 0.577 in the long form, [-]."""
HEAD_DIAMETER_SHARE: Final = 1.25
"""Mean friction diameter under a hexagon head over the thread diameter: textbook value, K then holds 0.625 mu, [-]."""


def preload_from_torque(*, torque_n_m: float, diameter_mm: float, nut_factor: float) -> float:
    """Return the preload F = T/(K d), [N].

    Parameters
    ----------
    torque_n_m : float
        Tightening torque T, [N m]
    diameter_mm : float
        Nominal thread diameter d, [mm]
    nut_factor : float
        K, [-]

    Source
    ------
    Short form, WENTZELL, Machine Design (2007), ch. 6; JINDAL, Machine Design (2010), ex. 9-6.
    """
    return torque_n_m * 1000 / (nut_factor * diameter_mm)


def torque_from_preload(*, preload_n: float, diameter_mm: float, nut_factor: float) -> float:
    """Return the torque T = K d F, [N m]; arguments as in ``preload_from_torque``, preload F [N]."""
    return nut_factor * diameter_mm * preload_n / 1000


def head_friction_diameter(thread: Thread) -> float:
    """Return the mean friction diameter under a hexagon head when its own is not known, 1.25 d, [mm]."""
    return HEAD_DIAMETER_SHARE * thread.diameter_mm


def long_form_torque(
    *,
    preload_n: float,
    pitch_mm: float,
    pitch_diameter_mm: float,
    head_friction_diameter_mm: float,
    thread_friction: float,
    head_friction: float,
) -> float:
    """Return the tightening torque with thread and head friction apart, [N m].

    Parameters
    ----------
    preload_n : float
        Assembly preload F_M, [N]
    pitch_mm, pitch_diameter_mm : float
        Pitch P and pitch diameter d2 of the thread, [mm]
    head_friction_diameter_mm : float
        Mean friction diameter under the head D_Km, [mm]
    thread_friction, head_friction : float
        Coefficients mu_G and mu_K, [-]

    Source
    ------
    VDI 2230-1, M_A = F_M (0.159 P + 0.577 d2 mu_G + 0.5 D_Km mu_K) (Kellermann and Klein).
    """
    arm_mm = (
        pitch_mm / (2 * pi)
        + FLANK_FACTOR * pitch_diameter_mm * thread_friction
        + head_friction_diameter_mm / 2 * head_friction
    )
    return preload_n * arm_mm / 1000


def long_form_nut_factor(thread: Thread, *, thread_friction: float, head_friction: float) -> float:
    """Return the nut factor that the long form gives for a hexagon bolt, [-]."""
    torque_n_m = long_form_torque(
        preload_n=1000.0,
        pitch_mm=thread.pitch_mm,
        pitch_diameter_mm=thread.pitch_diameter_mm,
        head_friction_diameter_mm=head_friction_diameter(thread),
        thread_friction=thread_friction,
        head_friction=head_friction,
    )
    return torque_n_m / thread.diameter_mm


def assembly_preload(thread: Thread, *, yield_mpa: float, thread_friction: float, utilization: float = 0.9) -> float:
    """Return the preload at which torsion and tension together use a share of the yield strength, [N].

    Parameters
    ----------
    yield_mpa : float
        Smallest 0.2 % proof stress R_p0.2, [MPa]
    thread_friction : float
        mu_G, [-]
    utilization : float
        Share of the yield strength, [-]

    Source
    ------
    VDI 2230-1, F_M = nu R A0/sqrt(1 + 3 (3/2 (d2/d0) (P/(pi d2) + 1.155 mu_G))^2), d0 = (d2 + d3)/2.
    """
    stress_diameter_mm = (thread.pitch_diameter_mm + thread.minor_diameter_mm) / 2
    area_mm2 = pi / 4 * stress_diameter_mm**2
    lead = thread.pitch_mm / (pi * thread.pitch_diameter_mm)
    torsion = 1.5 * thread.pitch_diameter_mm / stress_diameter_mm * (lead + 2 * FLANK_FACTOR * thread_friction)
    return utilization * yield_mpa * area_mm2 / sqrt(1 + 3 * torsion**2)


def scattered_preload(*, nominal_n: float, scatter: float, loss: float = 0.0) -> tuple[float, float]:
    """Return the least and the greatest preload for a scatter of the tightening, [N].

    Parameters
    ----------
    scatter : float
        Gamma, relative scatter of the preload for one torque, [-]
    loss : float
        Share lost by settling, taken off the least preload, [-]

    Source
    ------
    F_min = (1 - Gamma)(1 - loss) F, F_max = (1 + Gamma) F. SANDIA SAND2008-0371, app. C, p. 43.
    """
    return (1 - scatter) * (1 - loss) * nominal_n, (1 + scatter) * nominal_n


def minimum_preload(*, greatest_n: float, tightening_factor: float) -> float:
    """Return the least preload F_Mmin = F_Mmax/alpha_A, [N]; tightening factor alpha_A [-] (VDI 2230-1)."""
    return greatest_n / tightening_factor
