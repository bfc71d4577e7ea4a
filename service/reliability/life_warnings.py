"""What has to be read together with a life analysis."""

from typing import Final

from service import units
from service.findings import Warned

FEW_FAILURES: Final = 5
OPTIMISTIC_BELOW: Final = 50  # failures: the one-sided 95 % limit lies above the truth in 6 % at 50, 13 % at 5


def life_warnings(
    *,
    failed: float,
    fitted: bool,
    late: float,
    largest_age_h: float,
    b10_h: float | None,
    condition_share: float,
    designations: int,
    modified: bool,
    misfit: bool = False,
    doubts: Warned | None = None,
    borrowed: bool = False,
) -> tuple[Warned, ...]:
    """Return the warnings of one group.

    Parameters
    ----------
    failed, late : float
        Failures, and units that entered late, [-]
    fitted : bool
        An estimate stands in the answer.
    largest_age_h : float
        Largest age seen, [h]
    b10_h : float or None
        B10 estimated, [h]
    condition_share : float
        Share of ended lives that were removed on condition, [-]
    designations : int
        Different designations in the group, [-]
    modified : bool
        The estimate maximises the modified likelihood.
    misfit : bool
        The Weibull does not describe these lives.
    doubts : Warned or None
        That the answer hangs on removals that nobody looked at.
    borrowed : bool
        The bound stands on the shape that the groups have in common.
    """
    found = [] if fitted else [_bound_only(failed, modified)]
    if misfit:
        said = "The Weibull does not describe these lives; what is made from it is marked not_supported."
        found.append(Warned("weibull_misfit", said))
    if borrowed:
        found.append(Warned("shape_borrowed", "The bound stands on the shape that these groups have in common."))
    if doubts is not None:
        found.append(doubts)
    if fitted and failed < FEW_FAILURES:
        found.append(Warned("few_failures", f"{failed:g} failures: the estimate may lie far off; read the limits."))
    if fitted and failed < OPTIMISTIC_BELOW:
        found.append(
            Warned("lower_limit_optimistic", f"With {failed:g} failures the lower limit of B10 is too high too often.")
        )
    if b10_h is not None and b10_h > largest_age_h:
        at = units.Quantity("time", largest_age_h)
        found.append(Warned("extrapolated_beyond_data", ("B10 lies beyond the largest age seen, ", at, ".")))
    if condition_share > 0:
        said = f"{condition_share:.0%} of the ended lives were removed on condition, perhaps just before failing."
        found.append(Warned("informative_censoring_possible", said))
    if designations > 1:
        found.append(Warned("mixed_designations", f"{designations} designations are taken together as one population."))
    if late > 0:
        found.append(
            Warned("late_entry", f"{late:g} came under observation at an age above zero; this is allowed for.")
        )
    return tuple(found)


def _bound_only(failed: float, modified: bool) -> Warned:
    if failed == 0:
        return Warned("no_failures_bound_only", "Nothing has failed: a lower bound with an assumed shape, no estimate.")
    if failed == 1:
        return Warned("few_failures", "One failure tells no shape: a lower bound with an assumed shape, no estimate.")
    if modified and failed < 3:
        return Warned("few_failures", "The modified likelihood needs three failures; a bound stands in its place.")
    said = "The likelihood has no maximum: no failure came before the largest age, or late entries leave it open."
    return Warned("no_estimate_exists", said)
