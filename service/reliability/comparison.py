"""Do groups of stays live equally long? Stratified log-rank test, and the score test of a number of each stay."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import chdtrc

from service.reliability.lives import Bools, Floats, Ints, Lives


@dataclass(frozen=True, slots=True)
class LogRank:
    """Observed and expected failures by bin, and whether they differ by more than chance."""

    observed: Floats
    expected: Floats
    units: Floats
    statistic: float
    degrees_of_freedom: int
    p_value: float

    def record(self) -> dict[str, Any]:
        """Return the wire members of the test."""
        return {
            "statistic": self.statistic,
            "degrees_of_freedom": self.degrees_of_freedom,
            "p_value": self.p_value,
        }


@dataclass(frozen=True, slots=True)
class _AtAge:
    """One failure age of one stratum: who was under observation, who failed, with their weights."""

    observed: Bools
    failed: Bools


def log_rank(data: Lives, bins: Ints, number_of_bins: int) -> LogRank:
    """Return the log-rank test between bins, within the groups of ``data`` as strata.

    Parameters
    ----------
    data : Lives
        Lives; each group is a stratum, compared only within itself.
    bins : ndarray of int, shape (n,)
        Bin of each row of ``data``, 0 .. k-1.
    number_of_bins : int
        k, [-]

    Source
    ------
    Mantel 1966; Kalbfleisch & Prentice. Checked against the 6-MP trial of Freireich et al. 1963 (Gehan 1965).
    """
    observed, expected = np.zeros(number_of_bins), np.zeros(number_of_bins)
    variance = np.zeros((number_of_bins, number_of_bins))
    for stratum, rows in _strata(data):
        place, count = bins[rows], stratum.count
        for age in _failure_ages(stratum):
            at_risk = np.bincount(place[age.observed], count[age.observed], number_of_bins)
            failed = np.bincount(place[age.failed], count[age.failed], number_of_bins)
            n, d = at_risk.sum(), failed.sum()
            share = at_risk / n
            observed += failed
            expected += d * share
            if n > 1:
                variance += d * (n - d) / (n - 1) * (np.diag(share) - np.outer(share, share))
    compared = np.flatnonzero(np.diag(variance) > 1e-12)
    if len(compared) < 2:
        return LogRank(observed, expected, _per_bin(data, bins, number_of_bins), 0.0, 0, 1.0)
    free = compared[:-1]
    excess = (observed - expected)[free]
    statistic = float(excess @ np.linalg.pinv(variance[np.ix_(free, free)]) @ excess)
    freedom = int(np.linalg.matrix_rank(variance[np.ix_(free, free)]))
    p_value = float(chdtrc(freedom, statistic))
    return LogRank(observed, expected, _per_bin(data, bins, number_of_bins), statistic, freedom, p_value)


def score_test(data: Lives, covariate: Floats) -> tuple[float, float] | None:
    """Return (z, two-sided p-value) of whether a number of each stay goes with failure; None: it does not vary.

    Above zero: the larger the number, the sooner the failure. The score test of the proportional hazards model at
    zero, within the groups of ``data`` as strata.

    Parameters
    ----------
    data : Lives
        Lives; each group is a stratum.
    covariate : ndarray, shape (n,)
        The number of each row.

    Source
    ------
    Cox 1972, J. R. Stat. Soc. B 34; with two bins it is the log-rank test.
    """
    score = variance = 0.0
    for stratum, rows in _strata(data):
        z, count = covariate[rows] - float(np.mean(covariate)), stratum.count
        for age in _failure_ages(stratum):
            weight, value = count[age.observed], z[age.observed]
            n, d = float(weight.sum()), float(count[age.failed].sum())
            mean = float(weight @ value) / n
            score += float(count[age.failed] @ z[age.failed]) - d * mean
            if n > 1:
                variance += d * (n - d) / (n - 1) * (float(weight @ value**2) / n - mean**2)
    scale = float(np.var(covariate))
    if variance <= 1e-12 * scale or scale == 0:
        return None
    statistic = score / float(np.sqrt(variance))
    return statistic, float(chdtrc(1, statistic**2))


def _strata(data: Lives) -> list[tuple[Lives, slice]]:
    edges = [*data.starts.tolist(), len(data.time_h)]
    return [(data.of_group(n), slice(edges[n], edges[n + 1])) for n in range(data.groups)]


def _failure_ages(stratum: Lives) -> list[_AtAge]:
    ages = np.unique(stratum.time_h[stratum.failed])
    return [
        _AtAge(
            (stratum.entry_h < age) & (age <= stratum.time_h),
            stratum.failed & (stratum.time_h == age),
        )
        for age in ages
    ]


def _per_bin(data: Lives, bins: Ints, number_of_bins: int) -> Floats:
    return np.asarray(np.bincount(bins, data.count, number_of_bins), dtype=np.float64)
