"""Positions as repairable places: how many replacements or failures a position has had by an age, on average."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service import units
from service.reliability.lives import Floats
from service.reliability.weibull_limits import normal_quantile

ROUNDING: Final = 1e-12  # relative, below which a spread is none
SHOWN_STEPS: Final = 200  # of a thinned curve: what a picture can show


@dataclass(frozen=True, slots=True)
class Watched:
    """One position under observation: its events lie after ``from_h`` and not beyond ``until_h``, all in [h]."""

    events_h: tuple[float, ...]
    until_h: float
    from_h: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.from_h < self.until_h < np.inf:
            raise ValueError("observation must end after it begins")
        if any(not self.from_h < age <= self.until_h for age in self.events_h):
            raise ValueError("an event lies outside the time of observation")


@dataclass(frozen=True, slots=True)
class MeanCumulativeNumber:
    """Mean cumulative number of events, one row an event age, with limits that allow positions to differ.

    Attributes
    ----------
    time_h : ndarray, shape (k,)
        Age of the position, [h]
    at_risk, events : ndarray, shape (k,)
        Positions under observation at that age, and events since the step before, [-]
    mean : ndarray, shape (k,)
        Mean cumulative number, [-]
    robust_variance, poisson_variance : ndarray, shape (k,)
        Variance with, and without, spread from position to position, [-]
    lower, upper : ndarray, shape (k,)
        Limits from the robust variance, [-]
    """

    time_h: Floats
    at_risk: Floats
    events: Floats
    mean: Floats
    robust_variance: Floats
    poisson_variance: Floats
    lower: Floats
    upper: Floats
    level: float

    def thinned(self) -> "MeanCumulativeNumber":
        """Return the last step in each of ``SHOWN_STEPS`` equal spans of age: every step kept is exact."""
        if len(self.time_h) <= SHOWN_STEPS:
            return self
        span = np.minimum((self.time_h / self.time_h[-1] * SHOWN_STEPS).astype(np.int64), SHOWN_STEPS - 1)
        kept = np.append(span[1:] != span[:-1], True)
        since = np.diff(np.cumsum(self.events)[kept], prepend=0.0)
        variances = self.robust_variance[kept], self.poisson_variance[kept]
        limits = self.lower[kept], self.upper[kept]
        return MeanCumulativeNumber(
            self.time_h[kept], self.at_risk[kept], since, self.mean[kept], *variances, *limits, self.level
        )

    def records(self) -> list[dict[str, Any]]:
        """Return the steps as wire members, quantities still unit-neutral."""
        return [
            {
                "age": units.Quantity("time", float(age)),
                "at_risk": float(at_risk),
                "events": float(events),
                "mean_cumulative_number": float(mean),
                "lower": float(lower),
                "upper": float(upper),
            }
            for age, at_risk, events, mean, lower, upper in zip(
                self.time_h, self.at_risk, self.events, self.mean, self.lower, self.upper, strict=True
            )
        ]


def mean_cumulative_number(systems: Sequence[Watched], *, level: float = 0.95) -> MeanCumulativeNumber:
    """Return the mean cumulative number of events of positions.

    A position counts as observed from its entry (exclusive) to its end (inclusive). With one position under
    observation the robust variance is 0 and says nothing: ask for several.

    Source
    ------
    Nelson 1995, Technometrics 37; Lawless & Nadeau 1995, Technometrics 37 (robust variance); Meeker & Escobar 1998,
    ch. 16. Checked against the three systems there and the valve seats of Nelson & Doganaksoy 1989.
    """
    begin = np.array([one.from_h for one in systems])
    end = np.array([one.until_h for one in systems])
    ages = np.array([age for one in systems for age in one.events_h])
    owner = np.array([number for number, one in enumerate(systems) for _ in one.events_h], dtype=np.int64)
    time_h, place = np.unique(ages, return_inverse=True)
    events = np.bincount(place, minlength=len(time_h)).astype(np.float64)
    at_risk = _at_risk(time_h, begin, end)
    mean = np.cumsum(events / at_risk)
    robust = _robust_variance(begin, end, time_h, at_risk, events, owner, place)
    spread = np.exp(np.minimum(normal_quantile(level) * np.sqrt(robust) / mean, 700.0))
    return MeanCumulativeNumber(
        time_h, at_risk, events, mean, robust, np.cumsum(events / at_risk**2), mean / spread, mean * spread, level
    )


def _at_risk(time_h: Floats, begin: Floats, end: Floats) -> Floats:
    entered = np.searchsorted(np.sort(begin), time_h, side="left")
    left = np.searchsorted(np.sort(end), time_h, side="left")
    return np.asarray(entered - left, dtype=np.float64)


def _robust_variance(
    begin: Floats,
    end: Floats,
    time_h: Floats,
    at_risk: Floats,
    events: Floats,
    owner: "np.ndarray[Any, Any]",
    place: "np.ndarray[Any, Any]",
) -> Floats:
    """Return sum over positions of the square of their own excess over the mean, shape (k,), [-].

    Of a position under observation it is e - c, with e what its own events added and c the sum of d / n^2, the same for
    all: sums of e and e^2 give the sum of squares without a walk over the positions at each age.
    """
    owners = owner[np.argsort(place, kind="stable")].tolist()
    edges = np.concatenate(([0], np.cumsum(np.bincount(place, minlength=len(time_h))))).tolist()
    entering, leaving = np.argsort(begin, kind="stable").tolist(), np.argsort(end, kind="stable").tolist()
    own, found = [0.0] * len(begin), np.zeros(len(time_h))
    there, total, squares, gone, common = 0, 0.0, 0.0, 0.0, 0.0
    first = last = 0
    for number, age in enumerate(time_h.tolist()):
        while first < len(entering) and begin[entering[first]] < age:
            own[entering[first]] = common
            there, total, squares = there + 1, total + common, squares + common * common
            first += 1
        while last < len(leaving) and end[leaving[last]] < age:
            e = own[leaving[last]]
            gone += (e - common) ** 2
            there, total, squares = there - 1, total - e, squares - e * e
            last += 1
        n = at_risk[number]
        common += events[number] / n**2
        for one in owners[edges[number] : edges[number + 1]]:
            e = own[one]
            own[one] = e + 1 / n
            total, squares = total + 1 / n, squares + (2 * e + 1 / n) / n
        spread = squares - 2 * common * total + there * common * common
        found[number] = gone + (spread if spread > ROUNDING * (squares + there * common * common) else 0.0)
    return found
