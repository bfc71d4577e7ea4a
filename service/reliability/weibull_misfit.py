"""Does the Weibull describe the lives of a group? Failures in bins of age against those of the fit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc, chdtri, chndtr

from service import units
from service.errors import Text
from service.reliability.lives import Floats, Ints, Lives
from service.reliability.policy import LEVEL, Verdict, flagged, floored_p, holm, said_count, said_p, said_share
from service.reliability.strata import totals
from service.reliability.weibull import WeibullFits

TEST: Final = "hazard_bins"
FEWEST_FAILURES: Final = 15
FEWEST_BINS: Final = 3
MOST_BINS: Final = 8
FAILURES_A_BIN: Final = 8
NEGLIGIBLE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class FitBin:
    """Failures between two ages; ``to_h`` None: and later."""

    from_h: float
    to_h: float | None
    observed: float
    expected: float

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        to = None if self.to_h is None else units.Quantity("time", self.to_h)
        return {"from": units.Quantity("time", self.from_h), "to": to, "observed": self.observed,
                "expected": self.expected}  # fmt: skip


@dataclass(frozen=True, slots=True)
class BinTest:
    """X2 of one group with its bins; ``shift_variance`` is that of the first bin, from which the power follows."""

    bins: tuple[FitBin, ...]
    statistic: float
    degrees_of_freedom: int
    p_value: float
    shift_variance: float


@dataclass(frozen=True, slots=True)
class Misfit:
    """The verdict on the fit of one group; ``test`` is None where there are too few failures or no fit."""

    test: BinTest | None
    adjusted_p: float | None
    failures: float
    family: int

    def verdict(self, survival_b10_h: tuple[float, float | None, float | None] | None = None) -> Verdict:
        """Return the verdict.

        Parameters
        ----------
        survival_b10_h : tuple of float, optional
            B10 of the survival curve with its limits, None for an open one, [h]; the sentence sends the reader there.
        """
        if self.test is None or self.adjusted_p is None:
            said = f"Too few failures to test the Weibull: {said_count(self.failures)}, {FEWEST_FAILURES} are needed."
            needed = FEWEST_FAILURES
            if self.failures >= FEWEST_FAILURES:
                said, needed = "No Weibull could be fitted, so none is tested.", None  # type: ignore[assignment]
            return Verdict("too_few", said, TEST, None, None, needed, None)
        power = _power(self.test, self.family)
        p = self.test.p_value
        if flagged(self.adjusted_p):
            return Verdict("misfit", self._misfit(survival_b10_h), TEST, p, self.adjusted_p, None, power)
        needed_now = _needed(self.test, self.family, self.failures)
        said = (
            f"No misfit seen ({said_p(self.adjusted_p, 'adjusted p')}). Twice the early failures of the fit would have "
            f"been seen with {said_share(power)} probability."
        )
        return Verdict("no_evidence", said, TEST, p, self.adjusted_p, needed_now, power)

    def bins(self) -> list[dict[str, Any]]:
        """Return the wire members of the bins."""
        return [] if self.test is None else [one.record() for one in self.test.bins]

    def _misfit(self, b10_h: tuple[float, float | None, float | None] | None) -> Text:
        assert self.test is not None and self.adjusted_p is not None
        worst = max(self.test.bins, key=lambda one: (one.observed - one.expected) ** 2 / one.expected)
        parts: list[str | units.Quantity] = [
            f"The Weibull does not describe these lives ({said_p(self.adjusted_p, 'adjusted p')}): "
            f"{said_count(worst.observed)} failed ",
            *_between(worst),
            f", {said_count(worst.expected)} expected.",
        ]
        if b10_h is not None:
            parts += [" Read B10 from the survival curve: ", units.Quantity("time", b10_h[0]), *_limits(b10_h), "."]
        return tuple(parts)


def weibull_misfits(data: Lives, fits: WeibullFits) -> list[Misfit]:
    """Return the verdicts on the fits of all groups, Holm over those that can be tested.

    Parameters
    ----------
    data : Lives
        Lives of q groups.
    fits : WeibullFits
        Their maximum likelihood fits.

    Source
    ------
    Akritas 1988, J. Am. Stat. Assoc. 83; Hjort 1990, Int. Stat. Rev. 58 (from memory). Level [simulated] 0.018 to
    0.070.
    """
    return misfits_of_answer([(data, fits)])[0]


def misfits_of_answer(parts: Sequence[tuple[Lives, WeibullFits]]) -> list[list[Misfit]]:
    """Return the verdicts on the fits of all parts of an answer (modes of damage, say), Holm over all of them."""
    tests = [bin_tests(data, fits) for data, fits in parts]
    tested = [(part, n) for part, of_part in enumerate(tests) for n in sorted(of_part)]
    p_values = [tests[part][n].p_value for part, n in tested]
    adjusted = dict(zip(tested, holm(p_values).tolist(), strict=True))
    return [
        [
            Misfit(of_part.get(n), adjusted.get((part, n)), float(failed), len(tested))
            for n, failed in enumerate(parts[part][0].failures.tolist())
        ]
        for part, of_part in enumerate(tests)
    ]


def bin_tests(data: Lives, fits: WeibullFits) -> dict[int, BinTest]:
    """Return the test of each group that has a fit and at least ``FEWEST_FAILURES`` failures, by its number.

    Bins have equal expected numbers. X2 = (O - E)' V^+ (O - E), V = diag(E) - G I^-1 G' with G the derivatives of E
    after ln eta and ln beta and I the observed information; the equation of the scale makes O - E sum to zero.
    """
    enough = np.flatnonzero(fits.failures >= FEWEST_FAILURES)
    if len(enough) == 0:
        return {}
    shape, scale = np.zeros(data.groups), np.ones(data.groups)
    shape[fits.group], scale[fits.group] = fits.shape, fits.scale_h
    wanted = np.zeros(data.groups, dtype=np.bool_)
    wanted[fits.group[enough]] = True
    rows = np.flatnonzero(np.repeat(wanted, data.sizes))
    number = np.cumsum(wanted) - 1
    spent = _Spent.of(data, rows, number, shape, scale)
    chosen = np.flatnonzero(wanted)
    k = np.clip(np.floor(spent.failures / FAILURES_A_BIN), FEWEST_BINS, MOST_BINS).astype(np.int64)
    edges = _edges(spent, k)
    sums = _binned(spent, edges, shape[chosen])
    return {
        int(group): _bin_test(n, int(k[n]), edges[n], sums, float(shape[group]), float(scale[group]))
        for n, group in enumerate(chosen)
    }


@dataclass(frozen=True, slots=True)
class _Spent:
    """Cumulative hazard of the fit at the end and at the entry of each row, rows sorted by group 0 .. m-1."""

    until: Floats
    begin: Floats
    failed: Floats
    count: Floats
    group: Ints
    groups: int
    failures: Floats

    @classmethod
    def of(cls, data: Lives, rows: Ints, number: Ints, shape: Floats, scale: Floats) -> "_Spent":
        """Return the hazards of some rows; ``number`` renumbers their groups."""
        group = data.group[rows]
        beta, eta = shape[group], scale[group]
        dense = number[group].astype(np.int64)
        groups = int(dense.max()) + 1
        failed = data.count[rows] * data.failed[rows]
        return cls(
            (data.time_h[rows] / eta) ** beta,
            (data.entry_h[rows] / eta) ** beta,
            failed,
            data.count[rows],
            dense,
            groups,
            totals(dense, failed, groups),
        )


@dataclass(frozen=True, slots=True)
class _Binned:
    """By group and bin: O, E, dE/d ln eta, dE/d ln beta, each (m, K); by group: the observed information, (m, 2, 2)."""

    observed: Floats
    expected: Floats
    by_scale: Floats
    by_shape: Floats
    information: Floats


def _edges(spent: _Spent, k: Ints) -> Floats:
    """Return the inner edges of the bins as cumulative hazards, infinite beyond the last, shape (m, MOST_BINS - 1).

    The hazard that a group has spent below u grows by the number under observation: linear between ends and entries,
    so that it is turned round exactly.
    """
    u = np.concatenate((spent.begin, spent.until))
    change = np.concatenate((spent.count, -spent.count))
    group = np.concatenate((spent.group, spent.group))
    order = np.lexsort((u, group))
    u, group, slope = u[order], group[order], np.cumsum(change[order])
    same = group[1:] == group[:-1]
    pieces = np.where(same, slope[:-1] * (u[1:] - u[:-1]), 0.0)
    reached = np.concatenate(([0.0], np.cumsum(pieces)))  # over all groups, one after the other
    first = np.searchsorted(group, np.arange(spent.groups))
    last = np.append(first[1:], len(u)) - 1
    start, whole = reached[first], reached[last] - reached[first]
    edges = np.full((spent.groups, MOST_BINS - 1), np.inf)
    for j in range(1, MOST_BINS):
        inner = np.flatnonzero(j < k)
        goal = start[inner] + whole[inner] * j / k[inner]
        at = np.clip(np.searchsorted(reached, goal, side="left") - 1, first[inner], last[inner] - 1)
        edges[inner, j - 1] = u[at] + (goal - reached[at]) / slope[at]
    return edges


def _binned(spent: _Spent, edges: Floats, shape: Floats) -> _Binned:
    m = spent.groups
    whole = np.column_stack((np.zeros(m), edges, np.full(m, np.inf)))
    columns = [np.zeros((m, MOST_BINS)) for _ in range(4)]
    lower = [np.zeros(m) for _ in range(4)]
    for j in range(MOST_BINS):
        edge = whole[spent.group, j + 1]
        below = _below(spent, edge)
        for column, before, now in zip(columns, lower, below, strict=True):
            column[:, j] = now - before
        lower = below
    # below the last edge stands everything: dE/d ln eta = -beta H and dE/d ln beta = H ln H, summed
    observed, expected, log_sum, square_sum = columns
    a, b, r = log_sum.sum(axis=1), square_sum.sum(axis=1), expected.sum(axis=1)
    information = np.empty((m, 2, 2))
    information[:, 0, 0], information[:, 1, 1] = shape**2 * r, r + b
    information[:, 0, 1] = information[:, 1, 0] = -shape * a
    return _Binned(observed, expected, -shape[:, None] * expected, log_sum, information)


def _below(spent: _Spent, edge: Floats) -> list[Floats]:
    """Return by group the failures, and the sums of H, H ln H and H (ln H)^2, up to an edge."""
    until, begin = np.minimum(spent.until, edge), np.minimum(spent.begin, edge)
    fails = np.where(spent.until <= edge, spent.failed, 0.0)
    sums = [fails, spent.count * (until - begin)]
    for power in (1, 2):
        sums.append(spent.count * (until * _log(until) ** power - begin * _log(begin) ** power))
    return [totals(spent.group, one, spent.groups) for one in sums]


def _log(values: Floats) -> Floats:
    """Return ln, 0 at 0, where it is multiplied by 0."""
    return np.log(np.where(values > 0, values, 1.0))


def _bin_test(n: int, k: int, edges: Floats, sums: _Binned, shape: float, scale_h: float) -> BinTest:
    observed, expected = sums.observed[n, :k], sums.expected[n, :k]
    derivative = np.column_stack((sums.by_scale[n, :k], sums.by_shape[n, :k]))
    variance = np.diag(expected) - derivative @ np.linalg.solve(sums.information[n], derivative.T)
    values, vectors = np.linalg.eigh((variance + variance.T) / 2)
    kept = values > NEGLIGIBLE * float(expected.sum())
    projected = vectors[:, kept].T @ (observed - expected)
    statistic, freedom = float(np.sum(projected**2 / values[kept])), int(np.count_nonzero(kept))
    ages = [0.0, *(scale_h * float(edge) ** (1 / shape) for edge in edges[: k - 1]), None]
    bins = tuple(
        FitBin(ages[j] or 0.0, ages[j + 1], float(observed[j]), float(expected[j])) for j in range(k)
    )  # fmt: skip
    return BinTest(bins, statistic, freedom, float(floored_p(chdtrc(freedom, statistic))), float(variance[0, 0]))


def _power(test: BinTest, family: int) -> float:
    """Return the probability to see twice the expected failures in the first bin, the fit made anew, [-].

    A shift delta of O moves the fit; what is left is V diag(1/E) delta, so that delta = E_1 in the first bin gives a
    noncentral chi-square with V_11.
    """
    limit = float(chdtri(test.degrees_of_freedom, LEVEL / max(family, 1)))
    return float(1 - chndtr(limit, test.degrees_of_freedom, test.shift_variance))


def _needed(test: BinTest, family: int, failures: float) -> int:
    """Return the failures at which that is seen with 80 % probability, in the same bins."""
    limit, freedom = float(chdtri(test.degrees_of_freedom, LEVEL / max(family, 1))), test.degrees_of_freedom
    low, high = 0.0, 1000.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (low, middle) if chndtr(limit, freedom, middle) < 0.2 else (middle, high)
    return math.ceil(failures * high / max(test.shift_variance, 1e-9))


def _between(one: FitBin) -> list[str | units.Quantity]:
    begin = units.Quantity("time", one.from_h)
    if one.to_h is None:
        return ["after ", begin]
    end = units.Quantity("time", one.to_h)
    return ["before ", end] if one.from_h == 0 else ["between ", begin, " and ", end]


def _limits(b10_h: tuple[float, float | None, float | None]) -> list[str | units.Quantity]:
    said = [units.Quantity("time", one) if one is not None else "open" for one in b10_h[1:]]
    return [" (", said[0], " to ", said[1], ")"]
