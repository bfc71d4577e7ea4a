"""What is compared with what: stays of one class, fitted in the same period.

Where positions differ, later fittings come more and more from the bad ones; whatever came into use later then looks
bad. So makers, crews and mounting are compared within a class and within the octile of the fitting date.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from service.reliability.lives import Floats, Ints

PERIODS: Final = 8
FINE_PERIODS: Final = 32
STAYS_A_FINE_PERIOD: Final = 25
SPARSE: Final = 8
MOST_COUNTED: Final = 100_000


def number_of_periods(keys: Sequence[str], stays: int) -> int:
    """Return into how many periods the fittings of a site are cut: 8, up to 32 for batches and the site's own words.

    Batches follow one another, and so may what a site keeps of its own. Within an eighth of the fittings later ones
    come from the bad positions still: a batch was named of nothing in up to a third of large plants [simulated, 32
    periods: 0 to 3 %]. With few stays the eighths stay, where nothing is named.
    """
    if not any(key == "batch" or key.startswith("attributes.") for key in keys):
        return PERIODS
    return min(max(PERIODS, stays // STAYS_A_FINE_PERIOD), FINE_PERIODS)


def periods(begin_h: Floats, site: Ints | None = None, *, number: int = PERIODS) -> Ints:
    """Return the octile (or finer part) of each fitting date among those of its site, from 0, shape (n,).

    The cuts are dates of the record itself, and a date that equals a cut belongs before it.

    Parameters
    ----------
    begin_h : ndarray, shape (n,)
        Moment of fitting, [h]
    site : ndarray of int, shape (n,), optional
        Site of each stay; one site by default.
    """
    found = np.zeros(len(begin_h), dtype=np.int64)
    of_site = np.zeros(len(begin_h), dtype=np.int64) if site is None else site
    for one in np.unique(of_site):
        rows = np.flatnonzero(of_site == one)
        dates = np.sort(begin_h[rows])
        cuts = dates[np.ceil(len(rows) * np.arange(1, number) / number).astype(np.int64) - 1]
        found[rows] = np.searchsorted(cuts, begin_h[rows], side="left")
    return found


def totals(number: Ints, values: ArrayLike, q: int) -> Floats:
    """Return the sum of a column by number 0 .. q-1, shape (q,)."""
    return np.asarray(np.bincount(number, np.asarray(values, dtype=np.float64), q), dtype=np.float64)


def crossed(*numbers: Ints) -> Ints:
    """Return the number of each combination that occurs, 0 .. k-1, shape (n,)."""
    found = np.zeros(len(numbers[0]), dtype=np.int64)
    for one in numbers:
        found = dense(found * (int(one.max(initial=0)) + 1) + one)
    return found


def dense(number: Ints) -> Ints:
    """Return numbers, zero or above, renumbered 0 .. k-1 in their order, none left out, shape (n,)."""
    if len(number) == 0 or int(number.max()) > SPARSE * len(number) + MOST_COUNTED:
        return np.unique(number, return_inverse=True)[1].astype(np.int64)
    occurs = np.bincount(number) > 0  # quicker than sorting while the numbers are not too far apart
    return np.asarray((np.cumsum(occurs) - 1)[number], dtype=np.int64)
