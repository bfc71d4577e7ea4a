"""Likelihood-ratio limits of groups with late entries, whose profile may have two maxima and need not fall to zero.

A unit that entered at age a adds (a / eta)^beta. The profile over the shape is then no longer concave; when all entered
late it tends to a finite value as the shape goes to zero (the hazard becomes k / t). So all shapes are scanned, every
maximum is followed, and the limits of an age are its extremes over all shapes inside the region.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.reliability.likelihood_region import ContourEnd
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.weibull_rows import WeibullRows

SHAPES: Final = (1e-6, 300.0)  # scanned
SCAN_POINTS: Final = 200
WITHIN_POINTS: Final = 33
BISECTIONS: Final = 60
GOLDEN: Final = (np.sqrt(5.0) - 1) / 2
GOLDEN_STEPS: Final = 80


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Intervals of ln shape inside the region, each with the number of its group, and where it has no lower end."""

    group: Ints
    low: Floats
    high: Floats
    open_below: Bools


def late_entry_shape(rows: WeibullRows, weight: Floats, target: Floats, shape: Floats) -> tuple[Floats, Floats]:
    """Return the ends of the shapes whose profile reaches the target; 0 where it never falls below it, [-].

    Parameters
    ----------
    rows : WeibullRows
        Rows of q groups with late entries.
    weight : ndarray, shape (q,)
        Weight of ln shape in the profile: r, or r - 2 when modified, [-]
    target : ndarray, shape (q,)
        Level of the log-likelihood that bounds the region, [-]
    shape : ndarray, shape (q,)
        Estimates, [-]
    """
    pieces = _pieces(rows, weight, target, shape)
    lower, upper = np.log(shape), np.log(shape)
    np.minimum.at(lower, pieces.group, pieces.low)
    np.maximum.at(upper, pieces.group, pieces.high)
    return np.where(pieces.open_below, 0.0, np.exp(lower)), np.exp(upper)


def late_entry_quantile(
    rows: WeibullRows, weight: Floats, target: Floats, shape: Floats, log_c: float
) -> tuple[Floats, Floats]:
    """Return the limits of the age by which a share has failed, log_c = ln(-ln(1 - share)); 0: open, [h].

    The upper limit is always finite; the lower is open exactly when all entered late and the likelihood of a vanishing
    shape reaches the target. Parameters as in ``late_entry_shape``.
    """
    pieces = _pieces(rows, weight, target, shape)
    lower, upper = np.full_like(shape, np.inf), np.full_like(shape, -np.inf)
    of_piece = rows.of_numbers(pieces.group)
    for found, is_upper, keep in ((lower, False, np.minimum), (upper, True, np.maximum)):
        end = ContourEnd(of_piece, weight[pieces.group], target[pieces.group], log_c, is_upper)
        keep.at(found, pieces.group, _extreme(end, pieces))
    log_largest = np.log(rows.largest_time_h)
    with np.errstate(over="ignore", under="ignore"):
        return np.where(pieces.open_below, 0.0, np.exp(lower + log_largest)), np.exp(upper + log_largest)


def _pieces(rows: WeibullRows, weight: Floats, target: Floats, shape: Floats) -> _Pieces:
    """Return the intervals of ln shape inside the region: runs of a scan, their ends by bisection."""
    q = len(shape)
    top = np.log(np.maximum(SHAPES[1], 40 * shape))
    grid = np.linspace(np.full(q, np.log(SHAPES[0])), top, SCAN_POINTS)
    height, slope = np.empty_like(grid), np.empty_like(grid)
    for number, one in enumerate(grid):
        height[number], slope[number] = _profile(rows, weight, np.exp(one))
    at, group = np.nonzero((slope[:-1] > 0) & (slope[1:] <= 0))
    peaks = _peaks(rows, weight, group, grid[at, group], grid[at + 1, group])
    summit, _ = _profile(rows.of_numbers(group), weight[group], np.exp(peaks))
    points = np.concatenate((grid.T.ravel(), peaks, np.log(shape)))
    inside = np.concatenate(((height >= target).T.ravel(), summit >= target[group], np.ones(q, dtype=np.bool_)))
    owner = np.concatenate((np.repeat(np.arange(q), SCAN_POINTS), group, np.arange(q)))
    order = np.lexsort((points, owner))
    points, inside, owner = points[order], inside[order], owner[order]
    before = np.concatenate(([False], inside[:-1] & (owner[1:] == owner[:-1])))
    after = np.concatenate((inside[1:] & (owner[1:] == owner[:-1]), [False]))
    first, last = np.flatnonzero(inside & ~before), np.flatnonzero(inside & ~after)
    of_piece = owner[first]
    low = _edge(rows, weight, target, of_piece, points[first], points[np.maximum(first - 1, 0)], owner[first - 1])
    beyond = np.minimum(last + 1, len(points) - 1)
    high = _edge(rows, weight, target, of_piece, points[last], points[beyond], owner[beyond])
    return _Pieces(of_piece, low, high, _vanishing(rows, weight) >= target)


def _profile(rows: WeibullRows, weight: Floats, shape: Floats) -> tuple[Floats, Floats]:
    """Return the profile log-likelihood and its slope in the shape."""
    s0, s1, _ = rows.sums(shape)
    s0 = np.maximum(s0, 1e-300)  # differences of nearly equal powers
    return rows.profile(shape, s0, weight), weight / shape + rows.failures * (rows.mean_x - s1 / s0)


def _vanishing(rows: WeibullRows, weight: Floats) -> Floats:
    """Return the limit of the profile as the shape goes to zero: -inf as soon as one unit was watched from new."""
    new = np.add.reduceat(rows.weight, rows.starts)
    total = np.add.reduceat(np.abs(rows.weight), rows.starts)
    span = np.add.reduceat(rows.weight * rows.x, rows.starts)  # sum of ln t - ln a
    r = rows.failures
    found = r * np.log(r / np.where(span > 0, span, 1.0)) - r - r * rows.mean_x
    found = np.where(weight < r, np.inf, found)  # the modified likelihood grows without bound there
    return np.where(np.abs(new) <= 1e-9 * total, found, -np.inf)


def _peaks(rows: WeibullRows, weight: Floats, group: Ints, low: Floats, high: Floats) -> Floats:
    """Return ln shape of the maxima of the profile that the scan has bracketed."""
    of_peak, share = rows.of_numbers(group), weight[group]
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        rising = _profile(of_peak, share, np.exp(middle))[1] > 0
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    return np.asarray((low + high) / 2)


def _edge(
    rows: WeibullRows, weight: Floats, target: Floats, group: Ints, inner: Floats, outer: Floats, outer_group: Ints
) -> Floats:
    """Return ln shape where the profile crosses the target between two points, the inner one where the scan ended."""
    of_piece, share, level = rows.of_numbers(group), weight[group], target[group]
    outer = np.where(outer_group == group, outer, inner)
    for _ in range(BISECTIONS):
        middle = (inner + outer) / 2
        reached = _profile(of_piece, share, np.exp(middle))[0] >= level
        inner, outer = np.where(reached, middle, inner), np.where(reached, outer, middle)
    return inner


def _extreme(end: ContourEnd, pieces: _Pieces) -> Floats:
    """Return the extreme of ln(age / t_max) in each piece: the best of a few points, then a golden section."""
    sign = -1.0 if end.upper else 1.0
    grid = np.linspace(pieces.low, pieces.high, WITHIN_POINTS)
    values = np.array([sign * end.at(np.exp(one))[0] for one in grid])
    best = np.argmin(values, axis=0)
    column = np.arange(len(pieces.low))
    low = grid[np.maximum(best - 1, 0), column]
    high = grid[np.minimum(best + 1, WITHIN_POINTS - 1), column]
    found = values[best, column]
    left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    of_left, of_right = (sign * end.at(np.exp(one))[0] for one in (left, right))
    for _ in range(GOLDEN_STEPS):
        smaller = of_left < of_right
        low, high = np.where(smaller, low, left), np.where(smaller, right, high)
        fresh = np.where(smaller, high - GOLDEN * (high - low), low + GOLDEN * (high - low))
        of_fresh = sign * end.at(np.exp(fresh))[0]
        left, right = np.where(smaller, fresh, right), np.where(smaller, left, fresh)
        of_left, of_right = np.where(smaller, of_fresh, of_right), np.where(smaller, of_left, of_fresh)
        found = np.minimum(found, of_fresh)
    return np.asarray(sign * found)
