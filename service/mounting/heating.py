"""How warm a bearing with a cylindrical bore must be to slide onto its shaft."""

from dataclasses import dataclass
from typing import Final

from service.findings import Source

EXPANSION_PER_K: Final = 12e-6
SLIDING_PLAY_MM: Final = 0.020
"""Play that lets a ring slide home in one go: own convention."""
LEAST_DEGC: Final = 80.0
AIM_AT_MOST_DEGC: Final = 110.0
MOST_DEGC: Final = 120.0
SEALED_DEGC: Final = 80.0
PLAY_NEEDED_MM: Final = 0.005
HEATING: Final = Source("heating-practice", "thermal expansion of a bearing ring; limits as printed", "practice")


@dataclass(frozen=True, slots=True)
class Heating:
    """Temperature to heat a ring to and never above, and the play left at it; ``enough`` when it slides home."""

    heat_to_degc: float
    never_above_degc: float
    play_mm: float

    @property
    def enough(self) -> bool:
        """Return whether the ring slides home at that temperature."""
        return self.play_mm >= PLAY_NEEDED_MM


def wanted_temperature(*, bore_mm: float, largest_interference_mm: float, room_degc: float) -> float:
    """Return the temperature that gives the sliding play at the largest interference, [degC].

    Parameters
    ----------
    bore_mm : float
        Bore d, [mm]
    largest_interference_mm : float
        Largest interference of shaft and bore by their tolerances, [mm]
    room_degc : float
        Temperature of shaft and room, [degC]

    Source
    ------
    dT = (i + 0.020 mm) / (12e-6 d): linear thermal expansion; the play of 0.020 mm is our own convention.
    """
    return room_degc + (largest_interference_mm + SLIDING_PLAY_MM) / (EXPANSION_PER_K * bore_mm)


def heating(*, bore_mm: float, largest_interference_mm: float, room_degc: float, sealed: bool = False) -> Heating:
    """Return how a ring is heated: not below 80 degC, aim at most 110, never above 120; sealed ones exactly 80.

    Parameters
    ----------
    bore_mm, largest_interference_mm : float
        As in ``wanted_temperature``, [mm]
    room_degc : float
        Temperature of shaft and room, [degC]
    sealed : bool
        A sealed bearing: its grease and seals bear no more than 80 degC, [-]

    Source
    ------
    120 degC is printed by four publications, 80 degC for sealed bearings by one; 110 degC as an aim is common
    practice, no source.
    """
    wanted = wanted_temperature(bore_mm=bore_mm, largest_interference_mm=largest_interference_mm, room_degc=room_degc)
    if sealed:
        aim, most = SEALED_DEGC, SEALED_DEGC
    else:
        aim, most = min(max(wanted, LEAST_DEGC), AIM_AT_MOST_DEGC), MOST_DEGC
    play_mm = EXPANSION_PER_K * bore_mm * (aim - room_degc) - largest_interference_mm
    return Heating(aim, most, play_mm)
