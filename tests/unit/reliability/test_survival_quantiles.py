"""Limits of ages read from the survival curve: published arms of one trial, a slow definition, invariants."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import lives
from service.reliability.survival_quantiles import fewest_at_risk, survival_quantile
from tests.unit.reliability.published import published_lives

# Freireich et al. 1963 / Gehan 1965, remission of leukaemia, the untreated arm, weeks: 21 complete times, as printed in
# every textbook of survival analysis (from memory)
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def test_medians_and_log_log_limits_of_the_two_arms():
    # 6-MP 23 (13, open), placebo 8 (4, 11): printed by general packages for these data (from memory), recomputed
    # independently
    treated = survival_quantile(survival_steps(published_lives("gehan_6mp")), 0, 0.5)
    placebo = survival_quantile(survival_steps(lives(PLACEBO, [True] * 21)), 0, 0.5)
    assert (treated.estimate_h, treated.lower_h, treated.upper_h) == (23, 13, None)
    assert (placebo.estimate_h, placebo.lower_h, placebo.upper_h) == (8, 4, 11)


def test_quarters_may_have_the_first_failure_as_lower_limit_when_enough_were_at_risk():
    # 21 at risk, ln 0.025 / ln 0.75 = 12.8 are needed; limits recomputed independently
    treated = survival_quantile(survival_steps(published_lives("gehan_6mp")), 0, 0.25)
    placebo = survival_quantile(survival_steps(lives(PLACEBO, [True] * 21)), 0, 0.25)
    assert (treated.estimate_h, treated.lower_h, treated.upper_h) == (13, 6, 22)
    assert (placebo.estimate_h, placebo.lower_h, placebo.upper_h) == (4, 1, 5)


def test_a_first_failure_among_few_is_no_lower_limit():
    assert math.ceil(fewest_at_risk(0.1)) == 36  # 0.9^35 is 0.02503, still above 0.025; 0.9^36 is 0.0225
    assert 0.9**36 < 0.025 < 0.9**35 and 0.5**6 < 0.025 < 0.5**5  # the reason: all n outlast the age with this chance
    assert math.ceil(fewest_at_risk(0.5)) == 6
    few = survival_quantile(survival_steps(lives(np.arange(1.0, 36), [True] * 35)), 0, 0.1)
    enough = survival_quantile(survival_steps(lives(np.arange(1.0, 37), [True] * 36)), 0, 0.1)
    assert few.lower_h is None
    assert enough.lower_h is not None


def test_a_share_never_reached_has_no_age_and_open_limits():
    steps = survival_steps(lives([5.0, 9.0, 9.0, 9.0], [True, False, False, False]))
    assert survival_quantile(steps, 0, 0.9).record_h() == {"estimate": None, "lower": None, "upper": None}


def slow_lower_and_upper(time, failed, share):
    """The definition: go through the failure ages one at a time, limits of the survival by Greenwood and log-log."""
    survival, greenwood, lower, upper, first = 1.0, 0.0, None, None, True
    for t in sorted({a for a, d in zip(time, failed, strict=True) if d}):
        n = sum(a >= t for a in time)
        d = sum(a == t and f for a, f in zip(time, failed, strict=True))
        survival *= 1 - d / n
        if survival <= 0:
            break
        greenwood += d / (n * (n - d))
        spread = math.exp(1.959963985 * math.sqrt(greenwood) / -math.log(survival))
        # the definition of the least number at risk, not its logarithm: n units may all outlast the age
        too_few = first and (1 - share) ** n > 0.025
        if lower is None and survival**spread <= 1 - share + 1e-9:
            lower = -1.0 if too_few else t
        if upper is None and survival ** (1 / spread) <= 1 - share + 1e-9:
            upper = t
        first = False
    return (None if lower == -1.0 else lower), upper


rows = st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=1, max_size=60)


@given(st.lists(rows, min_size=1, max_size=4), st.sampled_from([0.1, 0.25, 0.5]))
@settings(max_examples=120, deadline=None)
def test_limits_match_the_definition_in_every_group(groups, share):
    data = lives(
        [float(t) for one in groups for t, _ in one],
        [d for one in groups for _, d in one],
        group=[n for n, one in enumerate(groups) for _ in one],
    )
    steps = survival_steps(data)
    for number, one in enumerate(groups):
        found = survival_quantile(steps, number, share)
        assert (found.lower_h, found.upper_h) == slow_lower_and_upper(*zip(*one, strict=True), share)
        if found.estimate_h is not None:
            assert found.lower_h is None or found.lower_h <= found.estimate_h
            assert found.upper_h is None or found.upper_h >= found.estimate_h
