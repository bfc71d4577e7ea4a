"""How long Weibull fits take: this service beside general libraries, on the same lives. Prints a table, no more.

    pip install -e '.[bench]'
    OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 taskset -c 0 python tests/benchmarks/life_fits.py [groups]

Lives: 2,000 groups of 5 to 60 stays, about half of them censored. The libraries fit the first groups of the same lives
one at a time, each as it comes (their import is not counted); the plain optimiser is scipy's on the log-likelihood.
Times are those of the processor, one thread, so that other work on the machine counts as little as it can.
"""

import logging
import statistics
import sys
import time
import warnings
from collections.abc import Callable

import lifelines
import numpy as np
import surpyval
from reliability.Fitters import Fit_Weibull_2P
from scipy import optimize, stats

from service.reliability.lives import Lives, lives
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import (
    likelihood_ratio_quantile_h,
    likelihood_ratio_shape,
    log_normal_quantile_h,
    log_normal_shape,
)

GROUPS = 2000
REPEATS = 9
Fit = Callable[[np.ndarray, np.ndarray], tuple[float, float]]


def columns() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, failures and group numbers, seed fixed."""
    rng = np.random.default_rng(2026)
    group = np.repeat(np.arange(GROUPS), rng.integers(5, 61, GROUPS))
    shape, scale = rng.uniform(0.8, 3.5, GROUPS)[group], rng.uniform(3e3, 4e4, GROUPS)[group]
    life, stop = scale * rng.weibull(shape), scale * rng.weibull(shape)
    return np.minimum(life, stop), life <= stop, group


def by_scipy(time_h: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    """scipy.stats.weibull_min.fit with CensoredData."""
    data = stats.CensoredData(uncensored=time_h[failed], right=time_h[~failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    return shape, scale


def by_lifelines(time_h: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    """lifelines.WeibullFitter."""
    fit = lifelines.WeibullFitter().fit(time_h, failed)
    return fit.rho_, fit.lambda_


def by_surpyval(time_h: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    """surpyval.Weibull.fit."""
    fit = surpyval.Weibull.fit(time_h, c=(~failed).astype(int))
    return fit.params[1], fit.params[0]


def by_reliability(time_h: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    """reliability.Fitters.Fit_Weibull_2P."""
    fit = Fit_Weibull_2P(
        failures=time_h[failed], right_censored=time_h[~failed], show_probability_plot=False, print_results=False
    )
    return fit.beta, fit.alpha


def by_plain_optimiser(time_h: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    """scipy.optimize.minimize on the scaled log-likelihood in (ln shape, ln scale)."""
    x, r = np.log(time_h / time_h.max()), failed.sum()

    def negative(p: np.ndarray) -> float:
        shape, z = np.exp(p[0]), np.exp(p[0]) * (x - p[1])
        return float(-(r * np.log(shape) + np.sum(z[failed]) - np.sum(np.exp(np.minimum(z, 700)))))

    found = optimize.minimize(negative, [0.3, 0.0], method="BFGS")
    return float(np.exp(found.x[0])), float(np.exp(found.x[1]) * time_h.max())


LIBRARIES: dict[str, Fit] = {
    "scipy.stats weibull_min.fit": by_scipy,
    "lifelines WeibullFitter": by_lifelines,
    "surpyval Weibull.fit": by_surpyval,
    "reliability Fit_Weibull_2P": by_reliability,
    "plain scipy.optimize (BFGS)": by_plain_optimiser,
}


def seconds(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Return the median time of a piece of work, [s]."""
    taken = []
    for _ in range(repeats):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return statistics.median(taken)


def ours(data: Lives) -> dict[str, float]:
    """Return the time of each of our pieces, [s]."""
    fits = weibull_fits(data)
    of_shape = likelihood_ratio_shape(fits)

    def with_log_normal() -> None:
        found = weibull_fits(data)
        log_normal_shape(found)
        log_normal_quantile_h(found, 0.1)

    def with_likelihood_ratio() -> None:
        likelihood_ratio_quantile_h(fits, 0.1, of_shape=likelihood_ratio_shape(fits))

    return {
        "fit with log-normal limits of shape and B10": seconds(with_log_normal),
        "likelihood-ratio limits of shape": seconds(lambda: likelihood_ratio_shape(fits)),
        "likelihood-ratio limits of B10, those of shape known": seconds(
            lambda: likelihood_ratio_quantile_h(fits, 0.1, of_shape=of_shape)
        ),
        "likelihood-ratio limits of shape and B10": seconds(with_likelihood_ratio),
    }


def library(fit: Fit, data: Lives, numbers: list[int], truth: dict[int, float]) -> tuple[float, int, float]:
    """Return seconds per group, groups refused, and the largest relative error of the shape."""
    refused, worst, begin = 0, 0.0, time.process_time()
    for number in numbers:
        one = data.of_group(number)
        try:
            shape, _ = fit(one.time_h, one.failed)
        except Exception:  # a library may refuse in any way it likes; it is counted
            refused += 1
            continue
        if number in truth:
            worst = max(worst, abs(shape / truth[number] - 1))
    return (time.process_time() - begin) / len(numbers), refused, worst


def main() -> None:
    """Print the table."""
    warnings.simplefilter("ignore")
    logging.disable(logging.CRITICAL)
    sample = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    time_h, failed, group = columns()
    data, fits = lives(time_h, failed, group=group), weibull_fits(lives(time_h, failed, group=group))
    print(f"{GROUPS} groups, {len(time_h)} stays, {1 - failed.mean():.0%} censored, {len(fits.group)} have an estimate")
    mine = ours(data)
    for name, taken in mine.items():
        print(f"  {name:<55} {1e3 * taken:8.2f} ms  {1e6 * taken / GROUPS:8.2f} us a group")
    per_group = mine["fit with log-normal limits of shape and B10"] / GROUPS
    truth = dict(zip(fits.group.tolist(), fits.shape.tolist(), strict=True))
    print(f"\n{sample} of the groups, one at a time: ms a group, times ours, refused, largest error of the shape")
    for name, fit in LIBRARIES.items():
        library(fit, data, list(range(3)), truth)  # first calls load and compile
        taken, refused, worst = library(fit, data, list(range(sample)), truth)
        print(f"  {name:<30} {1e3 * taken:8.2f} {taken / per_group:9.0f} {refused:5d} {worst:10.1e}")


if __name__ == "__main__":
    main()
