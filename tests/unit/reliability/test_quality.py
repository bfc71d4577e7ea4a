"""Mounting quality and reading quality."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from service.reliability.comparison import log_rank, score_test
from service.reliability.lives import lives
from service.reliability.mounting_bins import FIT_BINS, fit_numbers
from service.reliability.mounting_quality import WINDOW_BINS, failures_needed, mounting_quality, window_bin
from service.reliability.reading_quality import digit_preference, repeatability
from service.reliability.stay_columns import stay_columns
from service.units import Quantity
from tests.unit.reliability.published import published_lives

PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]  # Freireich et al. 1963, all relapsed


def trial():
    treated = published_lives("gehan_6mp")
    time = np.concatenate((treated.time_h, PLACEBO))
    failed = np.concatenate((treated.failed, [True] * 21))
    count = np.concatenate((treated.count, np.ones(21)))
    bins = np.concatenate((np.zeros(len(treated.time_h), dtype=np.int64), np.ones(21, dtype=np.int64)))
    return time, failed, count, bins


def test_log_rank_of_the_published_trial():
    # Freireich et al. 1963 / Gehan 1965; textbooks print chi2 16.79, expected 19.25 and 10.75 (from memory)
    time, failed, count, bins = trial()
    found = log_rank(lives(time, failed, count=count), bins, 2)
    assert found.statistic == pytest.approx(16.79, abs=5e-3)
    assert found.observed.tolist() == [9, 21]
    assert found.expected == pytest.approx([19.25, 10.75], abs=5e-3)


def test_the_score_test_of_two_bins_is_the_log_rank_test():
    time, failed, count, bins = trial()
    data = lives(time, failed, count=count)
    z, p_value = score_test(data, bins.astype(float))
    assert z**2 == pytest.approx(log_rank(data, bins, 2).statistic)
    assert z > 0  # the second arm relapses sooner
    assert p_value == pytest.approx(log_rank(data, bins, 2).p_value)


def test_scipy_finds_the_same_log_rank():
    # scipy.stats.logrank, a general library; untied complete and censored lives
    rng = np.random.default_rng(12)
    time, failed, bins = rng.weibull(2, 80), rng.random(80) < 0.7, rng.integers(0, 2, 80)
    arms = [
        stats.CensoredData(uncensored=time[failed & (bins == k)], right=time[~failed & (bins == k)]) for k in (0, 1)
    ]
    expected = stats.logrank(*arms)
    found = log_rank(lives(time, failed), bins, 2)
    assert found.statistic == pytest.approx(expected.statistic**2)
    assert found.p_value == pytest.approx(expected.pvalue)


def test_strata_are_compared_only_within_themselves():
    # life differs by stratum and the bins follow the strata: unstratified a difference, stratified none
    rng = np.random.default_rng(13)
    stratum = np.repeat([0, 1], 100)
    time = rng.weibull(2, 200) * np.where(stratum == 0, 1000, 4000)
    bins = (rng.random(200) < np.where(stratum == 0, 0.8, 0.2)).astype(np.int64)
    failed = np.ones(200, dtype=bool)
    assert log_rank(lives(time, failed), bins, 2).p_value < 1e-3
    assert log_rank(lives(time, failed, group=stratum), bins, 2).p_value > 0.05


@given(
    st.lists(st.tuples(st.integers(1, 20), st.booleans(), st.integers(0, 2)), min_size=2, max_size=40),
)
@settings(max_examples=100, deadline=None)
def test_what_is_observed_is_expected_in_sum_and_no_bin_order_matters(stays):
    time, failed, bins = (np.array(part) for part in zip(*stays, strict=True))
    data = lives(time, failed)
    found, turned = log_rank(data, bins, 3), log_rank(data, 2 - bins, 3)
    assert found.expected.sum() == pytest.approx(found.observed.sum())
    assert np.isfinite(found.statistic) and 0 <= found.p_value <= 1
    assert turned.statistic == pytest.approx(found.statistic, abs=1e-6)


def test_needed_failures_are_those_of_schoenfeld():
    # Schoenfeld 1981: hazard ratio 2, equal arms, 5 % two-sided, power 80 %: 4 x 7.849 / 0.4805 = 65.3
    assert failures_needed([0.5, 0.5]) == 66


def test_little_data_is_said_to_be_little_with_how_much_would_do():
    found = mounting_quality(
        "window", lives([900, 1500, 2000.0], [True, False, True]), np.array([1, 2, 3]), WINDOW_BINS
    )
    assert found.verdict == "not_enough_data"
    assert found.record()["log_rank"] is None
    assert str(found.failures_needed) in found.detail


def test_a_planted_dependence_on_the_window_is_found():
    rng = np.random.default_rng(14)
    bins = rng.integers(0, 5, 400)
    life = rng.weibull(2, 400) * np.where(bins == 0, 6000, 15_000)
    time, failed = np.minimum(life, 12_000), life <= 12_000
    found = mounting_quality("place in the window", lives(time, failed), bins, WINDOW_BINS)
    assert found.verdict == "differs"
    assert found.test.observed[0] > 2 * found.test.expected[0]


@pytest.mark.parametrize(
    ("residual", "name"),
    [
        (39_999, "below_window"), (40_000, "lower_third"), (49_999, "lower_third"), (55_000, "middle_third"),
        (65_000, "upper_third"), (70_000, "upper_third"), (70_001, "above_window"),
    ],
)  # fmt: skip
def test_the_limits_of_the_window_are_inside(residual, name):
    number = window_bin(residual_clearance_nm=residual, window_min_nm=40_000, window_max_nm=70_000)
    assert WINDOW_BINS[number] == name


def test_digits_match_scipys_chi_square_and_a_preference_for_0_and_5_shows():
    rng = np.random.default_rng(15)
    even = (rng.integers(20, 90, 400) * 1000).tolist()
    preferred = (np.round(rng.integers(20, 90, 400) / 5) * 5 * 1000).astype(int).tolist()
    found = digit_preference(even, 1000)
    expected = stats.chisquare(found.counts)
    assert (found.statistic, found.p_value) == pytest.approx((expected.statistic, expected.pvalue))
    assert found.verdict == "even"
    assert digit_preference(preferred, 1000).verdict == "preferred"
    assert digit_preference(even[:49], 1000).verdict == "not_enough_data"


def test_repeatability_is_the_pooled_deviation():
    # hand: a pair 2000 nm apart has squares of 2 x 1000^2 on one degree of freedom: s = sqrt(2e6) nm
    pairs = [(50_000, 52_000)] * 6
    found = repeatability(pairs)
    assert found.standard_deviation_nm == pytest.approx(2000 / 2**0.5)
    assert found.upper_nm == pytest.approx((6 * 2e6 / stats.chi2.ppf(0.05, 6)) ** 0.5)
    assert found.record()["limit"] == Quantity("clearance", pytest.approx(2.8 * 2000 / 2**0.5))
    assert repeatability(pairs[:4]).record()["verdict"] == "not_enough_data"


def fit_of_one(shaft_nm, least_nm, most_nm):
    """Where one shaft lies in its limits, said slowly: both limits are inside, the middle is in the upper half."""
    if None in (shaft_nm, least_nm, most_nm):
        return None
    if shaft_nm < least_nm:
        return "below_limits"
    if shaft_nm > most_nm:
        return "above_limits"
    return "upper_half" if shaft_nm - least_nm >= most_nm - shaft_nm else "lower_half"


NM = st.none() | st.integers(69_999_990, 70_000_010)


@given(st.lists(st.tuples(NM, NM, NM), min_size=1, max_size=40))
@settings(max_examples=100, deadline=None)
def test_the_fit_of_many_stays_is_that_of_one_at_a_time(shafts):
    columns = stay_columns([shafts], numbers=("shaft_nm", "shaft_min_nm", "shaft_max_nm"), words=())
    assert [(*FIT_BINS, None)[n] for n in fit_numbers(columns)] == [fit_of_one(*one) for one in shafts]


def test_a_planted_dependence_on_the_fit_is_found_with_its_trend():
    # ten loose shafts fail one after the other before any of ten tight ones: at the k-th failure 10 - k of 20 - k
    # under observation are loose, so that their expected number is the sum of those shares (hand)
    time = np.concatenate((np.arange(100, 1100, 100), np.arange(5000, 6000, 100)))
    bins = np.repeat([FIT_BINS.index("below_limits"), FIT_BINS.index("upper_half")], 10)
    found = mounting_quality("fit", lives(time, np.ones(20, dtype=bool)), bins, FIT_BINS)
    loose = sum((10 - k) / (20 - k) for k in range(10))
    assert found.verdict == "differs"
    assert found.test.observed.tolist() == [10, 0, 10, 0]
    assert found.test.expected == pytest.approx([loose, 0, 20 - loose, 0])
    assert found.trend[0] < 0  # the tighter, the later
