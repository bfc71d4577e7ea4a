"""Elastic theory of an inner ring on its taper: an independent witness beside the practice (rules C7, C9).

Assumptions: thick-walled cylinders in plane stress (Lame), one modulus for ring, sleeve and shaft, ring represented
by a smooth cylinder of mean raceway diameter F, no friction, no roughness. Shown beside the chart, never a target.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Any, Final

from service import units
from service.errors import CannotEvaluate
from service.findings import Source
from service.reference.materials import material

TAPER_RATIO: Final = {"1:12": 12.0, "1:30": 30.0}
ELASTIC: Final = Source("elastic-theory", "Lame's thick-walled cylinders, ring on its taper", "calculation")
FIT_PRACTICE: Final = Source("practice-fit", "common practice, interference needed under load", "practice")
_NM_PER_UM: Final = units.NM_PER_UM
_NM_PER_MM: Final = units.NM_PER_MM


@dataclass(frozen=True, slots=True)
class PressFit:
    """Two cylinders pressed together: contact pressure and hoop stresses, [MPa].

    ``outer_bore_mpa``, ``outer_rim_mpa``, ``inner_bore_mpa`` (None when solid) and ``inner_rim_mpa`` are hoop
    stresses, tension positive.
    """

    pressure_mpa: float
    outer_bore_mpa: float
    outer_rim_mpa: float
    inner_bore_mpa: float | None
    inner_rim_mpa: float


def press_fit(
    *, interference_mm: float, inner_bore_mm: float, joint_mm: float, outer_mm: float, modulus_mpa: float
) -> PressFit:
    """Return pressure and hoop stresses of a press fit of one material, [MPa].

    Parameters
    ----------
    interference_mm : float
        Diametral interference, [mm]
    inner_bore_mm, joint_mm, outer_mm : float
        Bore of the inner part (0 when solid), diameter of the joint, outside diameter, [mm]
    modulus_mpa : float
        Young's modulus, [MPa]

    Raises
    ------
    CannotEvaluate
        The diameters do not rise.

    Source
    ------
    UGURAL & FENSTER, Advanced Strength and Applied Elasticity, 2nd ed., sec. 8.5; checked against its examples 8.3
    and 8.4 and against BHAVIKATTI, Strength of Materials, examples 8.16 and 8.17, see tests.
    """
    if not 0 <= inner_bore_mm < joint_mm < outer_mm:
        raise CannotEvaluate(
            "the diameters of a press fit must rise: bore, joint, outside", code="impossible_dimensions"
        )
    inner, joint, outer = inner_bore_mm**2, joint_mm**2, outer_mm**2
    compliance = (outer + joint) / (outer - joint) + (joint + inner) / (joint - inner)
    pressure_mpa = modulus_mpa * interference_mm / joint_mm / compliance
    return PressFit(
        pressure_mpa=pressure_mpa,
        outer_bore_mpa=pressure_mpa * (outer + joint) / (outer - joint),
        outer_rim_mpa=pressure_mpa * 2 * joint / (outer - joint),
        inner_bore_mpa=-pressure_mpa * 2 * joint / (joint - inner) if inner else None,
        inner_rim_mpa=-pressure_mpa * (joint + inner) / (joint - inner),
    )


def interference_for_pressure(
    *, pressure_mpa: float, inner_bore_mm: float, joint_mm: float, outer_mm: float, modulus_mpa: float
) -> float:
    """Return the diametral interference that gives a contact pressure, [mm].

    Parameters
    ----------
    pressure_mpa : float
        Contact pressure, [MPa]
    inner_bore_mm, joint_mm, outer_mm : float
        Bore of the inner part (0 when solid), diameter of the joint, outside diameter, [mm]
    modulus_mpa : float
        Young's modulus, [MPa]

    Source
    ------
    The inverse of ``press_fit``; checked against BHAVIKATTI, Strength of Materials, example 8.16.
    """
    of_one_mm = press_fit(
        interference_mm=1.0,
        inner_bore_mm=inner_bore_mm,
        joint_mm=joint_mm,
        outer_mm=outer_mm,
        modulus_mpa=modulus_mpa,
    )
    return pressure_mpa / of_one_mm.pressure_mpa


def raceway_diameter(*, bearing_type: str, bore_mm: float, outside_diameter_mm: float) -> float:
    """Return the mean raceway diameter F of the inner ring, [mm].

    Parameters
    ----------
    bearing_type : str
        ``spherical_roller`` or ``self_aligning_ball``
    bore_mm, outside_diameter_mm : float
        Bore d and outside diameter D, [mm]

    Source
    ------
    (3 d + D) / 4 for spherical roller, (4 d + D) / 5 for ball bearings; common practice, no source.
    """
    if bearing_type == "spherical_roller":
        return (3 * bore_mm + outside_diameter_mm) / 4
    return (4 * bore_mm + outside_diameter_mm) / 5


def growth_ratio(*, bore_mm: float, raceway_mm: float, shaft_bore_mm: float = 0.0) -> float:
    """Return the raceway growth per interference, [-].

    Parameters
    ----------
    bore_mm, raceway_mm : float
        Bore d and raceway diameter F of the ring, [mm]
    shaft_bore_mm : float
        Bore d0 of a hollow shaft, 0 when solid, [mm]

    Source
    ------
    d / F for a solid shaft; a hollow one divides it by [1 - (d0/F)^2] / [1 - (d0/d)^2], both from Lame; check R1:
    common practice, no source.
    """
    hollow = (1 - (shaft_bore_mm / raceway_mm) ** 2) / (1 - (shaft_bore_mm / bore_mm) ** 2)
    return bore_mm / raceway_mm / hollow


def displacement_for_reduction(reduction_nm: float, *, growth: float, taper: str) -> float:
    """Return the axial displacement of a ring on its taper that takes away a clearance, [nm].

    Parameters
    ----------
    reduction_nm : float
        Reduction of the radial internal clearance, [nm]
    growth : float
        Raceway growth per interference, [-]
    taper : str
        ``1:12`` or ``1:30``
    """
    return reduction_nm / growth * TAPER_RATIO[taper]


def reduction_for_displacement(displacement_nm: float, *, growth: float, taper: str) -> float:
    """Return the reduction of the radial internal clearance after an axial displacement, [nm].

    Parameters
    ----------
    displacement_nm : float
        Axial displacement from firm contact, [nm]
    growth : float
        Raceway growth per interference, [-]
    taper : str
        ``1:12`` or ``1:30``
    """
    return displacement_nm / TAPER_RATIO[taper] * growth


def interference_needed(
    *, bore_mm: float, width_mm: float, radial_load_n: float, temperature_difference_k: float = 0.0
) -> float:
    """Return the interference needed against creep, [nm].

    Parameters
    ----------
    bore_mm, width_mm : float
        Bore d and width B, [mm]
    radial_load_n : float
        Radial load F_r, [N]
    temperature_difference_k : float
        Inner ring warmer than the shaft side, [K]; colder counts as none

    Source
    ------
    The larger of 0.08 sqrt(d F_r / B) and 0.02 F_r / B um, plus 0.0015 d dT um; common practice, no source, printed
    for cylindrical bores on solid shafts: a check, never a target.
    """
    under_load_um = max(0.08 * sqrt(bore_mm * radial_load_n / width_mm), 0.02 * radial_load_n / width_mm)
    return (under_load_um + 0.0015 * bore_mm * max(temperature_difference_k, 0.0)) * _NM_PER_UM


@dataclass(frozen=True, slots=True)
class Fit:
    """The fit that a reduction stands for, smallest and largest (rule C9).

    ``interference_nm`` [nm], ``pressure_mpa`` and ``bore_hoop_stress_mpa`` [MPa], ``needed_nm`` [nm] or None.
    """

    interference_nm: tuple[float, float]
    pressure_mpa: tuple[float, float] | None
    bore_hoop_stress_mpa: tuple[float, float] | None
    needed_nm: float | None

    @property
    def sufficient(self) -> bool | None:
        """Return whether the smallest interference holds the ring; None when the need is not known."""
        return None if self.needed_nm is None else self.interference_nm[0] >= self.needed_nm

    def record(self) -> dict[str, Any]:
        """Return the wire member ``fit``."""
        return {
            "interference": _limits("clearance", self.interference_nm),
            "contact_pressure": _limits("pressure", self.pressure_mpa),
            "bore_hoop_stress": _limits("pressure", self.bore_hoop_stress_mpa),
            "interference_needed": None if self.needed_nm is None else units.clearance(self.needed_nm),
            "sufficient": self.sufficient,
            "source": ELASTIC.id if self.pressure_mpa else FIT_PRACTICE.id,
        }


def _limits(kind: str, limits: tuple[float, float] | None) -> dict[str, units.Quantity] | None:
    if limits is None:
        return None
    return {"min": units.Quantity(kind, limits[0]), "max": units.Quantity(kind, limits[1])}


def fit_of_reduction(
    reduction_nm: tuple[float, float],
    *,
    bore_mm: float,
    raceway_mm: float | None,
    shaft_bore_mm: float,
    needed_nm: float | None,
) -> Fit:
    """Return the fit behind a reduction: elastic where the raceway is known, else reduction / 0.70 (practice).

    Parameters
    ----------
    reduction_nm : tuple of float
        Smallest and largest reduction, [nm]
    bore_mm : float
        Bore d, [mm]
    raceway_mm : float or None
        Raceway diameter F, [mm]
    shaft_bore_mm : float
        Bore of the shaft, 0 when solid, [mm]
    needed_nm : float or None
        Interference needed, [nm]
    """
    if raceway_mm is None:
        return Fit((reduction_nm[0] / 0.70, reduction_nm[1] / 0.70), None, None, needed_nm)
    growth = growth_ratio(bore_mm=bore_mm, raceway_mm=raceway_mm, shaft_bore_mm=shaft_bore_mm)
    interference_nm = (reduction_nm[0] / growth, reduction_nm[1] / growth)
    modulus_mpa = material("bearing_steel").youngs_modulus_mpa
    fits = [
        press_fit(
            interference_mm=one_nm / _NM_PER_MM,
            inner_bore_mm=shaft_bore_mm,
            joint_mm=bore_mm,
            outer_mm=raceway_mm,
            modulus_mpa=modulus_mpa,
        )
        for one_nm in interference_nm
    ]
    pressure_mpa = (fits[0].pressure_mpa, fits[1].pressure_mpa)
    return Fit(interference_nm, pressure_mpa, (fits[0].outer_bore_mpa, fits[1].outer_bore_mpa), needed_nm)
