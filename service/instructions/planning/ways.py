"""With which tool a bearing is driven up its taper and freed again (rule P2)."""

from typing import Final

HOOK_SPANNER: Final = "hook_spanner"
IMPACT_SPANNER: Final = "impact_spanner"
HYDRAULIC_NUT: Final = "hydraulic_nut"
DRIFT: Final = "drift"
HOOK_TO_MM: Final = 80.0
IMPACT_TO_MM: Final = 120.0
MOST_BY_HAND_N_M: Final = 1500.0
OIL_HELPS_FROM_MM: Final = 160.0
OIL_DUCTS_FROM_MM: Final = 200.0


def tightening_way(*, bore_mm: float, torque_n_m: float | None) -> str:
    """Return how the locknut is turned.

    Parameters
    ----------
    bore_mm : float
        Bearing bore d, [mm]
    torque_n_m : float or None
        Torque on the nut at the largest reduction, None when it is not known, [N m]

    Source
    ------
    Hook spanners up to a bore of 80 mm are printed once; the impact spanner up to 120 mm and the 1500 N m are our own.
    """
    if torque_n_m is not None and torque_n_m > MOST_BY_HAND_N_M:
        return HYDRAULIC_NUT
    if bore_mm <= HOOK_TO_MM:
        return HOOK_SPANNER
    return IMPACT_SPANNER if bore_mm <= IMPACT_TO_MM else HYDRAULIC_NUT


def freeing_way(bore_mm: float) -> str:
    """Return how a sleeve is freed: a drift on the face of the nut up to 80 mm, else hydraulic nut or oil, [mm]."""
    return DRIFT if bore_mm <= HOOK_TO_MM else HYDRAULIC_NUT


def oil_injection(bore_mm: float) -> str | None:
    """Return whether oil is pressed between the surfaces: ``helps`` from 160 mm, ``asked`` from 200 mm on, else None.

    Source
    ------
    From 160 mm on oil helps greatly, from 200 mm on sleeves with oil ducts are made: printed once each.
    """
    if bore_mm >= OIL_DUCTS_FROM_MM:
        return "asked"
    return "helps" if bore_mm >= OIL_HELPS_FROM_MM else None
