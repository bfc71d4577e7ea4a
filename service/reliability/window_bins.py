"""Where the residual clearance of very many stays lay in its window."""

from typing import Final

import numpy as np

from service.reliability.lives import Ints
from service.reliability.stay_columns import StayColumns

WINDOW_BINS: Final = ("below_window", "lower_third", "middle_third", "upper_third", "above_window")
WINDOW_GROUPS: Final = (*WINDOW_BINS, "not measured")


def window_numbers(columns: StayColumns) -> Ints:
    """Return the bin of each stay, ``len(WINDOW_BINS)`` where clearance or window are not on record.

    Parameters
    ----------
    columns : StayColumns
        With residual_nm, window_min_nm and window_max_nm, [nm].
    """
    residual, low, high = (columns.numbers[name] for name in ("residual_nm", "window_min_nm", "window_max_nm"))
    with np.errstate(invalid="ignore", divide="ignore"):
        width = high - low
        share = np.where(width > 0, (residual - low) / np.where(width > 0, width, 1.0), 0.5)
        inside = 1 + np.minimum(np.nan_to_num(3 * share), 2).astype(np.int64)
        found = np.where(residual < low, 0, np.where(residual > high, 4, inside))
    known = ~(np.isnan(residual) | np.isnan(low) | np.isnan(high))
    return np.where(known, found, len(WINDOW_BINS))
