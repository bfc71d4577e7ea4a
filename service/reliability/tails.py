"""Probability of at least so many failures by chance, from the mean and variance of their number; and what it sees."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, gammainc, ndtri

from service.reliability.lives import Bools, Floats
from service.reliability.policy import DOUBLING, WANTED_POWER

SAME: Final = 1e-9  # relative, by which mean and variance may differ through rounding


def tail(observed: ArrayLike, mean: ArrayLike, variance: ArrayLike) -> Floats:
    """Return P(at least the observed number) of a count with this mean and variance, shape (q,), [-].

    Variance below the mean: binomial of n = mean/q trials, q = 1 - variance/mean, n not whole; equal: Poisson; above:
    negative binomial. A count above n, which several classes added up can have, goes by Poisson, the larger
    probability (Hoeffding 1956, Ann. Math. Stat. 27).

    Parameters
    ----------
    observed, mean, variance : array, shape (q,)
        Failures seen; mean and variance of their number, [-]
    """
    o, mu, v = np.broadcast_arrays(*(np.asarray(one, dtype=np.float64) for one in (observed, mean, variance)))
    seen = o > SAME
    some = seen & (mu > 0)
    under, over = _regimes(mu, v)
    o, mu = np.where(some, o, 1.0), np.where(some, mu, 1.0)
    q = np.where(under, 1 - v / mu, 0.5)
    q = np.where(some, np.clip(q, 1e-300, 1.0), 0.5)
    n = mu / q
    under = under & (n - o + 1 > SAME)
    found: Floats = np.empty(o.shape)
    poisson, more = ~under & ~over, over & ~under
    found[poisson] = gammainc(o[poisson], mu[poisson])
    found[under] = betainc(o[under], (n - o + 1)[under], q[under])
    r = mu[more] ** 2 / np.where(some[more], (v - mu)[more], 1.0)
    found[more] = betainc(o[more], r, mu[more] / (mu[more] + r))
    return np.where(some, found, np.where(seen, 0.0, 1.0))


def critical_counts(mean: ArrayLike, variance: ArrayLike, level: float) -> Floats:
    """Return the least whole number of failures whose tail reaches the level, shape (q,), [-]."""
    mu, v = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(variance, dtype=np.float64))
    low = np.zeros(mu.shape)
    spread = np.sqrt(np.maximum(mu, v))
    high = np.ceil(mu + 12 * spread + 60 + 40 * np.maximum(v / np.maximum(mu, 1e-12) - 1, 0))
    while True:
        going = high - low > 1
        if not going.any():
            return np.asarray(high)
        middle = np.where(going, np.floor((low + high) / 2), high)
        reached = tail(middle, mu, v) <= level
        high = np.where(going & reached, middle, high)
        low = np.where(going & ~reached, middle, low)


def power_for_doubling(mean: ArrayLike, variance: ArrayLike, level: float, ratio: float = DOUBLING) -> Floats:
    """Return with what probability a group with a multiple of the failure rate reaches the level, shape (q,), [-].

    Parameters
    ----------
    mean, variance : array, shape (q,)
        Of the number of failures when nothing is the matter, [-]
    level : float
        That one group has to reach: 0.05 over the number of hypotheses, [-]
    ratio : float
        Of the failure rates, [-]
    """
    mu, v = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(variance, dtype=np.float64))
    critical = critical_counts(mu, v, level)
    under, over = _regimes(mu, v)
    safe = np.where(mu > 0, mu, 1.0)
    q = np.where(under & (mu > 0), np.clip(1 - v / safe, 1e-300, 1.0), 0.5)
    shifted = ratio * q / (1 + (ratio - 1) * q)
    n = safe / q
    found: Floats = gammainc(critical, ratio * safe)
    possible = n - critical + 1 > SAME
    found = np.where(under, np.where(possible, betainc(critical, np.where(possible, n - critical + 1, 1.0), shifted),
                                     0.0), found)  # fmt: skip
    r = safe**2 / np.where(over, v - mu, 1.0)
    found = np.where(over, betainc(critical, r, ratio * safe / (ratio * safe + r)), found)
    return np.where(mu > 0, found, 0.0)


def needed_means(
    mean: ArrayLike, variance: ArrayLike, level: float, ratio: float = DOUBLING, power: float = WANTED_POWER
) -> Floats:
    """Return the expected number at which a multiple of the failure rate is seen with a probability, shape (q,), [-].

    By the transformation that makes the variance constant: square root for Poisson, arc sine for binomial counts; a
    variance above the mean multiplies. The share of the group is held.

    Source
    ------
    Anscombe 1948, Biometrika 35; Schoenfeld 1981, Biometrika 68 for the share of a group.
    """
    mu, v = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(variance, dtype=np.float64))
    z = float(ndtri(1 - level) + ndtri(power))
    under, _ = _regimes(mu, v)
    safe = np.where(mu > 0, mu, 1.0)
    q = np.where(under, np.clip(1 - v / safe, 1e-9, 1 - 1e-9), 1e-9)
    shifted = ratio * q / (1 + (ratio - 1) * q)
    trials = (z / (2 * (np.arcsin(np.sqrt(shifted)) - np.arcsin(np.sqrt(q))))) ** 2
    return np.asarray(trials * q * np.maximum(v / safe, 1.0))


def _regimes(mean: Floats, variance: Floats) -> tuple[Bools, Bools]:
    """Return where the variance is below the mean, and where it is above."""
    return variance < mean * (1 - SAME), variance > mean * (1 + SAME)
