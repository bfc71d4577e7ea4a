"""Cox's proportional hazards: strata, late entry, ties by Efron, errors by information and by clusters."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from service.reliability.lives import Bools, Floats, Ints

MOST_ITERATIONS: Final = 40
TOLERANCE: Final = 1e-11  # of the log-likelihood, relative
LARGEST_EXPONENT: Final = 30.0  # a coefficient that drives exp() beyond it runs away


@dataclass(frozen=True, slots=True)
class RiskSets:
    """Who was at risk at each failure age of each stratum, prepared once for all Newton steps.

    Attributes
    ----------
    failed : ndarray of bool, shape (n,)
        Whether each life failed.
    by_end, by_entry : ndarray of int, shape (n,)
        Lives by stratum and age at the end, at entry.
    end_from, entry_from : ndarray of int, shape (e,)
        First place, in those orders, that ends (enters) at the failure age or later.
    end_stop : ndarray of int, shape (e,)
        Where the stratum ends in both orders.
    first, last : ndarray of int, shape (n,)
        Failure ages, as a run of places, during which each life was at risk.
    own : ndarray of int, shape (r,)
        Failure age of each failed life.
    tied : ndarray, shape (e,)
        Failures at each failure age, [-]
    age : ndarray of int, shape (e,)
        Rank of the age of each failure age among all ages.
    """

    failed: Bools
    by_end: Ints
    by_entry: Ints
    end_from: Ints
    entry_from: Ints
    end_stop: Ints
    first: Ints
    last: Ints
    own: Ints
    tied: Floats
    age: Ints

    def at_risk(self, values: Floats) -> Floats:
        """Return the sums of a column (or columns) over those at risk at each failure age, shape (e, ...)."""
        ends, entries = _from_the_end(values[self.by_end]), _from_the_end(values[self.by_entry])
        found: Floats = ends[self.end_from] - ends[self.end_stop] - (entries[self.entry_from] - entries[self.end_stop])
        return found

    def of_ties(self, values: Floats) -> Floats:
        """Return the sums over those that failed at each failure age, shape (e, ...)."""
        found = np.zeros((len(self.tied), *values.shape[1:]))
        np.add.at(found, self.own, values[self.failed])
        return found

    def while_at_risk(self, steps: Floats) -> Floats:
        """Return the sum of steps over the failure ages during which each life was at risk, shape (n, ...)."""
        total = np.concatenate((np.zeros((1, *steps.shape[1:])), np.cumsum(steps, axis=0)))
        found: Floats = total[self.last] - total[self.first]
        return found


@dataclass(frozen=True, slots=True)
class CoxFit:
    """Estimates of a proportional hazards model.

    Attributes
    ----------
    coefficient : ndarray, shape (p,)
        Logarithm of the ratio of failure rates per unit of each covariate.
    covariance, robust : ndarray, shape (p, p)
        Inverse information; sandwich by clusters.
    log_likelihood : float
        Partial log-likelihood at the estimate, [-]
    failures, clusters : int
        That took part, [-]
    converged : bool
        False: the likelihood has no maximum, a coefficient runs away.
    schoenfeld : ndarray, shape (r, p)
        Covariates of each failure less their mean over those at risk.
    failure_age : ndarray of int, shape (r,)
        Rank of the age of each failure, the same for ties.
    """

    coefficient: Floats
    covariance: Floats
    robust: Floats
    log_likelihood: float
    failures: int
    clusters: int
    converged: bool
    schoenfeld: Floats
    failure_age: Ints


def risk_sets(time_h: Floats, failed: Bools, entry_h: Floats, stratum: Ints) -> RiskSets:
    """Return the risk sets of lives in strata; a life is at risk at ages in (entry, time]."""
    ages, rank = np.unique(np.concatenate((time_h, entry_h)), return_inverse=True)
    span = len(ages) + 1
    end, entry = stratum * span + rank[: len(time_h)], stratum * span + rank[len(time_h) :]
    at, own = np.unique(end[failed], return_inverse=True)
    by_end, by_entry = np.argsort(end, kind="stable"), np.argsort(entry, kind="stable")
    return RiskSets(
        failed,
        by_end,
        by_entry,
        _places(end[by_end], at, "left"),
        _places(entry[by_entry], at, "left"),
        _places(end[by_end], (at // span + 1) * span, "left"),
        _places(at, entry, "right"),
        _places(at, end, "right"),
        own,
        np.bincount(own, minlength=len(at)).astype(np.float64),
        at % span,
    )


def cox_fit(risk: RiskSets, covariates: Floats, cluster: Ints) -> CoxFit:
    """Return the fit by Newton's method, the covariates scaled inside.

    Parameters
    ----------
    risk : RiskSets
        Risk sets of n lives, of which some failed.
    covariates : ndarray, shape (n, p)
        Numbers, none unknown; no column may be a sum of others and strata.
    cluster : ndarray of int, shape (n,)
        Lives that may be alike for reasons not known: those of one machine.

    Source
    ------
    Cox 1972, J. R. Stat. Soc. B 34; ties: Efron 1977, J. Am. Stat. Assoc. 72; clusters: Lin & Wei 1989, J. Am. Stat.
    Assoc. 84. Checked against the recidivism data of Rossi, Berk & Lenihan 1980.
    """
    middle = covariates.mean(axis=0)
    scale = covariates.std(axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    x = (covariates - middle) / scale
    coefficient = np.zeros(x.shape[1])
    now = _state(risk, x, coefficient)
    converged = False
    for _ in range(MOST_ITERATIONS):
        step = np.linalg.lstsq(now.information, now.score, rcond=None)[0]
        for _ in range(20):
            following = coefficient + step
            if np.max(np.abs(x @ following), initial=0.0) <= LARGEST_EXPONENT:
                then = _state(risk, x, following)
                if then.log_likelihood >= now.log_likelihood - abs(now.log_likelihood) * TOLERANCE:
                    break
            step = step / 2
        else:
            break
        gained = then.log_likelihood - now.log_likelihood
        coefficient, now = following, then
        if gained <= abs(now.log_likelihood) * TOLERANCE and float(np.max(np.abs(step), initial=0.0)) < 1e-6:
            converged = True
            break
    return _fit(risk, x, coefficient, now, cluster, scale, converged=converged)


def information_at_zero(risk: RiskSets, covariates: Floats) -> Floats:
    """Return the information when no covariate has an effect: what can be told apart within strata, shape (p, p)."""
    return _state(risk, covariates - covariates.mean(axis=0), np.zeros(covariates.shape[1])).information


@dataclass(frozen=True, slots=True)
class _State:
    """The likelihood at some coefficients, with the sums over risk sets that the errors need."""

    theta: Floats
    log_likelihood: float
    score: Floats
    information: Floats
    place: Ints
    part: Floats
    denominator: Floats
    means: Floats


def _state(risk: RiskSets, x: Floats, coefficient: Floats) -> _State:
    """Return the likelihood, its slope and information; one row of ``means`` a failure, ties thinned by Efron."""
    eta = x @ coefficient
    theta = np.exp(eta)
    weighted = theta[:, None] * x
    s0, s1 = risk.at_risk(theta), risk.at_risk(weighted)
    t0, t1 = risk.of_ties(theta), risk.of_ties(weighted)
    place = np.repeat(np.arange(len(risk.tied)), risk.tied.astype(np.int64))
    starts = np.cumsum(risk.tied) - risk.tied
    part = (np.arange(len(place)) - starts[place]) / risk.tied[place]
    denominator = s0[place] - part * t0[place]
    means = (s1[place] - part[:, None] * t1[place]) / denominator[:, None]
    whole, thinned = _steps(place, len(s0), 1 / denominator), _steps(place, len(s0), part / denominator)
    hazard = risk.while_at_risk(whole)
    hazard[risk.failed] -= thinned[risk.own]
    information = (weighted * hazard[:, None]).T @ x - means.T @ means
    score = x[risk.failed].sum(axis=0) - means.sum(axis=0)
    log_likelihood = float(eta[risk.failed].sum() - np.log(denominator).sum())
    return _State(theta, log_likelihood, score, information, place, part, denominator, means)


def _fit(
    risk: RiskSets, x: Floats, coefficient: Floats, at: _State, cluster: Ints, scale: Floats, *, converged: bool
) -> CoxFit:
    """Return the fit with its errors and residuals, in the units of the covariates."""
    events = len(risk.tied)
    inverse = np.linalg.pinv(at.information, hermitian=True)
    whole, thinned = _steps(at.place, events, 1 / at.denominator), _steps(at.place, events, at.part / at.denominator)
    of_mean = _steps(at.place, events, at.means / at.denominator[:, None])
    of_thinned = _steps(at.place, events, at.means * (at.part / at.denominator)[:, None])
    mean = _steps(at.place, events, at.means) / risk.tied[:, None]
    hazard, drift = risk.while_at_risk(whole), risk.while_at_risk(of_mean)
    hazard[risk.failed] -= thinned[risk.own]
    drift[risk.failed] -= of_thinned[risk.own]
    residual = -at.theta[:, None] * (x * hazard[:, None] - drift)
    schoenfeld = x[risk.failed] - mean[risk.own]
    residual[risk.failed] += schoenfeld
    informative = np.any(residual != 0, axis=1)
    present, number = np.unique(cluster[informative], return_inverse=True)
    sums = np.zeros((len(present), x.shape[1]))
    np.add.at(sums, number, residual[informative])
    robust = inverse @ (sums.T @ sums) @ inverse
    by = np.outer(scale, scale)
    return CoxFit(
        coefficient / scale,
        inverse / by,
        robust / by,
        at.log_likelihood,
        int(np.count_nonzero(risk.failed)),
        len(present),
        converged,
        schoenfeld * scale,
        risk.age[risk.own],
    )


def _from_the_end(values: Floats) -> Floats:
    """Return the sums from each place to the end, with a zero after the last, shape (n + 1, ...)."""
    total = np.cumsum(values[::-1], axis=0)[::-1]
    return np.concatenate((total, np.zeros((1, *values.shape[1:]))))


def _places(rising: Ints, wanted: Ints, side: Literal["left", "right"]) -> Ints:
    return np.asarray(np.searchsorted(rising, wanted, side=side), dtype=np.int64)


def _steps(place: Ints, size: int, values: Floats) -> Floats:
    """Return the sums of rows by failure age."""
    found = np.zeros((size, *values.shape[1:]))
    np.add.at(found, place, values)
    return found
