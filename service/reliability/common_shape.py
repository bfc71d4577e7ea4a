"""One shape for several classes: whether they may share one, so that a class with few failures can borrow it."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import chdtrc

from service.reliability.assumed_shape import common_shape
from service.reliability.lives import Bools, Lives, lives
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_rows import weibull_rows

FEWEST_FAILURES: Final = 2  # of a class that takes part
LEND_ABOVE: Final = 0.2  # p-value above which the shape may serve classes with few failures
LEND_BELOW: Final = 5  # failures, below which a class may borrow


@dataclass(frozen=True, slots=True)
class CommonShape:
    """The shape that serves several classes best, and the test whether they have one in common.

    ``statistic`` is the likelihood ratio after its small-sample correction, chi-square on ``classes`` - 1; None with
    the p-value where a single class took part, and there is no shape at all where none did.
    """

    shape: float | None
    classes: int
    failures: float
    statistic: float | None
    p_value: float | None
    test: str = "likelihood_ratio_common_shape"

    @property
    def may_serve_few(self) -> bool:
        """Return whether classes with fewer than 5 failures may borrow the shape; it has to be said each time."""
        return self.p_value is not None and self.p_value > LEND_ABOVE

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {
            "shape": self.shape,
            "classes": self.classes,
            "failures": self.failures,
            "test": self.test,
            "statistic": self.statistic,
            "p_value": self.p_value,
            "may_serve_few": self.may_serve_few,
        }


def shape_in_common(data: Lives) -> CommonShape:
    """Return the common shape of the classes with two or more failures that have an estimate, and its test.

    Parameters
    ----------
    data : Lives
        Lives, one group a class. Classes whose duty the engineer keeps apart must not come in together.

    Source
    ------
    Likelihood ratio on K - 1 degrees of freedom, divided by 1 + mean(1 / r) K / (K - 1) (factor fitted to simulated
    levels: 0.020-0.054 at a nominal 0.05, 0.05-0.13 without it). Common shape: Meeker & Escobar 1998, ch. 17 (from
    memory).
    """
    fits = weibull_fits(data)
    taken = fits.group[fits.failures >= FEWEST_FAILURES]
    if len(taken) == 0:
        return CommonShape(None, 0, 0.0, None, None)
    part = _of_groups(data, np.isin(np.arange(data.groups), taken))
    r, k = part.failures, part.groups
    shape = common_shape(part)
    if shape is None or k == 1:
        return CommonShape(shape, k, float(r.sum()), None, None)
    own = float(fits.log_likelihood[fits.failures >= FEWEST_FAILURES].sum())
    rows = weibull_rows(part)
    s0, _, _ = rows.sums(np.full(k, shape))
    together = float(np.sum(rows.profile(np.full(k, shape), s0, r) - r * np.log(rows.largest_time_h)))
    correction = 1 + float(np.mean(1 / r)) * k / (k - 1)
    statistic = max(2 * (own - together), 0.0) / correction
    return CommonShape(shape, k, float(r.sum()), statistic, float(chdtrc(k - 1, statistic)))


def _of_groups(data: Lives, chosen: Bools) -> Lives:
    """Return the lives of the chosen groups, numbered anew."""
    rows = chosen[data.group]
    number = (np.cumsum(chosen) - 1)[data.group[rows]]
    return lives(data.time_h[rows], data.failed[rows], count=data.count[rows], entry_h=data.entry_h[rows], group=number)
