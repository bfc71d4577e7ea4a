"""Right-censored lives of many groups in flat columns, the input of every life statistic."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Lives:
    """Lives, rows sorted by group; every group has at least one row.

    Attributes
    ----------
    time_h : ndarray, shape (n,)
        Age at failure or at the end of observation, above zero, [h]
    failed : ndarray of bool, shape (n,)
        False: right-censored.
    count : ndarray, shape (n,)
        How many units the row stands for, [-]
    entry_h : ndarray, shape (n,)
        Age at which the unit came under observation (left truncation), below ``time_h``, 0 when from new, [h]
    starts : ndarray of int, shape (q,)
        First row of each group.
    """

    time_h: Floats
    failed: Bools
    count: Floats
    entry_h: Floats
    starts: Ints

    @property
    def groups(self) -> int:
        """Return the number of groups, [-]."""
        return len(self.starts)

    @property
    def sizes(self) -> Ints:
        """Return the number of rows of each group, shape (q,), [-]."""
        return np.diff(self.starts, append=len(self.time_h))

    @property
    def group(self) -> Ints:
        """Return the group of each row, shape (n,)."""
        return np.repeat(np.arange(self.groups), self.sizes)

    def sums(self, values: Floats) -> Floats:
        """Return the sum of a column by group, shape (q,)."""
        return np.add.reduceat(values, self.starts)

    @property
    def failures(self) -> Floats:
        """Return the number of failures of each group, shape (q,), [-]."""
        return self.sums(self.count * self.failed)

    @property
    def units(self) -> Floats:
        """Return the number of units of each group, shape (q,), [-]."""
        return self.sums(self.count)

    @property
    def exposure_h(self) -> Floats:
        """Return the hours observed of each group, shape (q,), [h]."""
        return self.sums(self.count * (self.time_h - self.entry_h))

    @property
    def largest_time_h(self) -> Floats:
        """Return the largest age of each group, failed or not, shape (q,), [h]."""
        return np.maximum.reduceat(self.time_h, self.starts)

    def of_group(self, number: int) -> "Lives":
        """Return the lives of one group."""
        start = int(self.starts[number])
        rows = slice(start, start + int(self.sizes[number]))
        zero = np.zeros(1, dtype=np.int64)
        return Lives(self.time_h[rows], self.failed[rows], self.count[rows], self.entry_h[rows], zero)


def lives(
    time_h: ArrayLike,
    failed: ArrayLike,
    *,
    count: ArrayLike | None = None,
    entry_h: ArrayLike | None = None,
    group: ArrayLike | None = None,
) -> Lives:
    """Return the lives sorted by group.

    Parameters
    ----------
    time_h : array, shape (n,)
        Age at failure or at the end of observation, [h]; any other unit of use does as well.
    failed : array of bool, shape (n,)
        False: right-censored.
    count : array, optional
        How many units a row stands for, 1 by default, [-]
    entry_h : array, optional
        Age at which observation began, 0 by default, [h]
    group : array of int, optional
        Group of each row, 0 .. q-1, none left out; one group by default.

    Raises
    ------
    ValueError
        No rows, a time that is not above zero and finite, an entry outside 0 <= entry < time, a count not above
        zero, a group without rows. A zero age is for the caller to settle: its logarithm does not exist.
    """
    time = np.asarray(time_h, dtype=np.float64)
    failure = np.asarray(failed, dtype=np.bool_)
    weight = np.ones_like(time) if count is None else np.asarray(count, dtype=np.float64)
    entry = np.zeros_like(time) if entry_h is None else np.asarray(entry_h, dtype=np.float64)
    number = np.zeros(len(time), dtype=np.int64) if group is None else np.asarray(group, dtype=np.int64)
    _checked(time, failure, weight, entry, number)
    if len(number) > 1 and np.any(number[1:] < number[:-1]):
        order = np.argsort(number, kind="stable")
        time, failure, weight = time[order], failure[order], weight[order]
        entry, number = entry[order], number[order]
    starts = np.flatnonzero(np.diff(number, prepend=-1)).astype(np.int64)
    if len(starts) != int(number[-1]) + 1:
        raise ValueError("a group has no rows: number the groups 0 .. q-1 without gaps")
    return Lives(time, failure, weight, entry, starts)


def numbered(labels: Sequence[str]) -> tuple[Ints, list[str]]:
    """Return the group number of each label and the labels in order of first appearance."""
    seen: dict[str, int] = {}
    numbers = np.fromiter((seen.setdefault(label, len(seen)) for label in labels), dtype=np.int64, count=len(labels))
    return numbers, list(seen)


def _checked(time: Floats, failed: Bools, count: Floats, entry: Floats, group: Ints) -> None:
    if len(time) == 0 or len({len(time), len(failed), len(count), len(entry), len(group)}) != 1:
        raise ValueError("columns of the same length, at least one row, are needed")
    if not (np.all(time > 0) and np.all(np.isfinite(time))):
        raise ValueError("a time must be above zero and finite")
    if not (np.all(entry >= 0) and np.all(entry < time)):
        raise ValueError("observation must begin at an age of zero or more and below the time")
    if not (np.all(count > 0) and np.all(np.isfinite(count))):
        raise ValueError("a count must be above zero and finite")
    if group.min() < 0:
        raise ValueError("group numbers begin with 0")
