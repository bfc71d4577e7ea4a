"""Which bearings a wrong row of a book has mounted: each held against the corrected row (rules C3, C4, C7, B1).

The corrected rows are a book that goes before every other. The instructions of a bearing are computed again with it,
from the inputs they were made from; what was measured then is held against the limits that come out.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Any, Final

from service.bolting.readings import ACCEPTED
from service.errors import ServiceError, Text
from service.instructions.books.books import CAP_BOLT_TORQUE, CHART, HOUSING, Book, SiteBooks, book_of, site_books
from service.instructions.books.checks import refuse_chart
from service.instructions.plan.calculations import bolting_record, target_record
from service.instructions.plan.inputs import Inputs, job_of_inputs
from service.instructions.plan.job import Job, PositionFacts
from service.instructions.readings.readings import Value, measured_of
from service.mounting.charts import AXIAL_DISPLACEMENT, INITIAL_CLEARANCE, NUT_TURN, REDUCTION
from service.units import Quantity

CORRECTED_ID: Final = "recall"
"""Id of the corrected book; it sorts after every identifier, so that it goes before every book of the site."""
OUTSIDE: Final = "outside"
INSIDE: Final = "inside"
NOT_KNOWN: Final = "not_known"
NOT_COMPARED: Final = "not_compared"
VERDICTS: Final = (OUTSIDE, INSIDE, NOT_KNOWN, NOT_COMPARED)
_PROVENANCE: Final = dict.fromkeys(("edition", "page", "entered_by", "checked_by"), "") | {"title": "corrected rows"}

Readings = Mapping[str, Sequence[Mapping[str, Any]]]
"""Accepted readings of a position by kind: their values {value, row?, point?}."""
Limits = tuple[Quantity, Quantity]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One bearing held against corrected limits.

    Parameters
    ----------
    verdict : str
        ``outside``, ``inside``, or ``not_known`` where something is not on record
    read : tuple of Quantity
        What was read when it was mounted, smallest and largest
    outside_by : Quantity or None
        How far outside; None where nothing at all is allowed any more, and where it is not outside
    """

    verdict: str
    detail: Text
    reading: str | None = None
    read: tuple[Quantity, ...] = ()
    limits: Limits | None = None
    outside_by: Quantity | None = None

    @property
    def rank(self) -> tuple[int, float]:
        """Return what to sort by: outside first, the farthest first; then what is not known."""
        by = inf if self.outside_by is None else self.outside_by.value
        return (_RANKED.index(self.verdict), -by)


def corrected_book(kind: str, document: Mapping[str, Any]) -> Book:
    """Return corrected rows {bearing_type?, bore_form?, rows} of a kind of chart as a book.

    Raises
    ------
    CannotEvaluate
        ``chart_refused``: a row may not stand, as in a chart.
    """
    said = {**document, "provenance": _PROVENANCE}
    refuse_chart(kind, said)
    return book_of(table=CHART, id=CORRECTED_ID, kind=kind, name="corrected rows", version=1, document=said)


def of_floor_alone(corrected: Book, plan: Mapping[str, Any], position: str) -> Book:
    """Return the corrected book for a bearing that took only its floor from it: the reduction stays its own."""
    limits = next(each["reduction"] for each in plan["targets"] if each["position"] == position)
    own = {"min_value": limits["min"].value, "max_value": limits["max"].value}
    charts = [replace(chart, rows=tuple(replace(row, **own) for row in chart.rows)) for chart in corrected.charts]
    return replace(corrected, charts=tuple(charts))


def members_used(plan: Mapping[str, Any], position: str, source_id: str) -> list[str]:
    """Return the members of a plan's target and cap torque of a position whose numbers come from a source."""
    target = next((each for each in plan["targets"] if each["position"] == position), None)
    found = []
    for member, named in (*_SOURCES, ("residual_clearance", "floor_source")):
        limits = None if target is None else target[member]
        if limits is not None and limits.get(named) == source_id and member not in found:
            found.append(member)
    if not found and target is not None and _names(target, source_id):
        found.append("target")
    bolting = next((each for each in plan["bolting"] if each["position"] == position), None)
    if bolting is not None and _names(bolting, source_id):
        found.append("cap_bolt_torque")
    return found


def bore_mm(plan: Mapping[str, Any], position: str) -> float | None:
    """Return the bore of the bearing that a plan mounts in a position, [mm]; None where it is not known."""
    bearings = [each["bearing"] for each in plan["targets"] if each["position"] == position]
    return float(bearings[0]["bore"].value) if bearings and bearings[0] is not None else None


def compared(
    inputs: Inputs, *, books: SiteBooks, corrected: Book, position: str, readings: Readings
) -> Compared | None:
    """Return a bearing held against corrected rows; None where they do not cover it.

    Parameters
    ----------
    inputs : dict
        What its instructions were made from
    books : SiteBooks
        The books of the site that they were made with
    position : str
        Its position, by the name that the inputs have
    """
    try:
        job = job_of_inputs(inputs, books=site_books((*books.books, corrected)))
        facts = next(each for each in job.positions if each.name == position)
        return _COMPARED[corrected.kind](job, facts, readings, corrected.source_id)
    except ServiceError as error:
        return Compared(verdict=NOT_KNOWN, detail=("it cannot be computed again: ", *_words(error.detail)))


def _clearances(job: Job, facts: PositionFacts, readings: Readings, source_id: str) -> Compared | None:
    target = target_record(job, facts)
    if not _names(target, source_id):
        return None
    initial, measured, window = (target[m] for m in ("initial_clearance", "measured", "residual_clearance"))
    if measured is not None and measured["verdict"] != "accept":
        rows_nm = job.measured[facts.name].row_values_nm
        read = [Quantity("clearance", value_nm) for value_nm in rows_nm]
        found = _against("initial clearance", read, (initial["min"], initial["max"]))
        return found if found.verdict == OUTSIDE else _unclear(measured["verdict"])
    if window is None:
        blocked = [each["detail"] for each in target["blocked"] if each["code"] == "class_too_tight"]
        if blocked:
            return Compared(verdict=OUTSIDE, detail=blocked[0])
        return Compared(verdict=NOT_KNOWN, detail="no rule gives a residual window for this bearing")
    values = readings.get("residual_clearance")
    if values is None:
        return _not_read("residual clearance")
    rows_nm = measured_of([_value(each) for each in values]).row_values_nm
    read = [Quantity("clearance", value_nm) for value_nm in rows_nm]
    found = _against("residual clearance", read, (window["min"], window["max"]))
    if window["provisional"] and found.verdict == INSIDE:
        return Compared(
            verdict=NOT_KNOWN,
            detail="the initial clearance is not on record, so that only the outer limits of the window are known",
            reading=found.reading,
            read=found.read,
            limits=found.limits,
        )
    return found


def _on_the_taper(member: str) -> "Comparison":
    """Return the comparison of an axial displacement or a nut turn."""

    def _compared(job: Job, facts: PositionFacts, readings: Readings, source_id: str) -> Compared | None:
        target = target_record(job, facts)
        limits = target[member]
        if limits is None or not _names(target, source_id):
            return None
        words = member.replace("_", " ")
        if member not in readings:
            return _not_read(words)
        return _against(words, [each["value"] for each in readings[member]], (limits["min"], limits["max"]))

    return _compared


def _torque(job: Job, facts: PositionFacts, readings: Readings, source_id: str) -> Compared | None:
    record = bolting_record(job, facts)
    if record["torque"] is None or not _names(record, source_id):
        return None
    if "cap_bolt_torque" not in readings:
        return _not_read("cap bolt torque")
    asked = record["torque"].value
    limits = (Quantity("torque", asked * (1 - ACCEPTED)), Quantity("torque", asked * (1 + ACCEPTED)))
    return _against("cap bolt torque", [each["value"] for each in readings["cap_bolt_torque"]], limits)


def _housing(job: Job, facts: PositionFacts, readings: Readings, source_id: str) -> Compared | None:
    if facts.housing is None or all(source.id != source_id for source in facts.housing.sources):
        return None
    said = "seat and rings are not held against what was read: compare the arrangement of this shaft with its record"
    return _torque(job, facts, readings, source_id) or Compared(verdict=NOT_KNOWN, detail=said)


def _against(words: str, read: Sequence[Quantity], limits: Limits) -> Compared:
    """Return what was read, the smallest and the largest of it, held against limits; they count as inside."""
    low, high = min(read, key=_number), max(read, key=_number)
    least, most = limits
    below, above = least.value - low.value, high.value - most.value
    worst, limit, by, side = (low, least, below, "below") if below >= above else (high, most, above, "above")
    shown = tuple(dict.fromkeys((low, high)))
    if by <= 0:
        said: Text = (f"the {words} lies between ", least, " and ", most)
        return Compared(verdict=INSIDE, detail=said, reading=words, read=shown, limits=limits)
    outside_by = Quantity(worst.kind, by)
    said = (f"the {words} was ", worst, ", ", outside_by, f" {side} the corrected limit of ", limit)
    return Compared(verdict=OUTSIDE, detail=said, reading=words, read=shown, limits=limits, outside_by=outside_by)


def _not_read(words: str) -> Compared:
    return Compared(verdict=NOT_KNOWN, detail=f"no {words} is on record that was accepted")


def _unclear(verdict: str) -> Compared:
    said = f"the initial clearance counts as {verdict} by the corrected range: it was too close to its limit"
    return Compared(verdict=NOT_KNOWN, detail=said)


def _names(record: Mapping[str, Any], source_id: str) -> bool:
    return any(source["id"] == source_id for source in record["sources"])


def _value(each: Mapping[str, Any]) -> Value:
    return Value(quantity=each["value"], row=each.get("row"), point=each.get("point"))


def _number(quantity: Quantity) -> float:
    return quantity.value


def _words(text: Text) -> tuple[str | Quantity, ...]:
    return (text,) if isinstance(text, str) else text


Comparison = Callable[[Job, PositionFacts, Readings, str], Compared | None]
_RANKED: Final = (OUTSIDE, NOT_KNOWN, INSIDE)
_SOURCES: Final = tuple(
    (member, "source") for member in ("initial_clearance", "reduction", "residual_clearance", "axial_displacement")
)
_COMPARED: Final[Mapping[str, Comparison]] = {
    REDUCTION: _clearances,
    INITIAL_CLEARANCE: _clearances,
    AXIAL_DISPLACEMENT: _on_the_taper("axial_displacement"),
    NUT_TURN: _on_the_taper("nut_turn"),
    CAP_BOLT_TORQUE: _torque,
    HOUSING: _housing,
}
