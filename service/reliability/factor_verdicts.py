"""Does life differ by how bearings were mounted: bins of several factors, compared within class and period."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc, ndtr

from service.reliability.class_hazard import class_hazard, stay_expected
from service.reliability.group_excess import strata_of
from service.reliability.lives import Floats, Ints
from service.reliability.policy import (
    DOUBLING,
    LEVEL,
    Verdict,
    flagged,
    floored_p,
    holm,
    needed_times,
    normal_power,
    said_count,
    said_p,
    said_power,
    without_claim,
)
from service.reliability.position_spread import spread_term
from service.reliability.stay_table import StayTable
from service.reliability.strata import crossed, dense, totals
from service.words import Outcome

TEST: Final = "stratified_log_rank"
FEWEST_FAILURES: Final = 10  # in all, below which no test is made
FEWEST_EXPECTED: Final = 2.0  # in the smallest bin that is filled
NEGLIGIBLE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class LogRank:
    """Observed and expected failures by bin, and whether they differ by more than chance."""

    observed: Floats
    expected: Floats
    units: Floats
    statistic: float
    degrees_of_freedom: int
    p_value: float

    def record(self) -> dict[str, Any]:
        """Return the wire members of the test."""
        return {
            "statistic": self.statistic,
            "degrees_of_freedom": self.degrees_of_freedom,
            "p_value": self.p_value,
        }


@dataclass(frozen=True, slots=True)
class FactorTest:
    """The comparison of the bins of one factor, before the number of factors is allowed for.

    Attributes
    ----------
    name : str
        The factor, in words.
    bins : tuple of str
        Names of the k bins.
    test : LogRank
        Failures seen and expected by bin; the statistic on k - 1 degrees of freedom.
    trend : tuple of float or None
        z and p of the number of the bin; descriptive.
    """

    name: str
    bins: tuple[str, ...]
    test: LogRank
    trend: tuple[float, float] | None

    @property
    def failures(self) -> float:
        """Return the failures that were compared, [-]."""
        return float(self.test.observed.sum())

    @property
    def enough(self) -> bool:
        """Return whether the bins can be compared at all."""
        filled = self.test.units > 0
        return (
            self.failures >= FEWEST_FAILURES
            and self.test.degrees_of_freedom > 0
            and float(np.min(self.test.expected[filled], initial=np.inf)) >= FEWEST_EXPECTED
        )


@dataclass(frozen=True, slots=True)
class FactorVerdict:
    """The verdict on one factor among those of the answer."""

    factor: FactorTest
    verdict: Verdict
    family: int

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        test, trend = self.factor.test, self.factor.trend
        numbers = zip(self.factor.bins, test.units, test.observed, test.expected, strict=True)
        adjusted = self.verdict.adjusted_p
        return {
            "factor": self.factor.name,
            "bins": [
                {"bin": name, "stays": float(stays), "observed": float(seen), "expected": float(due)}
                for name, stays, seen, due in numbers
            ],
            "flagged": adjusted is not None and bool(flagged(adjusted)),
            "log_rank": test.record() if self.factor.enough else None,
            "trend": {"z": trend[0], "p_value": trend[1]} if self.factor.enough and trend else None,
            **self.verdict.record(),
        }


def factor_test(
    name: str, table: StayTable, bins: Ints, names: Sequence[str], *, site: Ints | None = None
) -> FactorTest:
    """Return the k-sample log-rank test within class and period, its variance widened by what positions differ.

    A factor may belong to the position (the diameter of a shaft stays as it is), and positions differ for good; without
    the spread term such a factor would be said to matter where only the positions do.

    Parameters
    ----------
    name : str
        The factor, in words.
    table : StayTable
        Stays of the whole site.
    bins : ndarray of int, shape (n,)
        Bin of each stay, 0 .. k-1; -1 where it is not on record.
    names : sequence of str, shape (k,)
        Names of the bins in their order.

    Source
    ------
    Mantel 1966; Kalbfleisch & Prentice. Checked against the 6-MP trial of Freireich et al. 1963 (Gehan 1965).
    """
    expected = stay_expected(table.age_h, table.entry_h, table.failed, table.of_class)
    position = dense(table.position)
    spread = spread_term(position, table.failed, expected)
    rows = np.flatnonzero(bins >= 0)
    k = len(names)
    if len(rows) == 0:
        return FactorTest(name, tuple(names), LogRank(np.zeros(k), np.zeros(k), np.zeros(k), 0.0, 0, 1.0), None)
    stratum = crossed(strata_of(table, ("mounting",), site=site)[rows])
    observed, mean, variance = _sums(table, rows, stratum, bins[rows], k)
    variance = variance + spread * _spread_products(expected[rows], stratum, position[rows], bins[rows], k)
    units = totals(bins[rows], np.ones(len(rows)), k)
    statistic, freedom = _statistic(observed - mean, variance)
    p_value = float(floored_p(chdtrc(freedom, statistic))) if freedom else 1.0
    test = LogRank(observed, mean, units, statistic, freedom, p_value)
    return FactorTest(name, tuple(names), test, _trend(observed - mean, variance))


def factor_verdicts(tests: Sequence[FactorTest]) -> list[FactorVerdict]:
    """Return the verdicts of all factors of an answer, Holm over those that can be tested."""
    able = [n for n, one in enumerate(tests) if one.enough]
    adjusted = holm([tests[n].test.p_value for n in able])
    of_factor = dict(zip(able, adjusted.tolist(), strict=True))
    family = len(able)
    return [FactorVerdict(one, _verdict(one, of_factor.get(n), family), family) for n, one in enumerate(tests)]


def _verdict(factor: FactorTest, adjusted: float | None, family: int) -> Verdict:
    p = factor.test.p_value
    z = _doubling_z(factor)
    level = LEVEL / max(family, 1)
    power = normal_power(z, level) if z > 0 else 0.0
    times = needed_times(z, level)
    needed = math.ceil(factor.failures * times) if np.isfinite(times) else None
    of = f"{factor.failures:g} failures compared"
    if adjusted is None:
        at = said_power(power, needed, True)
        if needed is not None and needed <= factor.failures:
            # enough failures in all, but a bin too thin for the distribution of the statistic to be trusted
            at, needed = f"A bin leads to expect fewer than {FEWEST_EXPECTED:g} failures.", None
        return Verdict("too_few", f"Not enough data on {factor.name}: {of}. {at}", TEST, None, None, needed, power)
    if flagged(adjusted):
        said = f"Lives differ by {factor.name} ({said_p(adjusted, 'adjusted p')}; {of}). {_shortest(factor)}"
        return Verdict("differ", said, TEST, p, adjusted, None, power)
    outcome: Outcome = without_claim(power)
    seen = said_power(power, needed, outcome == "too_few")
    said = f"Lives are not seen to differ by {factor.name} ({said_p(adjusted, 'adjusted p')}; {of}). {seen}"
    return Verdict(outcome, said, TEST, p, adjusted, needed, power)


def _shortest(factor: FactorTest) -> str:
    """Return the bin that failed most for its number, in a sentence that describes."""
    seen, due = factor.test.observed, factor.test.expected
    worst = int(np.argmax(np.divide(seen, due, out=np.zeros_like(due), where=due > NEGLIGIBLE)))
    name = factor.bins[worst].replace("_", " ")
    return f"Most for their number: {name}, {said_count(float(seen[worst]))} against {said_count(float(due[worst]))}."


def _doubling_z(factor: FactorTest) -> float:
    """Return the z to be expected when the largest bin fails at twice the rate of the others (Schoenfeld 1981)."""
    due = factor.test.expected
    if not due.sum() > 0:
        return 0.0
    share = float(due.max() / due.sum())
    return math.log(DOUBLING) * math.sqrt(max(share * (1 - share), 0.0) * factor.failures)


def _sums(table: StayTable, rows: Ints, stratum: Ints, bins: Ints, k: int) -> tuple[Floats, Floats, Floats]:
    """Return failures seen and expected by bin, and the hypergeometric covariance, shape (k, k)."""
    age, entry, failed = table.age_h[rows], table.entry_h[rows], table.failed[rows]
    hazard = class_hazard(age, entry, failed, stratum)
    until, begin = hazard.place(stratum, age), hazard.place(stratum, entry)
    steps = len(hazard.step)
    change = np.zeros((k, steps + 1))
    np.add.at(change, (bins, begin), 1.0)
    np.add.at(change, (bins, until), -1.0)
    at_risk = np.cumsum(change, axis=1)[:, :steps]
    n = at_risk.sum(axis=0)
    fails = failed > 0
    d = totals(until[fails] - 1, failed[fails], steps)
    share = at_risk / n
    weight = d * np.where(n > 1, (n - d) / np.maximum(n - 1, 1.0), 0.0)
    variance = np.diag(share @ weight) - (share * weight) @ share.T
    return totals(bins, failed, k), np.asarray(share @ d), np.asarray(variance)


def _spread_products(expected: Floats, stratum: Ints, position: Ints, bins: Ints, k: int) -> Floats:
    """Return sum over positions of x x', x_g = E_g less the share of bin g in what is expected of the strata."""
    strata, positions = int(stratum.max()) + 1, int(position.max()) + 1
    of_stratum = totals(stratum, expected, strata)
    x = np.zeros((k, positions))
    for g in range(k):
        mine = np.where(bins == g, expected, 0.0)
        share = np.divide(totals(stratum, mine, strata), of_stratum, out=np.zeros(strata), where=of_stratum > 0)
        x[g] = totals(position, mine - expected * share[stratum], positions)
    return np.asarray(x @ x.T)


def _statistic(excess: Floats, variance: Floats) -> tuple[float, int]:
    """Return the statistic over the bins that can be compared, one left out, and its degrees of freedom."""
    compared = np.flatnonzero(np.diag(variance) > NEGLIGIBLE)
    if len(compared) < 2:
        return 0.0, 0
    free = compared[:-1]
    block = variance[np.ix_(free, free)]
    freedom = int(np.linalg.matrix_rank(block, hermitian=True))
    return float(excess[free] @ np.linalg.pinv(block, hermitian=True) @ excess[free]), freedom


def _trend(excess: Floats, variance: Floats) -> tuple[float, float] | None:
    number = np.arange(len(excess), dtype=np.float64)
    spread = float(number @ variance @ number)
    if not spread > NEGLIGIBLE:
        return None
    z = float(number @ excess / math.sqrt(spread))
    return z, float(floored_p(2 * ndtr(-abs(z))))
