"""Operating clearance: what is left when the inner ring runs warmer than the outer (rule C8)."""

from dataclasses import dataclass
from math import floor
from typing import Any, Final

from service import units
from service.findings import Source
from service.reference.materials import material

THERMAL: Final = Source("thermal-loss", "clearance lost to warming, common practice", "calculation")


@dataclass(frozen=True, slots=True)
class OperatingClearance:
    """Operating clearance over the residual window, and the smallest class that keeps it positive.

    ``min_nm``, ``max_nm``, ``loss_nm`` [nm]; ``temperature_difference_k`` inner minus outer ring [K].
    """

    min_nm: float
    max_nm: float
    loss_nm: float
    temperature_difference_k: float
    smallest_class: str | None

    def record(self) -> dict[str, Any]:
        """Return the wire member ``operating_clearance``."""
        return {
            "min": units.clearance(self.min_nm),
            "max": units.clearance(self.max_nm),
            "loss": units.clearance(self.loss_nm),
            "temperature_difference": units.temperature_difference(self.temperature_difference_k),
            "smallest_class": self.smallest_class,
            "source": THERMAL.id,
        }


def thermal_loss(*, bore_mm: float, outside_diameter_mm: float, temperature_difference_k: float) -> float:
    """Return the clearance lost to the temperature difference of the rings, [nm]; negative when it is gained.

    Parameters
    ----------
    bore_mm, outside_diameter_mm : float
        Bore d and outside diameter D, [mm]
    temperature_difference_k : float
        Inner minus outer ring; the start-up transient governs, not the steady state, [K]

    Source
    ------
    alpha dT (d + 4 D) / 5, with the diameter of the outer raceway; check R3, common practice, no source.
    """
    raceway_mm = (bore_mm + 4 * outside_diameter_mm) / 5
    return material("bearing_steel").expansion_per_k * temperature_difference_k * raceway_mm * units.NM_PER_MM


def least_residual(loss_nm: float) -> int:
    """Return the smallest residual clearance that keeps the operating clearance above zero, rounded inward, [nm].

    Parameters
    ----------
    loss_nm : float
        Clearance lost to the temperature difference, [nm]
    """
    return floor(loss_nm) + 1
