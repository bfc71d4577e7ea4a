"""Maximum likelihood of the two-parameter Weibull distribution, right-censored, many groups at once.

S(t) = exp(-(t / eta)^beta), beta the shape, eta the scale (IEC 61649). Limits are in ``weibull_limits``.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.reliability.lives import Floats, Ints, Lives
from service.reliability.weibull_rows import WeibullRows, weibull_rows

LOG_STEP_TOLERANCE: Final = 1e-6  # the step is still taken; Newton squares it, so what is left is below 1e-12
LARGEST_LOG_STEP: Final = 3.0
MOST_ITERATIONS: Final = 200
MODIFIED_LOSS: Final = 2.0  # of the modified profile likelihood: L_M = l_p - 2 ln beta
LATE_ENTRY_GRID: Final = 2.0 ** np.arange(-8, 14.5, 0.5)


@dataclass(frozen=True, slots=True)
class WeibullFits:
    """Maximum likelihood estimates of those groups that have one; the others are simply not here.

    Attributes
    ----------
    group : ndarray of int, shape (m,)
        Number of each fitted group, rising.
    shape : ndarray, shape (m,)
        Estimate of beta, [-]
    scale_h : ndarray, shape (m,)
        Estimate of eta, [h]
    log_likelihood : ndarray, shape (m,)
        Logarithm of the likelihood at the estimate, in the unit of time that was given, [-]
    modified : bool
        The shape maximises the modified profile likelihood.
    rows : WeibullRows
        Rows of the fitted groups.
    s0, s1, s2 : ndarray, shape (m,)
        Sums of the likelihood at the estimate, see ``WeibullRows.sums``, [-]
    """

    group: Ints
    shape: Floats
    scale_h: Floats
    log_likelihood: Floats
    modified: bool
    rows: WeibullRows
    s0: Floats
    s1: Floats
    s2: Floats

    @property
    def failures(self) -> Floats:
        """Return the number of failures of each fitted group, shape (m,), [-]."""
        return self.rows.failures

    @property
    def log_shape_weight(self) -> Floats:
        """Return the weight of ln beta in the profile likelihood: r, or r - 2 when modified, shape (m,), [-]."""
        return self.failures - MODIFIED_LOSS if self.modified else self.failures

    def quantile_h(self, share_failed: float) -> Floats:
        """Return the age by which a share has failed: 0.1 for B10, shape (m,), [h]."""
        return self.scale_h * float(-np.log1p(-share_failed)) ** (1 / self.shape)

    def survival(self, time_h: Floats | float) -> Floats:
        """Return the share that survives an age, shape (m,), [-]."""
        found: Floats = np.exp(-((time_h / self.scale_h) ** self.shape))
        return found


def weibull_fits(data: Lives, *, modified: bool = False) -> WeibullFits:
    """Return the estimates of all groups that have one.

    An estimate exists when something has failed, at least one failure is earlier than the largest time of the group
    (without one the shape or the scale runs away), and, modified, when at least three have failed. A group with late
    entries is searched for its best root; when the likelihood does not turn there is none.

    Parameters
    ----------
    data : Lives
        Lives of q groups.
    modified : bool
        Maximise L_M = l_p - 2 ln beta: the shape is then nearly free of bias for few failures. Published values are
        plain maximum likelihood.

    Source
    ------
    Farnum & Booth 1997, IEEE Trans. Reliab. 46(4), 523-525 (existence, bounds; from memory). Modified: Yang & Xie
    2003, J. Stat. Comput. Simul. (from memory). Checked against Lieblein & Zelen 1956 and Meeker & Escobar 1998.
    """
    everything = weibull_rows(data)
    enough = everything.failures >= (3 if modified else 1)
    group = np.flatnonzero(enough & (everything.mean_x < 0)).astype(np.int64)
    rows = everything.of_groups(np.isin(np.arange(data.groups), group))
    if len(group) == 0:
        none = np.zeros(0)
        return WeibullFits(group, none, none, none, modified, rows, none, none, none)
    weight = rows.failures - MODIFIED_LOSS if modified else rows.failures
    start = -(weight / rows.failures) / rows.mean_x
    lower, upper = start.copy(), np.full_like(start, np.inf)
    if rows.late.any():
        start, lower, upper = _late_entry_brackets(rows, weight, start, lower, upper)
        keep = np.isfinite(start)
        group, weight, rows = group[keep], weight[keep], rows.of_groups(keep)
        start, lower, upper = start[keep], lower[keep], upper[keep]
    shape, s0, s1, s2 = _roots(rows, weight / rows.failures, start, lower, upper)
    r, log_largest = rows.failures, np.log(rows.largest_time_h)
    scale_h = np.exp(log_largest + np.log(s0 / r) / shape)
    log_likelihood = rows.profile(shape, s0, r) - r * log_largest
    return WeibullFits(group, shape, scale_h, log_likelihood, modified, rows, s0, s1, s2)


def _roots(
    rows: WeibullRows, share: Floats, start: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the roots of the profile equation S1/S0 - share/beta - mean_x = 0 and the sums there.

    Newton in ln beta, kept inside the bracket; finished groups drop out.
    """
    found = np.zeros((4, len(start)))
    place = np.arange(len(start))
    shape, lower, upper = start.copy(), lower.copy(), upper.copy()
    for iteration in range(MOST_ITERATIONS):
        s0, s1, s2 = rows.sums(shape)
        mean = s1 / s0
        slope = s2 / s0 - mean * mean + share / shape**2
        g = mean - share / shape - rows.mean_x
        lower = np.where(g < 0, np.maximum(lower, shape), lower)
        upper = np.where(g > 0, np.minimum(upper, shape), upper)
        safe = np.where(slope > 0, slope, 1.0)
        step = np.where(slope > 0, np.clip(-g / (shape * safe), -LARGEST_LOG_STEP, LARGEST_LOG_STEP), np.inf)
        following = shape * np.exp(step)
        inside = (following >= lower) & (following <= upper)
        middle = np.where(np.isfinite(upper), np.sqrt(lower * np.where(np.isfinite(upper), upper, 1.0)), 4 * lower)
        done = (
            (np.abs(step) <= LOG_STEP_TOLERANCE) | (upper <= lower * (1 + 4e-16)) | (iteration == MOST_ITERATIONS - 1)
        )
        found[:, place[done]] = _last_step(shape[done], following[done], s0[done], s1[done], s2[done])
        if done.all():
            break
        shape = np.where(inside, following, middle)
        if done.any():
            go = ~done
            place, rows, share = place[go], rows.of_groups(go), share[go]
            shape, lower, upper = shape[go], lower[go], upper[go]
    return found[0], found[1], found[2], found[3]


def _last_step(shape: Floats, following: Floats, s0: Floats, s1: Floats, s2: Floats) -> tuple[Floats, ...]:
    """Return the shape after a last step below the tolerance, and the sums carried there by their derivatives.

    dS0/dbeta = S1 and dS1/dbeta = S2, so S0 and S1 stay exact to rounding; S2 is off by the step at most.
    """
    step = following - shape
    small = np.abs(step) <= 2 * LOG_STEP_TOLERANCE * shape  # not at the ends of a bracket that closed
    step = np.where(small, step, 0.0)
    return shape + step, s0 + step * s1 + step * step / 2 * s2, s1 + step * s2, s2


def _late_entry_brackets(
    rows: WeibullRows, weight: Floats, start: Floats, lower: Floats, upper: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return start and bracket, those of groups with late entries from a scan; start infinite: no finite maximum.

    With late entries the profile equation need not be monotone and the likelihood may be largest as beta -> 0.
    """
    late = np.flatnonzero(rows.late)
    scanned = rows.of_groups(rows.late)
    grid = LATE_ENTRY_GRID[:, None] * start[late]
    share = weight[late] / scanned.failures
    g, profile = np.empty_like(grid), np.empty_like(grid)
    for number, shape in enumerate(grid):
        s0, s1, _ = scanned.sums(shape)
        g[number] = s1 / s0 - share / shape - scanned.mean_x
        profile[number] = scanned.profile(shape, s0, weight[late])
    turns = (g[:-1] < 0) & (g[1:] >= 0)
    height = np.where(turns, np.maximum(profile[:-1], profile[1:]), -np.inf)
    best = np.argmax(height, axis=0)
    column = np.arange(len(late))
    exists = turns.any(axis=0) & (np.max(height, axis=0) > profile[0])
    start, lower, upper = start.copy(), lower.copy(), upper.copy()
    lower[late], upper[late] = grid[best, column], grid[best + 1, column]
    start[late] = np.where(exists, np.sqrt(lower[late] * upper[late]), np.inf)
    return start, lower, upper
