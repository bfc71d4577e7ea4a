"""Which positions are replaced more often than their class explains: gamma-Poisson shrinkage with exact limits.

Ranking by crude rates puts short exposures on top. Here each position's ratio of observed to expected failures is
drawn towards the class as far as its own record is thin, and nothing is ranked when nothing differs.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc, chdtri, gammainc, gammaincc, gammaincinv, gammaln

from service.reliability.lives import Floats, Ints

SIGNIFICANT: Final = 0.05
LOG_SHAPE_RANGE: Final = (-5.0, 12.0)
GOLDEN: Final = (np.sqrt(5) - 1) / 2


@dataclass(frozen=True, slots=True)
class Spread:
    """Test whether positions differ by more than chance: sum (y - mu E)^2 / (mu E) against chi-square."""

    statistic: float
    degrees_of_freedom: int
    p_value: float

    @property
    def differs(self) -> bool:
        """Return whether there is evidence that positions differ."""
        return self.p_value <= SIGNIFICANT

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {
            "statistic": self.statistic,
            "degrees_of_freedom": self.degrees_of_freedom,
            "p_value": self.p_value,
            "evidence": self.differs,
        }


@dataclass(frozen=True, slots=True)
class GammaPrior:
    """How the ratios of the class are spread: gamma with this shape and rate; both infinite: not at all."""

    shape: float
    rate: float
    mean: float


@dataclass(frozen=True, slots=True)
class Ranking:
    """Positions with their ratios; ``order`` begins with the most surely bad one.

    Attributes
    ----------
    labels : sequence of str
        Names of the positions.
    observed, expected : ndarray, shape (q,)
        Failures seen, and expected from the class, [-]
    ratio : ndarray, shape (q,)
        Observed over expected, [-]
    ratio_lower, ratio_upper : ndarray, shape (q,)
        Exact Poisson limits of the ratio, [-]
    shrunk, shrunk_lower, shrunk_upper : ndarray, shape (q,)
        Mean and quantiles of the ratio after shrinkage, [-]
    probability_above : ndarray, shape (q,)
        Probability that the ratio is above ``times_class`` times the class's, [-]
    order : ndarray of int, shape (q,)
        By falling lower quantile.
    """

    labels: Sequence[str]
    observed: Floats
    expected: Floats
    ratio: Floats
    ratio_lower: Floats
    ratio_upper: Floats
    shrunk: Floats
    shrunk_lower: Floats
    shrunk_upper: Floats
    probability_above: Floats
    times_class: float
    order: Ints
    spread: Spread
    prior: GammaPrior
    level: float

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {
            "items": [self._item(rank, int(number)) for rank, number in enumerate(self.order, start=1)],
            "spread": self.spread.record(),
            "level": self.level,
            "times_class": self.times_class,
            "detail": self.detail,
        }

    @property
    def detail(self) -> str:
        """Return what the ranking is worth, in a sentence."""
        if not self.spread.differs:
            return f"No evidence that any position differs from its class (p = {self.spread.p_value:.2g})."
        return f"Positions differ by more than chance explains (p = {self.spread.p_value:.2g})."

    def _item(self, rank: int, number: int) -> dict[str, Any]:
        ratio, shrunk = self._estimate("ratio", number), self._estimate("shrunk", number)
        return {
            "rank": rank,
            "group": self.labels[number],
            "observed": float(self.observed[number]),
            "expected": float(self.expected[number]),
            "ratio": ratio,
            "shrunk_ratio": shrunk,
            "probability_above": float(self.probability_above[number]),
        }

    def _estimate(self, name: str, number: int) -> dict[str, float]:
        columns = {"estimate": name, "lower": f"{name}_lower", "upper": f"{name}_upper"}
        return {key: float(getattr(self, column)[number]) for key, column in columns.items()}


def poisson_limits(events: Floats, exposure: Floats | float = 1.0, level: float = 0.95) -> tuple[Floats, Floats]:
    """Return exact two-sided limits of the rate of events in an exposure, shape (q,), [1 / unit of exposure].

    Source
    ------
    Garwood 1936, Biometrika 28.
    """
    y, tail = np.asarray(events, dtype=np.float64), (1 - level) / 2
    lower = np.where(y > 0, chdtri(2 * np.maximum(y, 1), 1 - tail) / 2, 0.0)
    return np.asarray(lower / exposure), np.asarray(chdtri(2 * y + 2, tail) / 2 / exposure)


def spread_test(observed: Floats, expected: Floats) -> Spread:
    """Return the test of over-dispersion around the class's mean."""
    mean = observed.sum() / expected.sum()
    freedom = len(observed) - 1
    if freedom < 1 or mean == 0:
        return Spread(0.0, freedom, 1.0)
    statistic = float(np.sum((observed - mean * expected) ** 2 / (mean * expected)))
    return Spread(statistic, freedom, float(chdtrc(freedom, statistic)))


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


def ranking(
    labels: Sequence[str], observed: Floats, expected: Floats, *, level: float = 0.95, times_class: float = 1.5
) -> Ranking:
    """Return the ranking of positions of one class.

    Without evidence of spread every ratio is drawn to the class's mean and the order is that of the crude lower
    limits.

    Parameters
    ----------
    labels : sequence of str
        Names of the positions, q of them.
    observed : ndarray, shape (q,)
        Failures of each position, [-]
    expected : ndarray, shape (q,)
        What the class's lives lead to expect in the same hours, above zero, [-]
    level : float
        Two-sided, [-]
    times_class : float
        The ratio, in class means, that ``probability_above`` asks about, [-]

    Raises
    ------
    ValueError
        No positions, or an expected number that is not above zero.
    """
    y, e = np.asarray(observed, dtype=np.float64), np.asarray(expected, dtype=np.float64)
    if len(y) == 0 or not np.all(e > 0):
        raise ValueError("expected numbers must be above zero")
    spread, mean = spread_test(y, e), float(y.sum() / e.sum())
    lower, upper = poisson_limits(y, e, level)
    if spread.differs:
        prior = gamma_prior(y, e)
        shape, rate, tail = y + prior.shape, e + prior.rate, (1 - level) / 2
        shrunk, low, high = shape / rate, gammaincinv(shape, tail) / rate, gammaincinv(shape, 1 - tail) / rate
        above = gammaincc(shape, times_class * prior.mean * rate)
    else:
        prior = GammaPrior(np.inf, np.inf, mean)
        shrunk = low = high = np.full_like(y, mean)
        above = np.zeros_like(y)
    # equal lower quantiles: the higher crude limit first
    order = np.lexsort((-y / e, -lower, -np.asarray(low))).astype(np.int64)
    return Ranking(
        labels, y, e, y / e, lower, upper, shrunk, low, high, above, times_class, order, spread, prior, level
    )


def poisson_tail(events: float, expected: float) -> float:
    """Return the probability of at least that many events when so many are expected, [-]."""
    return 1.0 if events <= 0 else float(gammainc(events, expected))


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
