"""Answering the questions of an order: facts go on record, the instructions are made anew; one transaction."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from service.errors import CannotEvaluate, ServiceError
from service.instructions.answers import Asked, Change, change_of, with_answer, with_facts
from service.instructions.plan.machine import normalised_machine
from service.record import Record
from service.store.queries import assets, books, readiness
from service.store.queries.readiness import AnswerRow
from service.store.queries.work_orders import RevisionRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.register import asset_document, replace_shafts
from service.use_cases.orders.held import HeldOrder
from service.use_cases.orders.revise import issue_revision, renew_revision


def answer_questions(
    tx: Tx, at: HeldOrder, given: list[Mapping[str, Any]]
) -> tuple[HeldOrder, list[AnswerRow], tuple[Event, ...]]:
    """Store answers: facts go to the machine on record, and the instructions are made anew with them.

    Raises
    ------
    CannotEvaluate
        A position, bearing, housing, bolt or chart that is not known; the field leads to it, and nothing is stored.
    Conflict
        ``too_many_entries``, ``too_many_revisions``
    """
    at.check_room(readiness.count_answers(tx, at.order.id) + len(given) - 1)
    at, renewed = renew_revision(tx, at)
    shaft, names = _shaft(at)
    inputs, facts = dict(at.revision.inputs), list[Change]()
    worked = tuple(each["name"] for each in at.order.positions)
    for number, each in enumerate(given):
        try:
            asked = Asked(each["question"], each.get("position"), each["value"], names, worked)
            change = change_of(asked)
            _check_book(tx, asked)
            inputs = with_answer(inputs, shaft, asked, change)
            _check_readable(tx, inputs["asset"])
        except ServiceError as error:
            raise error.below(f"answers/{number}") from None
        facts.append(change)
    after, events = _revised(tx, at, inputs, facts)
    machine = _on_record(tx, at, shaft, facts)
    made = None if after is at.revision else after.number
    rows = [
        readiness.insert_answer(
            tx,
            work_order_id=at.order.id,
            question=each["question"],
            position=each.get("position"),
            value=each["value"],
            answered_by=each["answered_by"],
            source=each.get("source"),
            made_revision=made,
        )
        for each in given
    ]
    told = [Event("readiness.answered", "work_order", at.order.id, None, None, _told(row)) for row in rows]
    return replace(at, revision=after), rows, (*renewed, *told, *machine, *events)


def _told(row: AnswerRow) -> Record:
    return {"question": row.question, "position": row.position, "answered_by": row.answered_by}


def _shaft(at: HeldOrder) -> tuple[str, tuple[str, ...]]:
    """Return the shaft of an order and the names of all its positions."""
    first = at.revision.inputs["positions"][0]["name"]
    for shaft in at.revision.inputs["asset"]["shafts"]:
        names = tuple(each["name"] for each in shaft["positions"])
        if first in names:
            return shaft["name"], names
    raise AssertionError("an order is about positions of its asset")


def _check_book(tx: Tx, asked: Asked) -> None:
    """Refuse a book that is not in force: a number out of it is entered there, with its page and who checked it."""
    if asked.question != "R11":
        return
    name = asked.value["chart"]
    if not books.page_of_books(tx, "chart", name=name, in_force=True, limit=1):
        said = f"no chart of this site is named {name!r}; enter it with POST /v1/charts, then name it here"
        raise CannotEvaluate(said, code="unknown_chart", field="value/chart")


def _check_readable(tx: Tx, asset: Mapping[str, Any]) -> None:
    """Refuse facts that cannot be read: a housing, a bolt, a bearing."""
    try:
        normalised_machine(asset, housings=books.books_in_force(tx).housings)
    except CannotEvaluate as error:
        error.field = "value"
        raise


def _revised(
    tx: Tx, at: HeldOrder, inputs: dict[str, Any], facts: list[Change]
) -> tuple[RevisionRow, tuple[Event, ...]]:
    if inputs == at.revision.inputs and not any(each.books for each in facts):
        return at.revision, ()
    try:
        return issue_revision(tx, at, inputs)
    except CannotEvaluate as error:
        raise error.below("answers") from None


def _on_record(tx: Tx, at: HeldOrder, shaft: str, facts: list[Change]) -> tuple[Event, ...]:
    """Put the facts on record for the machine as it is now, and return the event; none where it knew them."""
    asset = assets.asset_by_id(tx, at.order.asset_id)
    if asset is None:
        raise AssertionError("an order hangs on its asset")
    ids = {
        position["name"]: position["id"]
        for each in at.revision.inputs["asset"]["shafts"]
        for position in each["positions"]
    }
    document: dict[str, Any] = asset_document(asset)
    for change in facts:
        document = with_facts(document, shaft, change, ids=ids)
    if document["shafts"] == asset.shafts:
        return ()
    return (replace_shafts(tx, asset, document["shafts"])[1],)
