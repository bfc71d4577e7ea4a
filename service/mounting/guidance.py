"""What charts and practice say for one bearing: reduction, residual, displacement, nut turn (rules C2, C3, C7).

The site's own chart goes first; the built-in practice stands in for what no chart covers. The blade set in use
chooses the printing, mm or inch; the smallest residual goes by class, from the mm printing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from service import units
from service.findings import Missing, Source
from service.mounting import charts
from service.mounting.charts import Chart
from service.reference import mounting_practice
from service.reference.bearings import Bearing
from service.reference.clearance_classes import ClearanceRange, initial_ranges, iso_5753_1
from service.reference.mounting_practice import Practice
from service.reference.sleeves import locknut_threads, sleeve_thread

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Initial:
    """Initial clearance of the class and of the others, [nm]; ``inside`` adds the printed inch row."""

    limits: ClearanceRange
    inside: tuple[ClearanceRange, ...]
    other_classes: dict[str, tuple[ClearanceRange, ...]]
    source: Source


@dataclass(frozen=True, slots=True)
class Reduction:
    """Reduction to make, [nm], and the smallest residual of the class, [nm], each with its source."""

    limits_nm: tuple[int, int]
    source: Source
    smallest_residual_nm: int
    residual_source: Source
    band_in_print_nm: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class Displacement:
    """Axial displacement from firm contact, [nm]."""

    limits_nm: Range
    source: Source


@dataclass(frozen=True, slots=True)
class NutTurn:
    """Turn of the locknut from firm contact, [deg], and its thread."""

    limits_deg: Range
    thread: str
    source: Source


def initial_clearance(bearing: Bearing, *, system: str, charts_in_force: Sequence[Chart] = ()) -> Initial | None:
    """Return the initial clearance by class, or None when the class has no row.

    Raises
    ------
    OutOfTable
        No row covers the bore.
    """
    field = "bearing/designation" if bearing.designation else "bearing/bore"
    ranges = initial_ranges(bearing_type=bearing.type, tapered=bearing.tapered, bore_mm=bearing.bore_mm, field=field)
    if bearing.clearance_class not in ranges:
        return None
    printing = practice(bearing, system=system)
    printed = printing.printed_ranges if printing and printing.printed_ranges else {}
    by_class = {mark: (row, *((printed[mark],) if mark in printed else ())) for mark, row in ranges.items()}
    inside = by_class.pop(bearing.clearance_class)
    limits, source = inside[0], iso_5753_1()
    own = _chart_row(charts_in_force, charts.INITIAL_CLEARANCE, bearing, (bearing.clearance_class, None, None))
    if own is not None:
        limits, source = ClearanceRange(own[0].min_value, own[0].max_value), own[1]
        inside = (limits,)
    return Initial(limits, inside, by_class, source)


def practice(bearing: Bearing, *, system: str) -> Practice | None:
    """Return the row of the built-in practice in the printing of the blade system, or None."""
    if not bearing.tapered:
        return None
    if bearing.type != "spherical_roller":
        return mounting_practice.self_aligning_ball(bearing.bore_mm)
    if system == "inch":
        return mounting_practice.spherical_roller_inch(bearing.bore_mm)
    return mounting_practice.spherical_roller_mm(bearing.bore_mm)


def reduction(bearing: Bearing, *, system: str, charts_in_force: Sequence[Chart] = ()) -> Reduction | None:
    """Return reduction and smallest residual of the class, or None when either is not known."""
    own = _chart_row(charts_in_force, charts.REDUCTION, bearing, (None, None, None))
    residual = smallest_residual(bearing, own)
    built_in = practice(bearing, system=system)
    roller = bearing.type == "spherical_roller"
    band = mounting_practice.band_in_print(bearing.bore_mm) if roller and bearing.tapered else None
    if residual is None:
        return None
    if own is not None:
        row, source = own
        return Reduction((round(row.min_value), round(row.max_value)), source, *residual, band)
    if built_in is None:
        return None
    return Reduction(built_in.reduction_nm, built_in.source, *residual, band)


def smallest_residual(bearing: Bearing, own: tuple[charts.ChartRow, Source] | None) -> tuple[int, Source] | None:
    """Return the smallest residual clearance of the class, [nm], with its source, or None.

    Parameters
    ----------
    own : tuple or None
        Row of the site's own chart that covers the bearing, with its source
    """
    mark = bearing.clearance_class
    if own is not None and mark in own[0].smallest_residual_nm:
        return own[0].smallest_residual_nm[mark], own[1]
    built_in = practice(bearing, system="metric")
    if built_in is None or mark not in built_in.smallest_residual_nm:
        return None
    return built_in.smallest_residual_nm[mark], built_in.source


def displacement(
    bearing: Bearing, *, seat: str, system: str, charts_in_force: Sequence[Chart] = ()
) -> Displacement | None:
    """Return the axial displacement on the seat: the on-sleeve column on a sleeve, else the shaft column, or None."""
    key = (bearing.taper, seat != "tapered_journal")
    own = _chart_row(charts_in_force, charts.AXIAL_DISPLACEMENT, bearing, (None, *key))
    if own is not None:
        return Displacement((own[0].min_value, own[0].max_value), own[1])
    for printing in dict.fromkeys((system, "metric")):
        built_in = practice(bearing, system=printing)
        if built_in is not None and key in built_in.displacement_nm:
            return Displacement(built_in.displacement_nm[key], built_in.source)
    return None


def nut_turn(
    bearing: Bearing,
    *,
    seat: str,
    thread_system: str | None,
    moved: Displacement | None,
    charts_in_force: Sequence[Chart] = (),
) -> NutTurn | Missing | None:
    """Return the turn of the locknut: 360 x displacement / pitch, or what must be known for it.

    Parameters
    ----------
    thread_system : str or None
        ``metric`` or ``inch``, as read on the sleeve
    moved : Displacement or None
        Axial displacement on the same seat
    """
    own = _chart_row(charts_in_force, charts.NUT_TURN, bearing, (None, bearing.taper, seat != "tapered_journal"))
    if seat == "adapter_sleeve" and thread_system is None:
        return Missing(
            "sleeve_thread",
            "the turn of the locknut follows from its pitch, and metric and inch sleeves differ",
            "read the size on the sleeve or the nut, or measure the pitch",
        )
    thread = sleeve_thread(bore_mm=bearing.bore_mm, system=thread_system or "metric")
    if own is not None:
        return NutTurn((own[0].min_value, own[0].max_value), thread.thread if thread else "", own[1])
    if seat != "adapter_sleeve" or moved is None:
        return None
    if thread is None:
        return Missing(
            "locknut_pitch",
            ("no locknut thread is on file for a bore of ", units.dimension(bearing.bore_mm)),
            "measure the pitch of the nut: the turn is 360 degrees x displacement / pitch",
        )
    per_nm = 360 / (thread.pitch_mm * units.NM_PER_MM)
    return NutTurn((moved.limits_nm[0] * per_nm, moved.limits_nm[1] * per_nm), thread.thread, locknut_threads())


def _chart_row(
    charts_in_force: Sequence[Chart], kind: str, bearing: Bearing, group: tuple[str | None, str | None, bool | None]
) -> tuple[charts.ChartRow, Source] | None:
    if not charts_in_force:
        return None
    return charts.row_for(
        charts_in_force,
        kind=kind,
        bearing_type=bearing.type,
        tapered=bearing.tapered,
        bore_mm=bearing.bore_mm,
        group=group,
    )
