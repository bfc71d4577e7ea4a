"""Two-sided confidence limits of Weibull fits: likelihood ratio (the default) and log-normal.

Both are kept away from zero by construction; limits symmetric on the raw scale go negative and are not offered.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri, digamma, gammaln, ndtri

from service.reliability.late_entry_limits import late_entry_quantile, late_entry_shape
from service.reliability.likelihood_region import ContourEnd
from service.reliability.lives import Floats
from service.reliability.weibull import WeibullFits
from service.reliability.weibull_rows import WeibullRows
from service.words import IntervalMade

LIMIT_TOLERANCE: Final = 1e-9
MOST_ITERATIONS: Final = 100
MOST_PUSHES: Final = 12
CALIBRATION: Final = 1.2  # over sqrt(r), added to z for a lower limit of B10


@dataclass(frozen=True, slots=True)
class Limits:
    """Lower and upper limits, one pair a fitted group; 0 and infinity where the data close no limit."""

    lower: Floats
    upper: Floats


@dataclass(frozen=True, slots=True)
class Covariance:
    """Inverse of the observed information in (ln scale, ln shape) at the estimate, each of shape (m,), [-]."""

    log_scale: Floats
    log_shape: Floats
    both: Floats

    def log_quantile(self, share_failed: float, shape: Floats) -> Floats:
        """Return the variance of ln t_p, shape (m,), [-]."""
        slope = float(np.log(-np.log1p(-share_failed))) / shape
        return self.log_scale + slope**2 * self.log_shape - 2 * slope * self.both


def covariance(fits: WeibullFits) -> Covariance:
    """Return the covariance of the estimates, infinite where the information is not positive, [-].

    Without late entry the standard error of ln shape is at most 1 / sqrt(failures).

    Source
    ------
    Meeker & Escobar 1998, ch. 8 (observed information); closed form of the 2 x 2 inverse.
    """
    r, shape = fits.failures, fits.shape
    scaled = r / fits.s0  # (t_max / eta)^beta
    log_scaled = np.log(scaled)
    a = scaled * (shape * fits.s1 + log_scaled * fits.s0)
    b = scaled * (shape**2 * fits.s2 + 2 * log_scaled * shape * fits.s1 + log_scaled**2 * fits.s0)
    determinant = r * (r + b) - a * a
    usable = (determinant > 0) & (r + b > 0)
    d = np.where(usable, determinant, 1.0)
    return Covariance(
        log_scale=np.where(usable, (r + b) / (shape**2 * d), np.inf),
        log_shape=np.where(usable, r / d, np.inf),
        both=np.where(usable, a / (shape * d), 0.0),
    )


def log_normal_shape(fits: WeibullFits, level: float = 0.95) -> Limits:
    """Return log-normal limits of the shape, [-]."""
    return _spread(fits.shape, covariance(fits).log_shape, level)


def log_normal_quantile_h(fits: WeibullFits, share_failed: float, level: float = 0.95) -> Limits:
    """Return log-normal limits of the age by which a share has failed; 1 - 1/e gives the scale, [h]."""
    variance = covariance(fits).log_quantile(share_failed, fits.shape)
    return _spread(fits.quantile_h(share_failed), variance, level)


def mean_h(fits: WeibullFits) -> Floats:
    """Return the mean life eta Gamma(1 + 1/beta), infinite where it overflows, shape (m,), [h]."""
    with np.errstate(over="ignore"):
        return np.asarray(np.exp(np.log(fits.scale_h) + gammaln(1 + 1 / fits.shape)))


def log_normal_mean_h(fits: WeibullFits, level: float = 0.95) -> Limits:
    """Return log-normal limits of the mean life by the delta method, [h]."""
    found = covariance(fits)
    slope = -digamma(1 + 1 / fits.shape) / fits.shape
    variance = found.log_scale + slope**2 * found.log_shape + 2 * slope * found.both
    return _spread(mean_h(fits), variance, level)


def likelihood_ratio_shape(fits: WeibullFits, level: float = 0.95) -> Limits:
    """Return likelihood-ratio limits of the shape, of the modified likelihood for modified fits, [-].

    Source
    ------
    Meeker & Escobar 1998, ch. 8. The profile is concave in the shape, so Newton from outside cannot cross the limit;
    with late entries it need not be, and the ends of the whole region are searched for.
    """
    return _shape_limits(fits, _depth(fits, level))


def likelihood_ratio_quantile_h(
    fits: WeibullFits, share_failed: float, level: float = 0.95, *, of_shape: Limits | None = None
) -> Limits:
    """Return likelihood-ratio limits of the age by which a share has failed; 1 - 1/e gives the scale, [h].

    For a fixed shape the ages inside the region are an interval whose ends have a closed equation; the limit is the
    extreme of that end over the shapes inside their own limits. In (ln c - beta y, beta) the log-likelihood is
    concave, so there is one extreme each way.

    Parameters
    ----------
    fits : WeibullFits
        The fits.
    share_failed : float
        0.1 for B10, 1 - 1/e for the scale, [-]
    level : float
        Confidence level, two-sided, [-]
    of_shape : Limits, optional
        Limits of the shape at the same level, when known already.
    """
    depth = _depth(fits, level)
    within = _shape_limits(fits, depth) if of_shape is None else of_shape
    log_c = float(np.log(-np.log1p(-share_failed)))
    lower = _quantile_limit(fits, log_c, depth, within, upper=False)
    upper = _quantile_limit(fits, log_c, depth, within, upper=True)
    if fits.rows.late.any():
        late = np.flatnonzero(fits.rows.late)
        rows, weight, target = _late(fits, depth)
        found = late_entry_quantile(rows, weight, target, fits.shape[late], log_c)
        lower[late], upper[late] = found
    return Limits(lower, upper)


def calibrated_lower_quantile_h(fits: WeibullFits, share_failed: float, level: float = 0.95) -> Floats:
    """Return a lower limit of the age by which a share has failed that few failures do not make optimistic, [h].

    The signed root of the likelihood ratio is cut at z + 1.2 / sqrt(r) instead of z: with few failures the plain limit
    lies above the truth too often (13 % instead of 5 % one-sided at 5 complete lives). Fitted to simulated quantiles
    for 5 to 100 failures, complete, half censored and censored at the r-th failure; conservative where most lives are
    censored. 0 where the data close no limit, shape (m,).
    """
    depth = (normal_quantile(level) + CALIBRATION / np.sqrt(fits.failures)) ** 2 / 2
    log_c = float(np.log(-np.log1p(-share_failed)))
    lower = _quantile_limit(fits, log_c, depth, _shape_limits(fits, depth), upper=False)
    if fits.rows.late.any():
        late = np.flatnonzero(fits.rows.late)
        rows, weight, target = _late(fits, depth)
        lower[late] = late_entry_quantile(rows, weight, target, fits.shape[late], log_c)[0]
    return lower


def interval_kind(fits: WeibullFits) -> IntervalMade:
    """Return the name of the likelihood-ratio limits of these fits."""
    return "modified_likelihood_ratio" if fits.modified else "likelihood_ratio"


def normal_quantile(level: float) -> float:
    """Return z of a two-sided level: 1.95996 for 0.95, [-]."""
    return float(ndtri(0.5 + level / 2))


def _spread(estimate: Floats, variance: Floats, level: float) -> Limits:
    factor = np.exp(np.minimum(normal_quantile(level) * np.sqrt(np.maximum(variance, 0)), 700.0))
    open_end = ~np.isfinite(variance)
    with np.errstate(over="ignore"):
        return Limits(np.where(open_end, 0.0, estimate / factor), np.where(open_end, np.inf, estimate * factor))


def _depth(fits: WeibullFits, level: float) -> Floats:
    """Return how far the log-likelihood may lie below its maximum, shape (m,), [-]."""
    return np.full_like(fits.shape, float(chdtri(1, 1 - level)) / 2)


def _shape_limits(fits: WeibullFits, depth: Floats) -> Limits:
    """Return the ends of the shapes whose profile lies at most a depth below its maximum, [-]."""
    spread = _first_spread(fits, depth)
    found = Limits(_shape_limit(fits, depth, -spread), _shape_limit(fits, depth, spread))
    if fits.rows.late.any():
        late = np.flatnonzero(fits.rows.late)
        found.lower[late], found.upper[late] = late_entry_shape(*_late(fits, depth), fits.shape[late])
    return found


def _late(fits: WeibullFits, depth: Floats) -> tuple[WeibullRows, Floats, Floats]:
    """Return rows, weight of ln shape and level of the likelihood of the groups with late entries."""
    late = fits.rows.late
    return fits.rows.of_groups(late), fits.log_shape_weight[late], (_top(fits) - depth)[late]


def _top(fits: WeibullFits) -> Floats:
    return fits.rows.profile(fits.shape, fits.s0, fits.log_shape_weight)


def _first_spread(fits: WeibullFits, depth: Floats) -> Floats:
    """Return a first distance of the limits from the estimate, in ln shape, [-]."""
    variance = np.minimum(covariance(fits).log_shape, 1 / np.maximum(fits.log_shape_weight, 1))
    found: Floats = 1.5 * np.sqrt(2 * depth * variance)
    return found


def _shape_limit(fits: WeibullFits, depth: Floats, spread: Floats) -> Floats:
    """Return one limit of the shape: pushed outside, then bracketed Newton; 0 where the likelihood never falls."""
    target = _top(fits) - depth
    outside, falls = _outside(fits, target, spread)
    found = np.zeros_like(fits.shape)
    rows, weight, target = fits.rows.of_groups(falls), fits.log_shape_weight[falls], target[falls]
    inner, outer, place = fits.shape[falls], outside[falls], np.flatnonzero(falls)
    shape = outer.copy()
    for _ in range(MOST_ITERATIONS):
        if len(place) == 0:
            break
        s0, s1, _s2 = rows.sums(shape)
        above = rows.profile(shape, s0, weight) - target
        slope = weight / shape + rows.failures * (rows.mean_x - s1 / s0)
        inner, outer = np.where(above >= 0, shape, inner), np.where(above < 0, shape, outer)
        following = shape - above / np.where(slope == 0, np.inf, slope)
        low, high = np.minimum(inner, outer), np.maximum(inner, outer)
        following = np.where((following > low) & (following < high), following, np.sqrt(low * high))
        done = (np.abs(following - shape) <= LIMIT_TOLERANCE * shape) | (high - low <= LIMIT_TOLERANCE * low)
        found[place[done]] = following[done]
        go = ~done
        shape, inner, outer, target, weight = following[go], inner[go], outer[go], target[go], weight[go]
        place, rows = place[go], rows.of_groups(go)
    found[place] = shape
    return found


def _outside(fits: WeibullFits, target: Floats, spread: Floats) -> tuple[Floats, np.ndarray]:
    """Return shapes beyond the limit, and whether the likelihood falls below the target there."""
    shape = fits.shape * np.exp(spread)
    push = np.exp(np.copysign(0.7, spread))
    todo = np.ones(len(shape), dtype=np.bool_)
    for _ in range(MOST_PUSHES):
        rows = fits.rows.of_groups(todo)
        s0, _, _ = rows.sums(shape[todo])
        inside = rows.profile(shape[todo], s0, fits.log_shape_weight[todo]) >= target[todo]
        todo[np.flatnonzero(todo)[~inside]] = False
        if not todo.any():
            break
        shape = np.where(todo, shape * push, shape)
    return shape, ~todo


def _quantile_limit(fits: WeibullFits, log_c: float, depth: Floats, within: Limits, *, upper: bool) -> Floats:
    """Return one limit of a quantile, [h]; groups with late entries are left to their own search."""
    closed = (within.lower > 0) & np.isfinite(within.upper) & ~fits.rows.late
    found = np.full_like(fits.shape, np.inf if upper else 0.0)
    if not closed.any():
        return found
    rows = fits.rows.of_groups(closed)
    end = ContourEnd(rows, fits.log_shape_weight[closed], _top(fits)[closed] - depth[closed], log_c, upper)
    low, high = within.lower[closed], within.upper[closed]
    shape = _start_on_contour(fits, log_c, depth, upper)[closed]
    shape = np.where((shape > low) & (shape < high), shape, np.sqrt(low * high))
    log_age = _extreme(end, shape, low, high)
    with np.errstate(over="ignore"):
        found[closed] = np.exp(log_age + np.log(rows.largest_time_h))
    return found


def _start_on_contour(fits: WeibullFits, log_c: float, depth: Floats, upper: bool) -> Floats:
    """Return the shape at which a quadratic likelihood has the extreme age, [-]."""
    found = covariance(fits)
    slope = log_c / fits.shape
    variance = found.log_scale + slope**2 * found.log_shape - 2 * slope * found.both
    usable = np.isfinite(variance) & (variance > 0)
    towards = (found.both - slope * np.where(usable, found.log_shape, 0)) / np.sqrt(np.where(usable, variance, 1))
    sign = np.sqrt(2 * depth) if upper else -np.sqrt(2 * depth)
    return np.asarray(fits.shape * np.exp(np.clip(sign * np.where(usable, towards, 0), -3, 3)))


def _extreme(end: ContourEnd, shape: Floats, low: Floats, high: Floats) -> Floats:
    """Return the extreme of ln(age / t_max) over the shape: bracketed Newton on the slope along the contour."""
    found, place = np.zeros_like(shape), np.arange(len(shape))
    for iteration in range(MOST_ITERATIONS):
        y, slope, curve = end.at(shape)
        low, high = np.where(slope > 0, shape, low), np.where(slope < 0, shape, high)
        following = shape - slope / np.where(curve == 0, np.inf, curve)
        following = np.where((following > low) & (following < high), following, np.sqrt(low * high))
        change = np.abs(following - shape)
        done = (change <= LIMIT_TOLERANCE * shape) | (high - low <= LIMIT_TOLERANCE * low)
        done |= iteration == MOST_ITERATIONS - 1
        found[place[done]] = y[done]
        if done.all():
            break
        go = ~done
        shape, low, high, place, end = following[go], low[go], high[go], place[go], end.of_groups(go)
    return found
