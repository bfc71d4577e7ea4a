"""How ratios of positions are spread, gamma-Poisson; and the exact limits of a Poisson mean."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri, gammaln

from service.reliability.lives import Floats

LOG_SHAPE_RANGE: Final = (-5.0, 12.0)
GOLDEN: Final = (np.sqrt(5) - 1) / 2


@dataclass(frozen=True, slots=True)
class GammaPrior:
    """How the ratios of the class are spread: gamma with this shape and rate; both infinite: not at all."""

    shape: float
    rate: float
    mean: float


def poisson_limits(events: Floats, exposure: Floats | float = 1.0, level: float = 0.95) -> tuple[Floats, Floats]:
    """Return exact two-sided limits of the rate of events in an exposure, shape (q,), [1 / unit of exposure].

    Source
    ------
    Garwood 1936, Biometrika 28.
    """
    y, tail = np.asarray(events, dtype=np.float64), (1 - level) / 2
    lower = np.where(y > 0, chdtri(2 * np.maximum(y, 1), 1 - tail) / 2, 0.0)
    return np.asarray(lower / exposure), np.asarray(chdtri(2 * y + 2, tail) / 2 / exposure)


def gamma_prior(observed: Floats, expected: Floats) -> GammaPrior:
    """Return the gamma distribution of the ratios with the largest marginal likelihood.

    Source
    ------
    Gaver & O'Muircheartaigh 1987, Technometrics 29; George, Makov & Smith 1993, Scand. J. Stat. 20 (gamma-Poisson).
    """

    def _height(log_shape: float) -> float:
        return _marginal(observed, expected, log_shape)[0]

    log_shape = _golden_maximum(_height, *LOG_SHAPE_RANGE)
    shape, rate = float(np.exp(log_shape)), float(np.exp(_marginal(observed, expected, log_shape)[1]))
    return GammaPrior(shape, rate, shape / rate)


def _marginal(y: Floats, e: Floats, log_shape: float) -> tuple[float, float]:
    """Return the marginal log-likelihood maximised over the rate, and that ln rate; the score in it is bisected."""
    a = float(np.exp(log_shape))
    middle = log_shape + float(np.log(e.sum() / max(float(y.sum()), 0.5)))
    low, high = middle - 12, middle + 12
    for _ in range(60):
        b = float(np.exp((low + high) / 2))
        slope = float(np.sum(a - (y + a) * b / (b + e)))
        low, high = ((low + high) / 2, high) if slope > 0 else (low, (low + high) / 2)
    log_b = (low + high) / 2
    b = float(np.exp(log_b))
    terms = gammaln(y + a) - gammaln(a) - a * np.log1p(e / b) - y * np.log(b + e)
    return float(np.sum(terms)), log_b


def _golden_maximum(height: Callable[[float], float], low: float, high: float) -> float:
    """Return the place of the maximum: the best of a coarse grid, then golden section around it."""
    grid = np.linspace(low, high, 35)
    best = int(np.argmax([height(float(one)) for one in grid]))
    low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, len(grid) - 1)])
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_a, at_b = height(a), height(b)
    while high - low > 1e-7:
        if at_a > at_b:
            high, b, at_b = b, a, at_a
            a = high - GOLDEN * (high - low)
            at_a = height(a)
        else:
            low, a, at_a = a, b, at_b
            b = low + GOLDEN * (high - low)
            at_b = height(b)
    return (low + high) / 2
