"""Positions and machines against their class: the binomial by a loop, the spread against a general optimiser."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats

from service.reliability.place_excess import class_excess, place_excess
from service.reliability.policy import LEVEL, holm
from service.reliability.position_spread import spread_likelihood_ratio, spread_needs, spread_power, spread_term
from service.reliability.stay_table import stay_table
from tests.unit.reliability.tables import random_table, slow_expected


def bad_actor():
    """Two hundred positions of one class, of which the first is renewed six times as often."""
    rng, rows = np.random.default_rng(11), []
    for position in range(200):
        at = 0.0
        while at < 3:
            age = rng.weibull(2) * (0.15 if position == 0 else 1.0)
            rows.append((min(age, 3 - at), float(at + age < 3), position, at, min(at + age, 3)))
            at += age
    age, failed, position, begin, end = (np.array(one) for one in zip(*rows, strict=True))
    return stay_table(age, failed, position=position.astype(int), begin_h=begin, end_h=end,
                      asset=position.astype(int) // 4)  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_tail_is_the_binomial_of_the_class_total(seed):
    table = random_table(seed, classes=1)
    expected = np.array(slow_expected(table, table.of_class))
    _, found = class_excess(table, table.position)
    for place in np.unique(table.position):
        rows = table.position == place
        seen, due, total = table.failed[rows].sum(), expected[rows].sum(), table.failed.sum()
        oracle = 1.0 if seen == 0 else stats.binom.sf(seen - 1, int(total), due / total)
        assert found.p_value[place] == pytest.approx(oracle, rel=1e-6)
    assert found.mean.sum() == pytest.approx(table.failed.sum(), abs=1e-9)


def test_several_classes_add_means_and_variances():
    table = random_table(5, classes=2)
    two = replace(table, position=table.position // 2)  # each place now has both classes
    expected = np.array(slow_expected(two, two.of_class))
    _, found = class_excess(two, two.position)
    for place in np.unique(two.position):
        mean = variance = 0.0
        for one in (0, 1):
            rows = (two.position == place) & (two.of_class == one)
            due, total = expected[rows].sum(), expected[two.of_class == one].sum()
            mean, variance = mean + due, variance + due * (1 - due / total)
        assert (found.mean[place], found.variance[place]) == pytest.approx((mean, variance))


def test_the_bad_position_is_flagged_and_said_with_its_numbers():
    table = bad_actor()
    found = place_excess(table, table.position)
    labels = [f"FAN-{n} / drive" for n in found.place]
    assert np.flatnonzero(found.excess.flagged).tolist() == [0]
    assert found.verdict(labels).verdict == "worse"
    item = found.items(found.excess.order()[:1], labels)[0]
    seen = int(table.failed[table.position == 0].sum())
    assert str(item["detail"]).startswith(f"FAN-0 / drive failed {seen} times where its class explains ")
    assert item["detail"].endswith("(adjusted p < 0.0001).")
    assert item["flagged"] and item["ratio"]["lower"] > 1
    machines = place_excess(table, table.asset)
    assert np.flatnonzero(machines.excess.flagged).tolist() == [0]


def test_adjusted_p_is_holm_over_all_positions_twice():
    table = random_table(9)
    found = place_excess(table, table.position).excess
    assert found.adjusted_p.tolist() == pytest.approx(np.minimum(2 * holm(found.p_value), 1).tolist())
    assert found.family == len(np.unique(table.position))


def test_what_is_shown_changes_no_flag():
    table = bad_actor()
    found = place_excess(table, table.position)
    labels = [str(n) for n in found.place]
    everything = {item["group"]: item for item in found.items(np.arange(len(labels)), labels)}
    for item in found.items(np.array([3, 0, 17]), labels):
        assert item == everything[item["group"]]


def test_a_class_of_one_position_explains_nothing():
    table = replace(random_table(1, positions=3, classes=3), position=random_table(1, positions=3).position)
    found = place_excess(table, table.position)
    assert {item["verdict"] for item in found.items(np.arange(3), ["a", "b", "c"])} == {"not_separable"}
    assert found.verdict(["a", "b", "c"]).verdict == "not_separable"
    assert found.excess.family == 0


def test_silence_says_what_would_have_been_seen():
    table = random_table(2, stays=40, classes=1)
    found = place_excess(table, table.position)
    item = found.items(np.array([0]), [str(n) for n in found.place])[0]
    assert item["verdict"] == "too_few"
    assert item["needed_failures"] > table.failed.sum()
    assert item["power_for_doubling"] < 0.2
    assert "Too few" in item["detail"]


@pytest.mark.parametrize("seed", range(4))
def test_spread_is_the_likelihood_ratio_of_a_general_optimiser(seed):
    rng = np.random.default_rng(seed)
    expected = rng.uniform(0.5, 6, 150)
    observed = rng.poisson(expected * rng.gamma(2, 0.5, 150)).astype(float)

    def negative(log_shape):
        a = np.exp(log_shape)
        return -np.sum(stats.nbinom.logpmf(observed, a, a / (a + expected)))

    best = optimize.minimize_scalar(negative, bounds=(-1.5, 7), method="bounded", options={"xatol": 1e-8})
    null = np.sum(stats.poisson.logpmf(observed, expected))
    found = spread_likelihood_ratio(observed, expected)
    assert found.statistic == pytest.approx(2 * (-best.fun - null), abs=1e-6)
    assert found.p_value == pytest.approx(max(stats.chi2.sf(found.statistic, 1) / 2, 1e-12))
    assert found.shape == pytest.approx(np.exp(best.x), rel=1e-2)


def test_shrunk_ratios_are_shown_whatever_the_spread_says():
    table = random_table(2, classes=1)
    found = place_excess(table, table.position)
    shrunk = found.shrunk()
    assert not found.spread_verdict.claims
    assert np.all(shrunk["lower"] < shrunk["estimate"]) and np.all(shrunk["estimate"] < shrunk["upper"])
    posterior = stats.gamma(found.excess.observed + found.prior.shape, scale=1 / (found.excess.mean + found.prior.rate))
    assert shrunk["estimate"] == pytest.approx(posterior.mean())
    assert shrunk["upper"] == pytest.approx(posterior.ppf(0.975))


def test_spread_term_by_hand():
    # positions with O 5, 1 and E 2, 2: ((3^2 - 5) + (1 - 1)) / (4 + 4) = 0.5
    assert spread_term(np.array([0, 1]), np.array([5.0, 1.0]), np.array([2.0, 2.0])) == pytest.approx(0.5)
    assert spread_term(np.array([0, 1]), np.array([2.0, 2.0]), np.array([2.0, 2.0])) == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_doubling_all_hours_and_dates_changes_no_p(seed):
    table = random_table(seed)
    doubled = replace(table, age_h=2 * table.age_h, entry_h=2 * table.entry_h, begin_h=2 * table.begin_h,
                      end_h=2 * table.end_h)  # fmt: skip
    one, two = (place_excess(each, each.position) for each in (table, doubled))
    assert two.excess.p_value.tolist() == one.excess.p_value.tolist()
    assert two.spread.p_value == one.spread.p_value


@pytest.mark.parametrize(("positions", "due"), [(60, 3.0), (200, 2.0), (400, 1.0)])
def test_power_of_the_spread_is_near_the_share_of_simulated_plants(positions, due):
    # half of the positions at 2/3, half at 4/3 of what is expected; 1,000 plants of Poisson counts, the test itself
    rng = np.random.default_rng(positions)
    expected = np.full(positions, due)
    factor = np.where(np.arange(positions) % 2 == 0, 2 / 3, 4 / 3)
    level = LEVEL / 2
    seen = np.mean([
        spread_likelihood_ratio(rng.poisson(due * factor).astype(float), expected).p_value <= level for _ in range(1000)
    ])  # fmt: skip
    # the likelihood ratio and the sum of squares are not quite one test: right to some hundredths
    assert spread_power(expected, level) == pytest.approx(seen, abs=0.07)
    times = spread_needs(expected, level, 0.8)
    assert spread_power(times * expected, level) == pytest.approx(0.8, abs=1e-6)


def test_few_failures_are_too_few_to_see_whether_positions_differ():
    table = random_table(3, stays=12)
    verdict = place_excess(table, table.position).spread_verdict
    assert verdict.verdict == "too_few" and verdict.power_for_doubling < 0.2
    assert verdict.needed_failures > table.failed.sum()
    assert "failing twice as often as the other half" in str(verdict.detail)
