"""Scaled rows of the Weibull likelihood and its sums: shared by the fit and by its limits.

With x = ln(t / t_max) <= 0 all powers exp(beta x) lie in (0, 1], so nothing overflows whatever the unit of time.
A unit that came under observation at age a adds a row at a with negative weight: the likelihood gains (a/eta)^beta.
"""

from dataclasses import dataclass

import numpy as np

from service.reliability.lives import Bools, Floats, Ints, Lives


@dataclass(frozen=True, slots=True)
class WeibullRows:
    """Rows of the likelihood of some groups, sorted by group.

    Attributes
    ----------
    x : ndarray, shape (n,)
        ln(t / largest time of the group), [-]
    weight : ndarray, shape (n,)
        Count of the row, negative at an entry, [-]
    starts, sizes : ndarray of int, shape (q,)
        First row and number of rows of each group.
    failures : ndarray, shape (q,)
        Number of failures r, [-]
    mean_x : ndarray, shape (q,)
        Mean of x over the failures, [-]
    largest_time_h : ndarray, shape (q,)
        The time that scales x, [h]
    late : ndarray of bool, shape (q,)
        Some unit of the group entered late.
    """

    x: Floats
    weight: Floats
    starts: Ints
    sizes: Ints
    failures: Floats
    mean_x: Floats
    largest_time_h: Floats
    late: Bools

    def of_groups(self, chosen: Bools) -> "WeibullRows":
        """Return the rows of the chosen groups."""
        if bool(chosen.all()):
            return self
        rows = np.repeat(chosen, self.sizes)
        sizes = self.sizes[chosen]
        starts = np.concatenate(([0], np.cumsum(sizes)[:-1])).astype(np.int64) if len(sizes) else sizes
        return WeibullRows(
            self.x[rows],
            self.weight[rows],
            starts,
            sizes,
            self.failures[chosen],
            self.mean_x[chosen],
            self.largest_time_h[chosen],
            self.late[chosen],
        )

    def of_numbers(self, numbers: Ints) -> "WeibullRows":
        """Return the rows of groups by their numbers, in that order; a group may come several times."""
        sizes = self.sizes[numbers]
        starts = np.concatenate(([0], np.cumsum(sizes)[:-1])).astype(np.int64) if len(sizes) else sizes
        rows = np.arange(int(sizes.sum())) + np.repeat(self.starts[numbers] - starts, sizes)
        return WeibullRows(
            self.x[rows],
            self.weight[rows],
            starts,
            sizes,
            self.failures[numbers],
            self.mean_x[numbers],
            self.largest_time_h[numbers],
            self.late[numbers],
        )

    def sums(self, shape: Floats) -> tuple[Floats, Floats, Floats]:
        """Return S_k = sum w x^k exp(shape x) for k = 0, 1, 2, each of shape (q,), [-]."""
        power = np.repeat(shape, self.sizes)
        power *= self.x
        np.exp(power, out=power)
        power *= self.weight
        s0 = np.add.reduceat(power, self.starts)
        power *= self.x
        s1 = np.add.reduceat(power, self.starts)
        power *= self.x
        return s0, s1, np.add.reduceat(power, self.starts)

    def profile(self, shape: Floats, s0: Floats, log_shape_weight: Floats) -> Floats:
        """Return the log-likelihood maximised over the scale, without the constant of the time unit, shape (q,), [-].

        ``log_shape_weight`` is r, or r - 2 for the modified profile likelihood.
        """
        r = self.failures
        found: Floats = log_shape_weight * np.log(shape) + (shape - 1) * r * self.mean_x - r * np.log(s0 / r) - r
        return found


def weibull_rows(data: Lives) -> WeibullRows:
    """Return the scaled rows of all groups; ``mean_x`` is 0 where nothing has failed, [-]."""
    largest = data.largest_time_h
    scale = np.repeat(largest, data.sizes)
    x = np.log(data.time_h / scale)
    failed = data.count * data.failed
    failures = data.sums(failed)
    mean_x = data.sums(failed * x) / np.maximum(failures, 1)
    late_rows = data.entry_h > 0
    if not late_rows.any():
        never = np.zeros(data.groups, dtype=np.bool_)
        return WeibullRows(x, data.count, data.starts, data.sizes, failures, mean_x, largest, never)
    group = data.group
    entered = np.log(data.entry_h[late_rows] / scale[late_rows])
    all_groups = np.concatenate((group, group[late_rows]))
    order = np.argsort(all_groups, kind="stable")
    sizes = np.bincount(all_groups, minlength=data.groups)
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1])).astype(np.int64)
    late = np.bincount(group[late_rows], minlength=data.groups) > 0
    return WeibullRows(
        np.concatenate((x, entered))[order],
        np.concatenate((data.count, -data.count[late_rows]))[order],
        starts,
        sizes,
        failures,
        mean_x,
        largest,
        late,
    )
