"""Do bearings of some makers, crews, work orders, lubricants ... fail more than others of their class and period?

Early failures are those within some hours of fitting; whole lives are the same question without a window. A crew may be
tied to positions that differ for good: the spread term widens its variance by what positions differ.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service.errors import Text
from service.reliability.class_hazard import stay_expected
from service.reliability.excess import REPORTED_LEVEL, Excess, named
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.log_rank_sums import log_rank_sums
from service.reliability.place_excess import class_excess, windowed
from service.reliability.policy import Verdict, answer_verdict, joined, said_count, said_p, said_power
from service.reliability.position_spread import spread_term
from service.reliability.stay_table import StayTable
from service.reliability.strata import crossed, dense, number_of_periods, periods
from service.units import Quantity
from service.words import Outcome

PLACES: Final = frozenset({"position", "shaft", "asset"})
TIMES: Final = frozenset({"fitted_month", "fitted_quarter", "fitted_year"})
TEST: Final = "stratified_log_rank_tail"
ATTRIBUTE: Final = "attributes."  # before the name of what a site keeps of its own
MOST_OF_THEM: Final = 0.5  # of the failures of a group on one machine, above which the sentence names it
ALONE_SHARE: Final = 0.9  # of the positions of a group that nobody else served
UNKNOWN: Final = ("not stated", "not measured")
DONE: Final[Mapping[str, str]] = {
    "installer": "fitted by",
    "manufacturer": "made by",
    "work_order": "fitted under work order",
    "lubricant": "lubricated with",
    "role": "in the role",
    "housing": "in housing",
    "window": "left with a clearance in their window:",
    "batch": "of batch",
    "site": "at site",
    "designation": "of designation",
}


@dataclass(frozen=True)
class GroupExcess:
    """Groups of stays with their failures against others of the same class and period, q of them.

    Attributes
    ----------
    keys : tuple of str
        By what the stays were grouped.
    within_h : float or None
        Window after fitting, None for whole lives, [h]
    labels : list of str
        Names of the groups.
    excess : Excess
        Failures seen and expected.
    largest_asset, on_largest : ndarray, shape (q,)
        Machine with most failures of the group, -1 without a failure, and how many, [-]
    served_alone : ndarray of bool, shape (q,)
        Nobody else served these positions.
    spread : float
        The spread term phi, [-]
    """

    keys: tuple[str, ...]
    within_h: float | None
    labels: list[str]
    excess: Excess
    largest_asset: Ints
    on_largest: Floats
    served_alone: Bools
    spread: float

    @property
    def named(self) -> list[str]:
        """Return the groups that are flagged, the surest first."""
        order = self.excess.order()
        return [self.labels[int(row)] for row in order if self.excess.flagged[row]]

    def verdict(self) -> Verdict:
        """Return the verdict of the whole answer."""
        excess = self.excess
        flagged = excess.order()[: int(excess.flagged.sum())]
        best, first = excess.best(), int(excess.order()[0])
        shown = np.array([first] if best is None else sorted({first, best}), dtype=np.int64)
        items = excess.verdicts(shown, lambda *_: "")
        silent = joined(["No group is seen to have more failures", *self._within(), f" than {self._others()}."])
        names = named(self.labels, flagged)
        said = joined(["More failures", *self._within(), f" than {self._others()}: {names}.{self._alone(flagged)}"])
        if self.designations_alone:
            said = f"Designations differ in life: {names}."
        return answer_verdict(items, "differ" if excess.both_ways else "worse", said, silent, excess.test)

    def _alone(self, flagged: Ints) -> str:
        """Return which of the flagged groups cannot be told from their machines: the end of the answer's sentence."""
        alone = flagged[self.served_alone[flagged]]
        if PLACES & set(self.keys) or len(alone) == 0:
            return ""
        which = "It" if len(flagged) == 1 else named(self.labels, alone)
        return (
            f" {which} cannot be told from {'its' if len(alone) == 1 else 'their'} machines: nobody else served them."
        )

    def items(
        self, rows: Ints, assets: Sequence[str] | Callable[[int], str], level: float = REPORTED_LEVEL
    ) -> list[dict[str, Any]]:
        """Return the wire members of some groups, in the order given.

        Parameters
        ----------
        rows : ndarray of int
            The groups.
        assets : sequence of str, or callable
            What the machines are called, by their numbers.
        level : float
            Of the limits of the ratio, [-]
        """
        name = assets if callable(assets) else assets.__getitem__

        def _said(row: int, outcome: Outcome, power: float, needed: int | None) -> Text:
            return self._sentence(row, outcome, power, needed, name)

        return [
            {
                "group": self.labels[int(row)],
                **self.excess.numbers(int(row), level),
                "largest_asset": self._largest(int(row), name),
                **verdict.record(),
            }
            for row, verdict in zip(rows, self.excess.verdicts(rows, _said), strict=True)
        ]

    @property
    def designations_alone(self) -> bool:
        """Return whether the classes themselves are what is compared."""
        return self.keys == ("designation",)

    def _largest(self, row: int, name: Callable[[int], str]) -> dict[str, Any] | None:
        if self.largest_asset[row] < 0:
            return None
        return {"asset": name(int(self.largest_asset[row])), "observed": float(self.on_largest[row])}

    def _sentence(
        self, row: int, outcome: Outcome, power: float, needed: int | None, name: Callable[[int], str]
    ) -> Text:
        seen, due = self.excess.observed[row], self.excess.mean[row]
        numbers = f"{said_count(float(seen))} against {said_count(float(due))}"
        which = self._which(row)
        if outcome == "not_separable":
            return f"{which[0].upper()}{which[1:]} and what they would be compared with are the same stays."
        if outcome in ("worse", "differ"):
            more = "More" if seen > due else "Fewer"
            said: list[str | Quantity] = [f"{more} of the {which} failed", *self._within(),
                                                f" than of {self._others()}: {numbers}"]  # fmt: skip
            said.append(f" ({said_p(float(self.excess.adjusted_p[row]), 'adjusted p')}).")
            said.append(self._beside(row, name))
            return joined(said)
        power_said = said_power(power, needed, outcome == "too_few")
        small = ""
        if self.keys and self.keys[0] == "work_order" and outcome == "too_few":
            small = " So few bearings of one day of work can hardly show anything."
        told = f" where {self._others()} lead to expect {said_count(float(due))}: no evidence of more."
        return joined([f"{said_count(float(seen))} of the {which} failed", *self._within(), told,
                        f" {power_said}{small}"])  # fmt: skip

    def _beside(self, row: int, name: Callable[[int], str]) -> str:
        said = ""
        if self.on_largest[row] > MOST_OF_THEM * self.excess.observed[row] and "asset" not in self.keys:
            said += f" Most of them on {name(int(self.largest_asset[row]))}."
        if self.served_alone[row] and not PLACES & set(self.keys):
            said += " These machines were served by nobody else; the group cannot be told from its machines."
        if self.designations_alone:
            said += " Designations differ in life; this is no finding about anyone."
        return said

    def _which(self, row: int) -> str:
        label = self.labels[row]
        if label in UNKNOWN:
            return f"bearings of which the {self.keys[0].replace('_', ' ')} is {label}"
        if len(self.keys) == 1 and self.keys[0] in DONE:
            return f"bearings {DONE[self.keys[0]]} {label.replace('_', ' ') if self.keys[0] == 'window' else label}"
        if len(self.keys) == 1 and self.keys[0].startswith(ATTRIBUTE):
            return f"bearings with {self.keys[0].removeprefix(ATTRIBUTE)} {self.labels[row]}"
        return f"bearings of {self.labels[row]}"

    def _others(self) -> str:
        if self.designations_alone:
            return "other designations of the same role fitted in the same period"
        if set(self.keys) <= PLACES:
            return "others of the same designation"
        return "others of the same designation fitted in the same period"

    def _within(self) -> list[str | Quantity]:
        return [] if self.within_h is None else [" within ", Quantity("time", self.within_h)]


def group_excess(
    table: StayTable,
    group: Ints,
    labels: Sequence[str],
    *,
    keys: Sequence[str],
    within_h: float | None = None,
    site: Ints | None = None,
    role: Ints | None = None,
) -> GroupExcess:
    """Return the failures of each group against others of the same class and period.

    Positions, shafts and machines are compared without periods, by the binomial count of their class. Designations are
    themselves what is compared: within role and period. Dates of fitting alone go through ``date_runs.date_runs``.

    Parameters
    ----------
    table : StayTable
        Stays of the whole site; ``of_class`` is the designation and what else makes a class.
    group : ndarray of int, shape (n,)
        Group of each stay, 0 .. q-1.
    labels : sequence of str, shape (q,)
        Names of the groups.
    keys : sequence of str
        By what the groups were made: position, installer, manufacturer ...
    within_h : float, optional
        Failures within this many hours of fitting; whole lives by default, [h]
    site, role : ndarray of int, shape (n,), optional
        Site of each stay, whose dates are cut into periods; role, for designations.

    Raises
    ------
    ValueError
        The window is not above zero, a group has no name, or dates of fitting are the only key.

    Source
    ------
    Mantel 1966 (log-rank); Bohning 1994, Biometrika 81 for a moment estimate of the spread (from memory). Level
    [simulated] 0.006 to 0.041 on the mean of 144 settings; without the spread term, crews tied to positions that
    differ: up to 0.49.
    """
    by, q = tuple(keys), len(labels)
    if by and set(by) <= TIMES:
        raise ValueError("dates of fitting alone are judged by date_runs: against their class late ones look bad")
    if int(group.max()) >= q:
        raise ValueError("a group has no name")
    age, entry, failed = windowed(table, within_h)
    spread = 0.0
    if by and set(by) <= PLACES:
        _, excess = class_excess(table, group, within_h=within_h)
        excess = _of_all(excess, group, q)
    else:
        stratum = strata_of(table, by, site=site, role=role)
        expected = stay_expected(age, entry, failed, table.of_class)
        position = dense(table.position)
        spread = spread_term(position, failed, expected)
        excess = _log_rank_excess(age, entry, failed, stratum, group, q, spread, position, expected,
                                  both_ways=by == ("designation",))  # fmt: skip
    largest, on_largest = _largest_assets(group, table.asset, failed, q)
    alone = _served_alone(group, table.position, q)
    return GroupExcess(by, within_h, list(labels), excess, largest, on_largest, alone, spread)


def strata_of(table: StayTable, keys: Sequence[str], *, site: Ints | None = None, role: Ints | None = None) -> Ints:
    """Return what stays are compared within: class (or role) and period."""
    within = table.of_class
    if tuple(keys) == ("designation",):
        within = np.zeros(table.rows, dtype=np.int64) if role is None else role
    if site is not None:
        within = crossed(within, site)
    return crossed(within, periods(table.begin_h, site, number=number_of_periods(keys, table.rows)))


def _log_rank_excess(
    age: Floats,
    entry: Floats,
    failed: Floats,
    stratum: Ints,
    group: Ints,
    q: int,
    spread: float,
    position: Ints,
    expected: Floats,
    *,
    both_ways: bool,
) -> Excess:
    sums = log_rank_sums(age, entry, failed, stratum, group, q)
    cell = crossed(group, position)
    first = np.unique(cell, return_index=True)[1]
    widened = spread * np.bincount(group[first], np.bincount(cell, expected) ** 2, q)
    stays = np.bincount(group, minlength=q)
    separable = sums.variance > 0
    variance = np.where(separable, sums.variance + widened, 0.0)
    return Excess(stays, sums.observed, sums.mean, variance, stays.astype(np.float64), 1, both_ways, TEST)


def _of_all(excess: Excess, group: Ints, q: int) -> Excess:
    """Return the columns over all groups, also those of which no stay is left."""
    present = np.unique(group)
    if len(present) == q:
        return excess

    def _spread_out(values: Any, fill: float) -> Any:
        whole = np.full(q, fill, dtype=values.dtype)
        whole[present] = values
        return whole

    return Excess(
        _spread_out(excess.stays, 0),
        _spread_out(excess.observed, 0.0),
        _spread_out(excess.mean, 0.0),
        _spread_out(excess.variance, 0.0),
        _spread_out(excess.possible, 0.0),
        excess.questions,
        excess.both_ways,
        excess.test,
    )


def _largest_assets(group: Ints, asset: Ints, failed: Floats, q: int) -> tuple[Ints, Floats]:
    """Return the machine with most failures of each group, and how many."""
    fails = failed > 0
    largest, most = np.full(q, -1, dtype=np.int64), np.zeros(q)
    if not fails.any():
        return largest, most
    pair = crossed(group[fails], asset[fails])
    first = np.unique(pair, return_index=True)[1]
    count = np.bincount(pair, failed[fails])
    of_group, of_asset = group[fails][first], asset[fails][first]
    order = np.lexsort((of_asset, -count, of_group))
    leading = order[np.flatnonzero(np.diff(of_group[order], prepend=-1))]
    largest[of_group[leading]], most[of_group[leading]] = of_asset[leading], count[leading]
    return largest, most


def _served_alone(group: Ints, position: Ints, q: int) -> Bools:
    """Return where at least ``ALONE_SHARE`` of the positions of a group were served by it only."""
    place = dense(position)
    pair = crossed(group, place)
    first = np.unique(pair, return_index=True)[1]
    groups_of_place = np.bincount(place[first])
    alone = groups_of_place[place[first]] == 1
    places = np.bincount(group[first], minlength=q)
    of_it = np.bincount(group[first], alone, q)
    return np.asarray((places > 0) & (of_it >= ALONE_SHARE * places))
