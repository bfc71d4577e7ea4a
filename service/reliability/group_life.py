"""The life of one group: its numbers, and the sentence that leads with what they carry."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import floor, log10
from typing import Any, Final

from service.errors import Text
from service.findings import Warned
from service.moments import rfc3339
from service.reliability.assumed_shape import AssumedShapeBound
from service.reliability.common_shape import CommonShape
from service.reliability.cumulative_incidence import IncidenceSteps
from service.reliability.kaplan_meier import SurvivalSteps
from service.reliability.life_estimates import WeibullEstimate
from service.reliability.policy import Verdict, joined, parts
from service.reliability.rated_life import RatedLifeComparison
from service.reliability.survival_quantiles import SurvivalQuantile
from service.reliability.uninspected import UninspectedBounds
from service.units import Quantity

FEWEST_FAILURES: Final = 2  # one failure tells no shape: a bound stands in its place
ALONE: Final = "if the other modes did not exist"


@dataclass(frozen=True, slots=True)
class GroupFacts:
    """What the caller knows of a group besides its lives.

    ``bounds`` and ``damage_bounds`` say how much hangs on removals that nobody looked at, and on failures of which
    nobody recorded the damage.
    """

    label: str
    stays: int
    excluded: Sequence[dict[str, Any]] = ()
    condition_share: float = 0.0
    designations: int = 1
    rating_life_h: float | None = None
    bounds: UninspectedBounds | None = None
    damage_bounds: UninspectedBounds | None = None

    @property
    def doubts(self) -> Warned | None:
        """Return the warning that the answer hangs on removals that nobody looked at."""
        return None if self.bounds is None else self.bounds.warning


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
    with_steps: bool
    fits_well: Verdict
    misfit_said: Text
    fit_bins: list[dict[str, Any]]
    survival_b10: SurvivalQuantile
    survival_median: SurvivalQuantile
    common_shape: CommonShape | None
    incidence: IncidenceSteps | None
    mode: str | None

    @property
    def misfit(self) -> bool:
        """Return whether the Weibull does not describe these lives."""
        return self.fits_well.verdict == "misfit"

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        fit, of = self.weibull, self.facts
        rated = self._rated_record()
        return {
            "group": of.label,
            "detail": self.detail,
            "counts": {
                "stays": of.stays,
                "failed": round(self.failed),
                "censored": round(self.units - self.failed),
                "excluded": list(of.excluded),
            },
            "exposure": {
                "total": Quantity("time", self.exposure_h),
                "as_of": None if self.as_of is None else rfc3339(self.as_of),
            },
            "goodness_of_fit": {**self.fits_well.record(), "bins": self.fit_bins},
            "weibull": fit.record() | {"not_supported": self.misfit} if fit else None,
            "b10": self._b10_record(),
            "median": fit.median_h.record_h() if fit and fit.median_h else None,
            "mean": fit.mean_h.record_h() if fit and fit.mean_h else None,
            "kaplan_meier": self._survival_record(),
            "bound": self.bound.record() if self.bound else None,
            "bounds": of.bounds.record() if of.bounds else None,
            "unrecorded_damage": _of_damage(of.damage_bounds),
            "shape_common": self.common_shape.record() if self.common_shape else None,
            "cumulative_incidence": self._incidence_record(),
            "rated_life": rated,
            "assumptions": list(self.assumptions),
            "warnings": [one.record() for one in self.warnings],
        }

    @property
    def detail(self) -> Text:
        """Return what the lives tell of B10, in a sentence that leads with the number that holds."""
        fit = self.weibull
        alone = "" if self.mode is None else f", {ALONE}"
        if self.misfit:
            return joined([*self._survival_sentence(), " ", *parts(self.misfit_said)])
        if fit is None:
            return self._without_fit()
        said: list[str | Quantity] = ["10 % fail by ", _hours(fit.b10_h.estimate), alone]
        if fit.b10_h.estimate > self.largest_age_h:
            said.append(", beyond every age seen")
        lower = fit.b10_lower_calibrated_h
        if fit.modified:
            return joined([*said, ", by the modified Weibull fit."])
        if lower is None:
            return joined([*said, ", by the Weibull fit; the data close no lower limit."])
        return joined([*said, ", by the Weibull fit; not before ", _hours(lower, down=True),
                       f" at {(1 + fit.level) / 2 * 100:.3g} % confidence."])  # fmt: skip

    def _without_fit(self) -> Text:
        bound = self.bound
        if bound is None:
            return "No estimate."
        least = _hours(bound.assumed.b10_lower_h, down=True)
        where = f" at {bound.level * 100:.3g} % confidence, if the shape is {bound.assumed.shape:.3g}."
        return joined(["No estimate: B10 is at least ", least, where])

    def _survival_sentence(self) -> list[str | Quantity]:
        found = self.survival_b10
        if found.estimate_h is None:
            return ["10 % had not failed at any age seen, read from the survival curve."]
        ends = [_hours(one) if one is not None else "open" for one in (found.lower_h, found.upper_h)]
        return ["10 % had failed by ", _hours(found.estimate_h), " (", ends[0], " to ", ends[1],
                "), read from the survival curve."]  # fmt: skip

    def _b10_record(self) -> dict[str, Any] | None:
        fit = self.weibull
        if fit is None:
            return None
        lower = fit.b10_lower_calibrated_h
        return {
            **fit.b10_h.record_h(),
            "lower_calibrated": None if lower is None else Quantity("time", lower),
            "condition": None if self.mode is None else ALONE,
            "not_supported": self.misfit,
        }

    def _rated_record(self) -> dict[str, Any] | None:
        """Return the comparison with the rating life; of a misfit its sentence is that of the survival curve."""
        if self.rated_life is None:
            return None
        record = self.rated_life.record() | {"not_supported": self.misfit}
        if self.misfit:
            record["detail"] = self.rated_life.detail_without_model
        return record

    def _survival_record(self) -> dict[str, Any]:
        """Return the steps, and what can be read off them without a model."""
        until = self.largest_age_h
        return {
            "steps": self.steps.records(self.number) if self.with_steps else None,
            "limit_kind": self.steps.limit_kind,
            "level": self.steps.level,
            "b10": self.survival_b10.record_h(),
            "median": self.survival_median.record_h(),
            "restricted_mean": Quantity("time", self.steps.restricted_mean_h(self.number, until)),
            "restricted_to": Quantity("time", until),
        }

    def _incidence_record(self) -> dict[str, Any] | None:
        """Return the share that fails by the mode while the other modes are at work."""
        found = self.incidence
        if found is None:
            return None
        share, lower, upper = found.at(self.number, self.largest_age_h)
        return {
            "mode": self.mode,
            "age": Quantity("time", self.largest_age_h),
            "share": {"estimate": share, "lower": lower, "upper": upper},
            "level": found.level,
            "steps": found.records(self.number) if self.with_steps else None,
        }


def _hours(age_h: float, *, down: bool = False) -> Quantity:
    """Return an age as it is said, to three digits, a lower limit never higher than it is; the members are exact."""
    said_h = float(f"{age_h:.3g}")
    step_h = 10.0 ** (floor(log10(age_h)) - 2) if age_h > 0 else 0.0
    return Quantity("time", float(f"{said_h - step_h:.3g}") if down and said_h > age_h else said_h)


def _of_damage(found: UninspectedBounds | None) -> dict[str, Any] | None:
    if found is None:
        return None
    record = found.record()
    return {"unrecorded": record.pop("uninspected"), **record}
