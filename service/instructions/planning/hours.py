"""Hours and people a job takes: stated assumptions, from memory, that a site replaces by its own (rule P3)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

SIZES: Final = ("small", "medium", "large")
SIZE_TO_KG: Final = {"small": 15.0, "medium": 50.0}
CLOCK_HOURS: Final[Mapping[str, tuple[float, float, float]]] = {
    "safe_and_clear": (1.5, 2, 4),
    "as_found": (0.5, 0.5, 1),
    "strip": (1.5, 2.5, 5),
    "check_and_lay_out": (2, 2.5, 4),
    "held_end": (1, 2, 4),
    "free_end": (1.5, 2.5, 5),
    "close": (1, 1, 2),
    "align_and_guards": (1.5, 2, 4),
    "run_in": (3, 3, 4),
    "recheck_and_hand_back": (0.5, 0.5, 1),
}
"""Clock hours for two bearings by size of one bearing: assumptions, from memory."""
ONE_BEARING: Final = 0.65
IN_THE_WAY_H: Final = 1.0
KEYED_HUB_H: Final = 2.0
THIRD_SUPPORT: Final = 0.30
CREW: Final = {"small": 2, "medium": 2, "large": 3}


@dataclass(frozen=True, slots=True)
class Estimate:
    """Clock hours by phase and in all, [h], and the crew: fitters, and whether a crane driver comes too."""

    size: str
    phases_h: Mapping[str, float]
    total_h: float
    crew: int
    crane_driver: bool


def size_of(mass_kg: float) -> str:
    """Return the size of a job by the mass of one bearing: small to 15 kg, medium to 50 kg, else large, [kg]."""
    return next((size for size, most_kg in SIZE_TO_KG.items() if mass_kg <= most_kg), "large")


def estimate(
    *,
    mass_kg: float,
    bearings: int,
    supports: int,
    in_the_way: Sequence[bool] = (),
    own_hours: Mapping[str, float] | None = None,
) -> Estimate:
    """Return the hours of a job, each phase an assumption that the site's own figures replace.

    Parameters
    ----------
    mass_kg : float
        Mass of one bearing as printed, [kg]
    bearings, supports : int
        Bearings replaced; supports of the shaft, [-]
    in_the_way : sequence of bool, shape (n,)
        Things between a bearing and its shaft end; True for a keyed hub, [-]
    own_hours : mapping of str to float or None
        The site's own hours by phase for two bearings, [h]

    Source
    ------
    Assumptions from memory; one bearing takes 0.65 of two, a third support 30 % more.
    """
    size = size_of(mass_kg)
    column = SIZES.index(size)
    share = (ONE_BEARING if bearings == 1 else 1.0) * (1 + THIRD_SUPPORT * max(0, supports - 2))
    phases = {name: hours[column] for name, hours in CLOCK_HOURS.items()} | dict(own_hours or {})
    scaled = {name: round(hours * share, 2) for name, hours in phases.items()}
    scaled["safe_and_clear"] += sum(KEYED_HUB_H if keyed else IN_THE_WAY_H for keyed in in_the_way)
    return Estimate(size, scaled, round(sum(scaled.values()), 2), CREW[size], size == "large")
