"""The region of likely parameters of a Weibull fit, walked along the shape: shared by all limits that need it.

For a fixed shape the scales inside the region are an interval whose ends have a closed equation (Lambert's W).
"""

from dataclasses import dataclass

import numpy as np

from service.reliability.lives import Floats
from service.reliability.weibull_rows import WeibullRows


@dataclass(frozen=True, slots=True)
class ContourEnd:
    """One end of the ages inside the likelihood region, as a function of the shape."""

    rows: WeibullRows
    weight: Floats
    target: Floats
    log_c: float
    upper: bool

    def of_groups(self, chosen: np.ndarray) -> "ContourEnd":
        """Return the same of the chosen groups."""
        return ContourEnd(self.rows.of_groups(chosen), self.weight[chosen], self.target[chosen], self.log_c, self.upper)

    def at(self, shape: Floats) -> tuple[Floats, Floats, Floats]:
        """Return ln(age / t_max), the slope of the likelihood in the shape at that age, and its Newton derivative."""
        rows, r = self.rows, self.rows.failures
        s0, s1, s2 = rows.sums(shape)
        depth = np.maximum(rows.profile(shape, s0, self.weight) - self.target, 0) / r
        log_v = log_scale_ends(depth, negative=self.upper)
        log_scaled = np.log(r / s0) + log_v
        scaled = np.exp(log_scaled)
        y = (self.log_c - log_scaled) / shape
        surplus = r - scaled * s0  # slope of the log-likelihood in ln (t_max / eta)^beta
        slope = self.weight / shape + r * rows.mean_x - scaled * s1 - y * surplus
        along_y = -shape * surplus
        curve = -self.weight / shape**2 - scaled * (s2 - 2 * y * s1 + y * y * s0)
        mixed = shape * scaled * (s1 - y * s0) - surplus
        safe = np.where(along_y == 0, np.inf, along_y)
        return y, slope, curve - mixed * slope / safe


def log_scale_ends(depth: Floats, *, negative: bool) -> Floats:
    """Return the root w of exp(w) - 1 - w = depth on one side of 0, by Newton on a convex function, [-]."""
    w = -(depth + 1) if negative else np.sqrt(2 * depth)
    for _ in range(60):
        rise = np.expm1(w)
        step = (rise - w - depth) / np.where(rise == 0, np.inf, rise)
        w = w - step
        if np.all(np.abs(step) <= 1e-15 + 1e-13 * np.abs(w)):
            break
    return np.asarray(w)
