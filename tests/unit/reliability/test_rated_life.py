"""Comparison with the rating life and replacement age."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from service.errors import CannotEvaluate
from service.record import encoded
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import lives
from service.reliability.rated_life import (
    compared_with_rating_life,
    judged_together,
    quantile_p_value,
    rating_life_h,
)
from service.reliability.replacement_verdict import best_ages, relative_costs
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import calibrated_lower_quantile_h, likelihood_ratio_quantile_h
from tests.unit.reliability.published import published_lives


def comparison(rating_h: float, all_causes: bool = False):
    data = published_lives("lieblein_zelen_ball_bearings")
    fits = weibull_fits(data)
    limits = likelihood_ratio_quantile_h(fits, 0.1)
    return compared_with_rating_life(
        fits, limits, survival_steps(data), fit=0, rating_life_h=rating_h, all_causes=all_causes
    )


def test_rating_life_of_iso_281():
    # ISO 281: C/P = 10 at 1000 r/min: 10^6/60000 x 10^3 = 16667 h for ball, x 10^(10/3) = 35907 h for roller bearings
    given_ = {"dynamic_rating_n": 1e5, "load_n": 1e4, "speed_rpm": 1000.0}
    assert rating_life_h(**given_, bearing_type="self_aligning_ball") == pytest.approx(16666.67, abs=0.01)
    assert rating_life_h(**given_, bearing_type="spherical_roller") == pytest.approx(35907.2, abs=0.1)
    with pytest.raises(CannotEvaluate):
        rating_life_h(**{**given_, "load_n": 0.0}, bearing_type="spherical_roller")


def test_the_p_value_is_5_percent_at_the_limits_and_1_at_the_estimate():
    # Lieblein & Zelen 1956; likelihood-ratio limits of B10 16.288 and 40.765 (independent program)
    fits = weibull_fits(published_lives("lieblein_zelen_ball_bearings"))
    for age, expected in ((16.288, 0.05), (40.765, 0.05), (28.0694, 1.0)):
        assert quantile_p_value(fits, 0.1, np.array([age]))[0] == pytest.approx(expected, abs=2e-3)


def judged(*rating_lives_h, questions=1):
    return judged_together(dict(enumerate(comparison(one) for one in rating_lives_h)), questions)


def test_the_comparison_decides_only_when_the_p_of_the_whole_answer_does():
    assert "above" in judged(10.0)[0].detail[0]
    assert "below" in judged(60.0)[0].detail[0]
    assert "do not tell" in judged(28.0)[0].detail[0]
    # 16.288 is the plain lower limit at 95 %: too high too often with 23 failures, and one of several is less sure
    assert "do not tell" in judged(16.2)[0].detail[0] and comparison(16.2).ratio_lower > 1
    below = judged(42.0, 28.0, 28.0)[0], judged(42.0)[0]
    assert [one.detail[0].split(" the ")[0] for one in below] == ["The data do not tell B10 from", "B10 lies below"]
    assert below[0].adjusted_p == pytest.approx(3 * below[1].adjusted_p)
    assert judged(42.0, questions=3)[0].adjusted_p == pytest.approx(3 * below[1].adjusted_p)


def test_a_claim_of_a_longer_life_uses_the_calibrated_root():
    # cut at z + 1.2 / sqrt(r): the p at the calibrated lower limit of 95 % is 0.05
    fits = weibull_fits(published_lives("lieblein_zelen_ball_bearings"))
    lower = calibrated_lower_quantile_h(fits, 0.1, 0.95)[0]
    assert comparison(float(lower)).surest_p == pytest.approx(0.05, abs=1e-4)
    assert "All causes" in comparison(28.0, all_causes=True).detail[-1]


def test_survival_at_the_rating_life_needs_no_model():
    # 2 of the 23 bearings failed by 30e6 revolutions (Lieblein & Zelen 1956): 21/23
    found = comparison(30.0)
    assert found.survival_at_rating_life[0] == pytest.approx(21 / 23)
    assert comparison(500.0).survival_at_rating_life is None  # nothing was watched that long
    assert "NaN" not in encoded(found.record())


@pytest.mark.parametrize(
    ("shape", "cost_ratio", "age", "cost"),
    [
        (2, 2, 1.0908, 0.967), (2, 5, 0.5107, 0.724), (2, 10, 0.3365, 0.537), (2, 20, 0.2304, 0.388),
        (3, 2, 0.8103, 0.880), (3, 5, 0.5026, 0.541), (3, 10, 0.3825, 0.353), (3, 20, 0.2978, 0.226),
        (1.5, 2, 2.1746, 0.998), (1.5, 5, 0.6755, 0.890), (1.5, 10, 0.3781, 0.749), (1.5, 20, 0.2261, 0.612),
    ],
)  # fmt: skip
def test_replacement_ages_match_an_independent_program(shape, cost_ratio, age, cost):
    # Barlow & Proschan 1965; digits of an independent program
    found = best_ages(np.array([float(shape)]), cost_ratio)
    assert found[0] == pytest.approx(age, abs=5.1e-5)
    assert relative_costs(found, np.array([float(shape)]), cost_ratio)[0] == pytest.approx(cost, abs=5.1e-4)


@given(st.floats(1.2, 6), st.floats(1.5, 50))
@settings(max_examples=40, deadline=None)
def test_no_other_age_costs_less(shape, cost_ratio):
    def cost(age):  # the definition, integrated numerically
        survival = stats.weibull_min(shape).sf
        return (survival(age) + cost_ratio * (1 - survival(age))) / integrate.quad(survival, 0, age)[0]

    best = float(best_ages(np.array([float(shape)]), cost_ratio)[0])
    if not np.isfinite(best):
        return
    assert cost(best) <= min(cost(best * 0.9), cost(best * 1.1)) * (1 + 1e-9)


def test_a_single_group_can_be_asked_of_many_fits():
    data = lives([10, 20, 35, 12, 50.0, 61], [True, True, False, True, True, False], group=[0, 0, 0, 1, 1, 1])
    fits = weibull_fits(data)
    both = quantile_p_value(fits, 0.1, np.array([9.0, 9.0]))
    assert quantile_p_value(fits, 0.1, np.array([9.0, 9.0]), only=1)[0] == pytest.approx(both[1])
