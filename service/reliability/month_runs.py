"""Batches: runs of consecutive months (or quarters) of fitting in which bearings failed more than others of that year.

Nobody knows where a batch begins and ends, so every run up to a year long is a hypothesis, and all of them are counted.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, Literal

import numpy as np

from service import units
from service.errors import Text
from service.reliability.class_hazard import stay_expected
from service.reliability.excess import NOTHING, REPORTED_LEVEL
from service.reliability.gamma_poisson import poisson_limits
from service.reliability.group_excess import strata_of
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.place_excess import windowed
from service.reliability.policy import (
    LEVEL,
    Verdict,
    bonferroni,
    flagged,
    floored_p,
    said_count,
    said_p,
    said_power,
    without_claim,
)
from service.reliability.stay_table import StayTable
from service.reliability.strata import totals
from service.reliability.tails import needed_means, power_for_doubling, tail
from service.words import Outcome

Unit = Literal["month", "quarter", "year"]
LONGEST: Final[dict[Unit, int]] = {"month": 12, "quarter": 4, "year": 1}
MONTHS: Final[dict[Unit, int]] = {"month": 1, "quarter": 3, "year": 12}
TEST: Final = "poisson_tail_of_runs"
MOST_NAMED: Final = 20
NO_LEVEL: Final = 0.5  # a run that is as good as this in few orders tells nothing: all orders are alike


@dataclass(frozen=True, slots=True)
class Run:
    """A run of one value of the other keys: from its first to its last month (quarter), both inside."""

    value: int
    first: int
    last: int
    stays: int
    observed: float
    expected: float
    p_value: float
    adjusted_p: float


@dataclass(frozen=True)
class MonthRuns:
    """All runs, of which only the best and further flagged ones are reported.

    Attributes
    ----------
    labels : list of str
        Values of the other keys; one empty label when there are none.
    unit : str
        month, quarter or year.
    within_h : float or None
        Window after fitting; None: whole lives, [h]
    family : int
        Number of runs, [-]
    runs : tuple of Run
        The best one, then further flagged ones that share no stay with those before.
    largest_observed, largest_expected : float
        Failures in all; failures expected in the run with most to expect, [-]
    largest_asset : tuple of (int, float)
        Of each reported run: machine with most of its failures, -1 without one, and how many.
    run_level : float
        What p of a single run is enough, [-]
    test : str
        Name of the test.
    cut_short : str or None
        Why dates cannot be told from removals by plan.
    """

    labels: list[str]
    unit: Unit
    within_h: float | None
    family: int
    runs: tuple[Run, ...]
    failures: float
    largest_expected: float
    largest_asset: tuple[tuple[int, float], ...]
    run_level: float
    test: str
    cut_short: str | None = None

    @cached_property
    def named(self) -> list[str]:
        """Return the flagged runs."""
        return [self.name(run) for run in self.runs if self._flagged(run)]

    def _flagged(self, run: Run) -> bool:
        return self.cut_short is None and bool(flagged(run.adjusted_p))

    def name(self, run: Run) -> str:
        """Return what a run is called: "Maker C / 2020-03..2020-08"."""
        dates = f"{self.date(run.first)}..{self.date(run.last)}"
        if self.unit == "year":  # single years only
            dates = self.date(run.first)
        return " / ".join(filter(None, (self.labels[run.value], dates)))

    def date(self, number: int) -> str:
        """Return a month as 2020-03, a quarter as 2020-Q1, a year as 2020."""
        return date_word(number, self.unit)

    def verdict(self) -> Verdict:
        """Return the verdict of the whole answer."""
        if not self.runs:
            return Verdict("too_few", "Nothing has failed, so no run of months can be told from others.", self.test)
        if self.cut_short is not None:
            return Verdict("not_separable", self.cut_short, self.test)
        best = self.runs[0]
        power, needed = self._power(self.largest_expected)
        if self.named:
            said = f"More failures than others {self._others()}: {', '.join(self.named)}."
            return Verdict("worse", said, self.test, best.p_value, best.adjusted_p, None, power)
        outcome = without_claim(power)
        seen = said_power(power, needed, outcome == "too_few", "a doubled failure rate in a run")
        said = f"No run of {self.unit}s is seen to have more failures than others {self._others()}. {seen}"
        return Verdict(outcome, said, self.test, best.p_value, best.adjusted_p, needed, power)

    def items(
        self, assets: Sequence[str] | Callable[[int], str], level: float = REPORTED_LEVEL
    ) -> list[dict[str, Any]]:
        """Return the wire members of the reported runs; ``level`` is that of the limits of the ratio."""
        name = assets if callable(assets) else assets.__getitem__
        return [
            self._item(run, machine, of_machine, name, level)
            for run, (machine, of_machine) in zip(self.runs, self.largest_asset, strict=True)
        ]

    def _item(
        self, run: Run, machine: int, of_machine: float, name: Callable[[int], str], level: float
    ) -> dict[str, Any]:
        lower, upper = poisson_limits(np.array([run.observed]), np.array([run.expected]), level)
        power, needed = self._power(run.expected)
        is_flagged = self._flagged(run)
        outcome: Outcome = "worse" if is_flagged else without_claim(power)
        said = self._sentence(run, outcome, machine, of_machine, name, power, needed)
        if self.cut_short is not None:
            verdict = Verdict("not_separable", self.cut_short, self.test)
        else:
            verdict = Verdict(outcome, said, self.test, run.p_value, run.adjusted_p, needed, power)
        return {
            "group": self.name(run),
            "keys": {f"fitted_{self.unit}": {"from": self.date(run.first), "to": self.date(run.last)}},
            "stays": run.stays,
            "observed": run.observed,
            "expected": run.expected,
            "ratio": {"estimate": run.observed / run.expected, "lower": float(lower[0]), "upper": float(upper[0])},
            "flagged": is_flagged,
            "largest_asset": None if machine < 0 else {"asset": name(machine), "observed": of_machine},
            **verdict.record(),
        }

    def _sentence(
        self,
        run: Run,
        outcome: str,
        machine: int,
        of_machine: float,
        name: Callable[[int], str],
        power: float,
        needed: int | None,
    ) -> Text:
        of = f" of {self.labels[run.value]}" if self.labels[run.value] else ""
        dates = f"from {self.date(run.first)} to {self.date(run.last)}" if run.last > run.first else (
            f"in {self.date(run.first)}")  # fmt: skip
        which = f"bearings{of} fitted {dates}"
        within: tuple[str | units.Quantity, ...] = ()
        if self.within_h is not None:
            within = (" within ", units.Quantity("time", self.within_h))
        numbers = f"{said_count(run.observed)} against {said_count(run.expected)}"
        p = said_p(run.adjusted_p, "adjusted p")
        if outcome == "worse":
            most = f" Most of them on {name(machine)}." if 2 * of_machine > run.observed else ""
            parts = (
                f"More of the {which} failed",
                *within,
                f" than of others {self._others()}: {numbers} ({p}).{most}",
            )
        else:
            seen = said_power(power, needed, outcome == "too_few")
            parts = (f"{said_count(run.observed)} of the {which} failed", *within, f"; others {self._others()} lead "
                     f"to expect {said_count(run.expected)}: the run that stands out most, which "
                     f"among {self.family} runs is no evidence ({p}). {seen}")  # fmt: skip
        return parts if within else "".join(str(one) for one in parts)

    def _others(self) -> str:
        if any(self.labels):
            return "of the same designation fitted in the same period"
        return "of the same designation in the same positions, whoever and whatever was fitted then"

    def _power(self, expected: float) -> tuple[float, int | None]:
        if not expected > NOTHING or self.run_level >= NO_LEVEL:
            return 0.0, None
        power = float(power_for_doubling(expected, expected, self.run_level))
        times = float(needed_means(expected, expected, self.run_level)) / expected
        return power, int(np.ceil(self.failures * times)) if np.isfinite(times) else None


def month_numbers(begin_h: Floats, unit: Unit = "month") -> Ints:
    """Return the month (year times 12 plus 0 .. 11) or quarter (year times 4 plus 0 .. 3) of each moment, UTC."""
    moments = np.floor(begin_h * 3600).astype("int64").astype("datetime64[s]")
    since_1970 = moments.astype("datetime64[M]").astype(np.int64)
    return np.asarray((1970 * 12 + since_1970) // MONTHS[unit])


def date_word(number: int, unit: Unit) -> str:
    """Return a month as 2020-03, a quarter as 2020-Q1, a year as 2020."""
    if unit == "month":
        return f"{number // 12:04d}-{number % 12 + 1:02d}"
    return f"{number:04d}" if unit == "year" else f"{number // 4:04d}-Q{number % 4 + 1}"


def month_runs(
    table: StayTable,
    value: Ints,
    labels: Sequence[str],
    *,
    unit: Unit = "month",
    within_h: float | None = None,
    site: Ints | None = None,
) -> MonthRuns:
    """Return the runs of months of fitting that stand out, of every value of the other keys.

    A run is compared with the stays of its class and period, an eighth of the fittings: longer than a run on purpose.
    Without other keys see ``date_runs.date_runs``.

    Parameters
    ----------
    table : StayTable
        Stays of the whole site.
    value : ndarray of int, shape (n,)
        Value of the other keys of each stay, 0 .. q-1.
    labels : sequence of str, shape (q,)
        Names of the values.
    unit : str
        month: runs of 1 to 12; quarter: runs of 1 to 4.
    within_h : float, optional
        Failures within this many hours of fitting; whole lives by default, [h]
    site : ndarray of int, shape (n,), optional
        Site of each stay.
    """
    age, entry, failed = windowed(table, within_h)
    expected = stay_expected(age, entry, failed, strata_of(table, ("value", "fitted"), site=site))
    number = month_numbers(table.begin_h, unit)
    start = int(number.min())
    months = int(number.max()) - start + 1
    cell = value * months + (number - start)
    shape = (len(labels), months)
    sums = [totals(cell, one, shape[0] * months).reshape(shape) for one in (np.ones(table.rows), failed, expected)]
    runs = run_sums(sums, LONGEST[unit])
    family = len(labels) * sum(max(months - length + 1, 0) for length in range(1, LONGEST[unit] + 1))
    chosen = _best(runs, family, start)
    inside = [(value == run.value) & (number >= run.first) & (number <= run.last) for run in chosen]
    machines = tuple(largest_machine(table.asset[rows], failed[rows]) for rows in inside)
    return MonthRuns(list(labels), unit, within_h, family, tuple(chosen), float(failed.sum()),
                     float(runs.expected.max(initial=0.0)), machines, LEVEL / max(family, 1), TEST)  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunSums:
    """Sums of every run: ``first`` and ``last`` of shape (r,), the others (values, r)."""

    first: Ints
    last: Ints
    stays: Floats
    observed: Floats
    expected: Floats


def run_sums(sums: Sequence[Floats], longest: int) -> RunSums:
    """Return the sums of all runs up to a length; sums are of shape (values, months)."""
    months = sums[0].shape[1]
    upto = [np.concatenate((np.zeros((len(one), 1)), np.cumsum(one, axis=1)), axis=1) for one in sums]
    lengths = range(1, min(longest, months) + 1)
    first = np.concatenate([np.arange(months - length + 1) for length in lengths])
    last = np.concatenate([np.arange(months - length + 1) + length - 1 for length in lengths])
    stays, observed, expected = (one[:, last + 1] - one[:, first] for one in upto)
    return RunSums(first.astype(np.int64), last.astype(np.int64), stays, observed, np.maximum(expected, 0.0))


def _best(runs: RunSums, family: int, start: int) -> list[Run]:
    """Return the best run and further flagged ones that share no stay with those before."""
    some = np.nonzero((runs.expected > NOTHING) & (runs.observed > NOTHING))
    seen, due = runs.observed[some], runs.expected[some]
    p = tail(seen, due, due)  # not floored: the best of several beyond the floor is wanted
    adjusted = bonferroni(p, family)
    value, column = some
    return disjoint_runs(runs, value, column, due, p, adjusted, start)


def disjoint_runs(
    runs: RunSums, value: Ints, column: Ints, expected: Floats, p: Floats, adjusted: Floats, start: int
) -> list[Run]:
    """Return the best of some runs, then further flagged ones that share no stay with those before."""
    first, last, observed = runs.first[column], runs.last[column], runs.observed[value, column]
    taken: Bools = np.zeros(len(column), dtype=np.bool_)
    found: list[Run] = []
    # of equal p-values the one with more failures, then the shorter run
    for n in np.lexsort((last - first, -observed, p)).tolist():
        if (found and adjusted[n] > LEVEL) or len(found) >= MOST_NAMED:
            break
        if taken[n]:
            continue
        stays = round(float(runs.stays[value[n], column[n]]))
        dates = int(first[n]) + start, int(last[n]) + start
        numbers = float(observed[n]), float(expected[n]), float(floored_p(p[n])), float(adjusted[n])
        found.append(Run(int(value[n]), *dates, stays, *numbers))
        taken |= (value == value[n]) & (first <= last[n]) & (last >= first[n])
    return found


def largest_machine(asset: Ints, failed: Floats) -> tuple[int, float]:
    """Return the machine with most failures, and how many."""
    present, number = np.unique(asset, return_inverse=True)
    count = totals(number.astype(np.int64), failed, len(present))
    if len(present) == 0 or not count.max() > 0:
        return -1, 0.0
    return int(present[int(np.argmax(count))]), float(count.max())
