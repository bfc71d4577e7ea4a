"""Runs of months of fitting that stand out whoever and whatever was fitted in them, by orders within positions."""

import itertools
from typing import Final

import numpy as np

from service.reliability.class_hazard import stay_expected
from service.reliability.date_orders import date_orders
from service.reliability.excess import NOTHING
from service.reliability.life_order import life_order, planned_test, said_cut_short
from service.reliability.lives import Bools, Floats
from service.reliability.month_runs import (
    LONGEST,
    MONTHS,
    MonthRuns,
    Run,
    RunSums,
    Unit,
    disjoint_runs,
    largest_machine,
    month_numbers,
    run_sums,
)
from service.reliability.place_excess import windowed
from service.reliability.policy import LEVEL, floored_p
from service.reliability.stay_table import StayTable
from service.reliability.strata import totals
from service.reliability.tails import tail

ORDERS_TEST: Final = "runs_in_random_orders"
MANY_STAYS: Final = 2_000
MANY_ORDERS: Final = 999
FEW_ORDERS: Final = 199
SEED: Final = 19_930_101
ROUNDING: Final = 1e-9


def date_runs(
    table: StayTable,
    *,
    unit: Unit = "month",
    within_h: float | None = None,
    planned: Bools | None = None,
    orders: int | None = None,
    seed: int = SEED,
) -> MonthRuns:
    """Return the runs of months of fitting that stand out, whoever and whatever was fitted in them.

    A run is judged by random orders of the lives within their positions: its expected number is that of the class
    times the ratio of seen to expected failures of the same run in all orders, and the adjusted p is the share of
    orders whose best run is as good as this one. Against the class alone, positions that differ make late months look
    bad: a false claim in up to 82 % [simulated].

    Parameters
    ----------
    table : StayTable
        Stays of the whole site.
    unit : str
        month: runs of 1 to 12; quarter: of 1 to 4; year: single years.
    within_h : float, optional
        Failures within this many hours of fitting; whole lives by default, [h]
    planned : ndarray of bool, shape (n,), optional
        The stay was ended by a removal by plan; by default what ended and did not fail. Where such removals became more
        or less frequent, lives are cut short by date and nothing is told apart.
    orders : int, optional
        Random orders; 999, and 199 beyond 2,000 stays, by default, [-]

    Source
    ------
    Westfall & Young 1993, Resampling-Based Multiple Testing: the smallest p over all orders.
    """
    number = orders if orders is not None else MANY_ORDERS if table.rows <= MANY_STAYS else FEW_ORDERS
    age, entry, failed = windowed(table, within_h)
    expected = stay_expected(age, entry, failed, table.of_class)
    start, months, edges_h = _months(table, unit)
    places = date_orders(table)
    as_seen = (np.arange(table.rows), table.begin_h)
    sums = []
    for row, begin_h in itertools.chain((as_seen,), places.drawn(number, seed)):
        month = np.searchsorted(edges_h, begin_h, side="right")
        sums.append([totals(month, one[row], months) for one in (np.ones(table.rows), failed, expected)])
    of_orders = [np.array([one[n] for one in sums]) for n in range(3)]
    runs = run_sums(of_orders, LONGEST[unit])  # the first order is the one that was seen
    chosen, run_level = _best_of_orders(runs, start)
    in_month = month_numbers(table.begin_h, unit)
    inside = [(in_month >= run.first) & (in_month <= run.last) for run in chosen]
    machines = tuple(largest_machine(table.asset[rows], failed[rows]) for rows in inside)
    largest = float(runs.expected[0].max(initial=0.0))
    guard = planned_test(life_order(table), table.ended & (table.failed == 0) if planned is None else planned)
    cut_short = None if guard is None or guard.p_value >= LEVEL else said_cut_short("Dates of fitting", guard)
    return MonthRuns([""], unit, within_h, len(runs.first), tuple(chosen), float(failed.sum()), largest, machines,
                     run_level, ORDERS_TEST, cut_short)  # fmt: skip


def _months(table: StayTable, unit: Unit) -> tuple[int, int, Floats]:
    """Return the first month, how many there are, and the moments at which the second and each later one begin, [h]."""
    number = month_numbers(table.begin_h, unit)
    start = int(number.min())
    months = int(number.max()) - start + 1
    calendar = (start + 1 + np.arange(months - 1)) * MONTHS[unit] - 1970 * 12
    begins = calendar.astype("datetime64[M]").astype("datetime64[h]").astype(np.float64)
    return start, months, begins


def _best_of_orders(runs: RunSums, start: int) -> tuple[list[Run], float]:
    """Return the runs that stand out in the order seen, the first, and the p of a run that is enough."""
    orders = len(runs.observed)
    due = runs.expected.sum(axis=0)
    ratio = np.divide(runs.observed.sum(axis=0), due, out=np.zeros_like(due), where=due > NOTHING)
    corrected = runs.expected * ratio
    possible = (corrected > NOTHING) & (runs.observed > NOTHING)
    # what has no more failures than expected is nothing to be named, in the order seen as in the others: where hardly a
    # life can change places, all orders are alike and p is 1
    worth = possible & (runs.observed > corrected * (1 + ROUNDING))
    p = np.ones_like(corrected)
    p[worth] = tail(runs.observed[worth], corrected[worth], corrected[worth])
    smallest = np.sort(p.min(axis=1))
    column = np.flatnonzero(possible[0])
    of_seen = p[0, column]
    # a p that differs by rounding alone is the same p
    adjusted = floored_p(np.searchsorted(smallest, of_seen * (1 + ROUNDING), side="right") / orders)
    value = np.zeros(len(column), dtype=np.int64)
    plain = tail(runs.observed[0, column], corrected[0, column], corrected[0, column])
    found = disjoint_runs(runs, value, column, corrected[0, column], plain, adjusted, start)
    return found, float(smallest[max(int(LEVEL * orders) - 1, 0)])
