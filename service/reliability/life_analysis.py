"""The life analysis of many groups: counts, survival, Weibull fit or bound, and what to read with it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.assumed_shape import (
    DEFAULT_ORIGIN,
    DEFAULT_SHAPE,
    AssumedShapeBound,
    assumed_shape_bounds,
    assumption,
)
from service.reliability.common_shape import LEND_BELOW, CommonShape, shape_in_common
from service.reliability.cumulative_incidence import IncidenceSteps
from service.reliability.group_life import FEWEST_FAILURES, GroupFacts, GroupLife
from service.reliability.kaplan_meier import SurvivalSteps, survival_steps
from service.reliability.life_estimates import Fitted
from service.reliability.life_warnings import life_warnings
from service.reliability.lives import Lives
from service.reliability.rated_life import RatedLifeComparison, compared_with_rating_life, judged_together
from service.reliability.survival_quantiles import survival_quantile
from service.reliability.weibull import WeibullFits, weibull_fits
from service.reliability.weibull_misfit import Misfit, misfits_of_answer
from service.words import INTERVAL_KINDS, IntervalKind

SOURCES: Final = (
    Source("iec_61649", "IEC 61649:2008, Weibull analysis", "standard"),
    Source("meeker_escobar_1998", "Meeker & Escobar 1998, Statistical Methods for Reliability Data", "handbook"),
    Source("kaplan_meier_1958", "Kaplan & Meier 1958, J. Am. Stat. Assoc. 53, 457-481", "handbook"),
    Source("brookmeyer_crowley_1982", "Brookmeyer & Crowley 1982, Biometrics 38: limits of ages read from the survival",
           "handbook"),
    Source("akritas_1988", "Akritas 1988, J. Am. Stat. Assoc. 83: test of a fit to censored lives in bins", "handbook"),
)  # fmt: skip
AALEN_JOHANSEN: Final = Source("aalen_johansen_1978", "Aalen & Johansen 1978, Scand. J. Stat. 5: cumulative incidence",
                               "handbook")  # fmt: skip


LENT_FROM: Final = 10  # failures of all groups together, below which their shape in common is not lent


@dataclass(frozen=True, slots=True)
class Options:
    """How to analyse. ``interval``: likelihood_ratio or log_normal; ``modified``: nearly unbiased shape.

    ``assumed_shape`` None: the shape in common of the groups where they may lend it, else 1.5. ``mode``: the mode of
    damage asked about.
    """

    level: float = 0.95
    interval: IntervalKind = "likelihood_ratio"
    modified: bool = False
    assumed_shape: float | None = None
    shape_origin: str = DEFAULT_ORIGIN
    all_causes: bool = True
    as_of: datetime | None = None
    steps: bool = True
    mode: str | None = None


@dataclass(frozen=True, slots=True)
class LifeAnalysis:
    """The analysis of all groups, with the fits and steps for pictures and for further questions."""

    items: tuple[GroupLife, ...]
    fits: WeibullFits
    steps: SurvivalSteps
    incidence: IncidenceSteps | None = None
    assumptions: tuple[Text, ...] = field(default=())

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        sources = SOURCES if self.incidence is None else (*SOURCES, AALEN_JOHANSEN)
        return {
            "items": [one.record() for one in self.items],
            "assumptions": list(self.assumptions),
            "sources": [one.record() for one in sources],
        }

    def fit_of(self, item: GroupLife) -> int:
        """Return the place among the fits of a group that has one."""
        return int(np.flatnonzero(self.fits.group == item.number)[0])


def life_analysis(
    data: Lives,
    facts: Sequence[GroupFacts],
    options: Options | None = None,
    *,
    incidence: IncidenceSteps | None = None,
    assumptions: Sequence[Text] = (),
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
    incidence : IncidenceSteps, optional
        Cumulative incidence of the mode of damage asked about, of the same groups.
    assumptions : sequence of Text
        How the stays were read; printed with the answer.

    Raises
    ------
    CannotEvaluate
        Limits that do not exist, or a level outside 0 .. 1.
    """
    return life_analyses([LifePart(data, facts, options or Options(), incidence, assumptions)])[0]


@dataclass(frozen=True, slots=True)
class LifePart:
    """The groups of an answer that count failures alike: all of it, or those of one mode of damage."""

    data: Lives
    facts: Sequence[GroupFacts]
    options: Options
    incidence: IncidenceSteps | None = None
    assumptions: Sequence[Text] = ()


def life_analyses(parts: Sequence[LifePart]) -> list[LifeAnalysis]:
    """Return the analyses of the parts of one answer, whose fits are judged together; see ``life_analysis``."""
    for part in parts:
        _check(part.options)
    plain = [weibull_fits(part.data) for part in parts]
    misfits = misfits_of_answer([(part.data, fits) for part, fits in zip(parts, plain, strict=True)])
    return [_analysed(*each, len(parts)) for each in zip(parts, plain, misfits, strict=True)]


def _analysed(part: LifePart, plain: WeibullFits, misfits: Sequence[Misfit], questions: int) -> LifeAnalysis:
    data, facts, chosen, incidence = part.data, part.facts, part.options, part.incidence
    fits = weibull_fits(data, modified=True) if chosen.modified else plain
    parts = _Parts(
        data, facts, chosen, fits, Fitted.of(fits, chosen.level, chosen.interval),
        survival_steps(data, level=chosen.level), misfits,
        shape_in_common(data) if len(facts) > 1 else None, incidence, questions,
    )  # fmt: skip
    return LifeAnalysis(parts.items(), fits, parts.steps, incidence, tuple(part.assumptions))


@dataclass(frozen=True, slots=True)
class _Parts:
    """Everything that is made for all groups at once."""

    data: Lives
    facts: Sequence[GroupFacts]
    options: Options
    fits: WeibullFits
    fitted: Fitted
    steps: SurvivalSteps
    misfits: Sequence[Misfit]
    common: CommonShape | None
    incidence: IncidenceSteps | None
    questions: int

    def items(self) -> tuple[GroupLife, ...]:
        """Return the groups."""
        data = self.data
        bounds, borrowed = self._bounds()
        place = {int(group): n for n, group in enumerate(self.fits.group)}
        rated = self._rated(place)
        late = data.sums(data.count * (data.entry_h > 0))
        columns = (data.units, data.failures, data.exposure_h, data.largest_time_h, late)
        found = []
        for number in range(data.groups):
            numbers = tuple(float(column[number]) for column in columns)
            at = place.get(number) if numbers[1] >= FEWEST_FAILURES else None
            found.append(self._item(number, numbers, at, bounds[number], borrowed, rated.get(number)))
        return tuple(found)

    def _rated(self, place: Mapping[int, int]) -> dict[int, RatedLifeComparison]:
        """Return the comparisons with the rating life of the groups that have a fit and one on record."""
        found, failures = {}, self.data.failures
        for number, facts in enumerate(self.facts):
            at = place.get(number) if failures[number] >= FEWEST_FAILURES else None
            if at is not None and facts.rating_life_h is not None:
                found[number] = compared_with_rating_life(
                    self.fits, self.fitted.b10, self.steps, fit=at, rating_life_h=facts.rating_life_h,
                    all_causes=self.options.all_causes, made=self.fitted.kind,
                )  # fmt: skip
        return judged_together(found, self.questions)

    def _bounds(self) -> tuple[list[AssumedShapeBound], bool]:
        """Return the bounds with the shape that is assumed, and whether it is borrowed from the groups."""
        options, common = self.options, self.common
        shape, origin, borrowed = options.assumed_shape, options.shape_origin, False
        lends = common is not None and common.may_serve_few and common.failures >= LENT_FROM
        if shape is None and lends and common is not None and common.shape is not None:
            shape, borrowed = common.shape, True
            origin = f"in common to {common.classes} groups with {common.failures:g} failures, p = {common.p_value:.2g}"
        bounds = assumed_shape_bounds(
            self.data, shape=DEFAULT_SHAPE if shape is None else shape, origin=origin, level=options.level
        )
        return bounds, borrowed

    def _item(
        self, number: int, numbers: Sequence[float], at: int | None, bound: AssumedShapeBound, borrowed: bool,
        rated: RatedLifeComparison | None,
    ) -> GroupLife:  # fmt: skip
        units, failed, exposure, largest, late = numbers
        options, of_group = self.options, self.facts[number]
        fit = None if at is None else self.fitted.estimate(at, largest)
        b10 = survival_quantile(self.steps, number, 0.1)
        read = None if b10.estimate_h is None else (b10.estimate_h, b10.lower_h, b10.upper_h)
        fits_well = self.misfits[number].verdict(read)
        bounded = fit is None or (borrowed and failed < LEND_BELOW)
        warned = life_warnings(
            failed=failed, fitted=fit is not None, late=late, largest_age_h=largest,
            b10_h=fit.b10_h.estimate if fit else None, condition_share=of_group.condition_share,
            designations=of_group.designations, modified=options.modified, misfit=fits_well.verdict == "misfit",
            doubts=of_group.doubts, borrowed=borrowed and bounded,
        )  # fmt: skip
        median = survival_quantile(self.steps, number, 0.5)
        return GroupLife(
            of_group, units, failed, exposure, largest, fit, bound if bounded else None, self.steps, number, rated,
            warned, (assumption(bound),) if bounded else (), options.as_of, options.steps, fits_well,
            self.misfits[number].verdict().detail, self.misfits[number].bins(), b10, median, self.common,
            self.incidence, options.mode,
        )  # fmt: skip


def _check(chosen: Options) -> None:
    if not 0 < chosen.level < 1:
        raise CannotEvaluate(f"A confidence level lies between 0 and 1, not at {chosen.level}.", field="level")
    if chosen.interval not in INTERVAL_KINDS or (chosen.modified and chosen.interval == "log_normal"):
        raise CannotEvaluate(
            f"There are no {chosen.interval} limits of this estimate.", code="unknown_interval", field="interval"
        )
