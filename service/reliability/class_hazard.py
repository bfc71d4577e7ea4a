"""How many failures a class leads to expect of each of its stays: Nelson-Aalen, with ties and late entry, no model.

A(t) is made from all stays of the stratum, the one looked at included, so that the expected numbers of a stratum sum to
the failures seen in it.
"""

from dataclasses import dataclass

import numpy as np

from service.reliability.lives import Floats, Ints


@dataclass(frozen=True, slots=True)
class ClassHazard:
    """Steps of the cumulative hazards of all strata, in one sorted column.

    Attributes
    ----------
    failure_ages_h : ndarray, shape (m,)
        Ages at which anything failed in any stratum, rising, [h]
    step : ndarray of int, shape (k,)
        Stratum times (m + 1) plus the rank of the age, rising.
    hazard, squared : ndarray, shape (k + 1,)
        Running sums, over all steps before, of d / n and of d / n^2, [-]
    """

    failure_ages_h: Floats
    step: Ints
    hazard: Floats
    squared: Floats

    def rank(self, age_h: Floats) -> Ints:
        """Return how many failure ages lie at or below each age."""
        return np.searchsorted(self.failure_ages_h, age_h, side="right").astype(np.int64)

    def place(self, stratum: Ints, age_h: Floats) -> Ints:
        """Return how many steps lie before and at each age of a stratum, in the one column."""
        key = stratum * (len(self.failure_ages_h) + 1) + self.rank(age_h)
        return np.searchsorted(self.step, key, side="right").astype(np.int64)

    def expected(self, stratum: Ints, age_h: Floats, entry_h: Floats) -> Floats:
        """Return A(age) - A(entry) of each stay, shape (n,), [-]."""
        return np.asarray(self.hazard[self.place(stratum, age_h)] - self.hazard[self.place(stratum, entry_h)])


def class_hazard(age_h: Floats, entry_h: Floats, failed: Floats, stratum: Ints) -> ClassHazard:
    """Return the cumulative hazards of strata; a stay is at risk where entry < age of a failure <= its own age.

    Parameters
    ----------
    age_h, entry_h : ndarray, shape (n,)
        Age at the end, and at the beginning, of observation, [h]
    failed : ndarray, shape (n,)
        1 failed, 0 not, or a share, [-]
    stratum : ndarray of int, shape (n,)
        Stratum of each stay, zero or above.

    Source
    ------
    Nelson 1972, Technometrics 14; Aalen 1978, Ann. Stat. 6.
    """
    fails = failed > 0
    ages = np.unique(age_h[fails])
    width = len(ages) + 1
    exits = stratum * width + np.searchsorted(ages, age_h, side="right")
    entries = stratum * width + np.searchsorted(ages, entry_h, side="right")
    step, which = np.unique(exits[fails], return_inverse=True)
    d = np.bincount(which, failed[fails], len(step))
    end_of_stratum = (step // width + 1) * width
    sorted_exits, sorted_entries = np.sort(exits), np.sort(entries)
    at_risk = _between(sorted_exits, step, end_of_stratum) - _between(sorted_entries, step, end_of_stratum)
    n = at_risk.astype(np.float64)
    return ClassHazard(ages, step.astype(np.int64), _running(d / n), _running(d / n**2))


def stay_expected(age_h: Floats, entry_h: Floats, failed: Floats, stratum: Ints) -> Floats:
    """Return the expected number of failures of each stay by its own stratum, shape (n,), [-]."""
    return class_hazard(age_h, entry_h, failed, stratum).expected(stratum, age_h, entry_h)


def _between(ordered: Ints, low: Ints, high: Ints) -> Ints:
    return np.asarray(np.searchsorted(ordered, high, side="left") - np.searchsorted(ordered, low, side="left"))


def _running(values: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(values)))
