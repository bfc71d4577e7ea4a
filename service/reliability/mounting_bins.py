"""Bins of very many stays by how they were mounted: deviations that were approved, and the fit on the shaft."""

from typing import Final

import numpy as np

from service.reliability.lives import Ints
from service.reliability.stay_columns import StayColumns

DEVIATION_BINS: Final = ("none", "one or more")
FIT_BINS: Final = ("below_limits", "lower_half", "upper_half", "above_limits")  # loose to tight


def deviation_numbers(columns: StayColumns) -> Ints:
    """Return the bin of each stay, ``len(DEVIATION_BINS)`` where no record says how it was mounted."""
    number = columns.numbers["deviations"]
    return np.where(np.isnan(number), len(DEVIATION_BINS), (number > 0).astype(np.int64))


def fit_numbers(columns: StayColumns) -> Ints:
    """Return where the shaft lay in its limits, ``len(FIT_BINS)`` where diameter or limits are not on record.

    The limits are inside, and the middle between them belongs to the upper half.

    Parameters
    ----------
    columns : StayColumns
        With shaft_nm, shaft_min_nm and shaft_max_nm, [nm].
    """
    shaft, low, high = (columns.numbers[name] for name in ("shaft_nm", "shaft_min_nm", "shaft_max_nm"))
    known = ~(np.isnan(shaft) | np.isnan(low) | np.isnan(high))
    with np.errstate(invalid="ignore"):
        inside = np.where(2 * shaft < low + high, 1, 2)
        found = np.where(shaft < low, 0, np.where(shaft > high, 3, inside))
    return np.where(known, found, len(FIT_BINS))
