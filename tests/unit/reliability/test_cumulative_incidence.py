"""Cumulative incidence by mode of damage: shock absorbers, hand-checkable numbers, a slow oracle, invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.reliability.cumulative_incidence import cumulative_incidence
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import lives
from tests.unit.reliability.published import published_lives, table

# Shock absorbers by failure mode, O'Connor 1985 (data in Meeker & Escobar 1998); share failed by 20,000 km with its
# error and 95 % limits, computed once with an independent program
AT_20000_KM = {
    "mode_1": (0.149747, 0.070659, 0.0455, 0.3114),
    "mode_2": (0.066500, 0.045964, 0.0115, 0.1931),
}


@pytest.mark.parametrize("mode", AT_20000_KM)
def test_shock_absorbers_match_an_independent_program(mode):
    rows = table("shock_absorber")
    found = cumulative_incidence(published_lives("shock_absorber"), np.array([row["mode"] == mode for row in rows]))
    share, error, lower, upper = AT_20000_KM[mode]
    last = int(np.searchsorted(found.time_h, 20_000, side="right")) - 1
    assert found.incidence[last] == pytest.approx(share, abs=5e-7)
    assert found.standard_error[last] == pytest.approx(error, abs=5e-7)
    assert found.at(0, 20_000)[1:] == pytest.approx((lower, upper), abs=5e-5)


def test_one_minus_the_survival_of_a_mode_alone_is_more_than_the_share_that_fails():
    # 0.157389 against 0.149747, same independent program: it supposes that the other mode does not exist
    alone = 1 - survival_steps(published_lives("shock_absorber", "mode_1")).survival_at(0, 20_000)[0]
    assert alone == pytest.approx(0.157389, abs=5e-7)
    assert alone > AT_20000_KM["mode_1"][0]


def test_complete_lives_give_the_plain_share_and_its_binomial_error():
    # with no censoring the estimate is the share itself and the error sqrt(p q / n), known to everybody
    found = cumulative_incidence(lives([1.0, 2, 3, 4, 5], [True] * 5), np.array([True, False, True, False, True]))
    assert found.incidence == pytest.approx([0.2, 0.2, 0.4, 0.4, 0.6])
    assert found.standard_error == pytest.approx([np.sqrt(p * (1 - p) / 5) for p in (0.2, 0.2, 0.4, 0.4, 0.6)])
    assert [one["share"] for one in found.records(0)] == pytest.approx([0.2, 0.4, 0.6])


def slow_variance(time, failed, mode, at):
    """The delta form as it is printed: a double sum over failure ages."""
    ages = sorted({t for t, d in zip(time, failed, strict=True) if d and t <= at})
    survival, share, rows = 1.0, 0.0, []
    for t in ages:
        n = sum(a >= t for a in time)
        d = sum(a == t and f for a, f in zip(time, failed, strict=True))
        m = sum(a == t and f and k for a, f, k in zip(time, failed, mode, strict=True))
        share += survival * m / n
        rows.append((survival, n, d, m, share))
        survival *= 1 - d / n
    total = 0.0
    for before, n, d, m, so_far in rows:
        rest = share - so_far
        if n > d:
            total += rest**2 * d / (n * (n - d))
        total += before**2 * m * (n - m) / n**3 - 2 * rest * before * m / n**2
    return share, max(total, 0.0)


unit = st.tuples(st.integers(1, 20), st.booleans(), st.booleans())


@given(st.lists(st.lists(unit, min_size=1, max_size=20), min_size=1, max_size=4))
@settings(max_examples=100, deadline=None)
def test_shares_and_errors_match_the_double_sum(groups):
    number = [n for n, one in enumerate(groups) for _ in one]
    time, failed, mode = (np.array([row[k] for one in groups for row in one]) for k in range(3))
    data = lives(time, failed, group=number)
    found = cumulative_incidence(data, mode)
    for row, group in enumerate(found.group.tolist()):
        share, variance = slow_variance(*zip(*groups[group], strict=True), found.time_h[row])
        assert found.incidence[row] == pytest.approx(share, abs=1e-12)
        assert found.standard_error[row] == pytest.approx(np.sqrt(variance), abs=1e-7)
    assert np.all((found.lower <= found.incidence + 1e-12) & (found.incidence <= found.upper + 1e-12))


@given(st.lists(unit, min_size=1, max_size=40))
@settings(max_examples=60, deadline=None)
def test_the_shares_of_all_modes_and_the_survivors_make_one(rows):
    time, failed, mode = (np.array(column) for column in zip(*rows, strict=True))
    data = lives(time, failed)
    one, other = cumulative_incidence(data, mode), cumulative_incidence(data, ~mode)
    assert one.incidence + other.incidence + survival_steps(data).survival == pytest.approx(1.0, abs=1e-12)
