"""Whether bearings of the same positions fail more, or less, after a date that is given: orders within positions."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from scipy.special import ndtr

from service.findings import Source
from service.reliability.exchanged_lives import Plant, Split
from service.reliability.life_order import OrderTest, class_test, said_left_out, said_mixed
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.stay_table import StayTable
from service.reliability.weibull_limits import normal_quantile

ORDERS: Final = 999
FEWER_ORDERS: Final = 199
MANY_STAYS: Final = 10_000  # above: fewer orders
SEED: Final = 20140101
LEVEL_OF_CLAIMS: Final = 0.05
LITTLE_POWER: Final = 0.2
RATIO_LOOKED_FOR: Final = 2.0
LARGEST_LOG_FACTOR: Final = 2.0
LOG_FACTOR_TOLERANCE: Final = 0.02
SOURCE: Final = Source(
    "order_within_positions",
    "Exchangeable orders of the lives of a position: the joint density does not know the order",
    "calculation",
)


@dataclass(frozen=True, slots=True)
class ChangeAtDate:
    """Failures and hazard spent before and after the date, and how both stand among random orders.

    ``crude_ratio`` is the rate after over the rate before, each against the hazard of the class; where positions differ
    it is above 1 though nothing changes (1.1 to 1.4 in simulations). ``ratio`` is that over its median among the
    orders: near 1 where nothing changes, but nearer to 1 than a true change (a rate cut to 0.4 gives 0.6 to 0.9), since
    the orders hold the changed lives too. None where one side has no failures. ``held`` says why nothing can be told.
    """

    observed_before: float
    expected_before: float
    observed_after: float
    expected_after: float
    crude_ratio: float | None
    ratio: float | None
    higher_after: bool | None
    p_value: float | None
    orders: int
    lives: int
    positions: int
    held: str | None
    reason: str
    power_for_doubling: float | None
    needed_failures: int | None
    test: str = "order_within_positions"

    def verdict(self, adjusted_p: float | None) -> str:
        """Return the verdict once the p-value is adjusted: worse means a higher rate after the date."""
        if self.held is not None or adjusted_p is None:
            return self.held or "too_few"
        if adjusted_p <= LEVEL_OF_CLAIMS:
            return "worse" if self.higher_after else "better"
        few = self.power_for_doubling is not None and self.power_for_doubling < LITTLE_POWER
        return "too_few" if few else "no_evidence"

    def record(self) -> dict[str, Any]:
        """Return the wire members, without the verdict."""
        return {
            "before": {"observed": self.observed_before, "expected": self.expected_before},
            "after": {"observed": self.observed_after, "expected": self.expected_after},
            "crude_ratio": self.crude_ratio,
            "ratio": self.ratio,
            "p_value": self.p_value,
            "test": self.test,
            "orders": self.orders,
            "lives": self.lives,
            "positions": self.positions,
            "power_for_doubling": self.power_for_doubling,
            "needed_failures": self.needed_failures,
        }


def change_at_date(
    *,
    date_h: float,
    begin_h: Floats,
    end_h: Floats,
    age_h: Floats,
    entry_h: Floats,
    carried_h: Floats,
    failed: Bools,
    running: Bools,
    position: Ints,
    class_number: Ints,
    followed: Bools | None = None,
    orders: int | None = None,
) -> ChangeAtDate:
    """Return whether the rate of failure is another after a date.

    T is the failures after the date less the hazard spent after it, by Nelson-Aalen of the class. Under the null the
    lives that ended in a position may have come in any order: they are put into random orders, their dates counted
    anew from the first fitting of the position, the running life last. Exact whatever the law of life and however
    positions differ. The date must be known beforehand, not searched for.

    Parameters
    ----------
    date_h : float
        The date, on the clock of ``begin_h``, [h]
    begin_h, end_h : ndarray, shape (n,)
        Moments of fitting and of removal (or of looking, when running), calendar, [h]
    age_h, entry_h, carried_h : ndarray, shape (n,)
        Age at the end, at the beginning of observation, and at fitting, [h]
    failed, running : ndarray of bool, shape (n,)
        How each stay ended. Neither: removed sound.
    position, class_number : ndarray of int, shape (n,)
        Position, and class (what makes bearings alike), from 0. Lives change places within both only.
    followed : ndarray of bool, shape (n,), optional
        Lives that may change places: a bearing of the same class followed them (see ``StayTable.followed``); by
        default by these columns.
    orders : int, optional
        Number of random orders; 999, or 199 above 10,000 stays, by default.

    Source
    ------
    Permutation test of exchangeable lives: Lehmann & Romano 2005, Testing Statistical Hypotheses, ch. 15 (from memory).
    """
    plant = Plant.of(begin_h, end_h, age_h, entry_h, carried_h, failed, running, position, class_number, followed)
    now = plant.after(date_h, np.arange(len(begin_h)))
    total = Split(float(np.count_nonzero(failed)), float(plant.spent.sum()))
    after = Split(now.observed, now.expected)
    before = Split(total.observed - after.observed, total.expected - after.expected)
    part = plant.crossing(date_h)
    drawn = orders if orders is not None else (FEWER_ORDERS if len(begin_h) > MANY_STAYS else ORDERS)
    lives_moved, places = int(np.count_nonzero(part.movable)), len(np.unique(part.position[part.movable]))
    nothing = ChangeAtDate(
        before.observed, before.expected, after.observed, after.expected, _raw_ratio(total, after), None, None, None, 0,
        lives_moved, places,
        "too_few", "no position has two lives that ended in turn and lie about the date", None, None,
    )  # fmt: skip
    if lives_moved == 0:
        return nothing
    own = part.after(date_h, np.arange(len(part.begin_h)))
    fixed = Split(after.observed - own.observed, after.expected - own.expected)
    rng = np.random.default_rng(SEED)
    null = [part.after(date_h, part.shuffled(rng)) for _ in range(drawn)]
    sides = [Split(one.observed + fixed.observed, one.expected + fixed.expected) for one in null]
    t, t_null = after.observed - after.expected, np.array([one.observed - one.expected for one in sides])
    slack = 1e-9 * (1 + abs(t))  # sums of the same hazards in another order
    more, less = int(np.count_nonzero(t_null >= t - slack)), int(np.count_nonzero(t_null <= t + slack))
    power, needed = _power(total, after, t_null)
    return replace(
        nothing,
        ratio=_ratio(total, after, sides),
        higher_after=bool(t > np.median(t_null)),
        p_value=min(1.0, 2 * min(1 + more, 1 + less) / (drawn + 1)),
        orders=drawn,
        held=None,
        reason="",
        power_for_doubling=power,
        needed_failures=needed,
    )


def not_hidden(found: ChangeAtDate, table: StayTable, left_out: OrderTest | None) -> ChangeAtDate:
    """Return the answer, ``not_separable`` where other bearings being fitted, or lives left out, may have made it.

    Removals by plan need no such guard: what is compared is failures against the hazard spent (claims in 4 % of plants
    with a limit of age begun at the date [simulated]).
    """
    for guard, said_of in ((class_test(table), said_mixed), (left_out, said_left_out)):
        if found.held is None and guard is not None and guard.p_value < LEVEL_OF_CLAIMS:
            said = said_of("A change at the date", guard)
            return replace(found, held="not_separable", reason=said, power_for_doubling=None, needed_failures=None)
    return found


@dataclass(frozen=True, slots=True)
class AgeingAfterDate:
    """How many times as fast bearings age after the date as before, with limits; None: beyond the factors tried, [-]"""

    estimate: float | None
    lower: float | None
    upper: float | None
    level: float

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"estimate": self.estimate, "lower": self.lower, "upper": self.upper, "level": self.level}


def ageing_after_date(
    *,
    date_h: float,
    begin_h: Floats,
    end_h: Floats,
    age_h: Floats,
    entry_h: Floats,
    carried_h: Floats,
    failed: Bools,
    running: Bools,
    position: Ints,
    class_number: Ints,
    followed: Bools | None = None,
    orders: int = FEWER_ORDERS,
    level: float = 0.95,
) -> AgeingAfterDate:
    """Return how many times as fast bearings age after the date, from the same columns as ``change_at_date``.

    The time after the date is stretched by a factor until T stands in the middle of its orders: then the lives may
    have come in any order again. The limits are the factors at which it stands at the edge of the level. With a shape
    beta the failure rate of a bearing fitted after the date is factor^beta times that before; with beta 1 it is the
    factor. Unlike a ratio of rates it is not drawn to 1 by the changed lives among the orders.
    """
    lengths = end_h - begin_h

    def _z(log_factor: float) -> float:
        factor = float(np.exp(log_factor))
        begin, end = (date_h + np.where(one > date_h, factor, 1.0) * (one - date_h) for one in (begin_h, end_h))
        rate = (age_h - carried_h) / np.maximum(lengths, 1e-300)
        seen = begin_h + (entry_h - carried_h) / np.where(rate > 0, rate, 1.0)
        seen = date_h + np.where(seen > date_h, factor, 1.0) * (seen - date_h)
        entry = np.where(entry_h > carried_h, carried_h + (seen - begin) * rate, entry_h)
        age = carried_h + (end - begin) * rate
        plant = Plant.of(begin, end, age, entry, carried_h, failed, running, position, class_number, followed)
        part = plant.crossing(date_h)
        if not part.movable.any():
            return 0.0
        rng = np.random.default_rng(SEED)
        null = [part.after(date_h, part.shuffled(rng)) for _ in range(orders)]
        own = part.after(date_h, np.arange(len(part.begin_h)))
        t = np.array([one.observed - one.expected for one in null])
        spread = float(t.std())
        return float((own.observed - own.expected - t.mean()) / spread) if spread > 0 else 0.0

    edge = normal_quantile(level)
    estimate, lower, upper = (_factor(_z, at) for at in (0.0, edge, -edge))
    return AgeingAfterDate(estimate, lower, upper, level)


def _factor(z: Callable[[float], float], at: float) -> float | None:
    """Return the factor at which z, falling in its logarithm, takes a value; None beyond the factors tried."""
    low, high = -LARGEST_LOG_FACTOR, LARGEST_LOG_FACTOR
    if not z(low) > at > z(high):
        return None
    while high - low > LOG_FACTOR_TOLERANCE:
        middle = (low + high) / 2
        low, high = (middle, high) if z(middle) > at else (low, middle)
    return float(np.exp((low + high) / 2))


def _ratio(total: Split, after: Split, null: list[Split]) -> float | None:
    """Return the ratio of the rates over its median among the orders, [-]; None where a side has no failures."""
    own = _raw_ratio(total, after)
    usable = [one for one in (_raw_ratio(total, each) for each in null) if one is not None]
    if own is None or len(usable) < len(null) / 2 or not own > 0:
        return None
    return own / float(np.median(usable))


def _raw_ratio(total: Split, after: Split) -> float | None:
    observed, expected = total.observed - after.observed, total.expected - after.expected
    if observed <= 0 or expected <= 0 or after.expected <= 0:
        return None
    return (after.observed / after.expected) / (observed / expected)


def _power(total: Split, after: Split, t_null: Floats) -> tuple[float, int | None]:
    """Return the chance that a doubled (or halved) rate would be seen, and the failures needed for 80 %.

    The shift of T when the rate doubles: with a share f of the hazard spent after the date, O f (1 - f) / (1 + f).
    """
    spread = float(t_null.std())
    share = after.expected / total.expected if total.expected > 0 else 0.0
    shift = total.observed * share * (1 - share) * (RATIO_LOOKED_FOR - 1) / (1 + share * (RATIO_LOOKED_FOR - 1))
    if spread <= 0 or shift <= 0:
        return 0.0, None
    z, enough = shift / spread, normal_quantile(1 - LEVEL_OF_CLAIMS)
    needed = total.observed * ((enough + 0.8416) / z) ** 2
    return float(ndtr(z - enough)), int(np.ceil(needed))
