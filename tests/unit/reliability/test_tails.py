"""Tails of counts against a general library, and how many failures show a doubled rate."""

import numpy as np
import pytest
from scipy import stats

from service.reliability.tails import critical_counts, needed_means, power_for_doubling, tail

# scipy.stats as the general library throughout


@pytest.mark.parametrize(("n", "q", "o"), [(20, 0.1, 5), (7, 0.5, 7), (300, 0.02, 14), (3, 0.9, 1)])
def test_below_the_mean_it_is_the_binomial_tail(n, q, o):
    assert tail(o, n * q, n * q * (1 - q)) == pytest.approx(stats.binom.sf(o - 1, n, q), rel=1e-9)


@pytest.mark.parametrize(("mean", "o"), [(1.8, 14), (30, 62), (0.004, 1)])
def test_at_the_mean_it_is_the_poisson_tail(mean, o):
    assert tail(o, mean, mean) == pytest.approx(stats.poisson.sf(o - 1, mean), rel=1e-9)


@pytest.mark.parametrize(("mean", "variance", "o"), [(5, 9, 12), (30, 200, 62), (0.5, 0.6, 2)])
def test_above_the_mean_it_is_the_negative_binomial_tail(mean, variance, o):
    expected = stats.nbinom.sf(o - 1, mean**2 / (variance - mean), mean / variance)
    assert tail(o, mean, variance) == pytest.approx(expected, rel=1e-9)


def test_the_three_join_where_variance_and_mean_are_equal():
    below, at, above = (float(tail(9, 4.0, 4.0 * factor)) for factor in (1 - 1e-6, 1, 1 + 1e-6))
    assert below == pytest.approx(at, rel=1e-4)
    assert above == pytest.approx(at, rel=1e-4)


def test_nothing_seen_is_no_excess_and_anything_is_where_nothing_is_expected():
    assert tail([0, 0, 1], [3.0, 0.0, 0.0], [3.0, 0.0, 0.0]).tolist() == [1.0, 1.0, 0.0]


def test_several_classes_in_one_place_are_never_called_impossible():
    # Bin(100, 0.01) + Bin(1, 0.99): seven failures have the probability of six or more of the first, 5.3e-4 or so
    exact = 0.99 * stats.binom.sf(5, 100, 0.01) + 0.01 * stats.binom.sf(6, 100, 0.01)
    assert float(tail(7, 1.99, 0.99 + 0.0099)) >= exact


@pytest.mark.parametrize(("mean", "variance"), [(2.0, 1.9), (2.0, 2.0), (30.0, 90.0), (0.01, 0.01), (25.0, 20.0)])
def test_critical_count_is_the_first_that_reaches_the_level(mean, variance):
    found = int(critical_counts(mean, variance, 1e-3))
    slow = next(o for o in range(1, 500) if float(tail(o, mean, variance)) <= 1e-3)
    assert found == slow


def test_power_is_the_share_of_simulated_counts_beyond_the_critical_one():
    mean, level = 12.0, 0.001
    critical = int(critical_counts(mean, mean, level))
    drawn = np.random.default_rng(3).poisson(2 * mean, 200_000)
    assert power_for_doubling(mean, mean, level) == pytest.approx(np.mean(drawn >= critical), abs=0.005)


@pytest.mark.parametrize(
    ("ratio", "positions", "mean"),
    [(2, 50, 24), (2, 400, 30), (2, 1700, 35), (3, 50, 7.8), (3, 400, 9.5), (3, 1700, 11), (5, 50, 2.8),
     (5, 400, 3.3), (5, 1700, 3.8)],
)  # fmt: skip
def test_expected_numbers_that_show_a_multiple_of_the_rate(ratio, positions, mean):
    # the figures the verdicts were promised with, given as "about" for 80 %, from a simulation of their own; counts are
    # whole, so that the power is at least 80 % and up to 90 % there
    level = 0.05 / positions
    assert 0.79 <= float(power_for_doubling(mean, mean, level, ratio)) <= 0.9
    assert float(needed_means(mean, mean, level, ratio)) == pytest.approx(mean, rel=0.12)


def test_more_failures_are_needed_where_positions_differ():
    alike, differing = (float(needed_means(10.0, v, 0.005)) for v in (10.0, 20.0))
    assert differing == pytest.approx(2 * alike)
    assert power_for_doubling(10.0, 20.0, 0.005) < power_for_doubling(10.0, 10.0, 0.005)
