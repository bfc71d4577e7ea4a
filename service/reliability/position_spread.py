"""Do positions differ for good? Likelihood ratio of gamma-Poisson against Poisson, and the size of the spread."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtrc, gammaln

from service.reliability.lives import Floats, Ints
from service.reliability.policy import floored_p

LOG_SHAPE_RANGE: Final = (-1.5, 7.0)
GRID: Final = 35
GOLDEN: Final = (np.sqrt(5) - 1) / 2


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
