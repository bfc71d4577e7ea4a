"""How many failures a class leads to expect of each of its stays: by the fit of the class, else by its own steps."""

import numpy as np

from service.reliability.expectation import empirical_expected, weibull_expected
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Bools, Floats, Ints, Lives
from service.reliability.weibull import weibull_fits

FEWEST_FAILURES = 5  # of a class, below which its own steps are nearer the truth than a fit


def class_expected(data: Lives) -> tuple[Floats, int]:
    """Return the expected number of failures of each row, shape (n,), [-], and how many classes were fitted.

    Parameters
    ----------
    data : Lives
        Lives; each group is a class.
    """
    fits = weibull_fits(data)
    failures = data.failures
    place = {int(group): n for n, group in enumerate(fits.group) if failures[int(group)] >= FEWEST_FAILURES}
    steps = survival_steps(data)
    expected = np.zeros_like(data.time_h)
    edges = np.append(data.starts, len(data.time_h))
    for number in range(data.groups):
        rows = slice(int(edges[number]), int(edges[number + 1]))
        time_h, entry_h = data.time_h[rows], data.entry_h[rows]
        if number in place:
            shape, scale_h = float(fits.shape[place[number]]), float(fits.scale_h[place[number]])
            expected[rows] = weibull_expected(shape=shape, scale_h=scale_h, time_h=time_h, entry_h=entry_h)
        else:
            expected[rows] = empirical_expected(steps, number, time_h=time_h, entry_h=entry_h)
    return expected * data.count, len(place)


def sums_by(place: Ints, failed: Bools, expected: Floats) -> tuple[list[int], tuple[list[float], list[float]]]:
    """Return the places, and the failures seen and expected of each, [-]."""
    present, number = np.unique(place, return_inverse=True)
    seen = np.bincount(number, failed, len(present))
    due = np.bincount(number, expected, len(present))
    return present.tolist(), (seen.tolist(), due.tolist())
