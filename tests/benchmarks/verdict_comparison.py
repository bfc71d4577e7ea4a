"""The tests and estimates behind the verdicts beside general libraries, on random sets: prints the worst differences.

    pip install -e '.[bench]'
    OMP_NUM_THREADS=1 python -m tests.benchmarks.verdict_comparison [sets]

Log-rank of several groups and the test of proportional hazards beside lifelines; the spread of positions, the common
shape and the age to replace at beside scipy's optimisers and distributions; tails of counts beside scipy's
distributions. Regression, cumulative incidence and survival quantiles: ``tests.benchmarks.survival_comparison``.
"""

import sys
import warnings

import lifelines
import numpy as np
import pandas as pd
from lifelines.statistics import multivariate_logrank_test, proportional_hazard_test
from scipy import integrate, optimize, stats

from service.reliability.class_hazard import class_hazard
from service.reliability.common_shape import shape_in_common
from service.reliability.factor_verdicts import factor_test
from service.reliability.life_regression import proportionality_p
from service.reliability.lives import lives
from service.reliability.position_spread import spread_likelihood_ratio
from service.reliability.proportional_hazards import cox_fit, risk_sets
from service.reliability.replacement_verdict import best_ages, relative_costs
from service.reliability.stay_table import stay_table
from service.reliability.tails import tail
from tests.benchmarks.survival_comparison import SETS, relative

Found = list[tuple[str, float]]


def main() -> None:
    """Compare and print."""
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else SETS
    warnings.simplefilter("ignore")
    rng, worst = np.random.default_rng(2027), {}
    for _ in range(sets):
        for compared in (hazard, log_rank, proportional, spread, common, age, tails):
            for name, error in compared(rng):
                worst[name] = max(worst.get(name, 0.0), error)
    for name, error in worst.items():
        print(f"{name:60s} {error:.1e}")
    print(f"{sets} random sets; lifelines {lifelines.__version__}")


def hazard(rng: np.random.Generator) -> Found:
    """Return the difference of the cumulative hazard of a class, ties and late entries among its lives."""
    n = int(rng.integers(20, 200))
    time = np.ceil(rng.weibull(1.5, n) * 12) / 12
    entry = np.floor(time * rng.uniform(0, 0.9, n) * 12) / 12 * (rng.random(n) < 0.4)
    failed = rng.random(n) < 0.7
    ours = class_hazard(time, entry, failed.astype(float), np.zeros(n, dtype=int))
    theirs = lifelines.NelsonAalenFitter(nelson_aalen_smoothing=False).fit(time, failed, entry=entry)
    at = theirs.cumulative_hazard_.iloc[:, 0]
    seen = at.to_numpy()[at.index.searchsorted(ours.failure_ages_h, side="right") - 1]
    return [("cumulative hazard of a class, late entry, ties", relative(ours.hazard[1:], seen))]


def log_rank(rng: np.random.Generator) -> Found:
    """Return the difference of the log-rank statistic of three groups with ties, in one stratum."""
    n = int(rng.integers(40, 200))
    time, failed = np.ceil(rng.weibull(1.5, n) * 12) / 12, rng.random(n) < 0.7
    group = rng.integers(0, 3, n)
    # a position of its own for each stay: no position differs from another by more than its one life
    table = stay_table(time, failed.astype(float), position=np.arange(n), begin_h=np.zeros(n), end_h=time)
    ours = factor_test("group", table, group, ("a", "b", "c")).test
    theirs = multivariate_logrank_test(time, group, failed)
    return [("log-rank statistic of three groups, ties", relative(ours.statistic, theirs.test_statistic, 1e-3))]


def proportional(rng: np.random.Generator) -> Found:
    """Return the difference of the statistic of proportional hazards by ranks."""
    n = int(rng.integers(40, 200))
    x = rng.standard_normal((n, 2))
    time, failed = rng.weibull(1.5, n) * np.exp(-0.3 * x[:, 0]), rng.random(n) < 0.7
    ours = cox_fit(risk_sets(time, failed, np.zeros(n), np.zeros(n, dtype=int)), x, np.arange(n))
    frame = pd.DataFrame({"time": time, "failed": failed, "x": x[:, 0], "y": x[:, 1]})
    fitted = lifelines.CoxPHFitter().fit(frame, "time", "failed", fit_options={"precision": 1e-10})
    theirs = proportional_hazard_test(fitted, frame, time_transform="rank").summary
    rank = stats.rankdata(ours.failure_age) - 1.0
    found = [proportionality_p(ours, slice(k, k + 1), rank)[0] for k in range(2)]
    return [("statistic of proportional hazards", relative(found, theirs["test_statistic"].to_numpy(), 1e-2))]


def spread(rng: np.random.Generator) -> Found:
    """Return the difference of the likelihood ratio of positions that differ."""
    q = int(rng.integers(10, 200))
    expected = rng.uniform(0.2, 6, q)
    observed = rng.poisson(expected * rng.gamma(3, 1 / 3, q)).astype(float)

    def _negative(log_shape: float) -> float:
        a = np.exp(log_shape)
        return -float(np.sum(stats.nbinom.logpmf(observed, a, a / (a + expected))))

    best = optimize.minimize_scalar(_negative, bounds=(-1.5, 7), method="bounded", options={"xatol": 1e-9})
    theirs = max(0.0, 2 * (-best.fun - float(np.sum(stats.poisson.logpmf(observed, expected)))))
    ours = spread_likelihood_ratio(observed, expected)
    return [("likelihood ratio of positions that differ", relative(ours.statistic, theirs, 1.0))]


def common(rng: np.random.Generator) -> Found:
    """Return the difference of the common shape of four classes, half censored, and of its likelihood ratio."""
    n, classes = int(rng.integers(12, 40)), 4
    life, stop = (rng.weibull(rng.uniform(0.9, 3, classes), (n, classes)).T for _ in range(2))
    data = lives(np.minimum(life, stop).ravel(), (life <= stop).ravel(), group=np.repeat(np.arange(classes), n))
    if np.any(data.failures < 2):
        return []
    ours = shape_in_common(data)

    def _negative(log_shape: float, number: int) -> float:
        one, shape = data.of_group(number), np.exp(log_shape)
        scale = (np.sum(one.time_h**shape) / one.failed.sum()) ** (1 / shape)
        seen = stats.weibull_min.logpdf(one.time_h[one.failed], shape, scale=scale).sum()
        return -float(seen + stats.weibull_min.logsf(one.time_h[~one.failed], shape, scale=scale).sum())

    options = {"xatol": 1e-10}
    own = sum(
        optimize.minimize_scalar(_negative, bounds=(-3, 4), args=(k,), method="bounded", options=options).fun
        for k in range(classes)
    )
    both = optimize.minimize_scalar(
        lambda b: sum(_negative(b, k) for k in range(classes)), bounds=(-3, 4), method="bounded", options=options
    )
    if ours.classes < classes:  # a class without an estimate of its own takes no part in ours
        return []
    theirs = 2 * (both.fun - own) / (1 + float(np.mean(1 / data.failures)) * classes / (classes - 1))
    return [
        ("common shape", relative(ours.shape, np.exp(both.x))),
        ("likelihood ratio of a common shape", relative(ours.statistic, theirs, 1.0)),
    ]


def age(rng: np.random.Generator) -> Found:
    """Return the differences of the best age to replace at, by its cost, and of that cost."""
    shape, ratio = float(rng.uniform(1.3, 4)), float(rng.uniform(2, 30))
    law = stats.weibull_min(shape)

    def _cost(log_age: float) -> float:
        at = np.exp(log_age)
        spent = integrate.quad(law.sf, 0, at, epsabs=1e-12)[0]
        return float((law.sf(at) + ratio * law.cdf(at)) / spent / (ratio / law.mean()))

    best = optimize.minimize_scalar(_cost, bounds=(-6, 1.5), method="bounded", options={"xatol": 1e-10})
    ours = best_ages(np.array([shape]), ratio)
    if not np.isfinite(ours[0]) or ours[0] > np.exp(1.4):  # it saves nothing: the least cost is flat
        return []
    cost = float(relative_costs(ours, np.array([shape]), ratio)[0])
    return [("least relative cost of replacing at an age", relative(cost, best.fun))]


def tails(rng: np.random.Generator) -> Found:
    """Return the differences of tails of counts; where a tail is below 1e-12 it is not compared."""
    mean, n = float(rng.uniform(0.05, 60)), int(rng.integers(5, 400))
    over, q = float(rng.uniform(1.05, 6)), float(rng.uniform(0.001, 0.6))
    seen = np.arange(1, int(mean + 6 * np.sqrt(over * mean)) + 3)
    r = mean / (over - 1)
    trials = np.arange(1, n + 1)
    pairs = (
        ("tail, binomial", tail(trials, n * q, n * q * (1 - q)), stats.binom.sf(trials - 1, n, q)),
        ("tail, Poisson", tail(seen, mean, mean), stats.poisson.sf(seen - 1, mean)),
        ("tail, negative binomial", tail(seen, mean, over * mean), stats.nbinom.sf(seen - 1, r, r / (r + mean))),
    )
    return [(name, relative(ours[theirs > 1e-12], theirs[theirs > 1e-12])) for name, ours, theirs in pairs]


if __name__ == "__main__":
    main()
