"""Expected numbers of failures of stays, from the class's own lives: the fair measure, since wear-out makes age count.

The expected number of a stay is its cumulative hazard between entry and end. It balances the observed number whatever
the censoring, which the probability of failure by the end would not.
"""

import numpy as np

from service.reliability.kaplan_meier import SurvivalSteps
from service.reliability.lives import Floats


def weibull_expected(*, shape: float, scale_h: float, time_h: Floats, entry_h: Floats | None = None) -> Floats:
    """Return (t/eta)^beta - (entry/eta)^beta of each stay, shape (n,), [-].

    Parameters
    ----------
    shape : float
        Shape of the class, [-]
    scale_h : float
        Scale of the class, [h]
    time_h, entry_h : ndarray, shape (n,)
        Age at the end and at the beginning of observation, [h]
    """
    until = (np.asarray(time_h) / scale_h) ** shape
    return np.asarray(until if entry_h is None else until - (np.asarray(entry_h) / scale_h) ** shape)


def empirical_expected(steps: SurvivalSteps, group: int, *, time_h: Floats, entry_h: Floats | None = None) -> Floats:
    """Return the class's Nelson-Aalen cumulative hazard between entry and end of each stay, shape (n,), [-].

    No model. Summed over the class's own stays it gives the number of its failures exactly.

    Parameters
    ----------
    steps : SurvivalSteps
        Steps of the classes.
    group : int
        Number of the class, [-]
    time_h, entry_h : ndarray, shape (n,)
        Age at the end and at the beginning of observation, [h]
    """
    rows = steps.rows_of(group)
    hazard = np.concatenate(([0.0], steps.cumulative_hazard[rows]))
    until = hazard[np.searchsorted(steps.time_h[rows], time_h, side="right")]
    if entry_h is None:
        return np.asarray(until)
    return np.asarray(until - hazard[np.searchsorted(steps.time_h[rows], entry_h, side="right")])
