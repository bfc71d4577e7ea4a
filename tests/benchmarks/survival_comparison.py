"""Cox regression and cumulative incidence beside a general library on random sets: prints the worst relative errors.

    pip install -e '.[bench]'
    OMP_NUM_THREADS=1 python -m tests.benchmarks.survival_comparison [sets]

Sets of 40 to 200 lives with two covariates. Half have strata, late entries and ties (the library's errors by cluster
do not thin ties, so they are compared on the other half); ages of cumulative incidence have no ties, since the library
scatters them. Coefficients below 0.05 are compared as if they were 0.05.
"""

import sys
import warnings

import lifelines
import numpy as np
import pandas as pd

from service.reliability.cumulative_incidence import cumulative_incidence
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import lives
from service.reliability.proportional_hazards import cox_fit, risk_sets
from service.reliability.survival_quantiles import survival_quantile

SETS = 500


def main() -> None:
    """Compare and print."""
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else SETS
    warnings.simplefilter("ignore")
    rng, worst = np.random.default_rng(2026), {}
    for number in range(sets):
        for name, error in (*cox(rng, rough=number % 2 == 0), *incidence(rng), *median(rng)):
            worst[name] = max(worst.get(name, 0.0), error)
    for name, error in worst.items():
        print(f"{name:45s} {error:.1e}")
    print(f"{sets} random sets; lifelines {lifelines.__version__}")


def cox(rng: np.random.Generator, *, rough: bool) -> list[tuple[str, float]]:
    """Return the relative errors of one set, of those of which the library finds the maximum."""
    n = int(rng.integers(40, 200))
    x = rng.standard_normal((n, 2))
    time = rng.weibull(1.5, n) * np.exp(-0.3 * x[:, 0])
    entry = np.zeros(n)
    stratum = np.zeros(n, dtype=int)
    cluster = rng.integers(0, n // 3, n)
    failed = rng.random(n) < 0.7
    if rough:
        time = np.ceil(time * 8) / 8
        entry = np.floor(time * rng.uniform(0, 0.9, n) * 8) / 8 * (rng.random(n) < 0.4)
        stratum = rng.integers(0, 3, n)
    ours = cox_fit(risk_sets(time, failed, entry, stratum), x, cluster)
    frame = pd.DataFrame(
        {"time": time, "failed": failed, "entry": entry, "s": stratum, "c": cluster, "x": x[:, 0], "y": x[:, 1]}
    )
    options = {"strata": ["s"], "entry_col": "entry"} if rough else {"cluster_col": "c"}
    unused = ["c"] if rough else ["s", "entry"]
    theirs = lifelines.CoxPHFitter().fit(
        frame.drop(columns=unused), "time", "failed", fit_options={"precision": 1e-10}, **options
    )
    found = [
        (
            "Cox coefficient" + ", strata, late, ties" * rough,
            relative(ours.coefficient, theirs.params_.to_numpy(), 0.05),
        ),
        ("Cox log-likelihood" + ", strata, late, ties" * rough, relative(ours.log_likelihood, theirs.log_likelihood_)),
    ]
    error = ours.covariance if rough else ours.robust
    said = "Cox error by information, strata, late, ties" if rough else "Cox error by cluster"
    return [*found, (said, relative(np.sqrt(np.diag(error)), theirs.standard_errors_.to_numpy()))]


def incidence(rng: np.random.Generator) -> list[tuple[str, float]]:
    """Return the relative errors of one set of two modes."""
    n = int(rng.integers(40, 200))
    time, mode = rng.weibull(1.5, n) + 1e-3, rng.integers(0, 3, n)
    ours = cumulative_incidence(lives(time, mode > 0), mode == 1)
    theirs = lifelines.AalenJohansenFitter(calculate_variance=True).fit(time, mode, event_of_interest=1)
    share = theirs.cumulative_density_.iloc[:, 0]
    variance = theirs.variance_
    at = share.index.searchsorted(ours.time_h, side="right") - 1
    some = ours.incidence > 0
    return [
        ("cumulative incidence", relative(ours.incidence[some], share.to_numpy()[at][some])),
        ("error of it", relative(ours.standard_error[some], np.sqrt(np.asarray(variance).ravel()[at][some]), 1e-6)),
    ]


def median(rng: np.random.Generator) -> list[tuple[str, float]]:
    """Return the relative errors of the median and its limits, the open ones aside.

    A median at which exactly half survive is left out: the library misses it by rounding.
    """
    n = int(rng.integers(20, 200))
    time, failed = rng.weibull(1.5, n), rng.random(n) < 0.8
    steps = survival_steps(lives(time, failed))
    if np.any(np.abs(steps.survival - 0.5) < 1e-9):
        return []
    ours = survival_quantile(steps, 0, 0.5)
    theirs = lifelines.KaplanMeierFitter().fit(time, failed)
    limits = lifelines.utils.median_survival_times(theirs.confidence_interval_).to_numpy().ravel()
    pairs = zip((ours.estimate_h, ours.lower_h, ours.upper_h), (theirs.median_survival_time_, *limits), strict=True)
    return [
        ("median with limits", 0.0 if a is None and np.isinf(b) else relative(a if a is not None else np.inf, b))
        for a, b in pairs
    ]


def relative(ours: object, theirs: object, floor: float = 1e-12) -> float:
    """Return the largest relative difference; differences of numbers below the floor count as absolute over it."""
    a, b = np.asarray(ours, dtype=float), np.asarray(theirs, dtype=float)
    return float(np.max(np.abs(a - b) / np.maximum(np.abs(b), floor), initial=0.0))


if __name__ == "__main__":
    main()
