"""Observed and expected failures of any number of groups within strata, as the log-rank test has them."""

from dataclasses import dataclass

import numpy as np

from service.reliability.class_hazard import ClassHazard, class_hazard
from service.reliability.lives import Floats, Ints
from service.reliability.strata import crossed, totals


@dataclass(frozen=True, slots=True)
class LogRankSums:
    """Sums over the failures j, with w_j the share of the group among those at risk in the stratum at that age.

    Attributes
    ----------
    observed, mean, variance : ndarray, shape (q,)
        Failures; sum of w_j; sum of w_j (1 - w_j), [-]
    stay_mean : ndarray, shape (n,)
        Expected failures of each stay by its stratum, [-]
    """

    observed: Floats
    mean: Floats
    variance: Floats
    stay_mean: Floats


def log_rank_sums(age_h: Floats, entry_h: Floats, failed: Floats, stratum: Ints, group: Ints, q: int) -> LogRankSums:
    """Return the sums of q groups.

    Sum of w_j over the failures of a stratum equals the sum of the cumulative hazard of the group's stays; sum of w_j^2
    follows from the number of the group at risk, a step function of age.

    Parameters
    ----------
    age_h, entry_h, failed : ndarray, shape (n,)
        As in ``class_hazard``.
    stratum, group : ndarray of int, shape (n,)
        Numbers; groups 0 .. q-1.

    Source
    ------
    Mantel 1966, Cancer Chemother. Rep. 50; ties without the factor (n - d) / (n - 1), which makes the variance larger.
    """
    hazard = class_hazard(age_h, entry_h, failed, stratum)
    stay_mean = hazard.expected(stratum, age_h, entry_h)
    observed, mean = totals(group, failed, q), totals(group, stay_mean, q)
    cell = crossed(group, stratum)
    squares = _squared_shares(hazard, hazard.place(stratum, age_h), hazard.place(stratum, entry_h), cell)
    first = np.unique(cell, return_index=True)[1]
    variance = mean - totals(group[first], squares, q)
    # rounding of the running sums alone must not look like variance, nor like a deficit of it
    variance = np.asarray(np.where(variance > 1e-10 * np.maximum(mean, 1.0), np.minimum(variance, mean), 0.0))
    return LogRankSums(observed, mean, variance, stay_mean)


def _squared_shares(hazard: ClassHazard, until: Ints, begin: Ints, cell: Ints) -> Floats:
    """Return the sum over failures of (number of the cell at risk / number of the stratum at risk)^2, by cell."""
    cells = int(cell.max()) + 1
    place = np.concatenate((begin, until))
    change = np.concatenate((np.ones(len(begin)), -np.ones(len(until))))
    of_cell = np.concatenate((cell, cell))
    order = np.lexsort((place, of_cell))
    place, of_cell = place[order], of_cell[order]
    at_risk = np.cumsum(change[order])  # every cell ends at zero
    upto = hazard.squared[place]
    same = of_cell[1:] == of_cell[:-1]
    pieces = np.where(same, at_risk[:-1] ** 2 * (upto[1:] - upto[:-1]), 0.0)
    return totals(of_cell[:-1], pieces, cells)
