"""How many bearings will be wanted in the next months: replacements to come, with the doubt of fit and of chance."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from service.errors import CannotEvaluate
from service.findings import Source
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Bools, Floats, Ints, lives
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import covariance

DRAWS: Final = 1000
FEWER_DRAWS: Final = 200
MANY_RUNNING: Final = 2000  # above: fewer draws
DRAWS_AT_ONCE: Final = 50
FEWEST_FAILURES: Final = 5
RECENT_FAILURES: Final = 10  # the window of the recent rate reaches back until it holds so many
LEVEL: Final = 0.90
MOST_RENEWALS: Final = 2000  # of one position within the horizon
SEED: Final = 20200301
SOURCES: Final = (
    Source("meeker_escobar_1998", "Meeker & Escobar 1998, ch. 12: prediction of future failures", "handbook"),
)


@dataclass(frozen=True, slots=True)
class CountRange:
    """A number to come: median, and the quantiles of the level, [-]"""

    median: int
    lower: int
    upper: int

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"median": self.median, "lower": self.lower, "upper": self.upper}


@dataclass(frozen=True, slots=True)
class GroupForecast:
    """What is to come for the bearings of one group (designation).

    ``left_out`` counts running bearings of classes with fewer than 5 failures: nothing is forecast for them, and the
    numbers are too low by what they will need. ``held`` is ``too_few`` when that is all of them.
    """

    group: int
    running: int
    left_out: int
    failures: CountRange | None
    replacements: CountRange | None

    @property
    def held(self) -> str | None:
        """Return ``too_few`` where nothing can be forecast."""
        return "too_few" if self.failures is None else None


@dataclass(frozen=True, slots=True)
class ReplacementForecast:
    """The forecast by group and in all. ``covers`` says what ``replacements`` counts besides failures."""

    items: tuple[GroupForecast, ...]
    total: GroupForecast
    covers: str
    level: float
    draws: int
    horizon_h: float

    @property
    def said(self) -> str:
        """Return how the numbers are to be read."""
        return f"{self.draws} draws; in {self.level:.0%} of them the number lies within the range."


def replacement_forecast(
    *,
    now_h: float,
    horizon_h: float,
    begin_h: Floats,
    end_h: Floats,
    age_h: Floats,
    entry_h: Floats,
    carried_h: Floats,
    failed: Bools,
    running: Bools,
    by_plan: Bools,
    class_number: Ints,
    group: Ints,
    duty: Floats,
    level: float = LEVEL,
    draws: int | None = None,
) -> ReplacementForecast:
    """Return how many will be replaced within a horizon.

    Each draw takes shape and scale of every class from their normal approximation, and a factor of the rate of failure
    from what was seen lately against what the fit expects: Gamma(O + 1) / (E + 1), O and E of a window as long as the
    horizon (longer until it holds 10 failures), so that a level that has moved, or positions that differ, do not make
    the range too narrow. Each running bearing then goes on from its age, its successors from new.

    Parameters
    ----------
    now_h, horizon_h : float
        When it is asked, on the clock of ``begin_h``, and how far ahead, calendar, [h]
    begin_h, end_h : ndarray, shape (n,)
        Moments of fitting and of removal, now when running, calendar, [h]
    age_h, entry_h, carried_h : ndarray, shape (n,)
        Age at the end, at the beginning of observation and at fitting, [h]
    failed, running, by_plan : ndarray of bool, shape (n,)
        How each stay ended. ``by_plan``: removed sound, by plan; none marked: only failures are forecast.
    class_number, group : ndarray of int, shape (n,)
        Class of each stay (what makes lives alike) and what to sum by, both from 0.
    duty : ndarray, shape (n,)
        Share of calendar time that its position runs from now on, [-]
    level : float
        Of the range, [-]
    draws : int, optional
        1,000, or 200 above 2,000 running bearings, by default.

    Raises
    ------
    CannotEvaluate
        The horizon is not above zero, the level outside 0 .. 1, or a class is replaced thousands of times within it.

    Source
    ------
    Prediction intervals by simulation: Meeker & Escobar 1998, ch. 12 (from memory). Covers 0.90-1.00 in simulations.
    """
    if not 0 < horizon_h < np.inf:
        raise CannotEvaluate(f"A horizon must be above zero, not {horizon_h}.", field="months")
    if not 0 < level < 1:
        raise CannotEvaluate(f"A level lies between 0 and 1, not at {level}.", field="level")
    classes, number = np.unique(class_number, return_inverse=True)
    record = _Record(begin_h, end_h, age_h, entry_h, carried_h, failed, by_plan, number, len(classes))
    rows = np.flatnonzero(running)
    drawn = draws if draws is not None else (FEWER_DRAWS if len(rows) > MANY_RUNNING else DRAWS)
    rng = np.random.default_rng(SEED)
    known, shape, scale_h = record.parameters(rng, drawn, now_h, horizon_h)
    taken = rows[known[number[rows]]]
    groups, of_row = np.unique(group[rows], return_inverse=True)
    of_taken = of_row[known[number[rows]]]
    ahead = _Ahead(age_h[taken], number[taken], horizon_h * duty[taken], of_taken, len(groups), record.plan())
    counts = [
        ahead.counts(rng, shape[part], scale_h[part])
        for part in (slice(k, k + DRAWS_AT_ONCE) for k in range(0, drawn, DRAWS_AT_ONCE))
    ]
    failures, planned = (np.concatenate([one[k] for one in counts]) for k in (0, 1))
    size, left = np.bincount(of_row, minlength=len(groups)), np.bincount(of_taken, minlength=len(groups))
    items = [
        _forecast(int(name), int(size[n]), int(left[n]), failures[:, n], planned[:, n], level)
        for n, name in enumerate(groups)
    ]
    total = _forecast(-1, len(rows), len(taken), failures.sum(axis=1), planned.sum(axis=1), level)
    covers = "failures_and_removals_by_plan" if by_plan.any() else "failures"
    return ReplacementForecast(tuple(items), total, covers, level, drawn, horizon_h)


def _forecast(group: int, running: int, taken: int, failures: Floats, planned: Floats, level: float) -> GroupForecast:
    if taken == 0:
        return GroupForecast(group, running, running, None, None)
    return GroupForecast(group, running, running - taken, _range(failures, level), _range(failures + planned, level))


def _range(numbers: Floats, level: float) -> CountRange:
    shares = [0.5, (1 - level) / 2, (1 + level) / 2]
    return CountRange(*(int(one) for one in np.quantile(numbers, shares, method="inverted_cdf")))


@dataclass(frozen=True, slots=True)
class _Record:
    """What is on record, classes numbered without gaps."""

    begin_h: Floats
    end_h: Floats
    age_h: Floats
    entry_h: Floats
    carried_h: Floats
    failed: Bools
    by_plan: Bools
    number: Ints
    classes: int

    def parameters(
        self, rng: np.random.Generator, draws: int, now_h: float, horizon_h: float
    ) -> tuple[Bools, Floats, Floats]:
        """Return which classes are known, and shape and scale of each draw and class, the recent rate in the scale."""
        fits = weibull_fits(lives(self.age_h, self.failed, entry_h=self.entry_h, group=self.number))
        spread = covariance(fits)
        good = (fits.failures >= FEWEST_FAILURES) & np.isfinite(spread.log_scale + spread.log_shape)
        known = np.zeros(self.classes, dtype=np.bool_)
        known[fits.group[good]] = True
        shape, scale = np.ones((draws, self.classes)), np.full((draws, self.classes), np.inf)
        for at in np.flatnonzero(good).tolist():
            one = int(fits.group[at])
            first, second = _stratified_normal(rng, draws), _stratified_normal(rng, draws)
            slope = float(spread.both[at] / spread.log_shape[at])
            rest = float(np.sqrt(max(spread.log_scale[at] - slope * spread.both[at], 0.0)))
            step = np.sqrt(float(spread.log_shape[at])) * first
            shape[:, one] = fits.shape[at] * np.exp(np.clip(step, -5, 5))
            scale[:, one] = fits.scale_h[at] * np.exp(np.clip(slope * step + rest * second, -20, 20))
            seen, spent = self._recent(one, shape[:, one], scale[:, one], now_h, horizon_h)
            factor = rng.gamma(seen + 1, size=draws) / (spent + 1)
            scale[:, one] *= np.maximum(factor, 1e-12) ** (-1 / shape[:, one])
        return known, shape, scale

    def _recent(self, one: int, shape: Floats, scale_h: Floats, now_h: float, horizon_h: float) -> tuple[float, Floats]:
        """Return failures, and hazard spent under each draw, in the window of a class."""
        mine = self.number == one
        ends = np.sort(self.end_h[mine & self.failed])[::-1]
        reach = ends[min(RECENT_FAILURES, len(ends)) - 1]
        since = min(now_h - horizon_h, float(reach) if len(ends) >= RECENT_FAILURES else -np.inf)
        rows = np.flatnonzero(mine & (self.end_h >= since))
        length = np.maximum(self.end_h[rows] - self.begin_h[rows], 1e-300)
        rate = (self.age_h[rows] - self.carried_h[rows]) / length
        young = self.age_h[rows] - rate * np.minimum(self.end_h[rows] - since, length)
        with np.errstate(divide="ignore"):
            old, start = np.log(self.age_h[rows]), np.log(np.maximum(young, self.entry_h[rows]))
        spent = np.array(
            [
                np.sum(np.exp(np.minimum(b * (old - np.log(eta)), 700.0)) - np.exp(b * (start - np.log(eta))))
                for b, eta in zip(shape.tolist(), scale_h.tolist(), strict=True)
            ]
        )
        return float(np.count_nonzero(self.failed[rows])), np.maximum(spent, 0.0)

    def plan(self) -> "_Plan":
        """Return the law of removals by plan, failures taken as censoring."""
        steps = survival_steps(lives(self.age_h, self.by_plan, entry_h=self.entry_h, group=self.number))
        with np.errstate(divide="ignore"):
            hazard = -np.log(steps.survival)
        rows = [steps.rows_of(one) for one in range(self.classes)]
        return _Plan([steps.time_h[one] for one in rows], [hazard[one] for one in rows])


@dataclass(frozen=True, slots=True)
class _Plan:
    """Ages of removals by plan of each class, and minus the logarithm of the share not yet removed there."""

    age_h: Sequence[Floats]
    hazard: Sequence[Floats]

    def ages(self, rng: np.random.Generator, age_h: Floats, number: Ints) -> Floats:
        """Return at what age each bearing would be removed by plan, given its age now; infinite: never, [h]."""
        found = np.full(len(age_h), np.inf)
        for one in np.unique(number).tolist():
            steps, hazard = self.age_h[one], self.hazard[one]
            if len(steps) == 0:
                continue
            mine = np.flatnonzero(number == one)
            place = np.searchsorted(steps, age_h[mine], side="right") - 1
            spent = np.where(place >= 0, hazard[np.maximum(place, 0)], 0.0)
            target = np.where(np.isfinite(spent), spent, np.inf) + rng.exponential(size=len(mine))
            following = np.searchsorted(hazard, target, side="left")
            inside = following < len(steps)
            inside &= np.isfinite(spent)  # beyond the last plan nothing is known: runs to failure
            found[mine[inside]] = steps[following[inside]]
        return found


@dataclass(frozen=True, slots=True)
class _Ahead:
    """The bearings that run now: ages, classes, hours still to run, groups."""

    age_h: Floats
    number: Ints
    hours: Floats
    group: Ints
    groups: int
    plan: _Plan

    def counts(self, rng: np.random.Generator, shape: Floats, scale_h: Floats) -> tuple[Floats, Floats]:
        """Return failures and removals by plan of each draw and group, shape (draws, groups)."""
        draws, size = len(shape), len(self.age_h)
        draw, bearing = np.repeat(np.arange(draws), size), np.tile(np.arange(size), draws)
        age, left = self.age_h[bearing], self.hours[bearing]
        failures, planned = np.zeros(draws * self.groups), np.zeros(draws * self.groups)
        for _ in range(MOST_RENEWALS):
            if len(draw) == 0:
                break
            one = self.number[bearing]
            beta, eta = shape[draw, one], scale_h[draw, one]
            with np.errstate(over="ignore"):
                fails = eta * ((age / eta) ** beta + rng.exponential(size=len(age))) ** (1 / beta)
            removed = self.plan.ages(rng, age, one)
            ends = np.minimum(fails, removed)
            within = ends - age <= left
            place = draw * self.groups + self.group[bearing]
            failures += np.bincount(place[within & (fails <= removed)], minlength=len(failures))
            planned += np.bincount(place[within & (fails > removed)], minlength=len(failures))
            left, draw, bearing = (left - (ends - age))[within], draw[within], bearing[within]
            age = np.zeros(len(left))
        else:
            raise CannotEvaluate(
                f"A position would be replaced over {MOST_RENEWALS} times: ask for less.", field="months"
            )
        return failures.reshape(draws, self.groups), planned.reshape(draws, self.groups)


def _stratified_normal(rng: np.random.Generator, draws: int) -> Floats:
    """Return normal numbers, one from each of as many equal shares, in a random order."""
    return np.asarray(ndtri((rng.permutation(draws) + rng.uniform(1e-9, 1 - 1e-9, draws)) / draws))
