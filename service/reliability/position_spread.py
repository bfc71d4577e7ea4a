"""Do positions differ for good? Likelihood ratio of gamma-Poisson against Poisson, and the size of the spread."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtrc, gammaln, ndtr, ndtri

from service.reliability.lives import Floats, Ints
from service.reliability.policy import floored_p

LOG_SHAPE_RANGE: Final = (-1.5, 7.0)
GRID: Final = 35
GOLDEN: Final = (np.sqrt(5) - 1) / 2
HALF_DOUBLED: Final = 1 / 9  # variance of the factors when half of the places fail twice as often as the other half


@dataclass(frozen=True, slots=True)
class SpreadTest:
    """The likelihood ratio, its p-value (half of chi-square on 1 degree of freedom), and the shape of the gamma."""

    statistic: float
    p_value: float
    shape: float


def spread_likelihood_ratio(observed: Floats, expected: Floats) -> SpreadTest:
    """Return the test whether ratios of positions are spread, gamma with mean 1, against all equal to 1.

    A test of sum (y - E)^2 / E against chi-square would be wrong: E is random and ends together with y.

    Parameters
    ----------
    observed, expected : ndarray, shape (q,)
        Failures of each position, and what its class leads to expect, [-]

    Source
    ------
    Gamma-Poisson likelihood as in George, Makov & Smith 1993, Scand. J. Stat. 20; half chi-square on the border of the
    parameters: Self & Liang 1987, J. Am. Stat. Assoc. 82.
    """
    some = expected > 0
    y, e = observed[some], expected[some]
    null = -float(e.sum())

    def _height(log_shape: float) -> float:
        a = float(np.exp(log_shape))
        return float(np.sum(gammaln(y + a) - gammaln(a) - a * np.log1p(e / a) - y * np.log(a + e)))

    if len(y) < 2:
        return SpreadTest(0.0, 1.0, float("inf"))
    log_shape, height = _maximum(_height, *LOG_SHAPE_RANGE)
    statistic = max(0.0, 2 * (height - null))
    p_value = float(floored_p(chdtrc(1, statistic) / 2)) if statistic > 0 else 1.0
    return SpreadTest(statistic, p_value, float(np.exp(log_shape)))


def spread_power(expected: Floats, level: float) -> float:
    """Return with what probability it is seen that half of the places fail twice as often as the other half, [-].

    Their factors are 2/3 and 4/3, of variance v = 1/9. By sum (O - E)^2 - O, whose variance is 2 sum E^2, and whose
    third moment is sum 8 E^3 + 4 E^2, when nothing differs (by hand from the moments of Poisson counts): the limit is
    that of Cornish & Fisher 1937. With such factors the mean is v sum E^2 and the variance sum 2 E^2 (1 + v) + 4 v E^3.

    Parameters
    ----------
    expected : ndarray, shape (q,)
        Failures that the class leads to expect of each place, [-]
    level : float
        One-sided, of this question alone, [-]
    """
    squares = float(np.sum(expected**2))
    if not squares > 0:
        return 0.0
    spread = 2 * squares * (1 + HALF_DOUBLED) + 4 * HALF_DOUBLED * float(np.sum(expected**3))
    z, third = float(ndtri(1 - level)), float(np.sum(8 * expected**3 + 4 * expected**2))
    limit = z * np.sqrt(2 * squares) + third / (2 * squares) * (z**2 - 1) / 6
    return float(ndtr((HALF_DOUBLED * squares - limit) / np.sqrt(spread)))


def spread_needs(expected: Floats, level: float, power: float) -> float:
    """Return by what all expected numbers have to be multiplied for ``spread_power`` to reach a power, [-]."""
    if not np.any(expected > 0):
        return float("inf")
    low, high = 0.0, 1.0
    while spread_power(high * expected, level) < power:
        low, high = high, 2 * high
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if spread_power(middle * expected, level) < power else (low, middle)
    return high


def spread_term(position: Ints, failed: Floats, expected: Floats) -> float:
    """Return phi = max(0, sum [(O - E)^2 - O] / sum E^2) over positions: the variance of their lasting factors, [-].

    Parameters
    ----------
    position : ndarray of int, shape (n,)
        Position of each stay.
    failed, expected : ndarray, shape (n,)
        Failures of each stay in the window, and what its class leads to expect in it, [-]
    """
    o, e = np.bincount(position, failed), np.bincount(position, expected)
    squares = float(np.sum(e**2))
    return max(0.0, float(np.sum((o - e) ** 2 - o)) / squares) if squares > 0 else 0.0


def _maximum(height: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Return the place and the height of the maximum: the best of a grid, then golden section beside it."""
    grid = np.linspace(low, high, GRID)
    best = int(np.argmax([height(float(one)) for one in grid]))
    low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, GRID - 1)])
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_a, at_b = height(a), height(b)
    while high - low > 1e-5:
        if at_a > at_b:
            high, b, at_b = b, a, at_a
            a = high - GOLDEN * (high - low)
            at_a = height(a)
        else:
            low, a, at_a = a, b, at_b
            b = low + GOLDEN * (high - low)
            at_b = height(b)
    middle = (low + high) / 2
    return middle, height(middle)
