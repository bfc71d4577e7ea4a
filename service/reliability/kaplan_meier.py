"""Kaplan-Meier survival and Nelson-Aalen cumulative hazard, many groups at once. No model is assumed."""

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from service import units
from service.reliability.lives import Bools, Floats, Ints, Lives
from service.reliability.weibull_limits import normal_quantile

LimitKind = Literal["log_log", "logit"]
ROUNDING: Final = 1e-9  # by which a step may miss a share through rounding and still have reached it


@dataclass(frozen=True, slots=True)
class SurvivalSteps:
    """One row a failure age, sorted by group and age; groups without failures have no rows.

    Attributes
    ----------
    group : ndarray of int, shape (k,)
        Number of the group.
    time_h : ndarray, shape (k,)
        Age, [h]
    at_risk, failed : ndarray, shape (k,)
        Units under observation just before, and failures at, that age, [-]
    survival : ndarray, shape (k,)
        Share that survives that age, [-]
    relative_variance : ndarray, shape (k,)
        Greenwood's sum of d / (n (n - d)), [-]
    cumulative_hazard, hazard_variance : ndarray, shape (k,)
        Nelson-Aalen, [-]
    lower, upper : ndarray, shape (k,)
        Limits of the survival; 0 and 1 where ``limits_known`` is false (the last unit under observation failed), [-]
    """

    group: Ints
    time_h: Floats
    at_risk: Floats
    failed: Floats
    survival: Floats
    relative_variance: Floats
    cumulative_hazard: Floats
    hazard_variance: Floats
    limits_known: Bools
    lower: Floats
    upper: Floats
    level: float
    limit_kind: LimitKind

    @property
    def standard_error(self) -> Floats:
        """Return the standard error of the survival; 0 where ``limits_known`` is false, shape (k,), [-]."""
        return np.asarray(self.survival * np.sqrt(self.relative_variance))

    def rows_of(self, group: int) -> slice:
        """Return the rows of one group."""
        return slice(int(self.group.searchsorted(group)), int(self.group.searchsorted(group + 1)))

    def survival_at(self, group: int, time_h: float) -> tuple[float, float | None, float | None]:
        """Return survival at an age with its limits, [-]; limits are None where they are not known.

        Before the first failure the share is 1, without limits. The caller has to know that the group was watched
        that long.
        """
        rows = self.rows_of(group)
        step = rows.start + int(np.searchsorted(self.time_h[rows], time_h, side="right")) - 1
        if step < rows.start:
            return 1.0, None, None
        if not self.limits_known[step]:
            return float(self.survival[step]), None, None
        return float(self.survival[step]), float(self.lower[step]), float(self.upper[step])

    def quantile_h(self, group: int, share_failed: float) -> float | None:
        """Return the first age by which a share of a group has failed, [h]; None: not reached."""
        rows = self.rows_of(group)
        reached = np.flatnonzero(self.survival[rows] <= 1 - share_failed + ROUNDING)
        return float(self.time_h[rows][reached[0]]) if len(reached) else None

    def restricted_mean_h(self, group: int, until_h: float) -> float:
        """Return the mean of min(life, until), the area under the steps, [h]."""
        rows = self.rows_of(group)
        ages, shares = self.time_h[rows], self.survival[rows]
        inside = ages < until_h
        edges = np.concatenate((ages[inside], [until_h]))
        return float(edges[0] + np.dot(edges[1:] - edges[:-1], shares[inside]))

    def records(self, group: int) -> list[dict[str, Any]]:
        """Return the steps of one group as wire members, quantities still unit-neutral."""
        rows = self.rows_of(group)
        return [self._record(step) for step in range(rows.start, rows.stop)]

    def _record(self, step: int) -> dict[str, Any]:
        known = bool(self.limits_known[step])
        return {
            "age": units.Quantity("time", float(self.time_h[step])),
            "at_risk": round(float(self.at_risk[step])),
            "failed": round(float(self.failed[step])),
            "survival": float(self.survival[step]),
            "lower": float(self.lower[step]) if known else None,
            "upper": float(self.upper[step]) if known else None,
        }


def survival_steps(data: Lives, *, level: float = 0.95, limit_kind: LimitKind = "log_log") -> SurvivalSteps:
    """Return the steps of all groups. Failures come before censorings of the same age.

    Source
    ------
    Kaplan & Meier 1958, J. Am. Stat. Assoc. 53; Greenwood 1926; Nelson 1972, Technometrics 14; limits: Kalbfleisch &
    Prentice (log-log), Meeker & Escobar 1998, ch. 3 (logit).
    """
    group, time_h, at_risk, failed = _risk_table(data)
    left = at_risk - failed
    over = left > 0
    last = np.where(over, left, 1.0)
    survival = np.exp(_running(np.where(over, np.log(last / at_risk), 0.0), group))
    ended = _running((~over).astype(np.float64), group) > 0
    survival = np.where(ended, 0.0, survival)
    variance = _running(np.where(over, failed / (at_risk * last), 0.0), group)
    variance = np.where(ended, 0.0, variance)
    lower, upper = LIMITS[limit_kind](np.where(ended, 0.5, survival), variance, normal_quantile(level))
    return SurvivalSteps(
        group,
        time_h,
        at_risk,
        failed,
        survival,
        variance,
        _running(failed / at_risk, group),
        _running(failed / at_risk**2, group),
        ~ended,
        np.where(ended, 0.0, lower),
        np.where(ended, 1.0, upper),
        level,
        limit_kind,
    )


def _risk_table(data: Lives) -> tuple[Ints, Floats, Floats, Floats]:
    """Return group, age, number at risk and failures of each distinct failure age."""
    group = data.group
    late = data.entry_h > 0
    all_groups = np.concatenate((group, group, group[late]))
    ages = np.concatenate((data.time_h, np.zeros_like(data.time_h), data.entry_h[late]))
    begins = np.concatenate((-data.count, np.where(late, 0.0, data.count), data.count[late]))
    fails = np.concatenate((data.count * data.failed, np.zeros(len(group) + int(late.sum()))))
    order = np.lexsort((ages, all_groups))
    all_groups, ages, begins, fails = all_groups[order], ages[order], begins[order], fails[order]
    fresh = np.ones(len(ages), dtype=np.bool_)
    fresh[1:] = (ages[1:] != ages[:-1]) | (all_groups[1:] != all_groups[:-1])
    first = np.flatnonzero(fresh)
    before = np.concatenate(([0.0], np.cumsum(begins)))[first]  # every group ends at zero, so no offset is needed
    failed: Floats = np.add.reduceat(fails, first)
    steps = failed > 0
    at_risk = np.asarray(np.round(before[steps], 9), dtype=np.float64)
    at_failure: Floats = failed[steps]
    return all_groups[first][steps], ages[first][steps], at_risk, at_failure


def _running(values: Floats, group: Ints) -> Floats:
    """Return the running sum within each group."""
    if len(values) == 0:
        return values
    total = np.cumsum(values)
    fresh = np.flatnonzero(np.diff(group, prepend=-1))
    offset = (total - values)[fresh]
    return np.asarray(total - np.repeat(offset, np.diff(fresh, append=len(values))))


def _log_log(survival: Floats, variance: Floats, z: float) -> tuple[Floats, Floats]:
    log_survival = np.where(survival < 1, np.log(survival), -1.0)
    spread = np.exp(np.minimum(z * np.sqrt(variance) / -log_survival, 700.0))
    return survival**spread, survival ** (1 / spread)


def _logit(survival: Floats, variance: Floats, z: float) -> tuple[Floats, Floats]:
    share = np.where(survival < 1, 1 - survival, 1.0)
    spread = np.exp(np.minimum(z * np.sqrt(variance) / share, 700.0))
    return survival / (survival + (1 - survival) * spread), survival / (survival + (1 - survival) / spread)


LIMITS: Final = {"log_log": _log_log, "logit": _logit}
