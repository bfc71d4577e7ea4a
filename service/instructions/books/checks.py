"""What a book of a site is refused for, row by row, before it is stored.

A slip of unit or decimal point in a chart would wreck every machine that it is used for. What cannot be is refused;
what is unusual needs ``accept_unusual`` and a reason in its own row.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from service.errors import CannotEvaluate, ServiceError
from service.findings import Source
from service.instructions.books.books import CAP_BOLT_TORQUE, chart_of, housing_of_row
from service.instructions.plan.bolts import fitted_bolts
from service.mounting import charts
from service.mounting.charts import MOST_DIFFERENT, RowFault
from service.reference import housing_tables
from service.reference.housings import SAME_MM, housing_from_size
from service.words import UNIT_SYSTEMS

ACCEPTABLE: Final = ("unusual", "gap", "falling")
"""Codes of faults that ``accept_unusual`` with a reason may set aside."""
MOST_FAULTS: Final = 100
_UNCHECKED: Final = Source("unchecked", "a book that is not on record yet", "site_chart")
Row = Mapping[str, Any]


def refuse_chart(kind: str, document: Mapping[str, Any]) -> None:
    """Refuse a chart of which a row may not stand.

    Raises
    ------
    CannotEvaluate
        ``chart_refused``, with every fault and its row.
    """
    faults = chart_faults(kind, document)
    if faults:
        raise _refused("chart_refused", faults)


def chart_faults(kind: str, document: Mapping[str, Any]) -> list[RowFault]:
    """Return every fault of a chart in the order of its rows; row 0 is the chart as a whole."""
    if kind in charts.KINDS:
        if document["bore_form"] != "tapered" and kind != charts.INITIAL_CLEARANCE:
            return [RowFault(0, "not_tapered", f"a chart of {kind} is for tapered bores")]
        found = list(charts.chart_faults(chart_of(kind, document)))
    else:
        of_row = torque_faults if kind == CAP_BOLT_TORQUE else housing_faults
        key = _housing_key if kind == CAP_BOLT_TORQUE else _name
        rows = document["rows"]
        found = [fault for number, row in enumerate(rows, start=1) for fault in of_row(number, row)]
        found += _repeated([key(row) for row in rows])
    return sorted(found, key=lambda fault: fault.row)


def refuse_housing(document: Mapping[str, Any]) -> None:
    """Refuse a housing that cannot be, or that is unusual and not accepted.

    Raises
    ------
    CannotEvaluate
        ``housing_refused``, with every fault.
    """
    faults = list(housing_faults(0, document))
    if faults:
        raise _refused("housing_refused", faults)


def with_accepted(kind: str, document: Mapping[str, Any], reason: str) -> dict[str, Any]:
    """Return the chart with each row accepted, for one reason, that is unusual and could not stand without."""
    unusual = {fault.row for fault in chart_faults(kind, document) if fault.code in ACCEPTABLE}
    rows = [
        {**row, "accept_unusual": True, "reason": reason} if number in unusual else row
        for number, row in enumerate(document["rows"], start=1)
    ]
    return {**document, "rows": rows}


def _refused(code: str, faults: Sequence[RowFault]) -> CannotEvaluate:
    first = faults[0]
    place = f"row {first.row}: " if first.row else ""
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    listed = [
        {"pointer": f"#/rows/{fault.row - 1}" if fault.row else "#", "code": fault.code, "detail": fault.detail}
        for fault in faults[:MOST_FAULTS]
    ]
    return CannotEvaluate(f"{place}{first.detail}{more}", code=code, faults=listed, fault_count=len(faults))


def torque_faults(number: int, row: Row) -> Iterator[RowFault]:
    """Yield what is wrong with a row of cap torques."""
    yield from _reason_fault(number, row)
    yield from _bolt_faults(number, row.get("bolt"))
    housing, torque_n_m = row["housing"], row["torque"].value
    if "size" not in housing:
        return
    try:
        known = housing_from_size(**housing)
    except ServiceError as error:
        yield RowFault(number, error.code, str(error))
        return
    printed = [
        one.torque_n_m for seat in known.candidates for one in seat.cap_bolts.printed if one.torque_n_m is not None
    ]
    ratios = [torque_n_m / each for each in printed]
    if row.get("accept_unusual") or not ratios or any(_usual(ratio) for ratio in ratios):
        return
    nearest = min(ratios, key=lambda ratio: max(ratio, 1 / ratio))
    yield RowFault(
        number,
        "unusual",
        f"the torque is {nearest:.3g} times the nearest one in print for this housing; check the unit and the decimal "
        "point, or send accept_unusual with a reason",
    )


def housing_faults(number: int, row: Row) -> Iterator[RowFault]:
    """Yield what is wrong with a housing; its seat is compared with those of the same bore in the tables."""
    yield from _reason_fault(number, row)
    faults = list(_bolt_faults(number, row.get("cap_bolts")))
    yield from faults
    if faults:
        return
    try:
        housing = housing_of_row({"name": "", **row}, _UNCHECKED)
    except ServiceError as error:
        yield RowFault(number, error.code, str(error))
        return
    width_mm, rings = row["seat_width"].value, housing.rings_given
    if rings is not None and rings.width_mm is not None and rings.count * rings.width_mm >= width_mm:
        yield RowFault(number, "rings_too_wide", "the locating rings leave no room for a bearing in the seat")
    widths_mm = _seat_widths_mm(row["seat_bore"].value)
    if widths_mm and not row.get("accept_unusual") and not any(_usual(width_mm / each) for each in widths_mm):
        listed = ", ".join(f"{each:g} mm" for each in sorted(widths_mm))
        yield RowFault(
            number,
            "unusual",
            f"the seat is {width_mm:g} mm wide; seats of this bore in the built-in tables are {listed} wide: check the "
            "unit and the decimal point, or send accept_unusual with a reason",
        )


def _seat_widths_mm(seat_bore_mm: float) -> set[float]:
    return {
        seat.seat_width_mm
        for dimensions in UNIT_SYSTEMS
        for seats in housing_tables.seats(dimensions).values()
        for seat in seats
        if abs(seat.seat_bore_mm - seat_bore_mm) <= SAME_MM
    }


def _usual(ratio: float) -> bool:
    return 1 / MOST_DIFFERENT <= ratio <= MOST_DIFFERENT


def _reason_fault(number: int, row: Row) -> Iterator[RowFault]:
    if row.get("accept_unusual") and not row.get("reason"):
        yield RowFault(number, "no_reason", "accept_unusual needs a reason")


def _bolt_faults(number: int, bolt: Row | None) -> Iterator[RowFault]:
    """Yield a thread or grade that no calculation could go by."""
    if bolt is None:
        return
    try:
        fitted_bolts(bolt, "bolt")
    except ServiceError as error:
        yield RowFault(number, error.code, str(error))


def _housing_key(row: Row) -> tuple[Any, ...]:
    housing = row["housing"]
    return tuple(housing.get(member) for member in ("name", "size", "dimensions", "seat_design"))


def _name(row: Row) -> tuple[Any, ...]:
    return (row["name"],)


def _repeated(keys: Sequence[tuple[Any, ...]]) -> Iterator[RowFault]:
    """Yield the rows that stand for a housing of an earlier row."""
    first: dict[tuple[Any, ...], int] = {}
    for number, key in enumerate(keys, start=1):
        if key in first:
            yield RowFault(number, "overlap", f"stands for the same housing as row {first[key]}")
        first.setdefault(key, number)
