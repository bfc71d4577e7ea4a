"""Bins of mounting: the published log-rank test, and Holm over factors."""

import numpy as np
import pytest

from service.reliability.factor_verdicts import factor_test, factor_verdicts
from service.reliability.stay_table import stay_table
from tests.unit.reliability.tables import random_table

# remission of leukaemia in weeks, Freireich et al. 1963 as in Gehan 1965 (+ censored); 6-MP also in data/lives
MP_6 = "6 6 6 7 10 13 16 22 23 6+ 9+ 10+ 11+ 17+ 19+ 20+ 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def gehan():
    words = f"{MP_6} {PLACEBO}".split()
    age = np.array([float(word.rstrip("+")) for word in words])
    failed = np.array([not word.endswith("+") for word in words], dtype=float)
    n = len(age)
    # all begun at one date, so that there is one period; each patient a position of his own
    return stay_table(age, failed, position=np.arange(n), begin_h=np.zeros(n), end_h=age), np.repeat([0, 1], 21)


def test_log_rank_of_the_6_mp_trial():
    # 16.79 in the textbooks (Kleinbaum & Klein, from memory); 16.792941 by a general library. No position differs from
    # another by more than its one life, so that the spread term is zero.
    table, bins = gehan()
    found = factor_test("treatment", table, bins, ["6-MP", "placebo"])
    assert found.test.statistic == pytest.approx(16.792941, abs=5e-7)
    assert found.test.degrees_of_freedom == 1
    assert found.trend is not None and found.trend[0] ** 2 == pytest.approx(found.test.statistic)
    assert found.test.observed.sum() == pytest.approx(found.test.expected.sum())


@pytest.mark.parametrize("seed", range(5))
def test_k_samples_against_a_slow_loop(seed):
    table = random_table(seed, stays=200, positions=200, classes=1)  # one life a position: no spread
    table = stay_table(table.age_h, table.failed, position=np.arange(200), begin_h=np.zeros(200), end_h=table.age_h,
                       ended=table.ended, entry_h=table.entry_h)  # fmt: skip
    failed = (np.random.default_rng(seed).random(200) < 0.5).astype(float)
    table = stay_table(table.age_h, failed, position=np.arange(200), begin_h=np.zeros(200), end_h=table.age_h,
                       entry_h=table.entry_h)  # fmt: skip
    bins = np.random.default_rng(seed).integers(0, 3, 200)
    excess, variance = np.zeros(3), np.zeros((3, 3))
    for age in np.unique(table.age_h[failed > 0]):
        at_risk = (table.entry_h < age) & (table.age_h >= age)
        n, share = at_risk.sum(), np.bincount(bins[at_risk], minlength=3) / at_risk.sum()
        now = (table.age_h == age) & (failed > 0)
        d = now.sum()
        excess += np.bincount(bins[now], minlength=3) - d * share
        if n > 1:
            variance += d * (n - d) / (n - 1) * (np.diag(share) - np.outer(share, share))
    oracle = excess[:2] @ np.linalg.solve(variance[:2, :2], excess[:2])
    found = factor_test("factor", table, bins, ["a", "b", "c"])
    assert found.test.statistic == pytest.approx(oracle, rel=1e-8)
    assert found.test.degrees_of_freedom == 2


def test_a_difference_is_said_and_holm_counts_the_factors():
    table, bins = gehan()
    noise = np.arange(42) % 2
    found = factor_verdicts([
        factor_test("treatment", table, bins, ["6-MP", "placebo"]),
        factor_test("parity", table, noise, ["even", "odd"]),
    ])  # fmt: skip
    alone = factor_verdicts([factor_test("treatment", table, bins, ["6-MP", "placebo"])])
    assert found[0].verdict.verdict == "differ"
    assert found[0].verdict.adjusted_p == pytest.approx(2 * alone[0].verdict.adjusted_p)
    assert found[0].record()["flagged"] and not found[1].record()["flagged"]
    assert "are not seen to differ by parity" in str(found[1].verdict.detail)
    assert found[1].verdict.power_for_doubling is not None


def test_what_is_not_on_record_is_left_out():
    table, bins = gehan()
    some = np.where(np.arange(42) % 3 == 0, -1, bins)
    found = factor_test("treatment", table, some, ["6-MP", "placebo"])
    assert found.test.units.sum() == np.count_nonzero(some >= 0)


def test_nothing_on_record_is_too_few():
    table, _ = gehan()
    found = factor_verdicts([factor_test("fit", table, np.full(42, -1), ["loose", "tight"])])[0]
    assert found.verdict.verdict == "too_few"
    assert found.record()["log_rank"] is None


def test_a_factor_that_belongs_to_the_position_is_judged_by_what_positions_differ():
    # 40 positions, half of them bad for good, and a bin of the shaft that has nothing to do with it but goes with the
    # positions: the spread term must make the statistic smaller than the plain log-rank one
    rng, rows = np.random.default_rng(5), []
    lasting = np.exp(rng.normal(0, 0.8, 40))
    for position in range(40):
        at = 0.0
        while at < 5:
            age = rng.weibull(2) * lasting[position]
            rows.append((min(age, 5 - at), float(at + age < 5), position, at, min(at + age, 5)))
            at += age
    age, failed, position, begin, end = (np.array(one) for one in zip(*rows, strict=True))
    position = position.astype(int)
    table = stay_table(age, failed, position=position, begin_h=begin, end_h=end)
    apart = stay_table(age, failed, position=np.arange(len(age)), begin_h=begin, end_h=end)
    bins = (lasting[position] > np.median(lasting)).astype(np.int64)
    with_spread = factor_test("shaft", table, bins, ["a", "b"]).test
    without = factor_test("shaft", apart, bins, ["a", "b"]).test
    assert with_spread.observed.tolist() == without.observed.tolist()
    assert with_spread.statistic < 0.5 * without.statistic
