"""Does life depend on how the bearing was mounted: place of the residual clearance in its window, deviations, fit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from service.reliability.comparison import LogRank, log_rank, score_test
from service.reliability.lives import Ints, Lives
from service.words import Difference

SIGNIFICANT: Final = 0.05
FEWEST_FAILURES: Final = 10  # in all, below which no test is made
FEWEST_EXPECTED: Final = 2.0  # in the smallest bin
DETECTABLE_RATIO: Final = 2.0
POWER: Final = 0.8
WINDOW_BINS: Final = ("below_window", "lower_third", "middle_third", "upper_third", "above_window")


@dataclass(frozen=True, slots=True)
class MountingQuality:
    """The comparison of bins of one factor, or how much data it would take."""

    factor: str
    bins: Sequence[str]
    test: LogRank
    trend: tuple[float, float] | None
    verdict: Difference
    failures_needed: int

    @property
    def detail(self) -> str:
        """Return the verdict in a sentence."""
        failed = float(self.test.observed.sum())
        if self.verdict == "not_enough_data":
            return (
                f"Not enough data on {self.factor}: {failed:g} failures that can be compared. Bins whose hazards "
                f"differ by a factor of {DETECTABLE_RATIO:g} would show with {POWER:.0%} probability at about "
                f"{self.failures_needed} failures."
            )
        said = "differ" if self.verdict == "differs" else "are not seen to differ"
        return f"Lives {said} by {self.factor} (p = {self.test.p_value:.2g}, {failed:g} failures compared)."

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        enough = self.verdict != "not_enough_data"
        return {
            "factor": self.factor,
            "bins": [
                {"bin": name, "stays": float(stays), "observed": float(seen), "expected": float(expected)}
                for name, stays, seen, expected in zip(
                    self.bins, self.test.units, self.test.observed, self.test.expected, strict=True
                )
            ],
            "verdict": self.verdict,
            "log_rank": self.test.record() if enough else None,
            "trend": {"z": self.trend[0], "p_value": self.trend[1]} if enough and self.trend else None,
            "failures_needed": self.failures_needed,
            "detail": self.detail,
        }


def window_bin(*, residual_clearance_nm: float, window_min_nm: float, window_max_nm: float) -> int:
    """Return in which of ``WINDOW_BINS`` a residual clearance lies, [-].

    Parameters
    ----------
    residual_clearance_nm, window_min_nm, window_max_nm : float
        What was left, and the limits of the window, inclusive, [nm]
    """
    if residual_clearance_nm < window_min_nm:
        return 0
    if residual_clearance_nm > window_max_nm:
        return 4
    width = window_max_nm - window_min_nm
    place = (residual_clearance_nm - window_min_nm) / width if width > 0 else 0.5
    return 1 + min(int(3 * place), 2)


def failures_needed(shares: Sequence[float], ratio: float = DETECTABLE_RATIO, power: float = POWER) -> int:
    """Return how many failures two bins of these shares need to show a hazard ratio at 5 %, two-sided, [-].

    The largest bin is set against the rest.

    Parameters
    ----------
    shares : sequence of float
        Share of the stays in each bin, [-]
    ratio : float
        Hazard ratio to be found, [-]
    power : float
        Probability of finding it, [-]

    Source
    ------
    Schoenfeld 1981, Biometrika 68; 1983, Biometrics 39: d = (z_a + z_b)^2 / (p (1 - p) (ln ratio)^2).
    """
    share = min(max(max(shares), 0.05), 0.95)
    z = float(ndtri(1 - SIGNIFICANT / 2) + ndtri(power))
    return math.ceil(z**2 / (share * (1 - share) * math.log(ratio) ** 2))


def mounting_quality(factor: str, data: Lives, bins: Ints, names: Sequence[str]) -> MountingQuality:
    """Return whether lives differ between bins of a factor.

    The groups of ``data`` are strata (designation and position class, say); only stays of the same stratum are
    compared. The trend asks whether life goes one way with the number of the bin.

    Parameters
    ----------
    factor : str
        What the bins are of, in words.
    data : Lives
        Lives; each group is a stratum.
    bins : ndarray of int, shape (n,)
        Bin of each row of ``data``.
    names : sequence of str
        Names of the bins in their order.
    """
    test = log_rank(data, bins, len(names))
    shares = (test.units / test.units.sum()).tolist()
    filled = test.units > 0
    enough = (
        float(test.observed.sum()) >= FEWEST_FAILURES
        and test.degrees_of_freedom > 0
        and float(np.min(test.expected[filled])) >= FEWEST_EXPECTED
    )
    verdict: Difference = "not_enough_data"
    if enough:
        verdict = "differs" if test.p_value <= SIGNIFICANT else "no_difference_seen"
    trend = score_test(data, bins.astype(np.float64)) if enough else None
    return MountingQuality(factor, names, test, trend, verdict, failures_needed(shares))
