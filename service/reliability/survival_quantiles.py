"""Ages by which a share has failed, read from the survival curve, with limits. No model is assumed."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from service import units
from service.reliability.kaplan_meier import ROUNDING, SurvivalSteps


@dataclass(frozen=True, slots=True)
class SurvivalQuantile:
    """An age read from the survival curve; None: not reached, or the limit is open, [h]."""

    estimate_h: float | None
    lower_h: float | None
    upper_h: float | None

    def record_h(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        ages = {"estimate": self.estimate_h, "lower": self.lower_h, "upper": self.upper_h}
        return {name: None if age is None else units.Quantity("time", age) for name, age in ages.items()}


def survival_quantile(steps: SurvivalSteps, group: int, share_failed: float) -> SurvivalQuantile:
    """Return the age by which a share of a group has failed, with the limits of the level of the steps.

    The limits are the ages at which the limits of the survival first reach 1 - share: the lower from the lower limit,
    the upper from the upper. The lower limit is open when it is the first failure and so few were at risk there that
    even the first failure lies above the true age too often (fewer than ln(alpha / 2) / ln(1 - share)).

    Parameters
    ----------
    steps : SurvivalSteps
        Steps of all groups; their log-log limits are meant.
    group : int
        Number of the group.
    share_failed : float
        0.1 for B10, 0.5 for the median, [-]

    Source
    ------
    Brookmeyer & Crowley 1982, Biometrics 38. Open lower limit: chance (1 - share)^n that n units outlast the age.
    """
    rows = steps.rows_of(group)
    left = 1 - share_failed + ROUNDING
    known = steps.limits_known[rows]
    ages = steps.time_h[rows]
    lower = np.flatnonzero(known & (steps.lower[rows] <= left))
    upper = np.flatnonzero(known & (steps.upper[rows] <= left))
    first = int(lower[0]) if len(lower) else -1
    if first == 0 and steps.at_risk[rows][0] < fewest_at_risk(share_failed, steps.level):
        first = -1
    return SurvivalQuantile(
        steps.quantile_h(group, share_failed),
        float(ages[first]) if first >= 0 else None,
        float(ages[upper[0]]) if len(upper) else None,
    )


def fewest_at_risk(share_failed: float, level: float = 0.95) -> float:
    """Return how many at risk make the first failure a lower limit: 35.01 for B10, 5.32 for the median at 95 %, [-]."""
    return float(np.log((1 - level) / 2) / np.log1p(-share_failed))
