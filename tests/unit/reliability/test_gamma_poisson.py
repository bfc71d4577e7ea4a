"""Exact Poisson limits and shrunk ratios, against tables, slow oracles and invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from service.reliability.excess import Excess
from service.reliability.gamma_poisson import gamma_prior, poisson_limits
from service.reliability.place_excess import PlaceExcess
from service.reliability.position_spread import spread_likelihood_ratio


def places(failures, expected):
    q = len(failures)
    excess = Excess(np.ones(q, dtype=int), failures, expected, expected, np.full(q, np.inf), 2, False, "test")
    return PlaceExcess(np.arange(q), excess, spread_likelihood_ratio(failures, expected))


@pytest.mark.parametrize(
    ("events", "lower", "upper", "digit"),
    [(0, 0.0, 3.689, 3), (1, 0.0253, 5.572, 3), (3, 0.619, 8.767, 3), (10, 4.795, 18.390, 3)],
)
def test_exact_limits_are_those_of_the_table(events, lower, upper, digit):
    # Garwood 1936, as tabulated in handbooks (from memory), 95 %
    low, high = poisson_limits(np.array([events]))
    assert (low[0], high[0]) == pytest.approx((lower, upper), abs=0.5 * 10**-digit)


def test_gamma_prior_matches_a_general_optimiser():
    # the ten pumps of Gaver & O'Muircheartaigh 1987 (data as in many textbooks, from memory); scipy as the oracle
    failures = np.array([5, 1, 5, 14, 3, 19, 1, 1, 4, 22.0])
    hours = np.array([94.320, 15.720, 62.880, 125.760, 5.240, 31.440, 1.048, 1.048, 2.096, 10.480])

    def negative(p):
        a, b = np.exp(p)
        return -np.sum(stats.nbinom.logpmf(failures, a, b / (b + hours)))

    best = optimize.minimize(negative, [0, 0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    prior = gamma_prior(failures, hours)
    assert (prior.shape, prior.rate) == pytest.approx(tuple(np.exp(best.x)), rel=1e-4)
    # shape 0.82 and rate 1.26 by maximum likelihood (from memory)
    assert (prior.shape, prior.rate) == pytest.approx((0.82, 1.26), abs=5e-3)


def test_posterior_quantiles_are_those_of_the_gamma_distribution():
    # scipy.stats.gamma, a general library
    failures, expected = np.array([0, 2, 30, 3, 1, 12.0]), np.array([4, 2, 6, 5, 3, 11.0])
    found = places(failures, expected)
    shrunk, prior = found.shrunk(), found.prior
    posterior = stats.gamma(failures + prior.shape, scale=1 / (expected + prior.rate))
    assert shrunk["estimate"] == pytest.approx(posterior.mean())
    assert shrunk["lower"] == pytest.approx(posterior.ppf(0.025))
    assert shrunk["upper"] == pytest.approx(posterior.ppf(0.975))
    assert shrunk["probability_above"] == pytest.approx(posterior.sf(1.5 * prior.mean))


@given(st.lists(st.tuples(st.integers(0, 40), st.floats(0.01, 50)), min_size=1, max_size=30))
@settings(max_examples=40, deadline=None)
def test_shrinkage_stays_between_the_crude_ratio_and_the_class(pairs):
    failures, expected = (np.array(part, dtype=float) for part in zip(*pairs, strict=True))
    found = places(failures, expected)
    shrunk = found.shrunk()
    if found.prior is None:
        assert shrunk == {} and failures.sum() == 0
        return
    assert all(np.all(np.isfinite(values)) and np.all(values >= 0) for values in shrunk.values())
    ratio, mean = failures / expected, found.prior.mean
    low, high = np.minimum(ratio, mean), np.maximum(ratio, mean)
    assert np.all(shrunk["estimate"] >= low * (1 - 1e-9)) and np.all(shrunk["estimate"] <= high * (1 + 1e-9))
