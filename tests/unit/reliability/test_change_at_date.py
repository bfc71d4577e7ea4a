"""A change at a date: all orders of a small plant counted one by one, invariants, invented plants."""

from itertools import pairwise, permutations

import numpy as np
import pytest

from service.reliability.change_at_date import ageing_after_date, change_at_date
from tests.unit.reliability.published import published_systems
from tests.verdicts import change
from tests.verdicts.invented_renewals import renewals


def asked(plant, date, **more):
    zero = np.zeros(len(plant.age))
    columns = {
        "begin_h": plant.begin, "end_h": plant.end, "age_h": plant.age, "entry_h": zero, "carried_h": zero,
        "failed": plant.failed, "running": plant.running, "position": plant.position, "class_number": zero.astype(int),
    }  # fmt: skip
    return change_at_date(date_h=date, **{**columns, **more})


def ageing(plant, date, **more):
    zero = np.zeros(len(plant.age))
    return ageing_after_date(
        date_h=date, begin_h=plant.begin, end_h=plant.end, age_h=plant.age, entry_h=zero, carried_h=zero,
        failed=plant.failed, running=plant.running, position=plant.position, class_number=zero.astype(int), orders=99,
        **more,
    )  # fmt: skip


def nelson_aalen(ages, failed, at):
    """The definition, lives from new."""
    return sum(
        sum(d and a == t for a, d in zip(ages, failed, strict=True)) / sum(a >= t for a in ages)
        for t in sorted({a for a, d in zip(ages, failed, strict=True) if d and a <= at})
    )


def test_p_of_one_position_is_that_of_all_its_orders():
    # one position, lives 5, 1, 4, 2 and one running since 12, looked at at 15; the date is 6: 24 orders by hand
    lives, date = [5.0, 1.0, 4.0, 2.0], 6.0
    ages, failed = [*lives, 3.0], [True] * 4 + [False]

    def t_of(order):
        begin, total = 0.0, 0.0
        for life in [*order, 3.0]:
            end = begin + life
            if end > date:
                inside = max(0.0, date - begin)
                spent = nelson_aalen(ages, failed, life) - (nelson_aalen(ages, failed, inside) if inside else 0.0)
                total += (end < 15.0) - spent
            begin = end
        return total

    t, every = t_of(lives), [t_of(order) for order in permutations(lives)]
    more, less = (np.mean([one >= t - 1e-9 for one in every]), np.mean([one <= t + 1e-9 for one in every]))
    begin = np.array([0.0, 5, 6, 10, 12])
    zero = np.zeros(5)
    found = change_at_date(
        date_h=date, begin_h=begin, end_h=begin + ages, age_h=np.array(ages), entry_h=zero, carried_h=zero,
        failed=np.array(failed), running=~np.array(failed), position=zero.astype(int), class_number=zero.astype(int),
        orders=20_000,
    )  # fmt: skip
    assert found.observed_after - found.expected_after == pytest.approx(t)
    assert found.p_value == pytest.approx(min(1.0, 2 * min(more, less)), abs=0.015)  # 4 errors of 20,000 orders
    assert found.lives == 4 and found.positions == 1


PLANT = renewals(np.random.default_rng(1), positions=80, shape=2.0, watch=3.0, sigma=0.3)


def test_failures_and_hazard_before_and_after_sum_to_all_failures():
    found = asked(PLANT, 1.7, orders=99)
    assert found.observed_before + found.observed_after == np.count_nonzero(PLANT.failed)
    assert found.expected_before + found.expected_after == pytest.approx(np.count_nonzero(PLANT.failed))


def test_another_unit_of_time_changes_nothing():
    first = asked(PLANT, 1.7, orders=199)
    hours = {name: 8766 * getattr(PLANT, name[:-2]) for name in ("begin_h", "end_h", "age_h")}
    second = asked(PLANT, 8766 * 1.7, orders=199, **hours)
    assert (second.p_value, second.power_for_doubling) == pytest.approx((first.p_value, first.power_for_doubling))
    assert second.ratio == pytest.approx(first.ratio)


def test_duty_is_the_rate_at_which_ages_grow():
    # half duty in every position: ages halved, dates unchanged, so the same split
    first, second = asked(PLANT, 1.7, orders=199), asked(PLANT, 1.7, orders=199, age_h=PLANT.age / 2)
    assert second.expected_after == pytest.approx(first.expected_after)
    assert second.p_value == first.p_value


def test_lives_of_another_class_or_entered_late_keep_their_places():
    # every second life of a position is of another class: with two lives of a class in a position at most, none moves
    few = renewals(np.random.default_rng(2), positions=40, shape=3.0, watch=2.0)
    alternating = np.arange(len(few.age)) % 2 + 2 * np.arange(len(few.age))
    found = asked(few, 1.0, class_number=alternating)
    assert (found.held, found.lives, found.p_value) == ("too_few", 0, None)
    late = asked(few, 1.0, entry_h=few.age / 2)
    assert late.held == "too_few"


def test_dates_outside_the_record_have_nothing_to_compare():
    assert asked(PLANT, -1.0).held == "too_few"
    assert asked(PLANT, 9.0).verdict(None) == "too_few"


def test_valve_seats_do_not_change_in_the_middle():
    # Nelson & Doganaksoy 1989: replacements of valve seats of 41 engines, no change known; several at one date are kept
    begin, end, failed, position = [], [], [], []
    for number, (events, stop) in enumerate(published_systems("valve_seat_recurrence")):
        edges = [0.0, *sorted(set(events)), stop]
        for a, b in pairwise(edges):
            if b > a:
                begin.append(a), end.append(b), failed.append(b != stop), position.append(number)
    begin, end, failed, position = (np.array(one) for one in (begin, end, failed, position))
    zero = np.zeros(len(begin))
    found = change_at_date(
        date_h=400.0, begin_h=begin, end_h=end, age_h=end - begin, entry_h=zero, carried_h=zero, failed=failed,
        running=~failed, position=position, class_number=zero.astype(int),
    )  # fmt: skip
    assert found.p_value > 0.05 and found.verdict(found.p_value) in ("no_evidence", "too_few")
    assert found.lives <= 39  # 39 lives in 15 positions with two or more, fewer of which lie about the date


def test_a_rate_cut_to_0_4_is_found_better():
    plant = change.changed(np.random.default_rng(3), 300, 2.0, 3.0)
    found = asked(plant, 1.5)
    assert found.verdict(found.p_value) == "better" and found.orders == 999
    assert 0.25 < found.crude_ratio < 0.65 and found.crude_ratio < found.ratio < 1
    assert found.verdict(0.2) == "no_evidence"


def test_the_factor_of_ageing_is_the_one_that_was_put_in():
    # shape 1: a rate cut to 0.4 is ageing 0.4 times as fast; shape 2: bearings fitted afterwards age 0.4^(1/2) times
    for shape in (1.0, 2.0):
        found = ageing(change.changed(np.random.default_rng(6), 300, shape, 3.0), 1.5)
        assert found.lower < 0.4 ** (1 / shape) < found.upper < 1
        assert found.lower < found.estimate < found.upper


def test_the_factor_is_1_where_nothing_changes_though_positions_differ():
    found = ageing(PLANT, 1.5)
    assert found.lower < 1 < found.upper and 0.6 < found.estimate < 1.6
    assert ageing(PLANT, -1.0).record() == {"estimate": None, "lower": None, "upper": None, "level": 0.95}


def test_claims_hold_on_invented_plants():
    # in short; 4 errors of a share
    for row in change.claims(plants=12, seed=4):
        below, above = (4 * max((p * (1 - p) / 12) ** 0.5, 0.7 / 12) for p in (row["least"], row["most"]))
        assert row["least"] - below <= row["share"] <= row["most"] + above, row
