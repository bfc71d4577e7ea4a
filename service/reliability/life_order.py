"""Do later bearings of the same positions last less long? The order of lives within positions, and nothing else.

When each bearing is as good as new, every order of the lives of a position is equally likely, given their number and
their lengths, whatever the law of life and however much positions differ: the density of the lives is a product that
does not know the order.
"""

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from scipy.special import ndtr

from service.reliability.class_hazard import stay_expected
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.policy import floored_p, said_p
from service.reliability.stay_table import NOTHING, OTHER, StayTable
from service.reliability.strata import crossed

HOURS_A_YEAR: Final = 8766.0
NORMAL_FROM: Final = 40  # lives in positions with two or more; below it orders are drawn
RANDOM_ORDERS: Final = 9_999
MOST_LIVES_IN_ALL_ORDERS: Final = 7
MOST_LIVES_ENUMERATED: Final = 6
SEED: Final = 19_790_917
ROUNDING: Final = 1e-9
MOST_EVALUATIONS: Final = 40
CLOSE_Z: Final = 1e-3
CLOSE_SHARE: Final = 2e-5
PLANNED_SHARE: Final = 0.05  # of the ended lives, from which on the removals by plan are looked at themselves
FEWEST_PLANNED: Final = 5  # and from so many on in any case: 2 % of very many lives, on one day, do harm
RARELY: Final = 0.05  # of the lives that another class followed


@dataclass(frozen=True, slots=True)
class LifeOrder:
    """Ended lives in their order within positions and classes.

    Attributes
    ----------
    row : ndarray of int, shape (m,)
        Stay of each life, those of one position and class together, in their order.
    cell : ndarray of int, shape (m,)
        Number of the position and class of each life; all have two lives or more.
    centre_years : ndarray, shape (m,)
        When in the watch of its position the life began, from the middle: (k - mean k) W / (n + 1), [years]
    every_row_years : ndarray, shape (n,)
        The same for every stay of the table, also those that are not compared, [years]
    mean_watch_years : float
        Of the positions compared, [years]
    """

    row: Ints
    cell: Ints
    centre_years: Floats
    every_row_years: Floats
    mean_watch_years: float

    @property
    def lives(self) -> int:
        """Return the number of lives compared, [-]."""
        return len(self.row)

    @property
    def positions(self) -> int:
        """Return the number of positions (times classes) compared, [-]."""
        return int(self.cell[-1]) + 1 if len(self.cell) else 0

    @property
    def orders(self) -> float:
        """Return in how many orders the lives could have come, infinite beyond 1e300, [-]."""
        sizes = np.bincount(self.cell)
        found = 1.0
        for n in sizes.tolist():
            for factor in range(2, n + 1):
                found *= factor
                if found > 1e300:
                    return float("inf")
        return found

    @property
    def centre_squares(self) -> float:
        """Return the sum of the squares of ``centre_years``, [years^2]."""
        return float(np.sum(self.centre_years**2))


@dataclass(frozen=True, slots=True)
class OrderTest:
    """z above zero: later lives are worse. ``p_value`` is two-sided; ``method`` says how it was made."""

    z: float
    p_value: float
    method: str


@dataclass(frozen=True, slots=True)
class YearlyFall:
    """By which rate lives fall, exp(-theta years), with limits; None: no rate within reach, the limit is open."""

    estimate: float | None
    lower: float | None
    upper: float | None


def life_order(table: StayTable, *, until_the_last: bool = False) -> LifeOrder:
    """Return the ended lives in their order.

    The running one, one that entered late, and one that no bearing of the same class followed are left out: given how
    many came before the last, and their lengths, every order of those is equally likely, and not with the last among
    them. With a designation superseded at a date the last ones make "better" of nothing in up to 100 % [simulated].
    ``until_the_last``: with those that another class followed, for ``class_test``.
    """
    cell = crossed(table.position, table.of_class)
    kept = table.ended & (table.entry_h == 0) & ((table.after != NOTHING) if until_the_last else table.followed)
    order = np.lexsort((table.end_h, table.begin_h, cell))
    in_order = cell[order]
    number = np.bincount(cell, kept).astype(np.int64)
    first = np.searchsorted(in_order, np.arange(len(number)))
    running = np.cumsum(kept[order])
    before_cell = np.concatenate(([0], running))[first]
    k = np.empty(table.rows, dtype=np.float64)
    k[order] = running - before_cell[in_order] + ~kept[order] - (table.entry_h[order] > 0)
    watch = _watch_years(table, cell, kept)
    centre = (k - (number[cell] + 1) / 2) * watch[cell] / (number[cell] + 1)
    row = order[(kept & (number[cell] >= 2))[order]]
    _, compared = np.unique(cell[row], return_inverse=True)
    of_compared = watch[number >= 2]
    mean_watch = float(of_compared.mean()) if len(of_compared) else 0.0
    return LifeOrder(row, compared.astype(np.int64), centre[row], centre, mean_watch)


def order_test(order: LifeOrder, score: Floats, *, seed: int = SEED) -> OrderTest | None:
    """Return the test of a score of each life against the order; None: the scores do not vary within positions.

    T = sum of centre_years times score; its mean over all orders is 0 and its variance the sum over positions of
    S_cc S_ss / (n - 1), exactly. Normal from ``NORMAL_FROM`` lives, below that by random orders, and by all orders
    where one position with few lives has so few.

    Parameters
    ----------
    order : LifeOrder
        m lives.
    score : ndarray, shape (m,)
        High is bad: failures seen less expected, [-]
    seed : int
        Of the random orders.

    Source
    ------
    Permutation test (Pitman 1937, Suppl. J. R. Stat. Soc. 4); Davison & Hinkley 1997, Bootstrap Methods, ch. 4, for
    (1 + count) / (B + 1).
    """
    found = _statistic(order, score)
    if found is None:
        return None
    statistic, deviation = found
    z = statistic / deviation
    if order.lives >= NORMAL_FROM:
        return OrderTest(z, float(floored_p(2 * ndtr(-abs(z)))), "normal")
    if order.positions == 1 and order.lives <= MOST_LIVES_IN_ALL_ORDERS:
        drawn = score[_all_orders(order.lives)] @ order.centre_years
        return OrderTest(z, _two_sided(drawn, statistic, deviation, 0), "all_orders")
    drawn = _random_orders(order, score, seed)
    return OrderTest(z, _two_sided(drawn, statistic, deviation, 1), "random_orders")


def life_scores(table: StayTable) -> Floats:
    """Return failures seen less expected of each stay, by the cumulative hazard of its class, shape (n,), [-]."""
    return table.failed - stay_expected(table.age_h, table.entry_h, table.failed, table.of_class)


def planned_test(order: LifeOrder, planned: Bools, *, seed: int = SEED) -> OrderTest | None:
    """Return the same test of removals by plan alone; None where they are hardly any.

    z above zero: removals by plan became more frequent, so that later lives are cut short.

    Parameters
    ----------
    planned : ndarray of bool, shape (n,)
        Of every stay of the table: it was ended by a removal by plan.
    """
    of_lives = planned[order.row].astype(np.float64)
    if of_lives.sum() < min(FEWEST_PLANNED, PLANNED_SHARE * order.lives) or not of_lives.any():
        return None
    return order_test(order, of_lives, seed=seed)


def class_test(table: StayTable) -> OrderTest | None:
    """Return the same test of what another class followed; None where a class that was replaced hardly ever comes back.

    A class that is superseded once and for all leaves the order of its lives as good as it was. Where a new one is
    mixed in more and more, how many lives of the old one follow each other hangs on dates and so on the order of their
    lengths: "better" of nothing in a third of plants [simulated].
    """
    left = table.after == OTHER
    cell = crossed(table.position, table.of_class)
    in_order = np.lexsort((table.end_h, table.begin_h, cell))
    last = np.zeros(table.rows, dtype=np.bool_)
    last[in_order[np.append(np.diff(cell[in_order]) != 0, True)]] = True
    if np.count_nonzero(left & ~last) <= RARELY * np.count_nonzero(left):
        return None
    return planned_test(life_order(table, until_the_last=True), left)


def said_mixed(what: str, guard: OrderTest) -> str:
    """Return the sentence that other bearings being fitted hides something: "A trend of lives", "A change"."""
    return (
        f"{what} cannot be told: what is fitted changed little by little ({said_p(guard.p_value)}), and on a day of "
        "change long lives are in use."
    )


def said_left_out(what: str, guard: OrderTest) -> str:
    """Return the sentence that lives that are left out hide something."""
    became = "more" if guard.z > 0 else "less"
    return (
        f"{what} cannot be told: bearings that are left out, since nobody knows whether they had failed, became "
        f"{became} frequent ({said_p(guard.p_value)})."
    )


def said_cut_short(what: str, guard: OrderTest) -> str:
    """Return the sentence that removals by plan hide something: "A trend", "Dates of fitting"."""
    became = "more frequent: later lives are cut short" if guard.z > 0 else "less frequent: earlier lives are cut short"
    return f"{what} cannot be told: removals by plan became {became} ({said_p(guard.p_value)})."


def yearly_fall(table: StayTable, order: LifeOrder, *, z_limit: float = 1.959964) -> YearlyFall:
    """Return the rate theta at which lives, multiplied by exp(theta centre_years), show no trend, [1/year].

    The limits are the rates at which z is + and - ``z_limit``. All ages of the class are multiplied and its cumulative
    hazard is made anew. Cover of 95 % [simulated]: 0.92 to 0.98 for falls to a third over the watch; steeper falls come
    out a tenth too steep, since lives that shrink are not evenly spaced (0.72 where life falls to 0.22).
    """
    reach = 20.0 / max(order.mean_watch_years, 1e-9)

    def _z(theta: float) -> float:
        factor = np.exp(np.clip(theta * order.every_row_years, -300, 300))
        age, entry = table.age_h * factor, table.entry_h * factor
        score = table.failed - stay_expected(age, entry, table.failed, table.of_class)
        found = _statistic(order, score[order.row])
        return 0.0 if found is None else found[0] / found[1]

    at_ends = _z(-reach), _z(reach)
    return YearlyFall(*(_crossing(_z, reach, at_ends, level) for level in (0.0, z_limit, -z_limit)))


def _watch_years(table: StayTable, cell: Ints, kept: Bools) -> Floats:
    """Return how long each position was watched with its class, from the first life that is compared, [years]."""
    cells = int(cell.max()) + 1
    first, last = np.full(cells, np.inf), np.full(cells, -np.inf)
    begin = np.where(kept | ~table.ended, table.begin_h, table.end_h)
    np.minimum.at(first, cell, begin)
    np.maximum.at(last, cell, table.end_h)
    return np.asarray(np.maximum(last - first, 0.0) / HOURS_A_YEAR)


def _statistic(order: LifeOrder, score: Floats) -> tuple[float, float] | None:
    """Return T and its standard deviation over all orders."""
    if order.lives == 0:
        return None
    size = np.bincount(order.cell).astype(np.float64)
    mean = np.bincount(order.cell, score) / size
    deviation = score - mean[order.cell]
    variance = float(
        np.sum(
            np.bincount(order.cell, order.centre_years**2) * np.bincount(order.cell, deviation**2) / (size - 1),
        )
    )
    scale = float(np.sum(order.centre_years**2)) * float(np.max(np.abs(score), initial=0.0)) ** 2
    if not variance > 1e-18 * scale:
        return None
    return float(order.centre_years @ deviation), float(np.sqrt(variance))


def _random_orders(order: LifeOrder, score: Floats, seed: int) -> Floats:
    """Return T of random orders, shape (RANDOM_ORDERS,)."""
    rng = np.random.default_rng(seed)
    total = np.zeros(RANDOM_ORDERS)
    edges = np.concatenate((np.flatnonzero(np.diff(order.cell, prepend=-1)), [order.lives]))
    for low, high in itertools.pairwise(edges.tolist()):
        values, centre = score[low:high], order.centre_years[low:high]
        if high - low <= MOST_LIVES_ENUMERATED:  # drawn from all orders, which is the same and quicker
            every = _all_orders(high - low)
            total += (values[every] @ centre)[rng.integers(0, len(every), RANDOM_ORDERS)]
        else:
            total += rng.permuted(np.tile(values, (RANDOM_ORDERS, 1)), axis=1) @ centre
    return total


@cache
def _all_orders(n: int) -> Ints:
    """Return all orders of n lives, shape (n!, n)."""
    return np.array(list(itertools.permutations(range(n))), dtype=np.int64)


def _two_sided(drawn: Floats, statistic: float, deviation: float, itself: int) -> float:
    """Return the two-sided p; ``itself`` is 1 where the order seen is not among those drawn."""
    slack = ROUNDING * deviation
    centred = drawn - drawn.mean() if itself == 0 else drawn
    above = (itself + int(np.count_nonzero(centred >= statistic - slack))) / (itself + len(drawn))
    below = (itself + int(np.count_nonzero(centred <= statistic + slack))) / (itself + len(drawn))
    return float(floored_p(2 * min(above, below)))


def _crossing(z_at: Callable[[float], float], reach: float, at_ends: tuple[float, float], level: float) -> float | None:
    """Return where the falling z crosses a level; None: not within reach.

    False position, an end that stays twice halved in weight (Dowell & Jarratt 1971, BIT 11, the Illinois rule); z has
    small steps where ages change places, hence the end by the width of the bracket.
    """
    if not at_ends[0] > level > at_ends[1]:
        return None
    low, high = -reach, reach
    above, below = at_ends[0] - level, at_ends[1] - level
    side = 0
    for _ in range(MOST_EVALUATIONS):
        share = min(max(above / (above - below), 0.02), 0.98)
        at = low + share * (high - low)
        height = z_at(at) - level
        if abs(height) < CLOSE_Z or high - low < CLOSE_SHARE * reach:
            return at
        if height > 0:
            low, above, below = at, height, below / 2 if side > 0 else below
            side = 1
        else:
            high, below, above = at, height, above / 2 if side < 0 else above
            side = -1
    return (low + high) / 2
