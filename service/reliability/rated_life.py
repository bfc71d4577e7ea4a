"""Lives seen, compared with the rating life of ISO 281.

ISO 281 speaks of rolling contact fatigue: filter to that damage, the others censored, or say "all causes". Bearings
removed before failure must be among the data, as censored.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc, ndtr, ndtri

from service import units
from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.kaplan_meier import SurvivalSteps
from service.reliability.lives import Floats
from service.reliability.policy import LEVEL, SMALLEST_P, holm, said_p
from service.reliability.weibull import WeibullFits
from service.reliability.weibull_limits import CALIBRATION, Limits, interval_kind
from service.words import IntervalMade

ISO_281: Final = Source("iso_281", "ISO 281:2007, Rolling bearings. Dynamic load ratings and rating life", "standard")
EXPONENTS: Final = {"self_aligning_ball": 3.0, "spherical_roller": 10 / 3}
LOG_SHAPE_REACH: Final = 4.0
GOLDEN: Final = (np.sqrt(5) - 1) / 2
GOLDEN_STEPS: Final = 60


@dataclass(frozen=True, slots=True)
class RatedLifeComparison:
    """B10 seen over the rating life, with limits; the survival at the rating life needs no model.

    ``surest_p``: that of the claim, with few failures allowed for where B10 lies above (see
    ``weibull_limits.calibrated_lower_quantile_h``). ``adjusted_p``: that times the other groups of the answer, by Holm.
    """

    rating_life_h: float
    ratio: float
    ratio_lower: float
    ratio_upper: float
    interval_kind: IntervalMade
    p_value: float
    surest_p: float
    survival_at_rating_life: tuple[float, float | None, float | None] | None
    all_causes: bool
    adjusted_p: float = 1.0

    @property
    def detail(self) -> Text:
        """Return the comparison in a sentence; it decides at an adjusted p of 0.05, whatever level is asked for."""
        rating = units.Quantity("time", self.rating_life_h)
        causes = " All causes are counted; the rating life speaks of fatigue only." if self.all_causes else ""
        if self.adjusted_p <= LEVEL:
            where = "above" if self.ratio > 1 else "below"
            said = said_p(self.adjusted_p, "adjusted p")
            return (f"B10 lies {where} the rating life of ", rating, f" ({said}).{causes}")
        return ("The data do not tell B10 from the rating life of ", rating, "." + causes)

    @property
    def detail_without_model(self) -> Text:
        """Return what the survival curve tells, where the Weibull does not describe the lives."""
        rating, seen = units.Quantity("time", self.rating_life_h), self.survival_at_rating_life
        causes = " All causes are counted; the rating life speaks of fatigue only." if self.all_causes else ""
        if seen is None:
            return ("No bearing was seen at the rating life of ", rating, "." + causes)
        share, lower, upper = seen
        limits = "" if lower is None or upper is None else f" ({lower:.0%} to {upper:.0%})"
        return (
            f"{share:.0%}{limits} survive the rating life of ",
            rating,
            ", read from the survival curve; 90% are rated to." + causes,
        )

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        survival = None
        if self.survival_at_rating_life is not None:
            survival = dict(zip(("estimate", "lower", "upper"), self.survival_at_rating_life, strict=True))
        return {
            "rating_life": units.Quantity("time", self.rating_life_h),
            "ratio": {
                "estimate": self.ratio,
                "lower": self.ratio_lower if self.ratio_lower > 0 else None,
                "upper": self.ratio_upper if np.isfinite(self.ratio_upper) else None,
            },
            "interval_kind": self.interval_kind,
            "p_value": self.p_value,
            "adjusted_p": self.adjusted_p,
            "survival_at_rating_life": survival,
            "detail": self.detail,
            "source": ISO_281.record(),
        }


def rating_life_h(*, dynamic_rating_n: float, load_n: float, speed_rpm: float, bearing_type: str) -> float:
    """Return the basic rating life L10h, [h].

    Parameters
    ----------
    dynamic_rating_n, load_n : float
        Basic dynamic load rating C and equivalent load P, [N]
    speed_rpm : float
        Speed, [r/min]
    bearing_type : str
        spherical_roller or self_aligning_ball.

    Raises
    ------
    CannotEvaluate
        A value is not above zero, or the type is unknown.

    Source
    ------
    ISO 281:2007: L10h = 10^6 / (60 n) (C / P)^p, p = 3 for ball, 10/3 for roller bearings.
    """
    for name, value in (("dynamic_rating", dynamic_rating_n), ("load", load_n), ("speed", speed_rpm)):
        if not 0 < value < np.inf:
            raise CannotEvaluate(f"{name} must be above zero.", field=name)
    if bearing_type not in EXPONENTS:
        raise CannotEvaluate(f"No exponent of the rating life is known for {bearing_type}.", field="type")
    return float(1e6 / (60 * speed_rpm) * (dynamic_rating_n / load_n) ** EXPONENTS[bearing_type])


def compared_with_rating_life(
    fits: WeibullFits,
    b10_limits: Limits,
    steps: SurvivalSteps,
    *,
    fit: int,
    rating_life_h: float,
    all_causes: bool,
    made: IntervalMade | None = None,
) -> RatedLifeComparison:
    """Return the comparison for one fitted group.

    Parameters
    ----------
    fits : WeibullFits
        The fits.
    b10_limits : Limits
        Limits of B10 of all fits, [h]
    steps : SurvivalSteps
        Survival steps of all groups.
    fit : int
        Which of the fits, [-]
    rating_life_h : float
        Rating life on record, [h]
    all_causes : bool
        Other damage than fatigue counts as failure.
    made : str, optional
        How the limits of B10 were made; by likelihood ratio by default.
    """
    ages = np.full_like(fits.shape, rating_life_h)
    group, largest = int(fits.group[fit]), float(fits.rows.largest_time_h[fit])
    ratio = float(fits.quantile_h(0.1)[fit] / rating_life_h)
    p_value = float(quantile_p_value(fits, 0.1, ages, only=fit)[0])
    surest = _calibrated(p_value, float(fits.failures[fit])) if ratio > 1 else p_value
    return RatedLifeComparison(
        rating_life_h,
        ratio,
        float(b10_limits.lower[fit] / rating_life_h),
        float(b10_limits.upper[fit] / rating_life_h),
        made or interval_kind(fits),
        p_value,
        surest,
        steps.survival_at(group, rating_life_h) if rating_life_h <= largest else None,
        all_causes,
    )


def judged_together(found: Mapping[int, RatedLifeComparison], questions: int) -> dict[int, RatedLifeComparison]:
    """Return comparisons of several groups, their p adjusted for all of them; ``questions``: parts of the answer."""
    adjusted = holm([one.surest_p for one in found.values()], questions=questions)
    return {
        number: replace(one, adjusted_p=p) for (number, one), p in zip(found.items(), adjusted.tolist(), strict=True)
    }


def _calibrated(p_value: float, failures: float) -> float:
    """Return the p-value whose signed root is smaller by what the lower limit of B10 is too high with few failures."""
    root = -float(ndtri(max(p_value, SMALLEST_P) / 2)) - CALIBRATION / failures**0.5
    return float(min(1.0, 2 * ndtr(-root)))


def quantile_p_value(fits: WeibullFits, share_failed: float, age_h: Floats, *, only: int | None = None) -> Floats:
    """Return the likelihood-ratio p-value of "a share has failed by this age", shape (m,), [-].

    Parameters
    ----------
    fits : WeibullFits
        The fits.
    share_failed : float
        0.1 for B10, [-]
    age_h : ndarray, shape (m,)
        The age claimed, [h]
    only : int, optional
        One fit alone; the answer then has one member.
    """
    chosen = np.ones(len(fits.shape), dtype=np.bool_) if only is None else np.arange(len(fits.shape)) == only
    rows, weight, centre = fits.rows.of_groups(chosen), fits.log_shape_weight[chosen], np.log(fits.shape[chosen])
    top = rows.profile(fits.shape[chosen], fits.s0[chosen], weight)
    y = np.log(age_h[chosen] / rows.largest_time_h)
    log_c = float(np.log(-np.log1p(-share_failed)))

    def _height(log_shape: Floats) -> Floats:
        shape = np.exp(log_shape)
        log_scaled = log_c - shape * y
        s0, _, _ = rows.sums(shape)
        with np.errstate(over="ignore"):
            lost = np.exp(log_scaled + np.log(s0))
        return np.asarray(weight * log_shape + rows.failures * (log_scaled + (shape - 1) * rows.mean_x) - lost)

    low, high = centre - LOG_SHAPE_REACH, centre + LOG_SHAPE_REACH
    for _ in range(GOLDEN_STEPS):  # concave in the shape: one maximum
        width = GOLDEN * (high - low)
        left = _height(high - width) > _height(low + width)
        low, high = np.where(left, low, high - width), np.where(left, low + width, high)
    found: Floats = chdtrc(1, np.maximum(2 * (top - _height((low + high) / 2)), 0))
    return found
