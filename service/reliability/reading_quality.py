"""How good are the readings themselves: do people prefer some last digits, and do repeats agree?"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc, chdtri

from service import units

SIGNIFICANT: Final = 0.05
FEWEST_READINGS: Final = 50  # five to each digit, the rule of thumb of the chi-square test
FEWEST_FREEDOM: Final = 5
REPEATABILITY_FACTOR: Final = 2.8  # ISO 5725-6: two readings differ by less in 95 of 100 cases


@dataclass(frozen=True, slots=True)
class DigitPreference:
    """How often each last digit was written down."""

    counts: tuple[int, ...]
    statistic: float | None
    p_value: float | None

    @property
    def verdict(self) -> str:
        """Return preferred, even or not_enough_data."""
        if self.p_value is None:
            return "not_enough_data"
        return "preferred" if self.p_value <= SIGNIFICANT else "even"

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {
            "counts": list(self.counts),
            "readings": sum(self.counts),
            "statistic": self.statistic,
            "p_value": self.p_value,
            "verdict": self.verdict,
            "readings_needed": FEWEST_READINGS,
        }


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Standard deviation of repeats of the same reading; None where there are too few repeats."""

    degrees_of_freedom: int
    standard_deviation_nm: float | None
    upper_nm: float | None

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        known = self.standard_deviation_nm is not None and self.upper_nm is not None
        return {
            "degrees_of_freedom": self.degrees_of_freedom,
            "standard_deviation": units.clearance(self.standard_deviation_nm) if known else None,  # type: ignore[arg-type]
            "standard_deviation_upper": units.clearance(self.upper_nm) if known else None,  # type: ignore[arg-type]
            "limit": units.clearance(REPEATABILITY_FACTOR * self.standard_deviation_nm) if known else None,  # type: ignore[operator]
            "verdict": "known" if known else "not_enough_data",
            "degrees_of_freedom_needed": FEWEST_FREEDOM,
        }


def digit_preference(readings_nm: Sequence[int], step_nm: int) -> DigitPreference:
    """Return how evenly the last digits of readings are spread.

    Only for readings of an instrument whose scale shows every digit (indicator, micrometer): feeler blades come in
    sizes of their own.

    Parameters
    ----------
    readings_nm : sequence of int
        Readings, [nm]
    step_nm : int
        Value of one unit of the last digit, [nm]

    Source
    ------
    Pearson 1900, chi-square goodness of fit.
    """
    digits = [round(one / step_nm) % 10 for one in readings_nm]
    counts = np.bincount(digits, minlength=10) if digits else np.zeros(10, dtype=np.int64)
    if len(digits) < FEWEST_READINGS:
        return DigitPreference(tuple(counts.tolist()), None, None)
    even = len(digits) / 10
    statistic = float(np.sum((counts - even) ** 2) / even)
    return DigitPreference(tuple(counts.tolist()), statistic, float(chdtrc(9, statistic)))


def repeatability(repeats_nm: Sequence[Sequence[int]]) -> Repeatability:
    """Return the pooled standard deviation of repeats with its 95 % upper bound.

    Parameters
    ----------
    repeats_nm : sequence of sequence of int
        Repeats of one reading each: same bearing, row and point, same person, [nm]

    Source
    ------
    ISO 5725-2 (pooled repeatability), ISO 5725-6 (limit 2.8 s).
    """
    repeated = [np.asarray(one, dtype=np.float64) for one in repeats_nm if len(one) > 1]
    freedom = sum(len(one) - 1 for one in repeated)
    if freedom < FEWEST_FREEDOM:
        return Repeatability(freedom, None, None)
    squares = sum(float(np.sum((one - one.mean()) ** 2)) for one in repeated)
    upper = (squares / float(chdtri(freedom, 0.95))) ** 0.5
    return Repeatability(freedom, (squares / freedom) ** 0.5, upper)
