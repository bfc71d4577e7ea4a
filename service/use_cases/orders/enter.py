"""What is entered in an open order: readings with their verdicts, what was found, deviations; one transaction each."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

from service import ENGINE_VERSION
from service.errors import CannotEvaluate, ServiceError
from service.instructions.closing import READ_NEVER_CONFIRMED
from service.instructions.plan.inputs import job_of_inputs, with_as_found, with_measured
from service.instructions.plan.plan import plan
from service.instructions.readings.hold_points import (
    DEVIATION,
    Entry,
    entry_of,
    same_person,
    verdict_in_sequence,
)
from service.instructions.readings.readings import (
    Reading,
    Value,
    measured_of,
    step_of,
    verdict_of,
)
from service.moments import in_document
from service.mounting.blades import blade_set_of
from service.mounting.readings import ACCEPT, Verdict
from service.reference.tables import DATA_VERSION
from service.store.queries import books, entries, work_orders
from service.store.queries.entries import AsFoundRow, DeviationRow, ReadingRow
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import HeldOrder, books_of_revision, entry_of_row

_NOTHING: Final[tuple[Event, ...]] = ()


def enter_reading(tx: Tx, at: HeldOrder, given: Mapping[str, Any]) -> tuple[HeldOrder, ReadingRow, tuple[Event, ...]]:
    """Store one reading with its verdict, and the revision that an accepted initial clearance makes.

    Raises
    ------
    CannotEvaluate
        The order has no such revision, position or step, or the values do not make one reading.
    """
    reading = reading_of(given)
    judging = at.revision if "revision" not in given else _revision_named(tx, at.order, given["revision"])
    charts = books_of_revision(tx, judging).charts if reading.kind in READ_NEVER_CONFIRMED else ()
    found = verdict_of(reading, judging.record, blade_set=blade_set_of(judging.inputs["blade_set"]), charts=charts)
    found = verdict_in_sequence(found, reading, judging.number, at.entries)
    entry = entry_of(reading, found, revision=judging.number, person=given["taken_by"], plan=judging.record)
    after, events = at.revision, _NOTHING
    if reading.kind == "initial_clearance" and found.verdict == ACCEPT:
        inputs = with_measured(at.revision.inputs, cast(str, reading.position), measured_of(reading.values))
        after, events = issue_revision(tx, at, inputs)
    row = entries.insert_reading(
        tx,
        work_order_id=at.order.id,
        document=_document(given, found),
        entry=at.next_entry,
        kind=reading.kind,
        position=entry.position,
        step=reading.step,
        revision=judging.number,
        made_revision=None if after is at.revision else after.number,
        verdict=found.verdict,
        code=found.code,
        taken_at=given["taken_at"],
        taken_by=given["taken_by"],
    )
    data = {"reading": row.id, "kind": row.kind, "position": row.position, "verdict": row.verdict, "code": row.code}
    event = Event("reading.recorded", "work_order", at.order.id, None, None, data)
    return HeldOrder(at.order, after, (*at.entries, entry_of_row(row))), row, (event, *events)


def enter_readings(
    tx: Tx, at: HeldOrder, given: Sequence[Mapping[str, Any]]
) -> tuple[HeldOrder, list[ReadingRow], tuple[Event, ...]]:
    """Store readings one after the other; what is refused names the reading it is in.

    Raises
    ------
    CannotEvaluate
        As ``enter_reading``; then nothing is stored.
    """
    rows: list[ReadingRow] = []
    events: list[Event] = []
    for number, one in enumerate(given):
        try:
            at, row, made = enter_reading(tx, at, one)
        except ServiceError as error:
            raise error.below(f"readings/{number}") from None
        rows.append(row)
        events += made
    return at, rows, tuple(events)


def reading_of(given: Mapping[str, Any]) -> Reading:
    """Return the reading that a loaded request describes."""
    values = [
        Value(
            quantity=None if given["kind"] == "confirmation" else each["value"],
            row=each.get("row"),
            point=each.get("point"),
            repeat=each.get("repeat"),
        )
        for each in given["values"]
    ]
    return Reading(
        kind=given["kind"],
        values=tuple(values),
        position=given.get("position"),
        step=given.get("step"),
        method=given.get("method"),
        stop_limit=given.get("stop_limit"),
    )


def _revision_named(tx: Tx, order: WorkOrderRow, number: int) -> RevisionRow:
    found = work_orders.revision(tx, order.id, number)
    if found is None:
        said = f"the order has no revision {number}; the latest is {order.revision}"
        raise CannotEvaluate(said, code="unknown_revision", field="revision")
    return found


def _document(given: Mapping[str, Any], found: Verdict) -> dict[str, Any]:
    """Return what is kept of a reading besides its columns."""
    sent = {name: given[name] for name in ("method", "instrument", "stop_limit") if name in given}
    said: dict[str, Any] = {"detail": found.detail, "next": found.next}
    if found.fits:
        said["fits"] = list(found.fits)
    if found.fits_class is not None:
        said["fits_class"] = found.fits_class
    return {**sent, "values": [dict(each) for each in given["values"]], **said}


def issue_revision(tx: Tx, at: HeldOrder, inputs: dict[str, Any]) -> tuple[RevisionRow, tuple[Event, ...]]:
    """Store the next revision of the instructions, made from these inputs and the site's books now in force.

    A chart corrected since the last revision must reach the mechanic while the nut can still be turned; the event
    names the books that changed.
    """
    in_force = books.books_in_force(tx)
    record = plan(job_of_inputs(inputs, books=in_force))
    references = in_force.references(record["sources"])
    made = work_orders.insert_revision(
        tx,
        work_order_id=at.order.id,
        number=at.revision.number + 1,
        supersedes=at.revision.number,
        data_version=DATA_VERSION,
        engine_version=ENGINE_VERSION,
        inputs={**inputs, "books": references},
        record=record,
    )
    data = {
        "revision": made.number,
        "supersedes": at.revision.number,
        "books_changed": _changed(at, references),
        "blocked": [each["code"] for each in record["blocked"]],
    }
    event = Event("instructions.revised", "work_order", at.order.id, at.revision.sha256, made.sha256, data)
    return made, (event,)


def _changed(at: HeldOrder, references: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return name and version of the books that the revision before did not have."""
    before = {reference["id"] for reference in at.revision.inputs.get("books", ())}
    return [{"name": r["name"], "version": r["version"]} for r in references if r["id"] not in before]


def enter_as_found(tx: Tx, at: HeldOrder, given: Mapping[str, Any]) -> tuple[HeldOrder, AsFoundRow, tuple[Event, ...]]:
    """Store what was found at a position, and the revision it makes when it overrides the record (rule A5).

    Raises
    ------
    CannotEvaluate
        ``unknown_position``
    """
    position = given["position"]
    known = [each["position"] for each in at.revision.record["bolting"]]
    if position not in known:
        said = f"{position!r} is not a position of this shaft; known are {', '.join(known)}"
        raise CannotEvaluate(said, code="unknown_position", field="position")
    inputs = with_as_found(at.revision.inputs, position, given)
    after, events = (at.revision, _NOTHING) if inputs == at.revision.inputs else issue_revision(tx, at, inputs)
    row = entries.insert_as_found(
        tx,
        work_order_id=at.order.id,
        position=position,
        made_revision=None if after is at.revision else after.number,
        document={name: in_document(value) for name, value in given.items() if name != "position"},
    )
    event = Event("as_found.recorded", "work_order", at.order.id, None, None, {"position": position, "id": row.id})
    return HeldOrder(at.order, after, at.entries), row, (event, *events)


def approve_deviation(
    tx: Tx, at: HeldOrder, given: Mapping[str, Any]
) -> tuple[HeldOrder, DeviationRow, tuple[Event, ...]]:
    """Store a deviation from a step, approved by another person than those who did the work of it.

    Raises
    ------
    CannotEvaluate
        ``unknown_step``, ``position_required``; ``same_person``: who approves did the work.
    """
    step = _step_named(at.revision.record, given)
    doing = [each.person for each in at.entries if each.kind != DEVIATION and _belongs(each, step)]
    doing += [given["taken_by"]] if "taken_by" in given else []
    if any(same_person(given["approved_by"], person) for person in doing):
        said = f"{given['approved_by']} did the work of this step; a deviation is approved by another person"
        raise CannotEvaluate(said, code="same_person", field="approved_by")
    row = entries.insert_deviation(
        tx,
        work_order_id=at.order.id,
        entry=at.next_entry,
        step=step["id"],
        position=step["position"],
        revision=at.revision.number,
        reason=given["reason"],
        approved_by=given["approved_by"],
        taken_by=given.get("taken_by"),
    )
    data = {"deviation": row.id, "step": row.step, "position": row.position, "approved_by": row.approved_by}
    event = Event("deviation.approved", "work_order", at.order.id, None, None, data)
    return HeldOrder(at.order, at.revision, (*at.entries, entry_of_row(row))), row, (event,)


def _step_named(record: Mapping[str, Any], given: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the step of the latest revision that a number, or an id with its position, names."""
    if isinstance(given["step"], str):
        return step_of(record, given["step"], given.get("position"))
    found = [each for each in record["steps"] if each["number"] == given["step"]]
    if not found:
        raise CannotEvaluate(f"there is no step {given['step']}", code="unknown_step", field="step")
    step: Mapping[str, Any] = found[0]
    if given.get("position", step["position"]) != step["position"]:
        said = f"step {step['number']} is of {step['position'] or 'the whole order'}"
        raise CannotEvaluate(said, code="unknown_step", field="position")
    return step


def _belongs(entry: Entry, step: Mapping[str, Any]) -> bool:
    """Return whether an entry is about a step: it names it, or is a reading of its kind at its position."""
    if entry.step == step["id"]:
        return bool(entry.position == step["position"])
    kind = (step["record"] or {}).get("kind")
    return entry.kind == kind and kind != "confirmation" and step["position"] in (None, entry.position)
