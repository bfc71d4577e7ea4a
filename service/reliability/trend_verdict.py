"""Are later bearings of the same positions worse than earlier ones: the verdict on the order of their lives."""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service.reliability.life_order import (
    LifeOrder,
    OrderTest,
    YearlyFall,
    class_test,
    life_order,
    life_scores,
    order_test,
    planned_test,
    said_cut_short,
    said_left_out,
    said_mixed,
    yearly_fall,
)
from service.reliability.lives import Bools, lives
from service.reliability.policy import (
    LEVEL,
    Verdict,
    needed_times,
    normal_power,
    said_p,
    said_power,
    without_claim,
)
from service.reliability.stay_table import StayTable
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import normal_quantile
from service.words import Outcome

TEST: Final = "order_within_positions"
FEWEST_OF_ONE: Final = 5  # lives of a single position: four come in 24 orders, so p cannot be below 0.083
LARGEST_SHAPE: Final = 5.0  # taken for the power; above it the sentence would promise too much
HALVING: Final = "a halving of life over the time watched"


@dataclass(frozen=True, slots=True)
class TrendVerdict:
    """The verdict, with what it stands on.

    Attributes
    ----------
    verdict : Verdict
        worse, better, no_evidence, too_few or not_separable.
    z : float or None
        Above zero: later lives are shorter, [-]
    lives, positions : int
        Compared, [-]
    change_per_year : tuple of float or None
        Relative change of life a year, -0.1 for a tenth less, with its lower and upper limit, [1/year]
    """

    verdict: Verdict
    z: float | None
    lives: int
    positions: int
    change_per_year: tuple[float | None, float | None, float | None]

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        estimate, lower, upper = self.change_per_year
        change = {"estimate": estimate, "lower": lower, "upper": upper}
        return {
            **self.verdict.record(),
            "z": self.z,
            "lives": self.lives,
            "positions": self.positions,
            "life_change_per_year": None if estimate is None else change,
        }


def trend_verdict(
    table: StayTable,
    *,
    planned: Bools | None = None,
    left_out: OrderTest | None = None,
    with_change: bool = True,
    level: float = 0.95,
) -> TrendVerdict:
    """Return whether later lives of the same positions are shorter, or longer, than earlier ones.

    Parameters
    ----------
    table : StayTable
        Stays of the population asked about.
    planned : ndarray of bool, shape (n,), optional
        The stay was ended by a removal by plan; by default what ended and did not fail.
    left_out : OrderTest, optional
        Of the lives that are left out, among all lives of the positions.
    with_change : bool
        Also estimate the change of life a year; it takes most of the time.
    level : float
        Of the limits of that change, [-]

    Notes
    -----
    Level [simulated]: both directions together at most 0.08 in 48 settings of shape, number of positions, time watched,
    and like or differing positions. A test with the date as covariate says "worse" in up to 100 % there.
    """
    by_plan = table.ended & (table.failed == 0) if planned is None else planned
    order = life_order(table)
    test = order_test(order, life_scores(table)[order.row])
    reachable = 2 / order.orders <= LEVEL and not (order.positions == 1 and order.lives < FEWEST_OF_ONE)
    if test is None or not reachable:
        z = None if test is None else test.z
        said = f"Too few lives to see a trend: {order.lives} in positions with two or more."
        if test is None and order.lives > 0:
            said = (
                f"The {order.lives} lives of positions with two or more do not differ within any: no order is a trend."
            )
        needed = _needed_where_none(table, order)
        return TrendVerdict(Verdict("too_few", said, TEST, None, None, needed, 0.0), z, order.lives, order.positions,
                            (None, None, None))  # fmt: skip
    change = _change(yearly_fall(table, order, z_limit=normal_quantile(level))) if with_change else (None, None, None)
    guards = (
        (planned_test(order, by_plan), said_cut_short),
        (class_test(table), said_mixed),
        (left_out, said_left_out),
    )
    for guard, said_of in guards:
        if guard is not None and guard.p_value < LEVEL:
            said = said_of("A trend of lives", guard)
            hidden = Verdict("not_separable", said, TEST, test.p_value, test.p_value)
            return TrendVerdict(hidden, test.z, order.lives, order.positions, change)
    return TrendVerdict(_judged(table, order, test), test.z, order.lives, order.positions, change)


def _judged(table: StayTable, order: LifeOrder, test: OrderTest) -> Verdict:
    z = _shape(table) * math.log(2) / order.mean_watch_years * math.sqrt(order.centre_squares)
    power = normal_power(z)
    p, of = test.p_value, f"{order.lives} lives in {order.positions} positions"
    if p <= LEVEL:
        outcome: Outcome = "worse" if test.z > 0 else "better"
        longer = "last less long" if test.z > 0 else "last longer"
        said = f"Later bearings in the same positions {longer} than earlier ones ({said_p(p)}; {of})."
        return Verdict(outcome, said, TEST, p, p, None, power)
    outcome = without_claim(power)
    needed = math.ceil(float(table.failed.sum()) * needed_times(z))
    seen = said_power(power, needed, outcome == "too_few", HALVING)
    return Verdict(outcome, f"No trend seen ({said_p(p)}; {of}). {seen}", TEST, p, p, needed, power)


def _change(fall: YearlyFall) -> tuple[float | None, float | None, float | None]:
    lower, estimate, upper = (None if one is None else math.expm1(-one) for one in (fall.upper, fall.estimate,
                                                                                   fall.lower))  # fmt: skip
    return estimate, lower, upper


def _shape(table: StayTable) -> float:
    """Return the shape of the classes, weighted by their failures; 1 where nothing can be fitted, [-]."""
    _, number = np.unique(table.of_class, return_inverse=True)
    fits = weibull_fits(lives(table.age_h, table.failed >= 0.5, entry_h=table.entry_h, group=number))
    if len(fits.group) == 0:
        return 1.0
    return float(np.average(np.minimum(fits.shape, LARGEST_SHAPE), weights=fits.failures))


def _needed_where_none(table: StayTable, order: LifeOrder) -> int | None:
    """Return the failures at which a halving is seen, by the lives there are; None where they tell nothing."""
    if order.lives == 0 or not order.centre_squares > 0:
        return None
    z = _shape(table) * math.log(2) / order.mean_watch_years * math.sqrt(order.centre_squares)
    return math.ceil(float(table.failed.sum()) * needed_times(z))
