"""Whether bearings of the same positions fail more, or less, after a date that is given: orders within positions."""

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from scipy.special import ndtr

from service.findings import Source
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Bools, Floats, Ints, lives
from service.reliability.weibull_limits import normal_quantile

ORDERS: Final = 999
FEWER_ORDERS: Final = 199
MANY_STAYS: Final = 20_000  # above: fewer orders
SEED: Final = 20140101
LEVEL_OF_CLAIMS: Final = 0.05
LITTLE_POWER: Final = 0.2
RATIO_LOOKED_FOR: Final = 2.0
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
    orders : int, optional
        Number of random orders; 999, or 199 above 20,000 stays, by default.

    Source
    ------
    Permutation test of exchangeable lives: Lehmann & Romano 2005, Testing Statistical Hypotheses, ch. 15 (from memory).
    """
    plant = _Plant.of(begin_h, end_h, age_h, entry_h, carried_h, failed, running, position, class_number)
    now = plant.after(date_h, np.arange(len(begin_h)))
    total = _Split(float(np.count_nonzero(failed)), float(plant.spent.sum()))
    after = _Split(now.observed, now.expected)
    before = _Split(total.observed - after.observed, total.expected - after.expected)
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
    fixed = _Split(after.observed - own.observed, after.expected - own.expected)
    rng = np.random.default_rng(SEED)
    null = [part.after(date_h, part.shuffled(rng)) for _ in range(drawn)]
    sides = [_Split(one.observed + fixed.observed, one.expected + fixed.expected) for one in null]
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


@dataclass(frozen=True, slots=True)
class _Split:
    """Failures and hazard spent after the date, or in all."""

    observed: float
    expected: float


@dataclass(frozen=True, slots=True)
class _Plant:
    """Stays sorted by position and begin, with the hazard of their class and the blocks in which lives may move."""

    begin_h: Floats
    length_h: Floats
    age_h: Floats
    entry_h: Floats
    carried_h: Floats
    failed: Bools
    position: Ints
    class_number: Ints
    movable: Bools
    block: Ints
    gap_h: Floats
    spent: Floats
    at_end: Floats
    step_key: Floats
    step_hazard: Floats
    span: float

    @classmethod
    def of(
        cls, begin_h: Floats, end_h: Floats, age_h: Floats, entry_h: Floats, carried_h: Floats, failed: Bools,
        running: Bools, position: Ints, class_number: Ints,
    ) -> "_Plant":  # fmt: skip
        """Return the plant of stays in any order."""
        order = np.lexsort((begin_h, position))
        begin, end, age, entry, carried = (one[order] for one in (begin_h, end_h, age_h, entry_h, carried_h))
        place, number = position[order], class_number[order].astype(np.int64)
        first = np.diff(place, prepend=-1) != 0
        gap = np.where(first, 0.0, begin - np.concatenate(([0.0], end[:-1])))
        # one that entered late, and one that overlaps the stay before it, keep their places
        movable = ~running[order] & (entry <= 0) & (gap >= 0)
        block = place.astype(np.int64) * (int(number.max()) + 1) + number
        _, block = np.unique(block, return_inverse=True)
        movable &= np.bincount(block, movable)[block] >= 2
        key, hazard, span = _hazard(age, entry, failed[order], number)
        at_end = hazard[np.searchsorted(key, number * span + age, side="right") - 1]
        at_entry = hazard[np.searchsorted(key, number * span + entry, side="right") - 1]
        return cls(begin, end - begin, age, entry, carried, failed[order], place, number, movable, block, gap,
                   at_end - at_entry, at_end, key, hazard, span)  # fmt: skip

    def crossing(self, date_h: float) -> "_Plant":
        """Return the positions whose movable lives begin before the date and end after it: only there order matters."""
        _, number = np.unique(self.position, return_inverse=True)
        size = int(number.max()) + 1
        first, last = np.full(size, np.inf), np.full(size, -np.inf)
        rows = np.flatnonzero(self.movable)
        np.minimum.at(first, number[rows], self.begin_h[rows])
        np.maximum.at(last, number[rows], self.begin_h[rows] + self.length_h[rows])
        keep = ((first < date_h) & (last > date_h))[number]
        return self.of_rows(keep)

    def of_rows(self, keep: Bools) -> "_Plant":
        """Return some of the stays, the hazard staying that of all."""
        return replace(
            self,
            begin_h=self.begin_h[keep],
            length_h=self.length_h[keep],
            age_h=self.age_h[keep],
            entry_h=self.entry_h[keep],
            carried_h=self.carried_h[keep],
            failed=self.failed[keep],
            position=self.position[keep],
            class_number=self.class_number[keep],
            movable=self.movable[keep],
            block=self.block[keep],
            gap_h=self.gap_h[keep],
            spent=self.spent[keep],
            at_end=self.at_end[keep],
        )

    def shuffled(self, rng: np.random.Generator) -> Ints:
        """Return which life stands in each place: movable lives of a block in a random order, the others unmoved."""
        found = np.arange(len(self.begin_h))
        rows = np.flatnonzero(self.movable)
        drawn = rows[np.argsort(self.block[rows] + rng.random(len(rows)), kind="stable")]
        found[rows[np.argsort(self.block[rows], kind="stable")]] = drawn
        return found

    def after(self, date_h: float, life: Ints) -> _Split:
        """Return failures and hazard spent after the date with these lives in the places, dates counted anew."""
        length = self.length_h[life]
        ends = np.cumsum(length + self.gap_h)
        first = np.flatnonzero(np.diff(self.position, prepend=-1) != 0)
        if len(first) == 0:
            return _Split(0.0, 0.0)
        offset = self.begin_h[first] - (ends - length)[first]
        ends = ends + np.repeat(offset, np.diff(first, append=len(ends)))
        begins = ends - length
        whole, part = begins >= date_h, (begins < date_h) & (ends > date_h)
        expected = float(self.spent[life[whole]].sum())
        rows = life[part]
        if len(rows):
            rate = (self.age_h[rows] - self.carried_h[rows]) / length[part]
            age = np.maximum(self.carried_h[rows] + (date_h - begins[part]) * rate, self.entry_h[rows])
            place = np.searchsorted(self.step_key, self.class_number[rows] * self.span + age, side="right") - 1
            expected += float((self.at_end[rows] - self.step_hazard[place]).sum())
        return _Split(float(np.count_nonzero(self.failed[life[whole | part]])), expected)


def _hazard(age: Floats, entry: Floats, failed: Bools, number: Ints) -> tuple[Floats, Floats, float]:
    """Return class x span + failure age, rising, and Nelson-Aalen of the class there; each class begins with 0."""
    # one day from service.reliability.hazard
    span = 2.0 * float(age.max()) + 1.0
    seen, group = np.unique(number, return_inverse=True)
    steps = survival_steps(lives(age, failed, entry_h=entry, group=group))
    key = np.concatenate((seen * span, seen[steps.group] * span + steps.time_h))
    hazard = np.concatenate((np.zeros(len(seen)), steps.cumulative_hazard))
    order = np.argsort(key, kind="stable")
    return key[order], hazard[order], span


def _ratio(total: _Split, after: _Split, null: list[_Split]) -> float | None:
    """Return the ratio of the rates over its median among the orders, [-]; None where a side has no failures."""
    own = _raw_ratio(total, after)
    usable = [one for one in (_raw_ratio(total, each) for each in null) if one is not None]
    if own is None or len(usable) < len(null) / 2 or not own > 0:
        return None
    return own / float(np.median(usable))


def _raw_ratio(total: _Split, after: _Split) -> float | None:
    observed, expected = total.observed - after.observed, total.expected - after.expected
    if observed <= 0 or expected <= 0 or after.expected <= 0:
        return None
    return (after.observed / after.expected) / (observed / expected)


def _power(total: _Split, after: _Split, t_null: Floats) -> tuple[float, int | None]:
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
