"""Lower bounds of life with few or no failures, the shape of the Weibull distribution being assumed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtri

from service import units
from service.errors import CannotEvaluate, Text
from service.reliability.lives import Floats, Lives
from service.reliability.weibull_rows import WeibullRows, weibull_rows

SENSITIVITY_SHAPES: Final = (1.0, 1.5, 2.0, 3.0)
DEFAULT_SHAPE: Final = 1.5
SHAPE_RANGE: Final = (0.01, 1000.0)  # searched for a common shape
DEFAULT_ORIGIN: Final = "assumed 1.5, common practice for rolling bearings; no shape of the own class was given"


@dataclass(frozen=True, slots=True)
class ShapeBound:
    """One-sided lower bounds of scale and B10 for one assumed shape."""

    shape: float
    scale_lower_h: float
    b10_lower_h: float

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "shape": self.shape,
            "scale_lower": units.Quantity("time", self.scale_lower_h),
            "b10_lower": units.Quantity("time", self.b10_lower_h),
        }


@dataclass(frozen=True, slots=True)
class AssumedShapeBound:
    """The bound that stands where no estimate may: the assumed shape, its origin, and what other shapes would give."""

    assumed: ShapeBound
    origin: str
    level: float
    failures: float
    sensitivity: tuple[ShapeBound, ...]

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "kind": "lower_bound_shape_assumed",
            "level": self.level,
            "failed": self.failures,
            **self.assumed.record(),
            "shape_origin": self.origin,
            "sensitivity": [one.record() for one in self.sensitivity],
        }


def scale_lower_h(data: Lives, shape: float, level: float = 0.95) -> Floats:
    """Return the one-sided lower bound of the scale of each group, shape (q,), [h].

    Parameters
    ----------
    data : Lives
        Lives of q groups; time-censored.
    shape : float
        Assumed shape, [-]
    level : float
        One-sided confidence, [-]

    Raises
    ------
    CannotEvaluate
        The shape is not above zero, or the level not between 0 and 1.

    Source
    ------
    Nelson 1985, J. Qual. Technol. 17(3); Abernethy et al. 1983, AFWAL-TR-83-2079; IEC 61649:2008 (from memory).
    With shape 1: 25 units x 1000 h, no failures, 95 %: 8345 h.
    """
    return _scale_lower_h(weibull_rows(data), shape, level)


def scale_estimate_h(data: Lives, shape: float) -> Floats:
    """Return (sum w t^shape / r)^(1/shape) of each group, infinite where nothing has failed, shape (q,), [h]."""
    rows = weibull_rows(data)
    s0, _, _ = rows.sums(np.full(data.groups, float(shape)))
    with np.errstate(divide="ignore"):
        return np.asarray(rows.largest_time_h * np.power(s0 / rows.failures, 1 / shape))


def assumed_shape_bounds(
    data: Lives,
    *,
    shape: float = DEFAULT_SHAPE,
    origin: str = DEFAULT_ORIGIN,
    level: float = 0.95,
    sensitivity: Sequence[float] = SENSITIVITY_SHAPES,
) -> list[AssumedShapeBound]:
    """Return the bound of each group, with a row for each shape of the sensitivity.

    Raises
    ------
    CannotEvaluate
        See ``scale_lower_h``.
    """
    rows = weibull_rows(data)
    scales = {one: _scale_lower_h(rows, one, level) for one in {shape, *sensitivity}}

    def _bound(number: int, one: float) -> ShapeBound:
        scale = float(scales[one][number])
        return ShapeBound(one, scale, float(scale * (-np.log1p(-0.1)) ** (1 / one)))

    return [
        AssumedShapeBound(
            _bound(number, shape), origin, level, float(failed), tuple(_bound(number, one) for one in sensitivity)
        )
        for number, failed in enumerate(rows.failures)
    ]


def common_shape(data: Lives) -> float | None:
    """Return the one shape that fits all groups best, each with a scale of its own, [-]; None: there is no maximum.

    The shape to assume for a group with few failures, when its class has more: the sum of the profile scores is zero.

    Source
    ------
    Maximum likelihood with a common shape: Meeker & Escobar 1998, ch. 17 (from memory).
    """
    rows = weibull_rows(data)
    rows = rows.of_groups(rows.failures > 0)
    if len(rows.failures) == 0 or not np.any(rows.mean_x < 0):
        return None
    r, low, high = rows.failures, *SHAPE_RANGE

    def _score(shape: float) -> float:
        s0, s1, _ = rows.sums(np.full_like(r, shape))
        return float(np.sum(r / shape + r * rows.mean_x - r * s1 / s0))

    if not _score(low) > 0 > _score(high):
        return None
    while high / low > 1 + 1e-12:
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if _score(middle) > 0 else (low, middle)
    return float(np.sqrt(low * high))


def assumption(bound: AssumedShapeBound) -> Text:
    """Return the sentence that says what was assumed."""
    return f"Shape {bound.assumed.shape:g} ({bound.origin}); one-sided lower bounds at {bound.level:.0%}."


def _scale_lower_h(rows: WeibullRows, shape: float, level: float) -> Floats:
    if not 0 < shape < np.inf:
        raise CannotEvaluate(f"An assumed shape must be above zero, not {shape}.", field="shape")
    if not 0 < level < 1:
        raise CannotEvaluate(f"A confidence level lies between 0 and 1, not at {level}.", field="level")
    s0, _, _ = rows.sums(np.full_like(rows.failures, shape))
    chi2 = chdtri(2 * rows.failures + 2, 1 - level)
    return np.asarray(rows.largest_time_h * (2 * s0 / chi2) ** (1 / shape))
