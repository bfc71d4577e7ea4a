"""One policy for every verdict: adjusted p-values, what is flagged, how a p is said."""

import numpy as np
import pytest

from service.reliability.policy import (
    ALARM_LEVEL,
    SMALLEST_P,
    Verdict,
    alarming,
    answer_verdict,
    bonferroni,
    flagged,
    floored_p,
    holm,
    needed_times,
    normal_power,
    said_count,
    said_p,
    said_share,
    without_claim,
)


def test_holm_by_hand():
    # Holm 1979: 0.005 x 4, 0.01 x 3, 0.03 x 2, then 0.04 x 1 raised to the one before
    assert holm([0.01, 0.04, 0.03, 0.005]).tolist() == pytest.approx([0.03, 0.06, 0.06, 0.02])


@pytest.mark.parametrize("seed", range(20))
def test_holm_flags_what_the_step_down_flags(seed):
    # the step-down as Holm words it: go on while the j-th smallest is at most level / (m - j)
    p = np.random.default_rng(seed).uniform(0, 1, 12) ** 3
    named = set()
    for step, place in enumerate(np.argsort(p)):
        if p[place] > 0.05 / (len(p) - step):
            break
        named.add(int(place))
    assert set(np.flatnonzero(flagged(holm(p))).tolist()) == named


def test_a_second_question_takes_half_of_the_level():
    assert holm([0.01, 0.2], questions=2).tolist() == pytest.approx([0.04, 0.4])
    assert bonferroni([0.01, 0.7], 2).tolist() == pytest.approx([0.02, 1.0])


def test_no_p_is_zero_or_above_one():
    assert floored_p([0.0, 1e-300, 2.0]).tolist() == [SMALLEST_P, SMALLEST_P, 1.0]
    assert holm([1e-300])[0] == SMALLEST_P


def test_an_alarm_asks_for_ten_times_as_much():
    assert pytest.approx(0.005) == ALARM_LEVEL
    assert flagged([0.05, 0.0500001]).tolist() == [True, False]
    assert alarming([0.005, 0.02]).tolist() == [True, False]


@pytest.mark.parametrize(
    ("p", "said"), [(1e-12, "p < 0.0001"), (0.00012, "p = 0.00012"), (0.0234, "p = 0.023"), (1.0, "p = 1")]
)
def test_how_a_p_is_said(p, said):
    assert said_p(p) == said


def test_how_numbers_are_said():
    assert [said_count(one) for one in (62, 30.4, 1.84, 2.0, 0.004, 0)] == ["62", "30", "1.8", "2", "0.004", "0"]
    assert [said_share(one) for one in (0.624, 0.0004, 0.99999, 0, 1)] == [
        "62 %", "less than 1 %", "more than 99 %", "0 %", "100 %",
    ]  # fmt: skip


def test_too_few_below_a_fifth_or_when_no_outcome_would_do():
    assert [without_claim(one) for one in (0.19, 0.2)] == ["too_few", "no_evidence"]
    assert without_claim(0.9, reachable=False) == "too_few"


def test_power_of_a_normal_test():
    # common practice: 2.80 standard errors give 80 % at 5 % two-sided (1.960 + 0.842)
    assert normal_power(2.802) == pytest.approx(0.80, abs=5e-4)
    assert needed_times(2.802) == pytest.approx(1.0, abs=1e-3)
    assert needed_times(1.401) == pytest.approx(4.0, abs=4e-3)


def test_only_silence_names_the_failures_needed():
    claimed = Verdict("worse", "said", "test", 0.001, 0.002, 40, 0.5)
    silent = Verdict("no_evidence", "said", "test", 0.3, 0.6, 40, 0.5)
    assert claimed.record()["needed_failures"] is None
    assert silent.record()["needed_failures"] == 40
    assert claimed.claims and not silent.claims


def test_an_answer_speaks_when_an_item_does():
    silent = Verdict("no_evidence", "", "test", 0.3, 0.6, 40, 0.5)
    loud = Verdict("worse", "", "test", 0.001, 0.002, None, 0.5)
    apart = Verdict("not_separable", "", "test")
    assert answer_verdict([silent, loud], "worse", "named", "silent", "test").detail == "named"
    assert answer_verdict([silent, apart], "worse", "named", "silent.", "test").verdict == "no_evidence"
    assert "50 %" in str(answer_verdict([silent, apart], "worse", "named", "silent.", "test").detail)
    assert answer_verdict([apart, apart], "worse", "named", "silent", "test").verdict == "not_separable"


@pytest.mark.parametrize(("p", "said"), [(0.0501, "p = 0.0501"), (0.04999, "p = 0.05"), (0.0504, "p = 0.0504"),
                                         (0.0496, "p = 0.05"), (0.05, "p = 0.05"), (0.051, "p = 0.051")])  # fmt: skip
def test_rounding_does_not_carry_a_p_over_the_level(p, said):
    # "p = 0.05" is said of what is claimed at 0.05, and never of what is not
    assert said_p(p) == said
