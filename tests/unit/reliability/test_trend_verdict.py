"""The order of lives within positions: published data, all orders by a loop, and what must not change the answer."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from service.reliability.life_order import life_order, life_scores, order_test, planned_test, yearly_fall
from service.reliability.stay_table import StayTable, stay_table
from service.reliability.trend_verdict import trend_verdict
from tests.unit.reliability.tables import random_table, valve_seats


def one_position(lives_h, running_h=5_000.0, planned=()) -> StayTable:
    """Lives of one position one after the other, then a running bearing."""
    age = np.array([*lives_h, running_h], dtype=float)
    end = np.cumsum(age)
    failed = [0 if n in planned else 1 for n in range(len(lives_h))]
    return stay_table(age, [*failed, 0], position=np.zeros(len(age), dtype=int), begin_h=end - age, end_h=end,
                      ended=[True] * len(lives_h) + [False])  # fmt: skip


def z_of(table: StayTable) -> float:
    order = life_order(table)
    found = order_test(order, life_scores(table)[order.row])
    assert found is not None
    return found.z


def test_valve_seats_show_no_trend():
    # data Nelson & Doganaksoy 1989; z 0.527, two-sided normal p 0.598, 39 lives in 15 positions, worked out apart from
    # this program. The two lives of length zero are in that figure; without them 36 lives in 14 positions are left.
    table = valve_seats(zero_gaps=True)
    order = life_order(table)
    assert (order.lives, order.positions) == (39, 15)
    assert z_of(table) == pytest.approx(0.527, abs=5e-4)
    without = life_order(valve_seats(zero_gaps=False))
    assert (without.lives, without.positions) == (36, 14)
    assert trend_verdict(table).verdict.verdict in ("no_evidence", "too_few")


@pytest.mark.parametrize("seed", range(5))
def test_statistic_and_its_deviation_are_those_of_all_orders(seed):
    # the oracle goes through all orders of all positions and takes the plain mean and deviation of T
    table = random_table(seed, stays=14, positions=4)
    order = life_order(table)
    score = life_scores(table)[order.row]
    of_cell = [np.flatnonzero(order.cell == one) for one in range(order.positions)]
    if not of_cell or np.prod([float(len(list(itertools.permutations(rows)))) for rows in of_cell]) > 50_000:
        pytest.skip("too many orders for a loop")
    totals = [
        sum(float(order.centre_years[rows] @ score[list(one)]) for rows, one in zip(of_cell, orders, strict=True))
        for orders in itertools.product(*(itertools.permutations(rows) for rows in of_cell))
    ]
    seen = float(order.centre_years @ score)
    found = order_test(order, score)
    assert found is not None
    assert found.z == pytest.approx((seen - np.mean(totals)) / np.std(totals), abs=1e-9)
    above = np.mean(np.array(totals) >= seen - 1e-12)
    below = np.mean(np.array(totals) <= seen + 1e-12)
    assert found.p_value == pytest.approx(min(1, 2 * min(above, below)), abs=0.02)  # 9,999 random orders


def test_all_orders_of_one_position_are_counted():
    # five lives that fall steadily: the worst of 120 orders, two-sided 2/120
    found = order_test(order := life_order(one_position([50, 40, 30, 20, 10])), life_scores(
        one_position([50, 40, 30, 20, 10]))[order.row])  # fmt: skip
    assert found is not None
    assert (found.method, found.p_value) == ("all_orders", pytest.approx(2 / 120))
    assert found.z > 0


@pytest.mark.parametrize("lives_h", [[30, 20, 10], [40, 30, 20, 10]])
def test_four_lives_of_one_position_are_too_few_however_they_fall(lives_h):
    # three lives have 6 orders, four have 24: p cannot be below 1/3 and 0.083
    found = trend_verdict(one_position(lives_h)).verdict
    assert (found.verdict, found.p_value) == ("too_few", None)


def test_five_falling_lives_are_enough_to_say_worse():
    found = trend_verdict(one_position([50_000, 40_000, 30_000, 20_000, 10_000]))
    assert found.verdict.verdict == "worse"
    assert "Later bearings in the same positions last less long" in str(found.verdict.detail)
    assert found.change_per_year[0] is not None and found.change_per_year[0] < 0
    rising = trend_verdict(one_position([10_000, 20_000, 30_000, 40_000, 50_000]))
    assert rising.verdict.verdict == "better"
    assert rising.change_per_year[0] is not None and rising.change_per_year[0] > 0


@pytest.mark.parametrize("seed", range(6))
def test_reversing_every_position_turns_the_sign(seed):
    table = random_table(seed, stays=80)
    order = life_order(table)
    score = life_scores(table)[order.row]
    back = np.concatenate([score[order.cell == one][::-1] for one in range(order.positions)])
    forward, backward = order_test(order, score), order_test(order, back)
    assert forward is not None and backward is not None
    assert backward.z == pytest.approx(-forward.z, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_doubling_all_hours_and_dates_changes_nothing(seed):
    table = random_table(seed)
    doubled = replace(table, age_h=2 * table.age_h, entry_h=2 * table.entry_h, begin_h=2 * table.begin_h,
                      end_h=2 * table.end_h)  # fmt: skip
    assert trend_verdict(doubled).verdict.p_value == trend_verdict(table).verdict.p_value
    assert z_of(doubled) == pytest.approx(z_of(table), abs=1e-9)


def test_a_position_with_one_ended_life_adds_nothing():
    table = random_table(4, stays=60)
    alone = stay_table(
        np.append(table.age_h, 7.0),
        np.append(table.failed, 0.0),
        position=np.append(table.position, 99),
        begin_h=np.append(table.begin_h, 0.0),
        end_h=np.append(table.end_h, 7.0),
        ended=np.append(table.ended, True),
        entry_h=np.append(table.entry_h, 0.0),
        of_class=np.append(table.of_class, 5),  # a class of its own, so that no cumulative hazard changes
    )
    assert z_of(alone) == pytest.approx(z_of(table), abs=1e-12)
    assert life_order(alone).lives == life_order(table).lives


def falling(rate: float, seed: int, positions: int = 60) -> StayTable:
    """Ten years of positions whose lives, shape 2, are multiplied by exp(-rate times years since the first fitting)."""
    rng, rows = np.random.default_rng(seed), []
    for position in range(positions):
        at = 0.0
        while at < 10:
            age = 3 * rng.weibull(2) * np.exp(-rate * at)
            rows.append((min(age, 10 - at) * 8766, float(at + age < 10), position, at * 8766, min(at + age, 10) * 8766))
            at += age
    age, failed, position, begin, end = (np.array(one) for one in zip(*rows, strict=True))
    return stay_table(age, failed, position=position.astype(int), begin_h=begin, end_h=end)


def test_limits_of_a_planted_rate_cover_it():
    # life falls to 0.61 over the watch; of 20 plants nominal 95 % misses 4 or more with probability 0.016
    covered = 0
    for seed in range(20):
        fall = yearly_fall(table := falling(0.05, seed), life_order(table))
        assert fall.lower is not None and fall.upper is not None and fall.estimate is not None
        assert fall.lower < fall.estimate < fall.upper
        covered += fall.lower < 0.05 < fall.upper
    assert covered >= 17


def test_a_steep_fall_is_called_worse_and_its_rate_is_near():
    # life falls to 0.22 of what it was. Lives that shrink crowd towards the end, which the even spacing of the order
    # does not know: the estimate is a tenth too steep there, and its limits cover 0.72 of 60 plants
    found = trend_verdict(falling(0.15, 7, positions=200))
    assert found.verdict.verdict == "worse"
    estimate, lower, upper = found.change_per_year
    assert estimate == pytest.approx(np.expm1(-0.15), rel=0.15)
    assert lower is not None and upper is not None and lower < upper < 0
    assert found.z is not None and found.z > 4


def test_removals_by_plan_that_become_more_frequent_are_not_called_a_trend():
    rng, rows = np.random.default_rng(2), []
    for position in range(60):
        at = 0.0
        while at < 12:
            age = 3 * rng.weibull(2)
            limit = max(at + 1.5, 6.0)  # an age limit from the sixth year on
            end = min(at + age, limit, 12.0)
            rows.append(((end - at) * 8766, end == at + age, position, at * 8766, end * 8766, end < 12))
            at = end
    age, failed, position, begin, end, ended = (np.array(one) for one in zip(*rows, strict=True))
    table = stay_table(age, failed, position=position.astype(int), begin_h=begin, end_h=end, ended=ended)
    guard = planned_test(life_order(table), table.ended & (table.failed == 0))
    assert guard is not None and guard.z > 0 and guard.p_value < 0.05
    found = trend_verdict(table).verdict
    assert found.verdict == "not_separable"
    assert "more frequent: later lives are cut short" in str(found.detail)


def test_rare_removals_by_plan_are_not_looked_at():
    table = one_position([9, 8, 7, 6, 5, 4] * 6, planned=(3,))
    assert planned_test(life_order(table), table.ended & (table.failed == 0)) is None


def test_nothing_ended_is_too_few():
    table = stay_table([5.0, 6.0], [0, 0], position=[0, 1], begin_h=[0, 0], end_h=[5.0, 6.0])
    found = trend_verdict(table)
    assert (found.verdict.verdict, found.lives, found.record()["life_change_per_year"]) == ("too_few", 0, None)


def test_lives_that_are_all_alike_are_not_called_too_few():
    # every order of equal lives is the same order
    table = one_position([9_000.0] * 8)
    found = trend_verdict(table).verdict
    assert found.verdict == "too_few" and "do not differ within any" in str(found.detail)
