"""What charts and practice say for one bearing: reduction, residual, displacement, nut turn (rules C2, C3, C7).

The site's own chart goes first; the built-in practice stands in for what no chart covers. The blade set in use
chooses the printing, mm or inch; the smallest residual goes by class, from the mm printing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from service import units
from service.findings import Missing, Source
from service.mounting import charts
from service.mounting.charts import Chart
from service.mounting.messages import SAYS
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
    key = (bearing.type, bearing.taper, bearing.bore_mm, bearing.clearance_class, system, field)
    built_in = _built_in_initial(*key)
    own = _chart_row(charts_in_force, charts.INITIAL_CLEARANCE, bearing, (bearing.clearance_class, None, None))
    if own is None or built_in is None:
        return built_in
    limits = ClearanceRange(own[0].min_value, own[0].max_value)
    return Initial(limits, (limits,), built_in.other_classes, own[1])


@lru_cache(maxsize=4096)
def _built_in_initial(
    bearing_type: str, taper: str, bore_mm: float, mark: str, system: str, field: str
) -> Initial | None:
    ranges = initial_ranges(bearing_type=bearing_type, tapered=taper != "cylindrical", bore_mm=bore_mm, field=field)
    if mark not in ranges:
        return None
    printing = _practice(bearing_type, taper, bore_mm, system)
    printed = printing.printed_ranges if printing and printing.printed_ranges else {}
    by_class = {other: (row, *((printed[other],) if other in printed else ())) for other, row in ranges.items()}
    inside = by_class.pop(mark)
    return Initial(inside[0], inside, by_class, iso_5753_1())


def practice(bearing: Bearing, *, system: str) -> Practice | None:
    """Return the row of the built-in practice in the printing of the blade system, or None."""
    return _practice(bearing.type, bearing.taper, bearing.bore_mm, system)


@lru_cache(maxsize=4096)
def _practice(bearing_type: str, taper: str, bore_mm: float, system: str) -> Practice | None:
    if taper == "cylindrical":
        return None
    if bearing_type != "spherical_roller":
        return mounting_practice.self_aligning_ball(bore_mm)
    if system == "inch":
        return mounting_practice.spherical_roller_inch(bore_mm)
    return mounting_practice.spherical_roller_mm(bore_mm)


def reduction(bearing: Bearing, *, system: str, charts_in_force: Sequence[Chart] = ()) -> Reduction | None:
    """Return reduction and smallest residual of the class, or None when either is not known."""
    own = _chart_row(charts_in_force, charts.REDUCTION, bearing, (None, None, None))
    if own is None:
        return _built_in_reduction(bearing.type, bearing.taper, bearing.bore_mm, bearing.clearance_class, system)
    residual = smallest_residual(bearing, own)
    if residual is None:
        return None
    row, source = own
    return Reduction(
        (round(row.min_value), round(row.max_value)), source, *residual, _band(bearing.type, bearing.bore_mm)
    )


@lru_cache(maxsize=4096)
def _built_in_reduction(bearing_type: str, taper: str, bore_mm: float, mark: str, system: str) -> Reduction | None:
    printing = _practice(bearing_type, taper, bore_mm, system)
    by_class = _practice(bearing_type, taper, bore_mm, "metric")
    if printing is None or by_class is None or mark not in by_class.smallest_residual_nm:
        return None
    smallest_nm = by_class.smallest_residual_nm[mark]
    band = _band(bearing_type, bore_mm)
    return Reduction(printing.reduction_nm, printing.source, smallest_nm, by_class.source, band)


def _band(bearing_type: str, bore_mm: float) -> tuple[int, int] | None:
    return mounting_practice.band_in_print(bore_mm) if bearing_type == "spherical_roller" else None


def smallest_residual(bearing: Bearing, own: tuple[charts.ChartRow, Source]) -> tuple[int, Source] | None:
    """Return the smallest residual clearance of the class, [nm], with its source, or None.

    Parameters
    ----------
    own : tuple
        Row of the site's own chart that covers the bearing, with its source; it goes first
    """
    mark = bearing.clearance_class
    if mark in own[0].smallest_residual_nm:
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
        return SAYS.missing("sleeve_thread")
    thread = sleeve_thread(bore_mm=bearing.bore_mm, system=thread_system or "metric")
    if own is not None:
        return NutTurn((own[0].min_value, own[0].max_value), thread.thread if thread else "", own[1])
    if seat != "adapter_sleeve" or moved is None:
        return None
    if thread is None:
        return SAYS.missing("locknut_pitch", bore=units.dimension(bearing.bore_mm))
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
