"""Estimates of a Weibull fit with their limits, each saying how they were made."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service import units
from service.reliability.lives import Floats
from service.reliability.weibull import WeibullFits
from service.reliability.weibull_limits import (
    Limits,
    calibrated_lower_quantile_h,
    interval_kind,
    likelihood_ratio_quantile_h,
    likelihood_ratio_shape,
    log_normal_mean_h,
    log_normal_quantile_h,
    log_normal_shape,
    mean_h,
)
from service.words import IntervalKind, IntervalMade

SCALE_SHARE: Final = float(1 - np.exp(-1.0))


@dataclass(frozen=True, slots=True)
class LifeEstimate:
    """A value with its limits; None where the data close no limit, or where there is none of this kind."""

    estimate: float
    lower: float | None
    upper: float | None
    interval_kind: IntervalMade | None = None

    def record(self) -> dict[str, Any]:
        """Return the wire members of a number without unit."""
        return {"estimate": self.estimate, "lower": self.lower, "upper": self.upper}

    def record_h(self) -> dict[str, Any]:
        """Return the wire members of a number of hours."""
        hours = {
            name: None if value is None else units.Quantity("time", value) for name, value in self.record().items()
        }
        return {**hours, "interval_kind": self.interval_kind}


@dataclass(frozen=True, slots=True)
class WeibullEstimate:
    """The fit of one group. Mean and median are None beyond the largest age seen.

    ``b10_lower_calibrated_h`` is the lower limit that few failures do not make optimistic, None where it is open; there
    is none of the modified likelihood.
    """

    shape: LifeEstimate
    scale_h: LifeEstimate
    log_likelihood: float
    interval_kind: IntervalMade
    level: float
    modified: bool
    b10_h: LifeEstimate
    b10_lower_calibrated_h: float | None
    median_h: LifeEstimate | None
    mean_h: LifeEstimate | None

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        scale = self.scale_h.record_h()
        scale.pop("interval_kind")
        return {
            "shape": self.shape.record(),
            "scale": scale,
            "log_likelihood": self.log_likelihood,
            "interval_kind": self.interval_kind,
            "level": self.level,
            "method": "modified_profile_likelihood" if self.modified else "maximum_likelihood",
        }


@dataclass(frozen=True, slots=True)
class Fitted:
    """The fits with their limits, in columns."""

    fits: WeibullFits
    level: float
    kind: IntervalMade
    shape: Limits
    scale: Limits
    b10: Limits
    median: Limits
    mean: Limits
    b10_h: Floats
    median_h: Floats
    mean_h: Floats
    b10_calibrated_h: Floats

    @classmethod
    def of(cls, fits: WeibullFits, level: float, interval: IntervalKind) -> "Fitted":
        """Return the fits with the limits that were asked for; limits of the mean are log-normal, plain fits only."""
        if interval == "log_normal":
            shape = log_normal_shape(fits, level)
            scale, b10, median = (log_normal_quantile_h(fits, p, level) for p in (SCALE_SHARE, 0.1, 0.5))
            kind: IntervalMade = "log_normal"
        else:
            shape = likelihood_ratio_shape(fits, level)
            scale, b10, median = (
                likelihood_ratio_quantile_h(fits, p, level, of_shape=shape) for p in (SCALE_SHARE, 0.1, 0.5)
            )
            kind = interval_kind(fits)
        none = Limits(np.zeros_like(fits.shape), np.full_like(fits.shape, np.inf))
        mean = none if fits.modified else log_normal_mean_h(fits, level)
        calibrated = none.lower if fits.modified else calibrated_lower_quantile_h(fits, 0.1, level)
        estimates = fits.quantile_h(0.1), fits.quantile_h(0.5), mean_h(fits)
        return cls(fits, level, kind, shape, scale, b10, median, mean, *estimates, calibrated)

    def estimate(self, at: int, largest_age_h: float) -> WeibullEstimate:
        """Return the estimate of one fit."""
        fits, kind = self.fits, self.kind
        median, mean = float(self.median_h[at]), float(self.mean_h[at])
        of_mean: IntervalMade | None = None if fits.modified else "log_normal"
        calibrated = float(self.b10_calibrated_h[at])
        return WeibullEstimate(
            _with_limits(fits.shape, self.shape, at, kind),
            _with_limits(fits.scale_h, self.scale, at, kind),
            float(fits.log_likelihood[at]),
            kind,
            self.level,
            fits.modified,
            _with_limits(self.b10_h, self.b10, at, kind),
            calibrated if calibrated > 0 else None,
            _with_limits(self.median_h, self.median, at, kind) if median <= largest_age_h else None,
            _with_limits(self.mean_h, self.mean, at, of_mean) if mean <= largest_age_h else None,
        )


def _with_limits(estimate: Floats, limits: Limits, at: int, kind: IntervalMade | None) -> LifeEstimate:
    lower, upper = float(limits.lower[at]), float(limits.upper[at])
    return LifeEstimate(float(estimate[at]), lower if lower > 0 else None, upper if np.isfinite(upper) else None, kind)
