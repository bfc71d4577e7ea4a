"""What is entered in an open order: readings with their verdicts, what was found, deviations; one transaction each."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from service import ENGINE_VERSION
from service.api.http import fields
from service.errors import CannotEvaluate, Conflict, NotFound
from service.instructions.books.books import SiteBooks
from service.instructions.plan.inputs import job_of_inputs, with_as_found, with_measured
from service.instructions.plan.plan import plan
from service.instructions.readings.hold_points import (
    DEVIATION,
    Entry,
    HoldPoint,
    entry_of,
    open_hold_points,
    same_person,
    verdict_in_sequence,
)
from service.instructions.readings.readings import (
    READ_NEVER_CONFIRMED,
    Reading,
    Value,
    measured_of,
    step_of,
    verdict_of,
)
from service.mounting.blades import blade_set_of
from service.mounting.readings import ACCEPT, Verdict
from service.reference.tables import DATA_VERSION
from service.store.queries import books, entries, work_orders
from service.store.queries.entries import AsFoundRow, DeviationRow, ReadingRow
from service.store.queries.work_orders import NOT_OPEN, RevisionRow, WorkOrderRow
from service.store.unit_of_work import Event, Tx

_NOTHING: Final[tuple[Event, ...]] = ()


@dataclass(frozen=True, slots=True)
class Held:
    """An order that this transaction alone writes to: its revision in force and what was entered so far."""

    order: WorkOrderRow
    revision: RevisionRow
    entered: tuple[Entry, ...]

    @property
    def next_entry(self) -> int:
        """Return the number of the entry that comes next."""
        return len(self.entered) + 1

    def hold_points(self, outcomes: Mapping[str, str] | None = None) -> list[HoldPoint]:
        """Return the hold points that are open."""
        return open_hold_points(self.revision.record, self.entered, outcomes)


def held(tx: Tx, order_id: str, *, status: str = "open") -> Held:
    """Return the order, held until the commit.

    Raises
    ------
    NotFound
        The site has no such order.
    Conflict
        The order has another status (``work_order_not_open``, ``work_order_not_completed``).
    """
    if fields.is_identifier(order_id):
        entries.hold_order(tx, order_id)
    order = order_of(tx, order_id)
    if order.status != status:
        code = NOT_OPEN if status == "open" else f"work_order_not_{status}"
        raise Conflict(f"the work order is {order.status}; this is done to one that is {status}", code=code)
    revision = work_orders.revision(tx, order.id)
    if revision is None:
        raise AssertionError("an order is stored with its first revision")
    return Held(order, revision, tuple(entered(tx, order.id)))


def order_of(tx: Tx, order_id: str) -> WorkOrderRow:
    """Return the order.

    Raises
    ------
    NotFound
        The site has no such order.
    """
    order = work_orders.work_order_by_id(tx, order_id) if fields.is_identifier(order_id) else None
    if order is None:
        raise NotFound("no work order of this site has this id")
    return order


def entered(tx: Tx, order_id: str) -> list[Entry]:
    """Return the readings and deviations of an order in the order in which they were entered."""
    rows: list[ReadingRow | DeviationRow] = [*entries.readings_of(tx, order_id), *entries.deviations_of(tx, order_id)]
    return [_entry(row) for row in sorted(rows, key=lambda row: row.entry)]


def _entry(row: ReadingRow | DeviationRow) -> Entry:
    if isinstance(row, DeviationRow):
        return Entry(
            kind=DEVIATION,
            position=row.position,
            step=row.step,
            verdict=ACCEPT,
            code=None,
            revision=row.revision,
            person=row.approved_by,
        )
    return Entry(
        kind=row.kind,
        position=row.position,
        step=row.step,
        verdict=row.verdict,
        code=row.code,
        revision=row.revision,
        person=row.taken_by,
        made_revision=row.made_revision,
    )


def recorded_reading(tx: Tx, at: Held, given: Mapping[str, Any]) -> tuple[Held, ReadingRow, tuple[Event, ...]]:
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
    found = verdict_in_sequence(found, reading, judging.number, at.entered)
    entry = entry_of(reading, found, revision=judging.number, person=given["taken_by"], plan=judging.record)
    after, events = at.revision, _NOTHING
    if reading.kind == "initial_clearance" and found.verdict == ACCEPT:
        inputs = with_measured(at.revision.inputs, cast(str, reading.position), measured_of(reading.values))
        after, events = revised(tx, at, inputs)
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
    return Held(at.order, after, (*at.entered, _entry(row))), row, (event, *events)


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


def books_of_revision(tx: Tx, revision: RevisionRow) -> SiteBooks:
    """Return the site's charts and housings in the versions that a revision was made with."""
    return books.books_of(tx, revision.inputs.get("books", ()))


def revised(tx: Tx, at: Held, inputs: dict[str, Any]) -> tuple[RevisionRow, tuple[Event, ...]]:
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


def _changed(at: Held, references: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return name and version of the books that the revision before did not have."""
    before = {reference["id"] for reference in at.revision.inputs.get("books", ())}
    return [{"name": r["name"], "version": r["version"]} for r in references if r["id"] not in before]


def recorded_as_found(tx: Tx, at: Held, given: Mapping[str, Any]) -> tuple[Held, AsFoundRow, tuple[Event, ...]]:
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
    after, events = (at.revision, _NOTHING) if inputs == at.revision.inputs else revised(tx, at, inputs)
    row = entries.insert_as_found(
        tx,
        work_order_id=at.order.id,
        position=position,
        made_revision=None if after is at.revision else after.number,
        document={name: _kept(value) for name, value in given.items() if name != "position"},
    )
    event = Event("as_found.recorded", "work_order", at.order.id, None, None, {"position": position, "id": row.id})
    return Held(at.order, after, at.entered), row, (event, *events)


def _kept(value: Any) -> Any:
    return fields.rfc3339(value) if hasattr(value, "astimezone") else value


def recorded_deviation(tx: Tx, at: Held, given: Mapping[str, Any]) -> tuple[Held, DeviationRow, tuple[Event, ...]]:
    """Store a deviation from a step, approved by another person than those who did the work of it.

    Raises
    ------
    CannotEvaluate
        ``unknown_step``, ``position_required``; ``same_person``: who approves did the work.
    """
    step = _step_named(at.revision.record, given)
    doing = [each.person for each in at.entered if each.kind != DEVIATION and _belongs(each, step)]
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
    return Held(at.order, at.revision, (*at.entered, _entry(row))), row, (event,)


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
