"""The life analysis of many groups: counts, survival, Weibull fit or bound, and what to read with it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import numpy as np

from service import units
from service.errors import CannotEvaluate, Text
from service.findings import Source, Warned
from service.moments import rfc3339
from service.reliability.assumed_shape import (
    DEFAULT_ORIGIN,
    DEFAULT_SHAPE,
    AssumedShapeBound,
    assumed_shape_bounds,
    assumption,
)
from service.reliability.kaplan_meier import SurvivalSteps, survival_steps
from service.reliability.life_warnings import life_warnings
from service.reliability.lives import Floats, Lives
from service.reliability.rated_life import RatedLifeComparison, compared_with_rating_life
from service.reliability.weibull import WeibullFits, weibull_fits
from service.reliability.weibull_limits import (
    Limits,
    likelihood_ratio_quantile_h,
    likelihood_ratio_shape,
    log_normal_mean_h,
    log_normal_quantile_h,
    log_normal_shape,
    mean_h,
)
from service.words import INTERVAL_KINDS, IntervalKind

FEWEST_FAILURES: Final = 2  # one failure tells no shape: a bound stands in its place
SCALE_SHARE: Final = float(1 - np.exp(-1.0))
SOURCES: Final = (
    Source("iec_61649", "IEC 61649:2008, Weibull analysis", "standard"),
    Source("meeker_escobar_1998", "Meeker & Escobar 1998, Statistical Methods for Reliability Data", "handbook"),
    Source("kaplan_meier_1958", "Kaplan & Meier 1958, J. Am. Stat. Assoc. 53, 457-481", "handbook"),
)


@dataclass(frozen=True, slots=True)
class GroupFacts:
    """What the caller knows of a group besides its lives."""

    label: str
    stays: int
    excluded: Sequence[dict[str, Any]] = ()
    condition_share: float = 0.0
    designations: int = 1
    rating_life_h: float | None = None


@dataclass(frozen=True, slots=True)
class Options:
    """How to analyse. ``interval``: likelihood_ratio or log_normal; ``modified``: nearly unbiased shape."""

    level: float = 0.95
    interval: IntervalKind = "likelihood_ratio"
    modified: bool = False
    assumed_shape: float = DEFAULT_SHAPE
    shape_origin: str = DEFAULT_ORIGIN
    all_causes: bool = True
    as_of: datetime | None = None
    steps: bool = True


@dataclass(frozen=True, slots=True)
class LifeEstimate:
    """A value with its limits; None where the data close no limit."""

    estimate: float
    lower: float | None
    upper: float | None

    def record(self) -> dict[str, Any]:
        """Return the wire members of a number without unit."""
        return {"estimate": self.estimate, "lower": self.lower, "upper": self.upper}

    def record_h(self) -> dict[str, Any]:
        """Return the wire members of a number of hours."""
        return {name: None if value is None else units.Quantity("time", value) for name, value in self.record().items()}


@dataclass(frozen=True, slots=True)
class WeibullEstimate:
    """The fit of one group. Mean and median are None beyond the largest age seen."""

    shape: LifeEstimate
    scale_h: LifeEstimate
    log_likelihood: float
    interval_kind: str
    level: float
    modified: bool
    b10_h: LifeEstimate
    median_h: LifeEstimate | None
    mean_h: LifeEstimate | None

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "shape": self.shape.record(),
            "scale": self.scale_h.record_h(),
            "log_likelihood": self.log_likelihood,
            "interval_kind": self.interval_kind,
            "level": self.level,
            "method": "modified_profile_likelihood" if self.modified else "maximum_likelihood",
        }


@dataclass(frozen=True, slots=True)
class GroupLife:
    """The analysis of one group."""

    facts: GroupFacts
    units: float
    failed: float
    exposure_h: float
    largest_age_h: float
    weibull: WeibullEstimate | None
    bound: AssumedShapeBound | None
    steps: SurvivalSteps
    number: int
    rated_life: RatedLifeComparison | None
    warnings: tuple[Warned, ...]
    assumptions: tuple[Text, ...]
    as_of: datetime | None
    with_steps: bool = True

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        fit = self.weibull
        return {
            "group": self.facts.label,
            "counts": {
                "stays": self.facts.stays,
                "failed": round(self.failed),
                "censored": round(self.units - self.failed),
                "excluded": list(self.facts.excluded),
            },
            "exposure": {
                "total": units.Quantity("time", self.exposure_h),
                "as_of": None if self.as_of is None else rfc3339(self.as_of),
            },
            "weibull": fit.record() if fit else None,
            "b10": fit.b10_h.record_h() if fit else None,
            "median": fit.median_h.record_h() if fit and fit.median_h else None,
            "mean": fit.mean_h.record_h() if fit and fit.mean_h else None,
            "kaplan_meier": self._survival_record(),
            "bound": self.bound.record() if self.bound else None,
            "rated_life": self.rated_life.record() if self.rated_life else None,
            "assumptions": list(self.assumptions),
            "warnings": [one.record() for one in self.warnings],
        }

    def _survival_record(self) -> dict[str, Any]:
        """Return the steps, and what can be read off them without a model."""
        median = self.steps.quantile_h(self.number, 0.5)
        tenth = self.steps.quantile_h(self.number, 0.1)
        until = self.largest_age_h
        return {
            "steps": self.steps.records(self.number) if self.with_steps else None,
            "limit_kind": self.steps.limit_kind,
            "level": self.steps.level,
            "b10": None if tenth is None else units.Quantity("time", tenth),
            "median": None if median is None else units.Quantity("time", median),
            "restricted_mean": units.Quantity("time", self.steps.restricted_mean_h(self.number, until)),
            "restricted_to": units.Quantity("time", until),
        }


@dataclass(frozen=True, slots=True)
class LifeAnalysis:
    """The analysis of all groups, with the fits and steps for pictures and for further questions."""

    items: tuple[GroupLife, ...]
    fits: WeibullFits
    steps: SurvivalSteps
    assumptions: tuple[Text, ...] = field(default=())

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "items": [one.record() for one in self.items],
            "assumptions": list(self.assumptions),
            "sources": [one.record() for one in SOURCES],
        }


def life_analysis(
    data: Lives, facts: Sequence[GroupFacts], options: Options | None = None, *, assumptions: Sequence[Text] = ()
) -> LifeAnalysis:
    """Return the analysis of all groups.

    Parameters
    ----------
    data : Lives
        Lives of q groups.
    facts : sequence of GroupFacts
        What is known of each group, in the order of the groups.
    options : Options, optional
        How to analyse.
    assumptions : sequence of Text
        How the stays were read; printed with the answer.

    Raises
    ------
    CannotEvaluate
        Limits that do not exist, or a level outside 0 .. 1.
    """
    chosen = options or Options()
    if not 0 < chosen.level < 1:
        raise CannotEvaluate(f"A confidence level lies between 0 and 1, not at {chosen.level}.", field="level")
    if chosen.interval not in INTERVAL_KINDS or (chosen.modified and chosen.interval == "log_normal"):
        raise CannotEvaluate(
            f"There are no {chosen.interval} limits of this estimate.", code="unknown_interval", field="interval"
        )
    fits = weibull_fits(data, modified=chosen.modified)
    steps = survival_steps(data, level=chosen.level)
    bounds = assumed_shape_bounds(data, shape=chosen.assumed_shape, origin=chosen.shape_origin, level=chosen.level)
    fitted = _Fitted.of(fits, chosen)
    place = {int(group): n for n, group in enumerate(fits.group)}
    columns = (
        data.units,
        data.failures,
        data.exposure_h,
        data.largest_time_h,
        data.sums(data.count * (data.entry_h > 0)),
    )
    items = []
    for number, of_group in enumerate(facts):
        units_, failed, exposure, largest, late = (float(column[number]) for column in columns)
        at = place.get(number) if failed >= FEWEST_FAILURES else None
        fit = None if at is None else fitted.estimate(at, largest)
        rated = None
        if at is not None and of_group.rating_life_h is not None:
            rated = compared_with_rating_life(
                fits, fitted.b10, steps, fit=at, rating_life_h=of_group.rating_life_h, all_causes=chosen.all_causes
            )
        bound = bounds[number] if fit is None else None
        items.append(
            GroupLife(
                of_group, units_, failed, exposure, largest, fit, bound, steps, number, rated,
                life_warnings(
                    failed=failed, fitted=fit is not None, late=late, largest_age_h=largest,
                    b10_h=fit.b10_h.estimate if fit else None, condition_share=of_group.condition_share,
                    designations=of_group.designations, modified=chosen.modified,
                ),
                (assumption(bound),) if bound else (), chosen.as_of, chosen.steps,
            )
        )  # fmt: skip
    return LifeAnalysis(tuple(items), fits, steps, tuple(assumptions))


@dataclass(frozen=True, slots=True)
class _Fitted:
    """The fits with their limits, in columns."""

    fits: WeibullFits
    options: Options
    kind: str
    shape: Limits
    scale: Limits
    b10: Limits
    median: Limits
    mean: Limits
    b10_h: Floats
    median_h: Floats
    mean_h: Floats

    @classmethod
    def of(cls, fits: WeibullFits, options: Options) -> "_Fitted":
        """Return the fits with the limits that were asked for; limits of the mean are log-normal, plain fits only."""
        level = options.level
        if options.interval == "log_normal":
            shape = log_normal_shape(fits, level)
            scale, b10, median = (log_normal_quantile_h(fits, p, level) for p in (SCALE_SHARE, 0.1, 0.5))
            kind = "log_normal"
        else:
            shape = likelihood_ratio_shape(fits, level)
            scale, b10, median = (
                likelihood_ratio_quantile_h(fits, p, level, of_shape=shape) for p in (SCALE_SHARE, 0.1, 0.5)
            )
            kind = "modified_likelihood_ratio" if options.modified else "likelihood_ratio"
        none = Limits(np.zeros_like(fits.shape), np.full_like(fits.shape, np.inf))
        mean = none if options.modified else log_normal_mean_h(fits, level)
        estimates = fits.quantile_h(0.1), fits.quantile_h(0.5), mean_h(fits)
        return cls(fits, options, kind, shape, scale, b10, median, mean, *estimates)

    def estimate(self, at: int, largest_age_h: float) -> WeibullEstimate:
        """Return the estimate of one fit."""
        fits = self.fits
        median, mean = float(self.median_h[at]), float(self.mean_h[at])
        return WeibullEstimate(
            _with_limits(fits.shape, self.shape, at),
            _with_limits(fits.scale_h, self.scale, at),
            float(fits.log_likelihood[at]),
            self.kind,
            self.options.level,
            fits.modified,
            _with_limits(self.b10_h, self.b10, at),
            _with_limits(self.median_h, self.median, at) if median <= largest_age_h else None,
            _with_limits(self.mean_h, self.mean, at) if mean <= largest_age_h else None,
        )


def _with_limits(estimate: Floats, limits: Limits, at: int) -> LifeEstimate:
    lower, upper = float(limits.lower[at]), float(limits.upper[at])
    return LifeEstimate(float(estimate[at]), lower if lower > 0 else None, upper if np.isfinite(upper) else None)
