"""Cumulative hazards of classes with ties and late entry, strata, and sums of the log-rank test, against slow loops."""

import numpy as np
import pytest
from scipy import stats

from service.reliability.class_hazard import stay_expected
from service.reliability.kaplan_meier import survival_steps
from service.reliability.log_rank_sums import log_rank_sums
from service.reliability.strata import crossed, periods
from tests.unit.reliability.published import published_lives
from tests.unit.reliability.tables import random_table, slow_expected


@pytest.mark.parametrize("seed", range(8))
def test_expected_numbers_are_those_of_the_definition(seed):
    table = random_table(seed)
    found = stay_expected(table.age_h, table.entry_h, table.failed, table.of_class)
    assert found.tolist() == pytest.approx(slow_expected(table, table.of_class), abs=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_expected_numbers_of_a_class_sum_to_its_failures(seed):
    table = random_table(seed, classes=3)
    found = stay_expected(table.age_h, table.entry_h, table.failed, table.of_class)
    for one in range(3):
        rows = table.of_class == one
        assert found[rows].sum() == pytest.approx(table.failed[rows].sum(), abs=1e-9)


def test_a_failure_shared_out_counts_by_its_share():
    table = random_table(3)
    shared = table.failed * 0.4
    found = stay_expected(table.age_h, table.entry_h, shared, table.of_class)
    whole = stay_expected(table.age_h, table.entry_h, table.failed, table.of_class)
    assert found == pytest.approx(0.4 * whole)


def test_it_is_the_cumulative_hazard_of_the_6_mp_trial():
    # Freireich et al. 1963: 0.7521 at 23 weeks, Nelson-Aalen worked out by hand: 3/21 + 1/17 + 1/15 + 1/12 + ...
    data = published_lives("gehan_6mp")
    age = np.repeat(data.time_h, data.count.astype(int))
    failed = np.repeat(data.failed, data.count.astype(int)).astype(float)
    found = stay_expected(age, np.zeros_like(age), failed, np.zeros(len(age), dtype=np.int64))
    by_hand = 3 / 21 + 1 / 17 + 1 / 15 + 1 / 12 + 1 / 11 + 1 / 7 + 1 / 6
    assert found[age == 23].tolist() == pytest.approx([by_hand])
    assert by_hand == pytest.approx(survival_steps(data).cumulative_hazard[-1])


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("groups", [3, 40])
def test_log_rank_sums_are_those_of_the_definition(seed, groups):
    table = random_table(seed)
    group = np.random.default_rng(seed).integers(0, groups, table.rows)
    stratum = crossed(table.of_class, periods(table.begin_h))
    mean, variance = np.zeros(groups), np.zeros(groups)
    for one in np.unique(stratum):
        rows = stratum == one
        for age in np.unique(table.age_h[rows & (table.failed > 0)]):
            at_risk = rows & (table.entry_h < age) & (table.age_h >= age)
            share = np.bincount(group[at_risk], minlength=groups) / at_risk.sum()
            d = int((rows & (table.age_h == age)).astype(float) @ table.failed)
            mean += d * share
            variance += d * share * (1 - share)
    found = log_rank_sums(table.age_h, table.entry_h, table.failed, stratum, group, groups)
    assert found.observed.tolist() == np.bincount(group, table.failed, groups).tolist()
    assert found.mean.tolist() == pytest.approx(mean.tolist(), abs=1e-9)
    assert found.variance.tolist() == pytest.approx(variance.tolist(), abs=1e-9)


def test_eight_periods_of_equal_size():
    begin = np.random.default_rng(1).permutation(80).astype(float)
    found = periods(begin)
    assert np.bincount(found).tolist() == [10] * 8
    assert (stats.spearmanr(found, begin).statistic) > 0.98  # earlier fittings stand in earlier periods


def test_each_site_is_cut_at_dates_of_its_own():
    begin = np.concatenate((np.arange(16.0), 1000 + np.arange(16.0)))
    site = np.repeat([0, 1], 16)
    assert periods(begin, site).tolist() == [*np.repeat(np.arange(8), 2)] * 2


def test_periods_do_not_change_when_dates_are_doubled():
    begin = np.random.default_rng(2).uniform(0, 1e5, 57)
    assert periods(2 * begin).tolist() == periods(begin).tolist()


def test_one_date_for_all_is_one_period():
    assert len(np.unique(periods(np.full(20, 7.0)))) == 1
