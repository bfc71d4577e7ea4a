"""Quality of readings, and the bins of how bearings were mounted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from service.reliability.mounting_bins import FIT_BINS, fit_numbers
from service.reliability.reading_quality import digit_preference, repeatability
from service.reliability.stay_columns import stay_columns
from service.units import Quantity


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
