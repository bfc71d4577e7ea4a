"""At what age a bearing is best replaced before it fails, when the costs of both are known."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import gamma, gammainc

from service import units
from service.errors import CannotEvaluate, Text
from service.findings import Source

BARLOW_PROSCHAN: Final = Source(
    "barlow_proschan_1965", "Barlow & Proschan 1965, Mathematical Theory of Reliability: age replacement", "handbook"
)


@dataclass(frozen=True, slots=True)
class ReplacementAge:
    """The age with the least cost per hour; its limits come from the ends of the interval of the shape."""

    age_h: float | None
    lower_h: float | None
    upper_h: float | None
    relative_cost: float | None
    cost_ratio: float

    @property
    def supported(self) -> bool:
        """Return whether the data support an age limit at all."""
        return self.age_h is not None

    @property
    def detail(self) -> Text:
        """Return the answer in a sentence."""
        if self.age_h is None or self.relative_cost is None:
            return "No age limit supported: the interval of the shape reaches 1, or a failure costs no more."
        return (
            "Replace at ",
            units.Quantity("time", self.age_h),
            f"; the cost per hour is then {self.relative_cost:.0%} of running to failure.",
        )

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        ages = {"estimate": self.age_h, "lower": self.lower_h, "upper": self.upper_h}
        return {
            "supported": self.supported,
            "age": {name: units.Quantity("time", age) if age is not None else None for name, age in ages.items()},
            "cost_relative_to_running_to_failure": self.relative_cost,
            "cost_ratio": self.cost_ratio,
            "detail": self.detail,
            "source": BARLOW_PROSCHAN.record(),
        }


def optimal_age(shape: float, cost_ratio: float) -> float | None:
    """Return the best age over the scale, [-]; None: no finite one, run to failure.

    Parameters
    ----------
    shape : float
        Shape, [-]
    cost_ratio : float
        Cost of a failure over that of a preventive replacement, [-]

    Source
    ------
    Barlow & Proschan 1965: h(T) int_0^T R - F(T) = cp / (cf - cp); the left side rises for shape > 1.
    """
    if shape <= 1 or cost_ratio <= 1:
        return None
    target = 1 / (cost_ratio - 1)
    low, high = -60.0, float(np.log(700.0) / shape)  # beyond exp(-700) nothing survives
    if _left_side(float(np.exp(high)), shape) < target:
        return None
    while high - low > 1e-12:
        middle = (low + high) / 2
        low, high = (middle, high) if _left_side(float(np.exp(middle)), shape) < target else (low, middle)
    return float(np.exp((low + high) / 2))


def relative_cost(age: float, shape: float, cost_ratio: float) -> float:
    """Return the cost per hour when replacing at an age (over the scale), over that of running to failure, [-]."""
    survival = float(np.exp(-(age**shape)))
    cost = (survival + cost_ratio * (1 - survival)) / _mean_until(age, shape)
    return float(cost / (cost_ratio / gamma(1 + 1 / shape)))


def replacement_age(
    *,
    shape: float,
    scale_h: float,
    shape_lower: float,
    shape_upper: float,
    preventive_cost: float,
    failure_cost: float,
) -> ReplacementAge:
    """Return the best age to replace at.

    The limits are the ages at the ends of the interval of the shape, the scale held.

    Parameters
    ----------
    shape, shape_lower, shape_upper : float
        Shape with its interval, [-]
    scale_h : float
        Scale, [h]
    preventive_cost, failure_cost : float
        Cost of one replacement before, and of one after failure, in the same money.

    Raises
    ------
    CannotEvaluate
        A cost is not above zero.
    """
    for name, cost in (("preventive_cost", preventive_cost), ("failure_cost", failure_cost)):
        if not 0 < cost < np.inf:
            raise CannotEvaluate(f"{name} must be above zero, not {cost}.", field=name)
    ratio = failure_cost / preventive_cost
    best = optimal_age(shape, ratio)
    ends = [optimal_age(one, ratio) for one in (shape_lower, shape_upper)] if np.isfinite(shape_upper) else [None]
    known = [one for one in ends if one is not None]
    if best is None or shape_lower <= 1 or len(known) < 2:
        return ReplacementAge(None, None, None, None, ratio)
    lower, upper = min(*known, best), max(*known, best)
    return ReplacementAge(best * scale_h, lower * scale_h, upper * scale_h, relative_cost(best, shape, ratio), ratio)


def _mean_until(age: float, shape: float) -> float:
    """Return int_0^T R over the scale, [-]."""
    return float(gammainc(1 / shape, age**shape) * gamma(1 + 1 / shape))


def _left_side(age: float, shape: float) -> float:
    return float(shape * age ** (shape - 1) * _mean_until(age, shape) - (1 - np.exp(-(age**shape))))
