"""The share that fails by one mode of damage while the other modes are at work: cumulative incidence."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from service import units
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Bools, Floats, Ints, Lives
from service.reliability.weibull_limits import normal_quantile


@dataclass(frozen=True, slots=True)
class IncidenceSteps:
    """One row a failure age (of any mode), sorted by group and age.

    Attributes
    ----------
    group : ndarray of int, shape (k,)
        Number of the group.
    time_h : ndarray, shape (k,)
        Age, [h]
    incidence, standard_error : ndarray, shape (k,)
        Share that has failed by the mode up to that age, with its error, [-]
    lower, upper : ndarray, shape (k,)
        Limits; both 0 where nothing has failed by the mode yet, and not to be shown there, [-]
    """

    group: Ints
    time_h: Floats
    incidence: Floats
    standard_error: Floats
    lower: Floats
    upper: Floats
    level: float

    def at(self, group: int, time_h: float) -> tuple[float, float | None, float | None]:
        """Return the share at an age with its limits, [-]; None before the first failure by the mode."""
        start, stop = (int(end) for end in np.searchsorted(self.group, [group, group + 1]))
        step = start + int(np.searchsorted(self.time_h[start:stop], time_h, side="right")) - 1
        if step < start or self.incidence[step] <= 0:
            return 0.0, None, None
        return float(self.incidence[step]), float(self.lower[step]), float(self.upper[step])

    def records(self, group: int) -> list[dict[str, Any]]:
        """Return the steps of one group at which the share rises as wire members, quantities still unit-neutral."""
        start, stop = (int(end) for end in np.searchsorted(self.group, [group, group + 1]))
        before = np.concatenate(([0.0], self.incidence[start:stop]))
        rises = start + np.flatnonzero(np.diff(before) > 0)
        return [
            {
                "age": units.Quantity("time", float(self.time_h[step])),
                "share": float(self.incidence[step]),
                "lower": float(self.lower[step]),
                "upper": float(self.upper[step]),
            }
            for step in rises.tolist()
        ]


def cumulative_incidence(data: Lives, of_mode: Bools, *, level: float = 0.95) -> IncidenceSteps:
    """Return the share that fails by one mode, all modes at work, of all groups at once.

    F(t) = sum S(t-) d_mode / n, S of failures by any mode. One minus the survival curve of a mode alone is not a share
    that fails: it supposes that the other modes do not exist.

    Parameters
    ----------
    data : Lives
        Lives; failed by any mode.
    of_mode : ndarray of bool, shape (n,)
        Which of the failures show the mode, in the order of the rows of ``data``.
    level : float
        Confidence level, two-sided, [-]

    Source
    ------
    Aalen & Johansen 1978, Scand. J. Stat. 5; error by the delta method (Greenwood's form): Marubini & Valsecchi 1995,
    Analysing Survival Data, ch. 10 (from memory). Limits on ln(-ln F).
    """
    steps = survival_steps(data, level=level)
    n, d = steps.at_risk, steps.failed
    by_mode = _failures_at(data, of_mode, steps.group, steps.time_h)
    fresh = np.diff(steps.group, prepend=-1) != 0
    before = np.where(fresh, 1.0, np.concatenate(([1.0], steps.survival[:-1])) if len(n) else steps.survival)
    first = np.flatnonzero(fresh)
    share = before * by_mode / n
    incidence = _running(share, first)
    left = np.where(n > d, n - d, 1.0)
    # the last unit at risk adds nothing: nothing can happen after it, and F(t) - F(s) is 0 at its own age
    a = np.where(n > d, d / (n * left), 0.0)
    b = before * by_mode / n**2
    variance = (
        incidence**2 * _running(a, first)
        - 2 * incidence * _running(incidence * a + b, first)
        + _running(incidence**2 * a + 2 * incidence * b + before**2 * (n - by_mode) * by_mode / n**3, first)
    )
    error = np.sqrt(np.maximum(variance, 0.0))
    inside = (incidence > 0) & (incidence < 1)
    log_share = np.where(inside, np.log(np.where(inside, incidence, 0.5)), -1.0)
    spread = np.exp(np.minimum(normal_quantile(level) * error / (np.where(inside, incidence, 1.0) * -log_share), 700.0))
    lower = np.where(inside, np.exp(log_share * spread), incidence)
    upper = np.where(inside, np.exp(log_share / spread), incidence)
    return IncidenceSteps(steps.group, steps.time_h, incidence, error, lower, upper, level)


def _failures_at(data: Lives, of_mode: Bools, group: Ints, time_h: Floats) -> Floats:
    """Return the failures by the mode at each failure age, shape (k,), [-]."""
    rows = np.flatnonzero(data.failed)
    order = rows[np.lexsort((data.time_h[rows], data.group[rows]))]
    if len(order) == 0:
        return np.zeros(0)
    of_row, age = data.group[order], data.time_h[order]
    fresh = np.ones(len(order), dtype=np.bool_)
    fresh[1:] = (of_row[1:] != of_row[:-1]) | (age[1:] != age[:-1])
    found: Floats = np.add.reduceat(data.count[order] * of_mode[order], np.flatnonzero(fresh))
    return found


def _running(values: Floats, first: Ints) -> Floats:
    """Return the running sum within each group, whose first rows are given."""
    if len(values) == 0:
        return values
    total = np.cumsum(values)
    return np.asarray(total - np.repeat((total - values)[first], np.diff(first, append=len(values))))
