"""More failures of some groups of stays than those they are compared with: numbers, p-values and outcomes in columns.

The columns are of all groups of the site; what is shown of them is chosen afterwards and changes nothing.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np

from service.errors import Text
from service.reliability.gamma_poisson import poisson_limits
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.policy import LEVEL, Verdict, flagged, floored_p, holm, without_claim
from service.reliability.tails import needed_means, power_for_doubling, tail
from service.words import Outcome

NOTHING: Final = 1e-9
REPORTED_LEVEL: Final = 0.95


@dataclass(frozen=True)
class Excess:
    """Groups with their failures, seen and expected, q of them.

    Attributes
    ----------
    stays, observed, mean, variance : ndarray, shape (q,)
        Stays; failures seen; mean and variance of their number when nothing is the matter, [-]
    possible : ndarray, shape (q,)
        Failures that could have been seen at most, [-]
    questions : int
        Separate questions of the answer, [-]
    both_ways : bool
        Fewer failures than expected are named as well.
    test : str
        Name of the test.
    """

    stays: Ints
    observed: Floats
    mean: Floats
    variance: Floats
    possible: Floats
    questions: int
    both_ways: bool
    test: str

    @cached_property
    def separable(self) -> Bools:
        """Return which groups are not the same stays as what they are compared with, shape (q,)."""
        return ~((self.variance <= NOTHING * np.maximum(self.mean, 1)) & (self.mean > NOTHING))

    @property
    def family(self) -> int:
        """Return the number of hypotheses of the question, [-]."""
        return int(np.count_nonzero(self.separable))

    @cached_property
    def p_value(self) -> Floats:
        """Return the p-values, 1 where nothing can be told apart, shape (q,), [-]."""
        more = tail(self.observed, self.mean, self.variance)
        if self.both_ways:
            fewer = 1 - tail(self.observed + 1, self.mean, self.variance)
            more = 2 * np.minimum(more, fewer)
        return floored_p(np.where(self.separable, more, 1.0))

    @cached_property
    def adjusted_p(self) -> Floats:
        """Return Holm's adjusted p-values over all groups, shape (q,), [-]."""
        adjusted = np.ones_like(self.mean)
        adjusted[self.separable] = holm(self.p_value[self.separable], questions=self.questions)
        return adjusted

    @cached_property
    def flagged(self) -> Bools:
        """Return which groups are named, shape (q,)."""
        return np.asarray(flagged(self.adjusted_p) & self.separable)

    @property
    def item_level(self) -> float:
        """Return the level that a single group has to reach, [-]."""
        sides = 2 if self.both_ways else 1
        return LEVEL / max(self.family, 1) / self.questions / sides

    def power(self, rows: Ints) -> Floats:
        """Return with what probability each group would be named at a doubled failure rate, [-]."""
        return np.where(
            self.separable[rows], power_for_doubling(self.mean[rows], self.variance[rows], self.item_level), 0.0
        )

    def reachable(self, rows: Ints) -> Bools:
        """Return where the failures that could have been seen at most would have been enough."""
        most = np.maximum(self.possible[rows], self.observed[rows])
        return np.asarray(tail(most, self.mean[rows], self.variance[rows]) <= self.item_level)

    def needed_failures(self, rows: Ints) -> list[int | None]:
        """Return the failures in all, at the present shares, at which a doubling is named with 80 % probability."""
        total = float(self.observed.sum())
        mean = self.mean[rows]
        wanted = needed_means(mean, self.variance[rows], self.item_level)
        times = np.divide(wanted, mean, out=np.full(len(rows), np.inf), where=mean > NOTHING)
        return [math.ceil(total * float(one)) if np.isfinite(one) and total > 0 else None for one in times]

    def ratio(self, row: int, level: float = REPORTED_LEVEL) -> dict[str, float] | None:
        """Return observed over expected with exact Poisson limits, [-]; None where nothing is expected."""
        if not self.mean[row] > NOTHING:
            return None
        lower, upper = poisson_limits(self.observed[row : row + 1], self.mean[row : row + 1], level)
        estimate = float(self.observed[row] / self.mean[row])
        return {"estimate": estimate, "lower": float(lower[0]), "upper": float(upper[0])}

    def order(self) -> Ints:
        """Return the groups, the surest excess first."""
        return np.lexsort((-self.observed, self.p_value)).astype(np.int64)

    def outcomes(self, rows: Ints) -> list[Outcome]:
        """Return the outcome of some groups."""
        power, reachable = self.power(rows), self.reachable(rows)
        found: list[Outcome] = []
        for n, row in enumerate(rows.tolist()):
            if not self.separable[row]:
                found.append("not_separable")
            elif self.flagged[row]:
                found.append("differ" if self.both_ways else "worse")
            else:
                found.append(without_claim(float(power[n]), reachable=bool(reachable[n])))
        return found

    def verdicts(self, rows: Ints, sentence: Callable[[int, Outcome, float, int | None], Text]) -> list[Verdict]:
        """Return the verdicts of some groups.

        Parameters
        ----------
        rows : ndarray of int
            The groups.
        sentence : callable
            From the group, its outcome, its power and the failures needed, to what is said.
        """
        power, needed = self.power(rows), self.needed_failures(rows)
        found = []
        for n, (row, outcome) in enumerate(zip(rows.tolist(), self.outcomes(rows), strict=True)):
            silent = outcome in ("too_few", "no_evidence")
            tested = outcome != "not_separable"
            found.append(
                Verdict(
                    outcome,
                    sentence(row, outcome, float(power[n]), needed[n]),
                    self.test,
                    float(self.p_value[row]) if tested else None,
                    float(self.adjusted_p[row]) if tested else None,
                    needed[n] if silent else None,
                    float(power[n]) if tested else None,
                )
            )
        return found

    def numbers(self, row: int, level: float = REPORTED_LEVEL) -> dict[str, Any]:
        """Return the wire members that are numbers, of one group; ``level`` is that of the limits of the ratio."""
        return {
            "stays": int(self.stays[row]),
            "observed": float(self.observed[row]),
            "expected": float(self.mean[row]),
            "ratio": self.ratio(row, level),
            "flagged": bool(self.flagged[row]),
        }

    def best(self) -> int | None:
        """Return the group at which a doubling is most likely to be seen; None without one that can be told apart."""
        candidates = np.flatnonzero(self.separable)
        if len(candidates) == 0:
            return None
        # the largest mean need not have the largest power, since variances differ: the twenty largest are tried
        tried = candidates[np.argsort(-self.mean[candidates], kind="stable")[:20]]
        return int(tried[int(np.argmax(self.power(tried)))])


def named(labels: Sequence[str], rows: Ints, most: int = 5) -> str:
    """Return the names of some groups in a sentence, the first ones and how many more."""
    said = [labels[int(row)] for row in rows[:most]]
    more = len(rows) - len(said)
    return ", ".join(said) + (f" and {more} more" if more > 0 else "")
