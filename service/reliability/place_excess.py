"""Which positions, or machines, fail more often than their class explains: flags, and whether positions differ at all.

Expected numbers come from the cumulative hazard of the class and not from a fit: no lack of fit can make a flag.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from scipy.special import gammaincc, gammaincinv

from service.reliability.class_hazard import stay_expected
from service.reliability.excess import REPORTED_LEVEL, Excess, named
from service.reliability.gamma_poisson import GammaPrior, gamma_prior
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.policy import (
    LEVEL,
    WANTED_POWER,
    Verdict,
    bonferroni,
    said_count,
    said_p,
    said_power,
    without_claim,
)
from service.reliability.position_spread import SpreadTest, spread_likelihood_ratio, spread_needs, spread_power
from service.reliability.stay_table import StayTable
from service.reliability.strata import crossed, totals
from service.words import Outcome

FLAG_TEST: Final = "binomial_of_class_total"
SPREAD_TEST: Final = "gamma_poisson_likelihood_ratio"
QUESTIONS: Final = 2  # which positions, and whether positions differ


@dataclass(frozen=True)
class PlaceExcess:
    """Places with their flags, their shrunk ratios and the spread, q of them.

    Attributes
    ----------
    place : ndarray of int, shape (q,)
        Number of each place.
    excess : Excess
        Failures seen and expected.
    spread : SpreadTest
        Whether ratios of places are spread.
    noun : str
        What a place is called in a sentence: position, machine.
    """

    place: Ints
    excess: Excess
    spread: SpreadTest
    noun: str = "position"

    @cached_property
    def prior(self) -> GammaPrior | None:
        """Return how ratios are spread, by maximum likelihood; None when nothing has failed."""
        due = self.excess.mean > 0
        if not due.any() or not float(self.excess.observed.sum()) > 0:
            return None
        return gamma_prior(self.excess.observed[due], self.excess.mean[due])

    @property
    def spread_verdict(self) -> Verdict:
        """Return whether places differ, the other question of the answer allowed for."""
        adjusted = float(bonferroni(self.spread.p_value, QUESTIONS))
        if self.excess.family < 2:
            return Verdict("not_separable", f"A class of one {self.noun} explains nothing.", SPREAD_TEST)
        if adjusted <= LEVEL:
            said = f"{self.noun.capitalize()}s differ ({said_p(adjusted, 'adjusted p')})."
            return Verdict("differ", said, SPREAD_TEST, self.spread.p_value, adjusted)
        excess, level = self.excess, LEVEL / QUESTIONS
        power = spread_power(excess.mean, level)
        times = spread_needs(excess.mean, level, WANTED_POWER)
        needed = math.ceil(float(excess.observed.sum()) * times) if np.isfinite(times) else None
        outcome = without_claim(power)
        said = f"No evidence that {self.noun}s differ ({said_p(adjusted, 'adjusted p')})."
        what = f"half of the {self.noun}s failing twice as often as the other half"
        seen = said_power(power, needed, outcome == "too_few", what)
        return Verdict(outcome, f"{said} {seen}", SPREAD_TEST, self.spread.p_value, adjusted, needed, power)

    @property
    def claims(self) -> bool:
        """Return whether the answer claims anything: a place flagged, or that positions differ."""
        return bool(self.excess.flagged.any()) or self.spread_verdict.claims

    def verdict(self, labels: Sequence[str]) -> Verdict:
        """Return the verdict of the whole answer.

        Parameters
        ----------
        labels : sequence of str, shape (q,)
            What the places are called.
        """
        excess = self.excess
        best = excess.best()
        if best is None:
            return Verdict("not_separable", f"A class of one {self.noun} explains nothing.", FLAG_TEST)
        first = int(excess.order()[0])
        p, adjusted = float(excess.p_value[first]), float(excess.adjusted_p[first])
        spread = self.spread_verdict
        if excess.flagged.any():
            rows = excess.order()[: int(excess.flagged.sum())]
            said = f"More failures than the class explains: {named(labels, rows)}."
            return Verdict("worse", said, FLAG_TEST, p, adjusted)
        power, needed = float(excess.power(np.array([best]))[0]), excess.needed_failures(np.array([best]))[0]
        outcome: Outcome = "too_few" if excess.outcomes(np.array([best]))[0] == "too_few" else "no_evidence"
        said = said_power(power, needed, outcome == "too_few")
        at = f" That is at {labels[best]}, where most can be seen."
        if spread.verdict == "differ":
            differ = f"{self.noun.capitalize()}s differ; no single one stands out. {said}{at}"
            return Verdict("differ", differ, SPREAD_TEST, spread.p_value, spread.adjusted_p, None, power)
        silent = f"No {self.noun} is seen to fail more often than its class."
        return Verdict(outcome, f"{silent} {said}{at}", FLAG_TEST, p, adjusted, needed, power)

    def items(self, rows: Ints, labels: Sequence[str], level: float = REPORTED_LEVEL) -> list[dict[str, Any]]:
        """Return the wire members of some places, in the order given; ``level`` is that of the limits of the ratio."""

        def _said(row: int, outcome: Outcome, power: float, needed: int | None) -> str:
            return self._sentence(labels[row], row, outcome, power, needed)

        verdicts = self.excess.verdicts(rows, _said)
        return [
            {"group": labels[int(row)], **self.excess.numbers(int(row), level), **verdict.record()}
            for row, verdict in zip(rows, verdicts, strict=True)
        ]

    def _sentence(self, label: str, row: int, outcome: Outcome, power: float, needed: int | None) -> str:
        seen, due = said_count(float(self.excess.observed[row])), said_count(float(self.excess.mean[row]))
        if outcome == "worse":
            adjusted = said_p(float(self.excess.adjusted_p[row]), "adjusted p")
            return f"{label} failed {seen} times where its class explains {due} ({adjusted})."
        if outcome == "not_separable":
            return f"{label} is its whole class: there is nothing to compare it with."
        told = f"{label} failed {seen} times where its class explains {due}: no evidence of more."
        return f"{told} {said_power(power, needed, outcome == 'too_few')}"

    def shrunk(self, level: float = 0.95, times_class: float = 1.5) -> dict[str, Floats]:
        """Return mean, limits and probability above of the ratios after shrinkage, each of shape (q,), [-].

        They are shown always, whatever the test of spread says; empty when nothing has failed.
        """
        if self.prior is None:
            return {}
        shape, rate = self.excess.observed + self.prior.shape, self.excess.mean + self.prior.rate
        half = (1 - level) / 2
        return {
            "estimate": shape / rate,
            "lower": gammaincinv(shape, half) / rate,
            "upper": gammaincinv(shape, 1 - half) / rate,
            "probability_above": gammaincc(shape, times_class * self.prior.mean * rate),
        }


def place_excess(table: StayTable, place: Ints, noun: str = "position") -> PlaceExcess:
    """Return the excess of each place.

    Parameters
    ----------
    table : StayTable
        Stays of the whole site.
    place : ndarray of int, shape (n,)
        Number of the position, or of the machine, of each stay.
    noun : str
        What a place is called in a sentence.

    Notes
    -----
    p = P(at least O) of the binomial count given the total of the class, which is exact for the unknown level of the
    class; several classes in one place add their means and variances. Level [simulated]: a place flagged in 0.000 to
    0.053 of plants on which positions do not differ.
    """
    found, excess = class_excess(table, place, questions=QUESTIONS)
    spread = spread_likelihood_ratio(excess.observed, excess.mean)
    return PlaceExcess(found, excess, spread, noun)


def class_excess(
    table: StayTable, place: Ints, *, questions: int = 1, within_h: float | None = None
) -> tuple[Ints, Excess]:
    """Return the places and their failures against those of their classes, no periods, no spread.

    Parameters
    ----------
    within_h : float, optional
        Only failures up to this age count, [h]; whole lives by default.
    """
    age, entry, failed = windowed(table, within_h)
    expected = stay_expected(age, entry, failed, table.of_class)
    present, number = np.unique(place, return_inverse=True)
    cell = crossed(number.astype(np.int64), table.of_class)
    of_cell = np.bincount(cell, expected)
    total = np.bincount(table.of_class, expected)
    first = _first_rows(cell)
    share = np.divide(of_cell, total[table.of_class[first]], out=np.zeros_like(of_cell), where=of_cell > 0)
    alone = _alone(cell, table.of_class, first)
    share = np.where(alone & (of_cell > 0), 1.0, np.minimum(share, 1.0))
    q = len(present)
    excess = Excess(
        np.bincount(number, minlength=q),
        totals(number, failed, q),
        totals(number[first], of_cell, q),
        totals(number[first], of_cell * (1 - share), q),
        np.full(q, np.inf),  # a position that fails more often has more stays: the number it has is no bound
        questions,
        False,
        FLAG_TEST,
    )
    return present.astype(np.int64), excess


def windowed(table: StayTable, within_h: float | None) -> tuple[Floats, Floats, Floats]:
    """Return ages at the end and at entry, and failures, up to an age; a stay that entered later adds nothing."""
    if within_h is None:
        return table.age_h, table.entry_h, table.failed
    if not within_h > 0:
        raise ValueError("the window must be above zero")
    inside: Bools = table.age_h <= within_h
    return np.minimum(table.age_h, within_h), np.minimum(table.entry_h, within_h), np.where(inside, table.failed, 0.0)


def _first_rows(cell: Ints) -> Ints:
    _, first = np.unique(cell, return_index=True)
    return first.astype(np.int64)


def _alone(cell: Ints, of_class: Ints, first: Ints) -> Bools:
    """Return which cells are their whole class."""
    cells_of_class = np.bincount(of_class[first])
    return np.asarray(cells_of_class[of_class[first]] == 1)
