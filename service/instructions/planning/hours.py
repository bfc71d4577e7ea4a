"""Hours and people a job takes: stated assumptions, from memory, that a site replaces by its own (rule P3)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.errors import CannotEvaluate

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
NOT_INSPECTED: Final = ("strip", "check_and_lay_out", "held_end", "free_end")
"""Phases that an inspection has not: nothing is moved."""
OwnHours = Mapping[str, Mapping[str, float]]
"""A site's own clock hours for two bearings, by size and phase, [h]."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Clock hours by phase and in all, [h], and the crew: fitters, and whether a crane driver comes too.

    ``own``: the phases whose hours are the site's own.
    """

    size: str
    phases_h: Mapping[str, float]
    total_h: float
    crew: int
    crane_driver: bool
    own: frozenset[str] = frozenset()


MOST_H: Final = 1000.0
"""Most hours that a site may give one phase, [h]."""


def checked_hours(given: OwnHours) -> OwnHours:
    """Return a site's own hours as they were given.

    Raises
    ------
    CannotEvaluate
        ``bad_planning_hours``: a size or phase that is not known, or hours that are not above 0 and up to 1000 h.
    """
    for size, phases in given.items():
        if size not in SIZES:
            raise _refused(f"{size!r} is not a size; they are {', '.join(SIZES)}")
        for phase, hours in phases.items():
            if phase not in CLOCK_HOURS:
                raise _refused(f"{phase!r} is not a phase; they are {', '.join(CLOCK_HOURS)}")
            if not 0 < hours <= MOST_H:
                raise _refused(f"{size} {phase}: {hours} h; above 0 and up to {MOST_H:g} h are taken")
    return given


def _refused(said: str) -> CannotEvaluate:
    return CannotEvaluate(said, code="bad_planning_hours", field="planning_hours")


def size_of(mass_kg: float) -> str:
    """Return the size of a job by the mass of one bearing: small to 15 kg, medium to 50 kg, else large, [kg]."""
    return next((size for size, most_kg in SIZE_TO_KG.items() if mass_kg <= most_kg), "large")


def estimate(
    *,
    mass_kg: float,
    bearings: int,
    supports: int,
    in_the_way: Sequence[bool] = (),
    own_hours: OwnHours | None = None,
    inspection: bool = False,
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
    own_hours : mapping of size to mapping of phase to float, or None
        The site's own hours for two bearings, [h]
    inspection : bool
        Nothing is moved: the phases of stripping and mounting fall away, [-]

    Source
    ------
    Assumptions from memory; one bearing takes 0.65 of two, a third support 30 % more.
    """
    size = size_of(mass_kg)
    column = SIZES.index(size)
    share = (ONE_BEARING if bearings == 1 else 1.0) * (1 + THIRD_SUPPORT * max(0, supports - 2))
    own = dict((own_hours or {}).get(size, {}))
    phases = {name: own.get(name, hours[column]) for name, hours in CLOCK_HOURS.items()}
    scaled = {
        name: round(hours * share, 2) for name, hours in phases.items() if not (inspection and name in NOT_INSPECTED)
    }
    scaled["safe_and_clear"] += sum(KEYED_HUB_H if keyed else IN_THE_WAY_H for keyed in in_the_way)
    total_h = round(sum(scaled.values()), 2)
    return Estimate(size, scaled, total_h, CREW[size], size == "large", frozenset(own) & frozenset(scaled))
