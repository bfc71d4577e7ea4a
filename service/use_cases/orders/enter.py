"""What is entered in an open order: readings with their verdicts, and deviations; one transaction each."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from service import ENGINE_VERSION
from service.errors import CannotEvaluate, Conflict, ServiceError
from service.instructions.closing import READ_NEVER_CONFIRMED
from service.instructions.plan.inputs import (
    with_measured,
    with_refitted,
    with_seats,
    without_readings,
)
from service.instructions.readings.corrections import effective, effective_before, taken_back_by
from service.instructions.readings.entries import DEVIATION, Entry
from service.instructions.readings.hold_points import entry_of, needed_kinds, verdict_in_sequence
from service.instructions.readings.messages import message
from service.instructions.readings.persons import same_person
from service.instructions.readings.placing import free_of
from service.instructions.readings.readings import ANSWERS, Reading, measured_of, step_of, verdict_of
from service.instructions.readings.run_in import Pair
from service.mounting.blades import blade_set_of
from service.mounting.readings import ACCEPT, RECHECK, Verdict
from service.store.queries import entries, work_orders
from service.store.queries.entries import DeviationRow, ReadingRow
from service.store.queries.events import reading_senders
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import HeldOrder, books_of_revision, entry_of_row, values_of
from service.use_cases.orders.readiness import check_released
from service.use_cases.orders.revise import issue_revision, renew_revision

_NOTHING: Final[tuple[Event, ...]] = ()
_NOT_JUDGED: Final = Verdict(RECHECK, None, (), None, "", "")
_KEPT: Final = ("method", "instrument", "refitted", "explanation", "watchers", "reason", "note", "sent_as")
"""What is kept of a reading as it was sent, besides its columns and values."""


def enter_reading(
    tx: Tx, at: HeldOrder, given: Mapping[str, Any], *, lead: bool = False
) -> tuple[HeldOrder, ReadingRow, tuple[Event, ...]]:
    """Store one reading with its verdict, and the revision that it makes.

    An accepted initial clearance or seat spacing makes one, so does taking one of them back.

    Parameters
    ----------
    lead : bool
        Whoever sends it may approve deviations, and so take back what another person read, [-]

    Raises
    ------
    CannotEvaluate
        The order has no such revision, position or step, or the values do not make one reading; what is taken back
        is none of this order (``unknown_reading``), or of somebody else (``not_its_reader``).
    Conflict
        ``already_replaced``: the reading was taken back before; ``not_released``: work is begun with a try-start on
        an order that its site wants released first; ``too_many_entries``, ``too_many_revisions``.
    """
    at.check_room()
    at, renewed = renew_revision(tx, at)
    if given["kind"] == "try_start":
        check_released(tx, at)
    given = _as_ordered(at, given)
    reading = reading_of(given)
    judging = at.revision if "revision" not in given else _revision_named(tx, at.order, given["revision"])
    _refuse_a_tick_for_an_answer(reading, judging.record)
    old = _taken_back(at, given)
    asked = _entry(reading, _NOT_JUDGED, judging, given)
    counting = effective_before(at.entries, asked, at.blade_set)
    fixed = None if old is None else taken_back_by(
        old, kind=reading.kind, position=reading.position, person=reading.person, reason=given["reason"], lead=lead
    )  # fmt: skip
    found = fixed or _judged(tx, reading, judging, counting)
    entry = _entry(reading, found, judging, given)
    after, events = _revised(tx, at, reading, entry, given)
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
        replaces=given.get("replaces"),
    )
    data = {"reading": row.id, "kind": row.kind, "position": row.position, "verdict": row.verdict, "code": row.code}
    data |= {} if row.replaces is None else {"replaces": row.replaces, "reason": given["reason"]}
    event = Event("reading.recorded", "work_order", at.order.id, None, None, data)
    return HeldOrder(at.order, after, (*at.entries, entry_of_row(row))), row, (event, *renewed, *events)


def _as_ordered(at: HeldOrder, given: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the reading; the initial clearance of a bearing that is ordered to go back in is that of a used one."""
    ordered = given.get("position") in (at.revision.inputs.get("refit_ordered") or ())
    if given["kind"] != "initial_clearance" or not ordered or "refitted" in given:
        return given
    return {**given, "refitted": True}


def _judged(tx: Tx, reading: Reading, judging: RevisionRow, counting: Sequence[Entry]) -> Verdict:
    charts = books_of_revision(tx, judging).charts if reading.kind in READ_NEVER_CONFIRMED else ()
    blade_set = blade_set_of(judging.inputs["blade_set"])
    found = verdict_of(reading, judging.record, blade_set=blade_set, charts=charts, earlier=counting)
    return verdict_in_sequence(found, reading, judging.number, counting)


def _entry(reading: Reading, found: Verdict, judging: RevisionRow, given: Mapping[str, Any]) -> Entry:
    return entry_of(
        reading,
        found,
        revision=judging.number,
        person=reading.person,
        plan=judging.record,
        replaces=given.get("replaces"),
    )


def _refuse_a_tick_for_an_answer(reading: Reading, plan: Mapping[str, Any]) -> None:
    """Refuse a tick where a word is asked for: a question is closed by its answer only."""
    if reading.kind != "confirmation":
        return
    step = step_of(plan, reading.step or "", reading.position)
    if step["hold"] is None and (step["record"] or {}).get("kind") in ANSWERS:
        raise CannotEvaluate(message("answer_missing"), code="answer_missing", field="values")


def _taken_back(at: HeldOrder, given: Mapping[str, Any]) -> Entry | None:
    """Return the reading that this one takes back."""
    named = given.get("replaces")
    if named is None:
        return None
    old = next((each for each in at.entries if each.id == named and each.kind != DEVIATION), None)
    if old is None:
        said = "name a reading of this order, by its id"
        raise CannotEvaluate(said, code="unknown_reading", field="replaces")
    if all(each.id != named for each in at.counting):
        said = "this reading was taken back before; name the one that stands in its place"
        raise Conflict(said, code="already_replaced", field="replaces")
    return old


def _revised(
    tx: Tx, at: HeldOrder, reading: Reading, entry: Entry, given: Mapping[str, Any]
) -> tuple[RevisionRow, tuple[Event, ...]]:
    """Return the revision in force after a reading, and the event of the one that it makes."""
    if entry.replaces is not None:
        inputs = _inputs_without(tx, at, reading, entry, given)
    elif entry.verdict == ACCEPT:
        inputs = inputs_with(at.revision.inputs, reading.kind, reading.position, given, at.revision.record)
    else:
        return at.revision, _NOTHING
    measured = reading.kind == "initial_clearance" and entry.verdict == ACCEPT
    if inputs == at.revision.inputs and not measured:
        return at.revision, _NOTHING
    return issue_revision(tx, at, inputs)


def _inputs_without(
    tx: Tx, at: HeldOrder, reading: Reading, entry: Entry, given: Mapping[str, Any]
) -> Mapping[str, Any]:
    """Return the inputs as the readings make them that count once one was taken back."""
    documents = {row.id: row.document for row in entries.readings_of(tx, at.order.id)}
    inputs: Mapping[str, Any] = without_readings(at.revision.inputs)
    for each in effective([*at.entries, entry], at.blade_set):
        document = given if each is entry else documents.get(each.id)
        if document is not None and each.verdict == ACCEPT:
            inputs = inputs_with(inputs, each.kind, each.position, document, at.revision.record)
    return inputs


def inputs_with(
    inputs: Mapping[str, Any],
    kind: str,
    position: str | None,
    document: Mapping[str, Any],
    plan: Mapping[str, Any],
) -> Mapping[str, Any]:
    """Return the inputs with what an accepted reading tells the plan; the same inputs where it tells it nothing."""
    if kind == "initial_clearance" and position is not None:
        inputs = with_measured(inputs, position, measured_of(values_of(document)))
        return with_refitted(inputs, position, refitted=bool(document.get("refitted")))
    if kind == "seat_spacing":
        free = free_of(plan, position)
        return inputs if free is None else with_seats(inputs, free["position"], _mean_mm(document))
    return inputs


def _mean_mm(document: Mapping[str, Any]) -> float:
    numbers = [float(each["value"].value) for each in document["values"]]
    return round(sum(numbers) / len(numbers), 6)


def enter_readings(
    tx: Tx, at: HeldOrder, given: Sequence[Mapping[str, Any]], *, lead: bool = False
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
            at, row, made = enter_reading(tx, at, one, lead=lead)
        except ServiceError as error:
            raise error.below(f"readings/{number}") from None
        rows.append(row)
        events += made
    return at, rows, tuple(events)


def reading_of(given: Mapping[str, Any]) -> Reading:
    """Return the reading that a loaded request describes."""
    return Reading(
        kind=given["kind"],
        values=values_of(given),
        series=tuple(Pair(each["minute"], each["temperature"].value) for each in given.get("series", ())),
        position=given.get("position"),
        step=given.get("step"),
        method=given.get("method"),
        person=given["taken_by"],
        reason=given.get("explanation"),
        refitted=bool(given.get("refitted")),
        watched=tuple(each["position"] for each in given.get("watchers", ())),
    )


def _revision_named(tx: Tx, order: WorkOrderRow, number: int) -> RevisionRow:
    found = work_orders.revision(tx, order.id, number)
    if found is None:
        said = f"the order has no revision {number}; the latest is {order.revision}"
        raise CannotEvaluate(said, code="unknown_revision", field="revision")
    if found.engine_version != ENGINE_VERSION:
        said = f"revision {number} was made by an older engine; take the card of the latest revision"
        raise CannotEvaluate(said, code="unknown_revision", field="revision")
    return found


def _document(given: Mapping[str, Any], found: Verdict) -> dict[str, Any]:
    """Return what is kept of a reading besides its columns."""
    sent = {name: given[name] for name in _KEPT if name in given}
    said: dict[str, Any] = {"detail": found.detail, "next": found.next}
    if found.fits:
        said["fits"] = list(found.fits)
    if found.fits_class is not None:
        said["fits_class"] = found.fits_class
    for several in ("values", "series"):
        if several in given:
            sent[several] = [dict(each) for each in given[several]]
    return {**sent, **said}


def approve_deviation(
    tx: Tx, at: HeldOrder, given: Mapping[str, Any], *, approver: str | None = None
) -> tuple[HeldOrder, DeviationRow, tuple[Event, ...]]:
    """Store a deviation from a step, approved by another person than those who did the work of it.

    Parameters
    ----------
    approver : str or None
        The key or the person that sends it, where that must be another than the one that sent the readings of the
        step, or any reading of the order where the step has none

    Raises
    ------
    CannotEvaluate
        ``unknown_step``, ``position_required``; ``same_person``: who approves did the work; ``same_key``.
    Conflict
        ``too_many_entries``
    """
    at.check_room()
    at, renewed = renew_revision(tx, at)
    step, position = _step_named(at.revision.record, given)
    kinds = {kind for group in needed_kinds(step, position, at.revision.record) for kind in group}
    own = [each for each in at.entries if each.kind != DEVIATION and _belongs(each, step, position, kinds)]
    doing = [each.person for each in own]
    doing += [given["taken_by"]] if "taken_by" in given else []
    if any(same_person(given["approved_by"], person) for person in doing):
        said = f"{given['approved_by']} did the work of this step; a deviation is approved by another person"
        raise CannotEvaluate(said, code="same_person", field="approved_by")
    if approver is not None:
        _check_another_key(tx, at, own, approver)
    row = entries.insert_deviation(
        tx,
        work_order_id=at.order.id,
        entry=at.next_entry,
        step=step["id"],
        position=position,
        revision=at.revision.number,
        reason=given["reason"],
        approved_by=given["approved_by"],
        taken_by=given.get("taken_by"),
    )
    data = {"deviation": row.id, "step": row.step, "position": row.position, "approved_by": row.approved_by}
    event = Event("deviation.approved", "work_order", at.order.id, None, None, data)
    return HeldOrder(at.order, at.revision, (*at.entries, entry_of_row(row))), row, (event, *renewed)


def _check_another_key(tx: Tx, at: HeldOrder, own: Sequence[Entry], approver: str) -> None:
    """Refuse a deviation that comes with the key or the person that sent the readings that it is about."""
    senders = reading_senders(tx, at.order.id)
    about = [each for each in own or at.entries if each.kind != DEVIATION]
    if any(senders.get(each.id) in (None, approver) for each in about):
        said = "a reading that this is about came with the same key; send the deviation with another one"
        raise CannotEvaluate(said, code="same_key")


def _step_named(record: Mapping[str, Any], given: Mapping[str, Any]) -> tuple[Mapping[str, Any], str | None]:
    """Return the step of the latest revision that a number or an id names, and the position it is meant at.

    Raises
    ------
    CannotEvaluate
        ``unknown_step``; ``position_required`` where the step is done at several positions and none is named.
    """
    position = given.get("position")
    if isinstance(given["step"], str):
        step = step_of(record, given["step"], position)
    else:
        found = [each for each in record["steps"] if each["number"] == given["step"]]
        if not found:
            raise CannotEvaluate(f"there is no step {given['step']}", code="unknown_step", field="step")
        step = found[0]
        if position is not None and position not in step["positions"]:
            said = f"step {step['number']} is done at {', '.join(step['positions']) or 'the whole order'}"
            raise CannotEvaluate(said, code="unknown_step", field="position")
    places = step["positions"]
    if position is None and len(places) > 1:
        said = f"step {step['id']} is done at {', '.join(places)}; name one"
        raise CannotEvaluate(said, code="position_required", field="position")
    return step, places[0] if len(places) == 1 else position if places else None


def _belongs(entry: Entry, step: Mapping[str, Any], position: str | None, kinds: Collection[str]) -> bool:
    """Return whether an entry is about a step: it names it, or is of a kind that closes it, at its position."""
    here = position in (None, entry.position)
    return here and (entry.step == step["id"] or (entry.kind in kinds and entry.kind != "confirmation"))
