"""What a clearance target says besides its numbers: what is missing, blocked, to be read later, and the sources."""

from collections.abc import Iterator, Sequence
from typing import Final

from service import units
from service.findings import Blocked, Missing, Source, Warned
from service.mounting.blades import BladeSet, blade_to_get, next_attainable
from service.mounting.guidance import Initial, Reduction
from service.mounting.messages import SAYS
from service.mounting.taper_fit import Fit
from service.mounting.target import MeasuredClearance
from service.mounting.window import Window
from service.reference.bearings import Bearing

LARGEST_DISAGREEMENT: Final = 0.25


def missing_practice(bearing: Bearing) -> Missing:
    """Return what stands in for a reduction that no chart and no practice gives."""
    bore = units.dimension(bearing.bore_mm)
    return SAYS.missing("reduction", clearance_class=bearing.clearance_class, bore=bore)


def missing_displacement(bearing: Bearing) -> Missing:
    """Return what stands in for an axial displacement that no chart and no practice gives."""
    return SAYS.missing("axial_displacement", taper=bearing.taper, bore=units.dimension(bearing.bore_mm))


def missing_class_mark(bearing: Bearing) -> Missing:
    """Return the class mark that must be read from the ring."""
    return SAYS.missing("class_mark", "bearing/clearance_class", clearance_class=bearing.clearance_class)


def missing_shaft_fit() -> Missing:
    """Return what stands in for a reduction on a cylindrical seat."""
    return SAYS.missing("shaft_fit")


def missing_measurement() -> Missing:
    """Return the initial clearance, which is measured and never assumed."""
    return SAYS.missing("measured_clearance")


def missing_blade(window: Window, blade_set: BladeSet) -> Missing:
    """Return the blade to get when the set does not resolve the window."""
    assert window.aim_nm is not None
    size_nm = blade_to_get(blade_set.system, min_nm=window.min_nm, max_nm=window.max_nm, aim_nm=window.aim_nm)
    limits = {"min": units.clearance(window.min_nm), "max": units.clearance(window.max_nm)}
    if size_nm is None:
        return SAYS.missing("blade_set_without", "blade_set", **limits)
    return SAYS.missing("blade_set", blade=units.Quantity(blade_set.kind, size_nm), **limits)


def missing_in_service(
    bearing: Bearing, temperature_difference_k: float | None, radial_load_n: float | None
) -> Iterator[Missing]:
    """Yield what the rules for operating clearance and fit ask for and did not get."""
    if temperature_difference_k is None:
        usual_min, usual_max = units.temperature_difference(5), units.temperature_difference(10)
        yield SAYS.missing("temperature_difference", usual_min=usual_min, usual_max=usual_max)
    elif bearing.outside_diameter_mm is None:
        yield SAYS.missing("outside_diameter", "bearing/outside_diameter")
    if bearing.tapered and radial_load_n is None:
        yield SAYS.missing("radial_load")
    elif bearing.tapered and bearing.width_mm is None:
        yield SAYS.missing("width", "bearing/width")


def blocked_window(
    *, window: Window, taken: Reduction, judged: MeasuredClearance | None, initial: Initial, loss_nm: float | None
) -> Iterator[Blocked]:
    """Yield why nothing lies inside a window: the class is too tight, the rows differ, or warming eats it up."""
    least_nm, most_nm = taken.limits_nm
    rows_nm = judged.row_values_nm if judged else (initial.limits.max_nm,)
    known_nm = judged.row_values_nm if judged else (initial.limits.min_nm, initial.limits.max_nm)
    facts = {
        "initial_min": units.clearance(min(known_nm)),
        "initial_max": units.clearance(max(known_nm)),
        "reduction_min": units.clearance(least_nm),
        "reduction_max": units.clearance(most_nm),
        "floor": units.clearance(window.floor_nm),
    }
    if max(rows_nm) - most_nm > min(rows_nm) - least_nm:
        smallest, largest = _rows(rows_nm)
        yield SAYS.blocked("rows_differ", "rows_differ_blocked", facts=facts, smallest=smallest, largest=largest)
        return
    left, floor = units.clearance(window.max_nm), units.clearance(window.floor_nm)
    if taken.source.id == taken.residual_source.id:
        yield SAYS.blocked("class_too_tight", facts=facts, left=left, floor=floor)
    else:
        yield SAYS.blocked(
            "class_too_tight",
            "class_too_tight_mixed",
            facts=facts,
            left=left,
            floor=floor,
            reduction_source=taken.source.title,
            residual_source=taken.residual_source.title,
        )
    if loss_nm is not None and window.max_nm - loss_nm <= 0:
        loss = units.clearance(loss_nm)
        yield SAYS.blocked("operating_preload", facts={**facts, "loss": loss}, loss=loss, left=left)


def _rows(rows_nm: Sequence[float]) -> tuple[units.Quantity, units.Quantity]:
    """Return the smallest and the largest row."""
    return units.clearance(min(rows_nm)), units.clearance(max(rows_nm))


def warnings_of(
    *,
    bearing: Bearing,
    seat: str,
    taken: Reduction | None,
    judged: MeasuredClearance | None,
    blade_set: BladeSet,
    fit: Fit | None,
) -> Iterator[Warned]:
    """Yield what may be read later."""
    if taken is not None and taken.source.kind == "practice":
        yield _prefer_makers_book(taken)
    if bearing.type == "self_aligning_ball":
        yield SAYS.warned("not_judged_by_blades")
    if seat == "cylindrical":
        yield SAYS.warned("cylindrical_seat")
    if seat == "withdrawal_sleeve":
        yield SAYS.warned("sleeve_moves")
    if judged is not None and not judged.accepted:
        yield Warned(judged.verdict.code or judged.verdict.verdict, judged.verdict.detail)
    if judged is not None and _rows_differ(judged, blade_set):
        smallest, largest = _rows(judged.row_values_nm)
        yield SAYS.warned("rows_differ", smallest=smallest, largest=largest)
    if fit is not None and fit.sufficient is False and fit.needed_nm is not None:
        needed, given = units.clearance(fit.needed_nm), units.clearance(fit.interference_nm[0])
        yield SAYS.warned("fit_may_creep", needed=needed, given=given)


def elastic_disagreement(elastic_nm: tuple[float, float], shaft_column_nm: tuple[int, int]) -> Warned | None:
    """Return the warning that elastic theory and the shaft column differ by more than a quarter, or None.

    Parameters
    ----------
    elastic_nm, shaft_column_nm : tuple of float
        Smallest and largest axial displacement on a shaft, [nm]
    """
    ratios = [ours / theirs for ours, theirs in zip(elastic_nm, shaft_column_nm, strict=True)]
    if all(abs(ratio - 1) <= LARGEST_DISAGREEMENT for ratio in ratios):
        return None
    return SAYS.warned(
        "elastic_disagrees",
        min=units.displacement(elastic_nm[0]),
        max=units.displacement(elastic_nm[1]),
        printed_min=units.displacement(shaft_column_nm[0]),
        printed_max=units.displacement(shaft_column_nm[1]),
    )


def _prefer_makers_book(taken: Reduction) -> Warned:
    band = taken.band_in_print_nm
    if band is None:
        return SAYS.warned("prefer_makers_book")
    limits = {"min": units.clearance(band[0]), "max": units.clearance(band[1])}
    return SAYS.warned("prefer_makers_book", "prefer_makers_book_banded", **limits)


def _rows_differ(judged: MeasuredClearance, blade_set: BladeSet) -> bool:
    smallest_nm, largest_nm = min(judged.row_values_nm), max(judged.row_values_nm)
    following_nm = next_attainable(blade_set, smallest_nm)
    return following_nm is not None and largest_nm > following_nm


def unique(sources: Sequence[Source | None]) -> tuple[Source, ...]:
    """Return the sources once each, in order."""
    return tuple(dict.fromkeys(source for source in sources if source is not None))
