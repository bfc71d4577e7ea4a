"""Bins of very many stays by the deviations that were approved when they were mounted."""

from typing import Final

import numpy as np

from service.reliability.lives import Ints
from service.reliability.stay_columns import StayColumns

DEVIATION_BINS: Final = ("none", "one or more")


def deviation_numbers(columns: StayColumns) -> Ints:
    """Return the bin of each stay, ``len(DEVIATION_BINS)`` where no record says how it was mounted."""
    number = columns.numbers["deviations"]
    return np.where(np.isnan(number), len(DEVIATION_BINS), (number > 0).astype(np.int64))
