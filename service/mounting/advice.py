"""What a clearance target says besides its numbers: what is missing, blocked, to be read later, and the sources."""

from collections.abc import Iterator, Sequence
from typing import Final

from service import units
from service.errors import Text
from service.findings import Blocked, Missing, Source, Warned
from service.mounting.blades import BladeSet, blade_to_get, next_attainable
from service.mounting.guidance import Initial, Reduction
from service.mounting.readings import MEASURE_AGAIN
from service.mounting.taper_fit import Fit
from service.mounting.target import MeasuredClearance
from service.mounting.window import Window
from service.reference.bearings import Bearing

LARGEST_DISAGREEMENT: Final = 0.25
NO_PRACTICE: Final = (
    "reduction",
    "open the bearing maker's book, read reduction and smallest residual clearance for this bore and class, and enter "
    "them as a chart",
)


def missing_practice(bearing: Bearing) -> Missing:
    """Return what stands in for a reduction that no chart and no practice gives."""
    why: Text = (
        f"common practice prints no reduction with smallest residual for class {bearing.clearance_class} and bore ",
        units.dimension(bearing.bore_mm),
    )
    return Missing(NO_PRACTICE[0], why, NO_PRACTICE[1])


def missing_displacement(bearing: Bearing) -> Missing:
    """Return what stands in for an axial displacement that no chart and no practice gives."""
    why: Text = (
        f"common practice prints no axial displacement for taper {bearing.taper} and bore ",
        units.dimension(bearing.bore_mm),
    )
    return Missing("axial_displacement", why, "open the bearing maker's book and enter the displacement as a chart")


def missing_class_mark(bearing: Bearing) -> Missing:
    """Return the class mark that must be read from the ring."""
    return Missing(
        "bearing/clearance_class",
        f"class {bearing.clearance_class} is assumed or read from a combined mark; every clearance below depends on it",
        "read the mark on the ring and send the designation with its class",
    )


def missing_shaft_fit() -> Missing:
    """Return what stands in for a reduction on a cylindrical seat."""
    return Missing(
        "shaft_fit",
        "on a cylindrical seat the fit takes the clearance away, not a displacement: heating and an abutment decide",
        "read the shaft tolerance on the drawing and the fit in the bearing maker's book",
    )


def missing_measurement() -> Missing:
    """Return the initial clearance, which is measured and never assumed."""
    return Missing(
        "measured_clearance",
        "the window is provisional: it spans the whole range of the class and nothing is judged on it",
        "measure the initial clearance of this bearing before it is mounted and send it",
    )


def missing_blade(window: Window, blade_set: BladeSet) -> Missing:
    """Return the blade to get when the set does not resolve the window."""
    assert window.aim_nm is not None
    why: Text = (
        "no blade or stack of this set lies inside the window ",
        units.clearance(window.min_nm),
        " to ",
        units.clearance(window.max_nm),
        ", or none above it",
    )
    size_nm = blade_to_get(blade_set.system, min_nm=window.min_nm, max_nm=window.max_nm, aim_nm=window.aim_nm)
    others = "close the hold point on axial displacement, nut turn or a dial indicator instead"
    if size_nm is None:
        return Missing("blade_set", why, f"no usual blade lies inside either: {others}")
    return Missing("blade_set", why, ("get a blade of ", units.Quantity(blade_set.kind, size_nm), f", or {others}"))


def missing_in_service(
    bearing: Bearing, temperature_difference_k: float | None, radial_load_n: float | None
) -> Iterator[Missing]:
    """Yield what the rules for operating clearance and fit ask for and did not get."""
    if temperature_difference_k is None:
        yield Missing(
            "temperature_difference",
            "a warmer inner ring takes clearance away in service and raises the smallest residual",
            (
                "ask how much warmer the inner ring runs than the outer, start-up included; ",
                units.temperature_difference(5),
                " to ",
                units.temperature_difference(10),
                " is usual",
            ),
        )
    elif bearing.outside_diameter_mm is None:
        yield Missing("bearing/outside_diameter", "needed for the clearance lost in service", "measure it")
    if bearing.tapered and radial_load_n is None:
        yield Missing(
            "radial_load",
            "needed to check the fit against creep",
            "ask for the load on this bearing, or weigh and share",
        )
    elif bearing.tapered and bearing.width_mm is None:
        yield Missing("bearing/width", "needed to check the fit against creep", "measure the width of the bearing")


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
        yield Blocked(
            "rows_differ",
            ("the two rows of rollers differ by more than one reduction can bridge, ", *_between(rows_nm)),
            (MEASURE_AGAIN, "If it stays so, the bearing is not fit to be mounted: ask the bearing maker."),
            facts,
        )
        return
    detail: Text = (
        "the smallest reduction leaves ",
        units.clearance(window.max_nm),
        ", less than the smallest residual clearance of ",
        units.clearance(window.floor_nm),
        *_printing_mix(taken),
    )
    ways_out: tuple[Text, ...] = ("Fit a bearing with a larger clearance class.", "Ask the bearing maker.")
    yield Blocked("class_too_tight", detail, ways_out, facts)
    if loss_nm is not None and window.max_nm - loss_nm <= 0:
        yield Blocked(
            "operating_preload",
            (
                "warming takes ",
                units.clearance(loss_nm),
                " away; even the loosest residual clearance, ",
                units.clearance(window.max_nm),
                ", would run without clearance",
            ),
            (*ways_out, "Lower the temperature difference: slower start-up, a warmer housing, other lubrication."),
            {**facts, "loss": units.clearance(loss_nm)},
        )


def _printing_mix(taken: Reduction) -> Text:
    if taken.source.id == taken.residual_source.id:
        return ()
    return (f" (reduction from {taken.source.title}, residual from {taken.residual_source.title}: the mix decides)",)


def _between(rows_nm: Sequence[float]) -> Text:
    return (units.clearance(min(rows_nm)), " and ", units.clearance(max(rows_nm)))


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
        yield Warned(
            "not_judged_by_blades",
            "self-aligning ball bearings are judged by axial displacement or nut turn, and by the outer ring still "
            "turning and swivelling freely, not by blades",
        )
    if seat == "cylindrical":
        yield Warned(
            "cylindrical_seat",
            "no axial displacement on a cylindrical seat: the bearing is heated, pushed against its shoulder and held "
            "there until it has cooled; the fit decides how much clearance is lost",
        )
    if seat == "withdrawal_sleeve":
        yield Warned(
            "sleeve_moves",
            "on a withdrawal sleeve the sleeve moves into the bearing: the displacement is that of the sleeve",
        )
    if judged is not None and not judged.accepted:
        yield Warned(judged.verdict.code or judged.verdict.verdict, judged.verdict.detail)
    if judged is not None and _rows_differ(judged, blade_set):
        yield Warned("rows_differ", ("the rows differ by more than one blade step: ", *_between(judged.row_values_nm)))
    if fit is not None and fit.sufficient is False and fit.needed_nm is not None:
        yield Warned(
            "fit_may_creep",
            (
                "the load asks for an interference of ",
                units.clearance(fit.needed_nm),
                "; the smallest reduction gives ",
                units.clearance(fit.interference_nm[0]),
                ": ask the bearing maker before it runs",
            ),
        )


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
    return Warned(
        "elastic_disagrees",
        (
            "elastic theory gives an axial displacement of ",
            units.displacement(elastic_nm[0]),
            " to ",
            units.displacement(elastic_nm[1]),
            ", the practice on a shaft prints ",
            units.displacement(shaft_column_nm[0]),
            " to ",
            units.displacement(shaft_column_nm[1]),
            ": measure a second way and ask the bearing maker",
        ),
    )


def _prefer_makers_book(taken: Reduction) -> Warned:
    band = taken.band_in_print_nm
    printed: Text = ("; handbooks print ", units.clearance(band[0]), " to ", units.clearance(band[1])) if band else ()
    return Warned(
        "prefer_makers_book",
        ("reduction and residual are common practice, not a standard: the bearing maker's book goes first", *printed),
    )


def _rows_differ(judged: MeasuredClearance, blade_set: BladeSet) -> bool:
    smallest_nm, largest_nm = min(judged.row_values_nm), max(judged.row_values_nm)
    following_nm = next_attainable(blade_set, smallest_nm)
    return following_nm is not None and largest_nm > following_nm


def unique(sources: Sequence[Source | None]) -> tuple[Source, ...]:
    """Return the sources once each, in order."""
    return tuple(dict.fromkeys(source for source in sources if source is not None))
