"""The smallest clearance class that keeps the operating clearance positive: rule C8 asked the other way round."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from service.mounting import guidance, operating
from service.mounting.charts import Chart
from service.mounting.designation import bearing_from_dimensions
from service.reference.bearings import Bearing
from service.words import CLEARANCE_CLASSES


def smallest_class(
    bearing: Bearing, *, loss_nm: float, system: str, charts_in_force: Sequence[Chart] = ()
) -> str | None:
    """Return the smallest class whose every bearing can be mounted and still runs with clearance, or None.

    Parameters
    ----------
    bearing : Bearing
        The bearing; its own class does not matter
    loss_nm : float
        Clearance lost to the temperature difference, [nm]
    system : str
        ``inch`` or ``metric``, the printing in use

    Source
    ------
    The bearing at the lower end of its class, reduced by the smallest reduction, must keep at least the smallest
    residual of the class and more than the loss. Classes without a smallest residual in practice or chart are
    passed over: nothing is known to leave in them.
    """
    least_nm = operating.least_residual(loss_nm)
    kept = (
        _kept_by_chart(bearing, system, charts_in_force)
        if charts_in_force
        else _kept(bearing.type, bearing.taper, bearing.bore_mm, system)
    )
    return next((mark for mark, kept_nm, floor_nm in kept if kept_nm >= max(least_nm, floor_nm)), None)


Kept = tuple[tuple[str, float, int], ...]
"""By class: what the bearing at its lower end keeps, and the smallest residual of the class, [nm]."""


@lru_cache(maxsize=1024)
def _kept(bearing_type: str, taper: str, bore_mm: float, system: str) -> Kept:
    bearing = bearing_from_dimensions(type=bearing_type, bore_mm=bore_mm, taper=taper, clearance_class="CN")
    return _kept_by_chart(bearing, system, ())


def _kept_by_chart(bearing: Bearing, system: str, charts_in_force: Sequence[Chart]) -> Kept:
    kept = []
    for mark in CLEARANCE_CLASSES:
        candidate = replace(bearing, clearance_class=mark)
        initial = guidance.initial_clearance(candidate, system=system, charts_in_force=charts_in_force)
        taken = guidance.reduction(candidate, system=system, charts_in_force=charts_in_force)
        if initial is not None and taken is not None:
            kept.append((mark, initial.limits.min_nm - taken.limits_nm[0], taken.smallest_residual_nm))
    return tuple(kept)
