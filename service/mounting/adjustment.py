"""Adjustment of independent observations: inverse variance, chi-square, and two unknowns by least squares.

Source: any textbook on adjustment of observations; the upper tails of chi-square with one and two degrees of freedom
are closed forms.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import erf, erfc, exp, pi, sqrt
from typing import Final

Interval = tuple[float, float]
"""Mean and variance of a clearance, [nm], [nm2]."""

_STEPS: Final = 200


def combined(estimates: Sequence[Interval]) -> Interval:
    """Return the mean by inverse variance and its variance."""
    weight = sum(1 / variance for _, variance in estimates)
    return sum(value / variance for value, variance in estimates) / weight, 1 / weight


def chi_square(estimates: Sequence[Interval]) -> float:
    """Return the weighted sum of squares about the combined mean, [-]."""
    middle, _ = combined(estimates)
    return sum((value - middle) ** 2 / variance for value, variance in estimates)


def distance(name: str, estimates: Mapping[str, Interval]) -> float:
    """Return how far one estimate lies from all others together, in standard deviations, [-]."""
    value, variance = estimates[name]
    others, others_variance = combined([estimate for other, estimate in estimates.items() if other != name])
    return abs(value - others) / sqrt(variance + others_variance)


def chance(of: float, freedom: int) -> float | None:
    """Return the upper tail of chi-square with one or two degrees of freedom, [-]."""
    if freedom == 0:
        return None
    return erfc(sqrt(of / 2)) if freedom == 1 else exp(-of / 2)


@dataclass(frozen=True, slots=True)
class State:
    """Initial clearance and reduction estimated together, with their covariance."""

    initial_nm: float
    reduction_nm: float
    initial_variance: float
    reduction_variance: float
    covariance: float

    @property
    def residual_variance(self) -> float:
        """Return the variance of what is left, [nm2]."""
        return self.initial_variance + self.reduction_variance - 2 * self.covariance


def state(initial: Interval, residual: Interval | None, moved: Interval | None) -> State:
    """Return initial clearance and reduction by least squares, each observation weighted by its variance.

    Parameters
    ----------
    initial, residual : tuple of float
        Clearance before and after mounting: mean [nm] and variance [nm2]; residual None when not read
    moved : tuple of float or None
        Reduction as the travel shows it, shared errors in its variance; None when not measured

    Raises
    ------
    ZeroDivisionError
        Neither residual nor travel was given.
    """
    a, b, c = 1 / initial[1], 0.0, 0.0
    right_initial, right_reduction = initial[0] / initial[1], 0.0
    if residual is not None:
        weight = 1 / residual[1]
        a, b, c = a + weight, b - weight, c + weight
        right_initial, right_reduction = right_initial + residual[0] * weight, right_reduction - residual[0] * weight
    if moved is not None:
        c, right_reduction = c + 1 / moved[1], right_reduction + moved[0] / moved[1]
    determinant = a * c - b * b
    return State(
        initial_nm=(c * right_initial - b * right_reduction) / determinant,
        reduction_nm=(a * right_reduction - b * right_initial) / determinant,
        initial_variance=c / determinant,
        reduction_variance=a / determinant,
        covariance=-b / determinant,
    )


def below(z: float) -> float:
    """Return the normal distribution, [-]."""
    return 0.5 * (1 + erf(z / sqrt(2)))


def probability(found: State, *, least_nm: float, most_nm: float, floor_nm: float) -> float:
    """Return the chance that the reduction lies between two limits and the residual not below the floor, [-].

    Parameters
    ----------
    found : State
        Initial clearance and reduction with their covariance
    least_nm, most_nm : float
        Limits of the reduction, [nm]
    floor_nm : float
        Smallest residual clearance, [nm]

    Source
    ------
    The bivariate normal integral: midpoint rule over the reduction, closed form over the initial clearance.
    """
    if least_nm >= most_nm:
        return 0.0
    deviation = sqrt(found.reduction_variance)
    left_variance = max(found.initial_variance - found.covariance**2 / found.reduction_variance, 1e-6)
    first_nm = max(least_nm, found.reduction_nm - 8 * deviation)
    step = (min(most_nm, found.reduction_nm + 8 * deviation) - first_nm) / _STEPS
    if step <= 0:
        return 0.0
    total = 0.0
    for i in range(_STEPS):
        off = first_nm + (i + 0.5) * step - found.reduction_nm
        initial_nm = found.initial_nm + found.covariance / found.reduction_variance * off
        above_floor = below((initial_nm - found.reduction_nm - off - floor_nm) / sqrt(left_variance))
        total += exp(-((off / deviation) ** 2) / 2) * above_floor
    return min(1.0, total * step / (deviation * sqrt(2 * pi)))
