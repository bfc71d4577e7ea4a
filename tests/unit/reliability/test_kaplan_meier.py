"""Survival steps against published ones, a slow definition and invariants."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.reliability.assumed_shape import assumed_shape_bounds, common_shape, scale_estimate_h, scale_lower_h
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import lives
from service.units import Quantity
from tests.unit.reliability.published import published_lives, table

# Gehan 1965 / Freireich et al. 1963, the treated arm, as printed in textbooks of survival analysis (from memory,
# reproduced to all digits): survival and its standard error
GEHAN = {
    6: (0.857, 0.0764), 7: (0.807, 0.0869), 10: (0.753, 0.0963), 13: (0.690, 0.1068),
    16: (0.627, 0.1141), 22: (0.538, 0.1282), 23: (0.448, 0.1346),
}  # fmt: skip


def test_survival_and_its_error_match_the_published_ones():
    steps = survival_steps(published_lives("gehan_6mp"))
    assert steps.time_h.tolist() == list(GEHAN)
    assert steps.survival == pytest.approx([s for s, _ in GEHAN.values()], abs=5e-4 + 1e-9)
    assert steps.standard_error == pytest.approx([se for _, se in GEHAN.values()], abs=5e-5 + 1e-9)


@pytest.mark.parametrize(("kind", "lower", "upper"), [("log_log", 0.188, 0.680), ("logit", 0.218, 0.702)])
def test_limits_at_23_match_an_independent_program(kind, lower, upper):
    steps = survival_steps(published_lives("gehan_6mp"), limit_kind=kind)
    assert (steps.lower[-1], steps.upper[-1]) == pytest.approx((lower, upper), abs=5e-4)


def test_cumulative_hazard_at_23_matches_an_independent_program():
    steps = survival_steps(published_lives("gehan_6mp"))
    assert steps.cumulative_hazard[-1] == pytest.approx(0.7521, abs=5e-5)
    assert math.sqrt(steps.hazard_variance[-1]) == pytest.approx(0.2795, abs=5e-5)


def test_heat_exchanger_matches_meeker_and_escobar():
    # Meeker & Escobar 1998, ch. 3, three plants of 100 tubes, inspected yearly (from memory): share failed 0.0133,
    # 0.0384, 0.0582; logit limits of the first and third year [.0050, .0350], [.0307, .1076]
    time, failed, count = [], [], []
    for row in table("heat_exchanger_interval"):
        time.append(float(row["upper"] or row["lower"]))
        failed.append(bool(row["upper"]))
        count.append(float(row["count"]))
    steps = survival_steps(lives(time, failed, count=count), limit_kind="logit")
    assert 1 - steps.survival == pytest.approx([0.0133, 0.0384, 0.0582], abs=5.1e-5)
    assert 1 - steps.upper[[0, 2]] == pytest.approx([0.0050, 0.0307], abs=5.1e-5)
    assert 1 - steps.lower[[0, 2]] == pytest.approx([0.0350, 0.1076], abs=5.1e-5)


def slow(time, failed, count, entry):
    """The definition: product over failure ages of 1 - d/n, one age at a time."""
    survival, greenwood, found = 1.0, 0.0, []
    for t in sorted({a for a, d in zip(time, failed, strict=True) if d}):
        n = sum(w for a, w, e in zip(time, count, entry, strict=True) if e < t <= a)
        d = sum(w for a, f, w in zip(time, failed, count, strict=True) if f and a == t)
        survival *= 1 - d / n
        greenwood += d / (n * (n - d)) if n > d else math.inf
        found.append((t, n, d, survival, greenwood))
    return found


unit = st.tuples(st.integers(2, 40), st.booleans(), st.integers(1, 3), st.integers(0, 30)).map(
    lambda one: (one[0], one[1], one[2], min(one[3], one[0] - 1))
)


@given(st.lists(st.lists(unit, min_size=1, max_size=15), min_size=1, max_size=5), st.booleans())
@settings(max_examples=80, deadline=None)
def test_steps_match_the_definition_group_by_group(groups, late):
    flat = [(n, *one) for n, group in enumerate(groups) for one in group]
    number, time, failed, count, entry = zip(*flat, strict=True)
    entry = entry if late else [0] * len(entry)
    steps = survival_steps(lives(time, failed, count=count, entry_h=entry, group=number))
    assert np.all(np.isfinite(steps.lower)) and np.all(np.isfinite(steps.upper))
    for n, group in enumerate(groups):
        columns = list(zip(*group, strict=True))
        expected = slow(columns[0], columns[1], columns[2], columns[3] if late else [0] * len(group))
        rows = steps.rows_of(n)
        assert steps.time_h[rows].tolist() == [one[0] for one in expected]
        assert steps.at_risk[rows].tolist() == [one[1] for one in expected]
        assert steps.survival[rows] == pytest.approx([one[3] for one in expected], abs=1e-9)
        known = [math.isfinite(one[4]) for one in expected]
        assert steps.limits_known[rows].tolist() == known
        shown = np.array([one[4] for one in expected])[known]
        assert steps.relative_variance[rows][known] == pytest.approx(shown, rel=1e-6)


def test_where_the_last_unit_failed_there_are_no_limits():
    steps = survival_steps(lives([5.0, 9.0], [True, True]))
    assert [one["lower"] for one in steps.records(0)] == [pytest.approx(0.0060, abs=5e-5), None]
    assert steps.records(0)[1]["survival"] == 0.0
    assert steps.records(0)[0]["age"] == Quantity("time", 5.0)


def test_a_share_is_read_at_its_first_age_and_may_not_be_reached():
    steps = survival_steps(published_lives("gehan_6mp"))
    assert steps.quantile_h(0, 0.1) == 6
    assert steps.quantile_h(0, 0.5) == 23  # the published median of the treated arm
    assert steps.quantile_h(0, 0.9) is None
    assert steps.survival_at(0, 5.9) == (1.0, None, None)
    assert steps.survival_at(0, 7.5)[0] == pytest.approx(0.807, abs=5e-4)


def test_restricted_mean_of_complete_lives_is_their_mean():
    time = [3.0, 8.0, 10.0, 21.0]
    assert survival_steps(lives(time, [True] * 4)).restricted_mean_h(0, 21.0) == pytest.approx(np.mean(time))


# Shape assumed, no failures, 95 %: scale and B10; computed with an independent program for the set cut at 200 h
@pytest.mark.parametrize(
    ("shape", "scale", "b10"),
    [(1.0, 12217.4, 1287.23), (1.5, 2496.66, 556.944), (2.0, 1162.72, 377.411), (3.0, 563.316, 266.059)],
)
def test_bounds_without_failures_match_an_independent_program(shape, scale, b10):
    bound = assumed_shape_bounds(published_lives("bearing_cage_cut200_zero_failures"), shape=shape)[0]
    assert bound.assumed.scale_lower_h == pytest.approx(scale, rel=5e-6)
    assert bound.assumed.b10_lower_h == pytest.approx(b10, rel=5e-6)


def test_bound_of_the_mean_of_25_units_without_failure():
    # exponential, 25 units x 1000 h, one-sided 95 %: 8345 h (from memory; 25000 / -ln 0.05)
    data = lives([1000.0], [False], count=[25])
    assert scale_lower_h(data, 1.0)[0] == pytest.approx(8345, abs=0.5)


def test_one_failure_put_in_for_none_is_a_bound_at_63_2_percent():
    # Abernethy et al. 1983: the older practice of setting r = 1 is the same as a confidence of 63.2 %
    time = np.array([500.0, 800.0, 1300.0])
    older = np.sum(time**2) ** 0.5
    assert scale_lower_h(lives(time, [False] * 3), 2.0, 1 - math.exp(-1))[0] == pytest.approx(older)


def test_the_scale_of_an_assumed_shape_is_that_of_the_fit_at_its_shape():
    data = published_lives("lieblein_zelen_ball_bearings")
    assert scale_estimate_h(data, 2.102059)[0] == pytest.approx(81.8783, rel=1e-5)  # Lieblein & Zelen 1956


@given(st.integers(0, 5), st.floats(0.5, 4))
def test_more_failures_in_the_same_time_lower_the_bound(failures, shape):
    def bound(r: int) -> float:
        return float(scale_lower_h(lives([1000.0] * 10, [n < r for n in range(10)]), shape)[0])

    assert bound(failures + 1) < bound(failures)


def test_the_common_shape_of_one_group_is_its_own_and_scales_do_not_matter():
    # Lieblein & Zelen 1956: shape 2.102059
    one = published_lives("lieblein_zelen_ball_bearings")
    assert common_shape(one) == pytest.approx(2.102059, rel=1e-6)
    time = np.concatenate((one.time_h, 37 * one.time_h))
    both = lives(time, [True] * 46, group=[0] * 23 + [1] * 23)
    assert common_shape(both) == pytest.approx(2.102059, rel=1e-6)
    assert common_shape(published_lives("bearing_cage_cut200_zero_failures")) is None


def test_a_group_without_failures_adds_nothing_to_the_common_shape():
    failing = lives([100, 200, 300, 250], [True, True, True, False])
    joined = lives([100, 200, 300, 250, 999, 888], [True, True, True, False, False, False], group=[0] * 4 + [1] * 2)
    assert common_shape(joined) == pytest.approx(common_shape(failing))
