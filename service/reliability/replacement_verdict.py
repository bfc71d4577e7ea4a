"""Whether replacing at an age is worth it, at what age, and what it saves: over the whole region of likely fits."""

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from scipy.special import chdtri, gammainc, gammaln

from service import units
from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.likelihood_region import ContourEnd
from service.reliability.lives import Bools, Floats
from service.reliability.weibull import WeibullFits
from service.reliability.weibull_limits import Limits, likelihood_ratio_shape

Verdict = Literal["worth_it", "not_worth_it", "no_evidence", "too_few"]
Reason = Literal["saves", "failure_costs_no_more", "shape_too_low", "misfit", "limits_too_wide", "few_failures"]
SHAPE_POINTS: Final = 48  # over the interval of the shape, ends included
SMALLEST_SHAPE: Final = 0.02  # below it the mean life is no number
FEWEST_FAILURES: Final = 5
WORTHWHILE: Final = 0.95  # of the cost of running to failure; a smaller saving is none
LOG_AGES: Final = (-60.0, 700.0)  # ln(age / scale), and (age / scale)^shape beyond which nothing survives
BISECTIONS: Final = 46  # of 67 in ln age: 1e-12
LEVEL: Final = 0.90
SOURCES: Final = (
    Source(
        "barlow_proschan_1965",
        "Barlow & Proschan 1965, Mathematical Theory of Reliability: age replacement",
        "handbook",
    ),
    Source("meeker_escobar_1998", "Meeker & Escobar 1998, Statistical Methods for Reliability Data", "handbook"),
)


@dataclass(frozen=True, slots=True)
class Range:
    """A number with its limits over the likelihood region; None: none, or open."""

    estimate: float | None
    lower: float | None
    upper: float | None

    def record(self) -> dict[str, Any]:
        """Return the wire members of a number without unit."""
        return {"estimate": self.estimate, "lower": self.lower, "upper": self.upper}

    def record_h(self) -> dict[str, Any]:
        """Return the wire members of a number of hours."""
        return {name: None if value is None else units.Quantity("time", value) for name, value in self.record().items()}


@dataclass(frozen=True, slots=True)
class ReplacementVerdict:
    """The age with the least cost per hour, the cost there over that of running to failure, and the verdict.

    ``age_h.upper`` is None when the region reaches a shape of 1: it may be best never to replace. ``least_cost`` is
    what the largest likely shape could save at best. ``needed_failures`` is a rough number, by the square root of the
    failures; None where no number of failures would help.
    """

    verdict: Verdict
    reason: Reason
    age_h: Range
    relative_cost: Range
    least_cost: float
    cost_ratio: float
    level: float
    failures: float
    needed_failures: int | None
    test: str = "likelihood_region_of_relative_cost"

    @property
    def detail(self) -> Text:
        """Return the answer in a sentence."""
        age, cost = self.age_h, self.relative_cost
        if self.verdict == "worth_it" and age.estimate is not None and cost.estimate is not None:
            spread = f" ({cost.lower:.0%} to {cost.upper:.0%}) of running to failure."
            return (
                "Replace at ",
                units.Quantity("time", age.estimate),
                f"; the cost per hour is then {cost.estimate:.0%}{spread}",
            )
        return {
            "failure_costs_no_more": "A failure costs no more than a replacement: run to failure.",
            "shape_too_low": f"At most {max(0.0, 1 - self.least_cost):.0%} could be saved: run to failure.",
            "misfit": "The Weibull does not describe these lives: no age is recommended.",
            "limits_too_wide": "The lives do not show that replacing at an age saves anything.",
            "few_failures": f"{self.failures:g} failures are too few to tell; {FEWEST_FAILURES} at least are needed.",
            "saves": "",
        }[self.reason]

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "verdict": self.verdict,
            "reason": self.reason,
            "detail": self.detail,
            "test": self.test,
            "age": self.age_h.record_h(),
            "relative_cost": self.relative_cost.record(),
            "cost_ratio": self.cost_ratio,
            "level": self.level,
            "needed_failures": self.needed_failures,
        }


def replacement_verdict(
    fits: WeibullFits,
    at: int,
    *,
    preventive_cost: float,
    failure_cost: float,
    level: float = LEVEL,
    misfit: bool = False,
    of_shape: Limits | None = None,
    family: int = 1,
    of_shape_claimed: Limits | None = None,
) -> ReplacementVerdict:
    """Return whether and when to replace, for one of the fits.

    The limits are the ranges over the region 2 (l_max - l) <= chi2_1(level): for each of 48 shapes inside their
    likelihood-ratio interval the two scales on its edge. The relative cost is that of the recommended age under every
    likely fit, not that of the age best for each. The verdict stands on the region of ``claim_level``, whatever level
    the limits are asked for.

    Parameters
    ----------
    fits : WeibullFits
        The fits.
    at : int
        Place of the fit in ``fits``.
    preventive_cost, failure_cost : float
        Cost of one replacement before, and of one after failure, in the same money.
    level : float
        Confidence level of the limits, [-]
    misfit : bool
        The test of the fit has found that the Weibull does not describe these lives: then never ``worth_it``.
    of_shape, of_shape_claimed : Limits, optional
        Likelihood-ratio limits of all shapes at this level, and at that of ``claim_level``, when known already.
    family : int
        Groups of the answer that may be called worth it, [-]

    Raises
    ------
    CannotEvaluate
        A cost is not above zero, or the level is outside 0 .. 1.

    Source
    ------
    Barlow & Proschan 1965 (best age); likelihood region: Meeker & Escobar 1998, ch. 8. Covers 0.84-0.93 at 90 % in
    simulations of 20 to 1,000 lives, half censored.
    """
    for name, cost in (("preventive_cost", preventive_cost), ("failure_cost", failure_cost)):
        if not 0 < cost < np.inf:
            raise CannotEvaluate(f"{name} must be above zero, not {cost}.", field=name)
    if not 0 < level < 1:
        raise CannotEvaluate(f"A confidence level lies between 0 and 1, not at {level}.", field="level")
    ratio = failure_cost / preventive_cost
    within = likelihood_ratio_shape(fits, level) if of_shape is None else of_shape
    claimed = claim_level(family)
    region = within if claimed == level else of_shape_claimed or likelihood_ratio_shape(fits, claimed)
    low, high = float(region.lower[at]), float(region.upper[at])
    shape, scale_h, r = float(fits.shape[at]), float(fits.scale_h[at]), float(fits.failures[at])
    best = float(best_ages(np.array([shape]), ratio)[0])
    age_h = best * scale_h if np.isfinite(best) else None
    _, costs = _ranges(fits, at, claimed, (low, high), ratio, age_h)
    top = best_ages(np.array([high]), ratio)
    least = float(relative_costs(top, np.array([high]), ratio)[0]) if np.isfinite(top[0]) else 1.0
    verdict, reason = _verdict(r, ratio, least, costs, misfit=misfit)
    needed = _needed(r, costs) if verdict in ("no_evidence", "too_few") and not misfit else None
    ages, costs = _ranges(fits, at, level, (float(within.lower[at]), float(within.upper[at])), ratio, age_h)
    return ReplacementVerdict(verdict, reason, ages, costs, least, ratio, level, r, needed)


def claim_level(family: int) -> float:
    """Return the level of the region that verdicts stand on: 90 % for one group, so that 5 % lie beyond either end."""
    return 1 - (1 - LEVEL) / max(family, 1)


def best_ages(shape: Floats, cost_ratio: float) -> Floats:
    """Return the best ages over the scale, infinite where it is best never to replace, shape (k,), [-].

    Source
    ------
    Barlow & Proschan 1965: h(T) int_0^T R - F(T) = cp / (cf - cp); the left side rises for shape > 1.
    """
    found = np.full_like(shape, np.inf)
    rising = (shape > 1) & (cost_ratio > 1)
    if not rising.any():
        return found
    beta, target = shape[rising], 1 / (cost_ratio - 1)
    low, high = np.full_like(beta, LOG_AGES[0]), np.log(LOG_AGES[1]) / beta
    reached = _left_side(np.exp(high), beta) >= target
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        below = _left_side(np.exp(middle), beta) < target
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    found[rising] = np.where(reached, np.exp((low + high) / 2), np.inf)
    return found


def relative_costs(age: Floats, shape: Floats, cost_ratio: float) -> Floats:
    """Return the cost per hour of replacing at ages (over the scale), over that of running to failure, [-]."""
    survival = np.exp(-(age**shape))
    share = gammainc(1 / shape, age**shape)  # of the mean life, spent before the age
    with np.errstate(divide="ignore"):
        return np.asarray((survival + cost_ratio * (1 - survival)) / (cost_ratio * share))


def _ranges(
    fits: WeibullFits, at: int, level: float, shapes: tuple[float, float], ratio: float, age_h: float | None
) -> tuple[Range, Range]:
    """Return the ranges of the best age and of the cost at the recommended age over the region."""
    beta = np.geomspace(max(shapes[0], SMALLEST_SHAPE), max(shapes[1], SMALLEST_SHAPE), SHAPE_POINTS)
    scales = np.concatenate([_scales_h(fits, at, level, beta, upper=upper) for upper in (False, True)])
    ages = np.tile(best_ages(beta, ratio), 2) * scales
    beta = np.tile(beta, 2)
    known = ages[np.isfinite(ages)]
    never = shapes[0] <= 1 or len(known) < len(ages)
    lower = float(known.min()) if len(known) else None
    upper = None if never or not len(known) else float(known.max())
    if age_h is None:
        return Range(None, lower, upper), Range(None, None, None)
    estimate = np.array([age_h / fits.scale_h[at]]), fits.shape[[at]]
    costs = relative_costs(age_h / scales, beta, ratio)
    at_estimate = float(relative_costs(*estimate, ratio)[0])
    largest = float(costs.max())
    return (
        Range(age_h, lower, upper),
        Range(at_estimate, min(at_estimate, float(costs.min())), largest if np.isfinite(largest) else None),
    )


def _scales_h(fits: WeibullFits, at: int, level: float, beta: Floats, *, upper: bool) -> Floats:
    """Return one end of the scales inside the region for each shape, shape (k,), [h]."""
    one = np.zeros(len(beta), dtype=np.int64) + at
    rows, weight = fits.rows.of_numbers(one), fits.log_shape_weight[one]
    alone = slice(at, at + 1)
    single = fits.rows.of_numbers(one[:1])
    top = single.profile(fits.shape[alone], fits.s0[alone], fits.log_shape_weight[alone])
    end = ContourEnd(rows, weight, np.full(len(beta), float(top[0])) - float(chdtri(1, 1 - level)) / 2, 0.0, upper)
    with np.errstate(over="ignore"):
        return np.asarray(np.exp(np.clip(end.at(beta)[0] + np.log(rows.largest_time_h), -700, 700)))


def _verdict(r: float, ratio: float, least: float, costs: Range, *, misfit: bool) -> tuple[Verdict, Reason]:
    if ratio <= 1:
        return "not_worth_it", "failure_costs_no_more"
    if r < FEWEST_FAILURES:
        return "too_few", "few_failures"
    if misfit:
        return "no_evidence", "misfit"
    if least > WORTHWHILE:
        return "not_worth_it", "shape_too_low"
    surely = costs.estimate is not None and costs.estimate <= WORTHWHILE and costs.upper is not None
    if surely and costs.upper is not None and costs.upper < 1:
        return "worth_it", "saves"
    return "no_evidence", "limits_too_wide"


def _needed(r: float, costs: Range) -> int | None:
    """Return about how many failures would bring the largest likely cost below 1 with 80 %, [-]."""
    if costs.estimate is None or costs.upper is None or costs.estimate > WORTHWHILE:
        return None
    z_limit, z_power = 1.645, 0.842
    wide = float(np.log(costs.upper / costs.estimate)) * (1 + z_power / z_limit)
    return max(int(np.ceil(r * (wide / -np.log(costs.estimate)) ** 2)), FEWEST_FAILURES)


def _left_side(age: Floats, shape: Floats) -> Floats:
    """Return h(T) int_0^T R - F(T), rising in T for a shape above 1."""
    mean = gammainc(1 / shape, age**shape) * np.exp(gammaln(1 + 1 / shape))
    usable: Bools = np.isfinite(mean)
    return np.asarray(shape * age ** (shape - 1) * np.where(usable, mean, 0.0) - (1 - np.exp(-(age**shape))))
