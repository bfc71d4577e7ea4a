"""Makers, crews, work orders, designations and batches against others of their class and period."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from service.reliability.date_orders import date_orders
from service.reliability.date_runs import date_runs
from service.reliability.group_excess import group_excess
from service.reliability.month_runs import month_numbers, month_runs
from service.reliability.position_spread import spread_term
from service.reliability.stay_table import stay_table
from service.reliability.strata import crossed, periods
from service.units import Quantity
from tests.unit.reliability.tables import random_table, slow_expected
from tests.verdicts.plants import Setting, plant


def plain(detail):
    """A sentence with its hours as they are."""
    if isinstance(detail, str):
        return detail
    return "".join(f"{part.value:,.0f} h" if isinstance(part, Quantity) else part for part in detail)


def careless_crew(seed: int = 1, positions: int = 300):
    """Nine crews mixed on all positions; what crew 4 fits lasts 0.2 times as long."""
    rng = np.random.default_rng(seed)
    rows = []
    for position in range(positions):
        at = rng.uniform(0, 10_000)
        while at < 80_000:
            crew = int(rng.integers(9))
            age = 25_000 * rng.weibull(2) * (0.2 if crew == 4 else 1)
            rows.append((min(age, 80_000 - at), float(at + age < 80_000), position, at, min(at + age, 80_000), crew))
            at += age
    age, failed, position, begin, end, crew = (np.array(one) for one in zip(*rows, strict=True))
    position = position.astype(int)
    table = stay_table(age, failed, position=position, begin_h=begin, end_h=end, of_class=position % 2,
                       asset=position // 2)  # fmt: skip
    return table, crew.astype(np.int64)


CREWS = [f"crew {n}" for n in range(9)]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("within_h", [None, 9.0])
def test_numbers_are_those_of_the_definition(seed, within_h):
    table = random_table(seed)
    group = np.random.default_rng(seed).integers(0, 4, table.rows)
    until = np.inf if within_h is None else within_h
    stratum = crossed(table.of_class, periods(table.begin_h))
    failed = np.where(table.age_h <= until, table.failed, 0)
    cut = replace(table, failed=failed)
    mean = np.array(slow_expected(cut, stratum, until))
    by_class = np.array(slow_expected(cut, table.of_class, until))
    phi = spread_term(table.position, failed, by_class)
    found = group_excess(table, group, list("abcd"), keys=("manufacturer",), within_h=within_h)
    assert found.spread == pytest.approx(phi)
    for one in range(4):
        assert found.excess.observed[one] == failed[group == one].sum()
        assert found.excess.mean[one] == pytest.approx(mean[group == one].sum())
        squares = sum(
            by_class[(group == one) & (table.position == place)].sum() ** 2 for place in np.unique(table.position)
        )
        variance = 0.0
        for age in np.unique(table.age_h[failed > 0]):
            for s in np.unique(stratum):
                at_risk = (stratum == s) & (table.entry_h < age) & (table.age_h >= age)
                d = failed[(stratum == s) & (table.age_h == age)].sum()
                if d:
                    w = np.mean(group[at_risk] == one)
                    variance += d * w * (1 - w)
        assert found.excess.variance[one] == pytest.approx(variance + phi * squares)


@pytest.mark.parametrize("seed", range(4))
def test_expected_numbers_of_all_groups_sum_to_the_failures(seed):
    table = random_table(seed)
    group = np.random.default_rng(seed).integers(0, 5, table.rows)
    found = group_excess(table, group, list("abcde"), keys=("installer",)).excess
    assert found.mean.sum() == pytest.approx(table.failed.sum(), abs=1e-9)


def test_the_careless_crew_is_named_with_its_numbers_and_no_other():
    table, crew = careless_crew()
    found = group_excess(table, crew, CREWS, keys=("installer",), within_h=8_000)
    assert found.named == ["crew 4"]
    assert found.verdict().verdict == "worse"
    item = found.items(np.array([4]), lambda n: f"FAN-{n}")[0]
    seen = int(table.failed[(crew == 4) & (table.age_h <= 8_000)].sum())
    said = plain(item["detail"])
    assert said.startswith(
        "More of the bearings fitted by crew 4 failed within 8,000 h than of others of the same designation fitted in "
        f"the same period: {seen} against "
    )
    assert "because" not in said
    assert item["flagged"] and item["adjusted_p"] <= 0.05 and item["ratio"]["lower"] > 1


def test_what_is_shown_changes_no_number():
    table, crew = careless_crew()
    found = group_excess(table, crew, CREWS, keys=("installer",))
    everything = found.items(np.arange(9), str)
    assert found.items(np.array([7, 2]), str) == [everything[7], everything[2]]


def test_doubling_all_hours_and_dates_changes_no_p():
    table, crew = careless_crew(positions=60)
    doubled = replace(table, age_h=2 * table.age_h, begin_h=2 * table.begin_h, end_h=2 * table.end_h)
    one = group_excess(table, crew, CREWS, keys=("installer",), within_h=8_000).excess
    two = group_excess(doubled, crew, CREWS, keys=("installer",), within_h=16_000).excess
    assert two.p_value.tolist() == one.p_value.tolist()


def test_positions_are_compared_with_their_class_alone():
    table = random_table(3, classes=1)
    found = group_excess(table, table.position, [str(n) for n in range(12)], keys=("position",)).excess
    expected = np.array(slow_expected(table, table.of_class))
    for place in range(12):
        rows = table.position == place
        seen, total = table.failed[rows].sum(), int(table.failed.sum())
        oracle = 1.0 if seen == 0 else stats.binom.sf(seen - 1, total, expected[rows].sum() / total)
        assert found.p_value[place] == pytest.approx(oracle, rel=1e-6)


def test_a_group_that_is_its_whole_class_cannot_be_told_apart():
    table = random_table(1)
    found = group_excess(table, table.of_class, ["A", "B"], keys=("manufacturer",))
    item = found.items(np.array([0]), str)[0]
    assert (item["verdict"], item["p_value"]) == ("not_separable", None)
    assert found.verdict().verdict == "not_separable"


def test_machines_that_nobody_else_served_are_named_as_such():
    table, _ = careless_crew(positions=60)
    bad = np.isin(table.position, np.arange(12))
    failed_soon = replace(table, age_h=np.where(bad, table.age_h * 0.1, table.age_h))
    tied = np.where(bad, 0, 1)
    found = group_excess(failed_soon, tied, ["crew 0", "others"], keys=("installer",))
    assert found.served_alone.tolist() == [True, True]
    mixed = group_excess(table, careless_crew(positions=60)[1], CREWS, keys=("installer",))
    assert not mixed.served_alone.any()


def test_most_failures_on_one_machine_are_said():
    table, crew = careless_crew()
    on_one = replace(table, asset=np.where(crew == 4, 7, table.asset))
    found = group_excess(on_one, crew, CREWS, keys=("installer",), within_h=8_000)
    item = found.items(np.array([4]), lambda n: f"FAN-{n}")[0]
    assert item["largest_asset"]["asset"] == "FAN-7"
    assert "Most of them on FAN-7." in plain(item["detail"])


def test_two_bearings_of_one_day_are_too_few_and_this_is_said():
    table, _ = careless_crew(positions=60)
    order = np.arange(table.rows) // 2
    labels = [f"W{n}" for n in range(int(order.max()) + 1)]
    found = group_excess(table, order, labels, keys=("work_order",), within_h=2_000)
    assert found.verdict().verdict == "too_few"
    item = found.items(found.excess.order()[:1], str)[0]
    assert item["verdict"] == "too_few"
    assert "one day of work" in plain(item["detail"])


def test_two_of_two_early_are_enough_where_almost_nothing_is_expected():
    # M4: 2 of 2 with an expected number far below 0.01 among few work orders
    table, _ = careless_crew(positions=300)
    sound = replace(table, failed=np.where(table.age_h < 500, 0.0, table.failed), ended=table.ended)
    fresh = np.flatnonzero(table.begin_h > 40_000)[:2]
    age, failed = sound.age_h.copy(), sound.failed.copy()
    age[fresh], failed[fresh] = 100.0, 1.0
    early = replace(sound, age_h=age, failed=failed, ended=sound.ended | (failed > 0))
    group = np.full(table.rows, 1)
    group[fresh] = 0
    found = group_excess(early, group, ["W1", "others"], keys=("work_order",), within_h=300)
    assert found.excess.observed[0] == 2
    assert found.named == ["W1"]


def test_designations_differ_in_both_directions_within_their_role():
    table, _ = careless_crew()
    of_class = table.position % 3
    slow = replace(table, of_class=of_class, age_h=np.where(of_class == 2, table.age_h * 3, table.age_h))
    found = group_excess(slow, of_class, ["6205", "6305", "NU205"], keys=("designation",), role=table.position % 2)
    assert found.verdict().verdict == "differ"
    item = found.items(np.array([2]), str)[0]
    assert item["verdict"] == "differ"
    assert plain(item["detail"]).startswith("Fewer of the bearings of designation NU205 failed than of other")
    assert "no finding about anyone" in plain(item["detail"])


def test_a_window_must_be_above_zero():
    table = random_table(1)
    with pytest.raises(ValueError, match="window"):
        group_excess(table, table.of_class, ["A", "B"], keys=("manufacturer",), within_h=0)


def test_months_and_quarters_of_moments():
    # 2020-03-31T23:00Z and 2020-04-01T01:00Z, hours since 1970 by the calendar of the language
    moments = np.array(["2020-03-31T23:00", "2020-04-01T01:00"], dtype="datetime64[h]").astype(np.float64)
    assert month_numbers(moments).tolist() == [2020 * 12 + 2, 2020 * 12 + 3]
    assert month_numbers(moments, "quarter").tolist() == [2020 * 4, 2020 * 4 + 1]


def batch_plant(seed: int = 4, bad_maker: int | None = 2, positions: int = 400):
    """Ten years of three makers; bearings of maker C (None: of all) of 2014-03 to 2014-08 last 0.2 times as long."""
    rng = np.random.default_rng(seed)
    begin_h = float(np.datetime64("2010-01-15T00", "h").astype(np.int64))
    first, last = (2014 * 12 + 2), (2014 * 12 + 7)
    rows = []
    for position in range(positions):
        at = rng.uniform(0, 20_000)
        while at < 87_000:
            maker = int(rng.integers(3))
            month = int(month_numbers(np.array([begin_h + at]))[0])
            age = 22_000 * rng.weibull(2) * (0.2 if bad_maker in (None, maker) and first <= month <= last else 1)
            rows.append((min(age, 87_000 - at), float(at + age < 87_000), position, begin_h + at,
                         begin_h + min(at + age, 87_000), maker))  # fmt: skip
            at += age
    age, failed, position, begin, end, maker = (np.array(one) for one in zip(*rows, strict=True))
    table = stay_table(age, failed, position=position.astype(int), begin_h=begin, end_h=end)
    return table, maker.astype(np.int64)


def test_the_bad_batch_is_found_where_it_is():
    table, maker = batch_plant()
    found = month_runs(table, maker, ["Maker A", "Maker B", "Maker C"])
    assert found.verdict().verdict == "worse"
    best = found.runs[0]
    assert best.value == 2
    assert 2014 * 12 + 1 <= best.first <= 2014 * 12 + 3 and 2014 * 12 + 6 <= best.last <= 2014 * 12 + 8
    item = found.items(str)[0]
    assert item["group"].startswith("Maker C / 2014-0")
    assert set(item["keys"]["fitted_month"]) == {"from", "to"}
    assert item["flagged"]
    assert len(found.named) == 1
    quarters = month_runs(table, maker, ["Maker A", "Maker B", "Maker C"], unit="quarter")
    assert quarters.runs[0].value == 2
    assert quarters.named[0] == "Maker C / 2014-Q1..2014-Q3" or quarters.named[0].startswith("Maker C / 2014-Q")


def test_number_of_runs_is_that_of_ten_years_and_three_makers():
    # 121 months: 3 x sum of (121 - L + 1) for L = 1 .. 12 = 4,158
    begin = np.linspace(0, 120.5 * 730.5, 400)
    table = stay_table(np.full(400, 10.0), np.ones(400), position=np.arange(400), begin_h=begin, end_h=begin + 10)
    found = month_runs(table, np.arange(400) % 3, ["A", "B", "C"])
    assert int(month_numbers(begin).max()) == 1970 * 12 + 120
    assert found.family == 4_158


def test_the_best_run_is_that_of_a_slow_search():
    table, maker = batch_plant(seed=9)
    few = np.flatnonzero(table.position < 60)
    table = stay_table(table.age_h[few], table.failed[few], position=table.position[few], begin_h=table.begin_h[few],
                       end_h=table.end_h[few])  # fmt: skip
    maker = maker[few]
    stratum = periods(table.begin_h)
    expected = np.array(slow_expected(table, stratum))
    month = month_numbers(table.begin_h)
    best = (2.0, 0, 0, 0)
    for value in range(3):
        for first in range(int(month.min()), int(month.max()) + 1):
            for last in range(first, min(first + 12, int(month.max()) + 1)):
                rows = (maker == value) & (month >= first) & (month <= last)
                seen, due = table.failed[rows].sum(), expected[rows].sum()
                if seen and due > 0:
                    best = min(best, (stats.poisson.sf(seen - 1, due), value, first, last))
    found = month_runs(table, maker, ["A", "B", "C"])
    assert found.runs[0].p_value == pytest.approx(best[0], rel=1e-6)
    assert found.runs[0].value == best[1]


def test_months_alone_find_a_bad_batch_of_everybody():
    table, _ = batch_plant(bad_maker=None)
    found = date_runs(table, orders=199)
    assert found.verdict().verdict == "worse"
    best = found.runs[0]
    assert 2014 * 12 + 1 <= best.first <= 2014 * 12 + 3 and 2014 * 12 + 6 <= best.last <= 2014 * 12 + 8
    item = found.items(str)[0]
    assert "in the same positions, whoever and whatever was fitted then" in plain(item["detail"])
    assert item["group"].count("/") == 0
    years = date_runs(table, unit="year", orders=199)
    assert years.named == ["2014"]


def test_dates_alone_are_refused_where_they_would_be_judged_against_the_class():
    table, _ = batch_plant()
    year = month_numbers(table.begin_h, "year") - 2010
    with pytest.raises(ValueError, match="date_runs"):
        group_excess(table, year, [str(n) for n in range(30)], keys=("fitted_year",))


@pytest.mark.parametrize("seed", range(4))
def test_other_orders_keep_lives_positions_and_the_end_of_watch(seed):
    table = random_table(seed)
    places = date_orders(table)
    moved = 0
    for row, begin_h in places.drawn(5, seed):
        assert sorted(row.tolist()) == list(range(table.rows))
        seen = np.empty(table.rows)
        seen[row] = begin_h
        moved += int(np.count_nonzero(seen != table.begin_h))
        for place in np.unique(table.position):
            mine = table.position == place
            order = np.argsort(seen[mine])
            begin, age = seen[mine][order], (table.end_h - table.begin_h)[mine][order]
            # one after the other without gaps, as in the table, from the same first fitting
            assert begin[0] == table.begin_h[mine].min()
            assert begin[1:] == pytest.approx(begin[:-1] + age[:-1])
            still = mine & ~(table.ended & (table.entry_h == 0))
            assert seen[still] == pytest.approx(table.begin_h[still])
    assert moved > 0


def test_random_orders_are_always_the_same():
    table, _ = batch_plant(positions=60)
    assert date_runs(table, orders=99).runs == date_runs(table, orders=99).runs


@pytest.mark.parametrize(
    "setting", [Setting(2, 10, 1), Setting(3, 300, 1, 0.0, "late_entry")], ids=lambda one: one.name
)
def test_where_hardly_a_life_can_change_places_no_date_is_named(setting):
    # all orders are alike then; taken as the best of them, the one that was seen named a year in 6 of 10 plants
    found = [date_runs(plant(setting, seed).table, unit="year", orders=99) for seed in range(1, 25)]
    assert sum(bool(one.named) for one in found) <= 5  # 24 at 5 %: six or more with probability 0.001
    table = stay_table([5.0, 6.0, 7.0], [1, 1, 0], position=[0, 1, 1], begin_h=[0, 0, 6.0], end_h=[5.0, 6.0, 13.0],
                       ended=[True, True, False])  # fmt: skip
    still = date_runs(table, unit="year", orders=99)
    assert still.runs[0].adjusted_p == 1 and still.named == []


def test_removals_by_plan_that_begin_half_way_hide_the_dates():
    table, _ = batch_plant()
    half = (table.begin_h.min() + table.begin_h.max()) / 2
    planned = (table.failed > 0) & (table.begin_h > half) & (np.arange(table.rows) % 2 == 0)
    cut = replace(table, failed=np.where(planned, 0.0, table.failed), age_h=np.where(planned, table.age_h * 0.5,
                                                                                     table.age_h))  # fmt: skip
    found = date_runs(cut, orders=99)
    assert found.verdict().verdict == "not_separable"
    assert found.named == [] and found.items(str)[0]["verdict"] == "not_separable"


def test_nothing_failed_is_too_few():
    table = stay_table([5.0, 6.0], [0, 0], position=[0, 1], begin_h=[0, 0], end_h=[5.0, 6.0])
    assert date_runs(table, orders=19).verdict().verdict == "too_few"
    assert month_runs(table, table.position, ["a", "b"]).verdict().verdict == "too_few"
    assert group_excess(table, table.position, ["a", "b"], keys=("installer",)).verdict().verdict == "too_few"
