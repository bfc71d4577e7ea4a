"""The clearance target of one bearing: what it must have before, what to take away, what must be left (C1 to C9)."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from service.errors import OutOfTable, ReadingScaleSuspect
from service.findings import Missing, Warned
from service.mounting import advice, guidance, operating, readings, taper_fit
from service.mounting.blades import BladeSet, BladeTargets, blade_targets
from service.mounting.charts import Chart
from service.mounting.competing import competing_charts
from service.mounting.guidance import Displacement, Initial, NutTurn, Reduction
from service.mounting.operating import OperatingClearance
from service.mounting.readings import Measured
from service.mounting.seats import hollow_shaft_warning, seat_of
from service.mounting.smallest_class import smallest_class
from service.mounting.taper_fit import Fit
from service.mounting.target import ClearanceTarget, MeasuredClearance
from service.mounting.window import Floor, Window, mean, measured_window, place_in_range, provisional_window
from service.reference.bearings import Bearing

__all__ = ["ClearanceTarget", "Measured", "clearance_target"]


@dataclass(frozen=True, slots=True)
class _Position:
    """The bearing where it sits: all that the rules ask about it besides its clearances."""

    bearing: Bearing
    seat: str
    blade_set: BladeSet
    temperature_difference_k: float | None
    radial_load_n: float | None
    shaft_bore_mm: float
    charts: Sequence[Chart]

    @property
    def loss_nm(self) -> float | None:
        """Return the clearance lost in service, [nm], or None when it is not known."""
        if self.temperature_difference_k is None or self.bearing.outside_diameter_mm is None:
            return None
        return operating.thermal_loss(
            bore_mm=self.bearing.bore_mm,
            outside_diameter_mm=self.bearing.outside_diameter_mm,
            temperature_difference_k=self.temperature_difference_k,
        )

    @property
    def raceway_mm(self) -> float | None:
        """Return the raceway diameter of the inner ring, [mm], or None when the outside diameter is not known."""
        if self.bearing.outside_diameter_mm is None:
            return None
        return taper_fit.raceway_diameter(
            bearing_type=self.bearing.type,
            bore_mm=self.bearing.bore_mm,
            outside_diameter_mm=self.bearing.outside_diameter_mm,
        )


def clearance_target(
    *,
    bearing: Bearing,
    seat: str | None = None,
    measured: Measured | None = None,
    blade_set: BladeSet,
    temperature_difference_k: float | None = None,
    radial_load_n: float | None = None,
    shaft_bore_mm: float | None = None,
    shaft_diameter_mm: float | None = None,
    sleeve_thread: str | None = None,
    charts: Sequence[Chart] = (),
    refitted: bool = False,
) -> ClearanceTarget:
    """Return the clearance target of one bearing.

    Parameters
    ----------
    bearing : Bearing
        The bearing to be fitted
    seat : str or None
        ``adapter_sleeve``, ``withdrawal_sleeve``, ``tapered_journal``, ``cylindrical``; assumed from the bore when None
    measured : Measured or None
        Measured initial clearance, by row, [nm]
    blade_set : BladeSet
        The blades in use; their system chooses the printing
    temperature_difference_k : float or None
        Inner minus outer ring in service, start-up governing, [K]
    radial_load_n : float or None
        Radial load, [N]
    shaft_bore_mm, shaft_diameter_mm : float or None
        Bore of a hollow shaft and its diameter, [mm]
    sleeve_thread : str or None
        ``metric`` or ``inch``, as read on the sleeve
    charts : sequence of Chart, shape (n,)
        The site's charts in force; they go before the built-in practice
    refitted : bool
        The bearing ran already and goes back in: it may be worn in by one blade step, [-]

    Raises
    ------
    OutOfTable
        No row covers bore or class.
    ReadingScaleSuspect
        The measured clearance would fit after a slip of scale.
    CannotEvaluate
        Bearing, seat and shaft do not belong together.
    """
    seat, seat_warnings = seat_of(bearing, seat)
    hollow = _hollow(bearing, shaft_bore_mm, shaft_diameter_mm)
    at = _Position(bearing, seat, blade_set, temperature_difference_k, radial_load_n, shaft_bore_mm or 0.0, charts)
    initial = _initial(at)
    judged = None if measured is None else _judged(measured, initial, blade_set, refitted=refitted)
    taken, moved, turn = _guided(at, sleeve_thread)
    window = _window(judged, initial, taken, at.loss_nm)
    open_window = None if window is None or window.empty else window
    blades = _blades(bearing, open_window, blade_set)
    fit = _fit(at, taken)
    in_service = _operating(at, open_window)
    advised = advice.warnings_of(bearing=bearing, seat=seat, taken=taken, judged=judged, blade_set=blade_set, fit=fit)
    blocked = (
        advice.blocked_window(window=window, taken=taken, judged=judged, initial=initial, loss_nm=at.loss_nm)
        if window is not None and window.empty and taken is not None
        else ()
    )
    elastic_nm = _elastic(at, taken)
    return ClearanceTarget(
        bearing=bearing,
        seat=seat,
        blade_set=blade_set,
        initial=initial,
        measured=judged,
        reduction=taken,
        window=open_window,
        blades=blades,
        displacement=moved,
        elastic_displacement_nm=elastic_nm,
        nut_turn=turn if isinstance(turn, NutTurn) else None,
        fit=fit,
        operating=in_service,
        missing=tuple(_missing(at, taken, moved, turn, blades, window, judged)),
        blocked=tuple(blocked),
        warnings=(
            *bearing.warnings,
            *seat_warnings,
            *hollow,
            *_worn(judged),
            *advised,
            *_disagreement(at, elastic_nm),
            *(competing_charts(charts, bearing, seat=seat) if charts else ()),
        ),
        sources=advice.unique(
            (
                initial.source,
                taken.source if taken else None,
                taken.residual_source if taken else None,
                moved.source if moved else None,
                turn.source if isinstance(turn, NutTurn) else None,
                taper_fit.ELASTIC if elastic_nm else None,
                operating.THERMAL if in_service else None,
            )
        ),
    )


def _worn(judged: MeasuredClearance | None) -> tuple[Warned, ...]:
    if judged is None or judged.verdict.code != readings.WORN_IN:
        return ()
    return (Warned(readings.WORN_IN, judged.verdict.detail),)


def _hollow(bearing: Bearing, shaft_bore_mm: float | None, shaft_diameter_mm: float | None) -> tuple[Warned, ...]:
    if shaft_bore_mm is None:
        return ()
    warned = hollow_shaft_warning(bearing, shaft_bore_mm=shaft_bore_mm, shaft_diameter_mm=shaft_diameter_mm)
    return () if warned is None else (warned,)


def _initial(at: _Position) -> Initial:
    initial = guidance.initial_clearance(at.bearing, system=at.blade_set.system, charts_in_force=at.charts)
    if initial is None:
        raise OutOfTable(
            f"class {at.bearing.clearance_class} has no row in ISO 5753-1 for this bearing; "
            "the rows hold C2, CN, C3, C4 and C5: ask the bearing maker",
            field="bearing/designation" if at.bearing.designation else "bearing/clearance_class",
        )
    return initial


def _judged(measured: Measured, initial: Initial, blade_set: BladeSet, *, refitted: bool) -> MeasuredClearance:
    row_values_nm = measured.row_values_nm
    verdict = readings.initial_verdict(
        row_values_nm=row_values_nm,
        ranges=initial.inside,
        other_classes=initial.other_classes,
        blade_set=blade_set,
        refitted=refitted,
    )
    if verdict.code == readings.SCALE_SUSPECT:
        raise ReadingScaleSuspect(
            verdict.detail, field="measured_clearance", fits=list(verdict.fits), fits_class=verdict.fits_class
        )
    value_nm = mean(row_values_nm)
    place = place_in_range(value_nm, initial.limits) if verdict.verdict == readings.ACCEPT else None
    return MeasuredClearance(measured, row_values_nm, value_nm, verdict, place)


def _guided(
    at: _Position, sleeve_thread: str | None
) -> tuple[Reduction | None, Displacement | None, NutTurn | Missing | None]:
    if not at.bearing.tapered:
        return None, None, None
    system = at.blade_set.system
    taken = guidance.reduction(at.bearing, system=system, charts_in_force=at.charts)
    moved = guidance.displacement(at.bearing, seat=at.seat, system=system, charts_in_force=at.charts)
    if taken is None and moved is not None and moved.source.kind != "site_chart":
        moved = None  # the practice prints both for the same classes: no reduction, no travel that would bring it
    turn = guidance.nut_turn(
        at.bearing, seat=at.seat, thread_system=sleeve_thread, moved=moved, charts_in_force=at.charts
    )
    return taken, moved, turn


def _window(
    judged: MeasuredClearance | None, initial: Initial, taken: Reduction | None, loss_nm: float | None
) -> Window | None:
    if taken is None or (judged is not None and not judged.accepted):
        return None
    floor = Floor(taken.smallest_residual_nm, taken.residual_source)
    if loss_nm is not None and operating.least_residual(loss_nm) > floor.value_nm:
        floor = Floor(operating.least_residual(loss_nm), operating.THERMAL)
    if judged is None:
        return provisional_window(limits=initial.limits, reduction_nm=taken.limits_nm, floor=floor)
    return measured_window(judged.row_values_nm, limits=initial.limits, reduction_nm=taken.limits_nm, floor=floor)


def _blades(bearing: Bearing, window: Window | None, blade_set: BladeSet) -> BladeTargets | None:
    if window is None or window.aim_nm is None or bearing.type == "self_aligning_ball":
        return None
    return blade_targets(blade_set, min_nm=window.min_nm, max_nm=window.max_nm, aim_nm=window.aim_nm)


def _elastic(at: _Position, taken: Reduction | None) -> tuple[float, float] | None:
    raceway_mm = at.raceway_mm
    if taken is None or raceway_mm is None:
        return None
    growth = taper_fit.growth_ratio(bore_mm=at.bearing.bore_mm, raceway_mm=raceway_mm, shaft_bore_mm=at.shaft_bore_mm)
    least_nm, most_nm = taken.limits_nm
    return (
        taper_fit.displacement_for_reduction(least_nm, growth=growth, taper=at.bearing.taper),
        taper_fit.displacement_for_reduction(most_nm, growth=growth, taper=at.bearing.taper),
    )


def _disagreement(at: _Position, elastic_nm: tuple[float, float] | None) -> tuple[Warned, ...]:
    built_in = guidance.practice(at.bearing, system=at.blade_set.system)
    shaft_column_nm = built_in.displacement_nm.get((at.bearing.taper, False)) if built_in else None
    if elastic_nm is None or shaft_column_nm is None or at.shaft_bore_mm:
        return ()
    warned = advice.elastic_disagreement(elastic_nm, shaft_column_nm)
    return () if warned is None else (warned,)


def _fit(at: _Position, taken: Reduction | None) -> Fit | None:
    if taken is None:
        return None
    needed_nm = None
    if at.radial_load_n is not None and at.bearing.width_mm is not None:
        needed_nm = taper_fit.interference_needed(
            bore_mm=at.bearing.bore_mm,
            width_mm=at.bearing.width_mm,
            radial_load_n=at.radial_load_n,
            temperature_difference_k=at.temperature_difference_k or 0.0,
        )
    return taper_fit.fit_of_reduction(
        taken.limits_nm,
        bore_mm=at.bearing.bore_mm,
        raceway_mm=at.raceway_mm,
        shaft_bore_mm=at.shaft_bore_mm,
        needed_nm=needed_nm,
    )


def _operating(at: _Position, window: Window | None) -> OperatingClearance | None:
    loss_nm = at.loss_nm
    if window is None or loss_nm is None or at.temperature_difference_k is None:
        return None
    smallest = smallest_class(at.bearing, loss_nm=loss_nm, system=at.blade_set.system, charts_in_force=at.charts)
    return OperatingClearance(
        window.min_nm - loss_nm, window.max_nm - loss_nm, loss_nm, at.temperature_difference_k, smallest
    )


def _missing(
    at: _Position,
    taken: Reduction | None,
    moved: Displacement | None,
    turn: NutTurn | Missing | None,
    blades: BladeTargets | None,
    window: Window | None,
    judged: MeasuredClearance | None,
) -> Iterator[Missing]:
    bearing = at.bearing
    if bearing.class_to_confirm:
        yield advice.missing_class_mark(bearing)
    if judged is None and bearing.type != "self_aligning_ball":
        yield advice.missing_measurement()
    elif judged is not None and not judged.accepted:
        yield Missing("measured_clearance", judged.verdict.detail, judged.verdict.next)
    if not bearing.tapered:
        yield advice.missing_shaft_fit()
    else:
        if taken is None:
            yield advice.missing_practice(bearing)
        if moved is None:
            yield advice.missing_displacement(bearing)
    if isinstance(turn, Missing):
        yield turn
    yield from advice.missing_in_service(bearing, at.temperature_difference_k, at.radial_load_n)
    if blades is not None and not blades.resolves and window is not None:
        yield advice.missing_blade(window, at.blade_set)
