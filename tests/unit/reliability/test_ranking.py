"""Ranking, early failures and expected numbers, against tables, slow oracles and invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from service.reliability.early_failures import early_failures
from service.reliability.expectation import empirical_expected, weibull_expected
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import lives
from service.reliability.ranking import gamma_prior, poisson_limits, poisson_tail, ranking, spread_test


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
    found = ranking([*"abcdef"], failures, expected)
    assert found.spread.differs
    posterior = stats.gamma(failures + found.prior.shape, scale=1 / (expected + found.prior.rate))
    assert found.shrunk == pytest.approx(posterior.mean())
    assert found.shrunk_lower == pytest.approx(posterior.ppf(0.025))
    assert found.shrunk_upper == pytest.approx(posterior.ppf(0.975))
    assert found.probability_above == pytest.approx(posterior.sf(1.5 * found.prior.mean))
    assert found.record()["items"][0]["group"] == "c"


def test_a_planted_bad_position_comes_first_and_a_short_exposure_does_not():
    rng = np.random.default_rng(5)
    expected = rng.uniform(2, 6, 60)
    failures = rng.poisson(expected).astype(float)
    failures[17], expected[17] = 19, 4.0
    failures[40], expected[40] = 1, 0.05  # crude ratio 20, on next to nothing
    found = ranking([f"p{n}" for n in range(60)], failures, expected)
    assert found.ratio.argmax() == 40
    assert found.record()["items"][0]["group"] == "p17"
    assert "differ" in found.detail


def test_equal_positions_are_not_ranked_as_bad():
    rng = np.random.default_rng(6)
    expected = rng.uniform(2, 6, 80)
    found = ranking([f"p{n}" for n in range(80)], rng.poisson(expected).astype(float), expected)
    assert not found.spread.differs
    assert found.detail.startswith("No evidence")
    assert np.all(found.probability_above == 0)
    assert np.ptp(found.shrunk) == 0


def test_the_spread_test_holds_its_level():
    # nominal 5 % under chance alone; binomial error of 2000 runs 0.5 %
    rng = np.random.default_rng(7)
    expected = rng.uniform(2, 8, 40)
    called = np.mean([spread_test(rng.poisson(expected).astype(float), expected).differs for _ in range(2000)])
    assert called == pytest.approx(0.05, abs=0.02)


@given(st.lists(st.tuples(st.integers(0, 40), st.floats(0.01, 50)), min_size=1, max_size=30))
@settings(max_examples=40, deadline=None)
def test_shrinkage_stays_between_the_crude_ratio_and_the_class(pairs):
    failures, expected = (np.array(part, dtype=float) for part in zip(*pairs, strict=True))
    found = ranking([str(n) for n in range(len(pairs))], failures, expected)
    for values in (found.shrunk, found.shrunk_lower, found.shrunk_upper, found.ratio_upper):
        assert np.all(np.isfinite(values)) and np.all(values >= 0)
    if found.spread.differs:
        low, high = np.minimum(found.ratio, found.prior.mean), np.maximum(found.ratio, found.prior.mean)
        assert np.all(found.shrunk >= low * (1 - 1e-9)) and np.all(found.shrunk <= high * (1 + 1e-9))
    assert sorted(found.order.tolist()) == list(range(len(pairs)))


@given(st.integers(0, 30), st.floats(0.01, 30))
def test_the_tail_is_that_of_the_poisson_distribution(events, expected):
    assert poisson_tail(events, expected) == pytest.approx(stats.poisson.sf(events - 1, expected), rel=1e-9)


@given(st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=30))
def test_the_class_expects_exactly_its_own_failures(stays):
    time, failed = zip(*stays, strict=True)
    data = lives(time, failed)
    found = empirical_expected(survival_steps(data), 0, time_h=data.time_h)
    assert found.sum() == pytest.approx(sum(failed))


def test_expected_numbers_of_a_weibull_class():
    # hand: (2000/1000)^2 - (1000/1000)^2 = 3
    found = weibull_expected(shape=2.0, scale_h=1000.0, time_h=np.array([2000.0]), entry_h=np.array([1000.0]))
    assert found[0] == pytest.approx(3.0)


def test_a_planted_early_failure_cause_is_found():
    rng = np.random.default_rng(9)
    installer = np.repeat(np.arange(6), 50)
    life = rng.weibull(2, 300) * 20_000
    spoiled = (installer == 4) & (rng.random(300) < 0.3)
    life[spoiled] = rng.uniform(50, 450, int(spoiled.sum()))
    time, failed = np.minimum(life, 12_000), life <= 12_000
    found = early_failures(lives(time, failed, group=installer), [f"crew {n}" for n in range(6)], within_h=500)
    assert [one.label for one in found.exceeding] == ["crew 4"]
    assert found.items[0].observed == np.sum(failed[installer == 4] & (time[installer == 4] <= 500))
    assert sum(one.expected for one in found.items) == pytest.approx(sum(one.observed for one in found.items))


def test_without_any_early_failure_nothing_is_said_of_a_ratio():
    found = early_failures(lives([900.0, 800.0], [True, False], group=[0, 1]), ["a", "b"], within_h=100)
    assert [one.record()["ratio"] for one in found.items] == [None, None]
    assert found.exceeding == ()
