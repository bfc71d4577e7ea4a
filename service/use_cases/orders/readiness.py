"""Readiness of an order: which questions are open, who answered them, and its release by a named person (rule P6)."""

from collections.abc import Mapping
from typing import Any

from service.errors import CannotEvaluate, Conflict
from service.instructions.readiness import AMBER, OPEN, RED, open_red
from service.instructions.readings.flags import UNRELEASED, Flag
from service.moments import rfc3339
from service.record import Record
from service.store.queries import readiness
from service.store.queries.readiness import AnswerRow, Begun, ReleaseRow
from service.store.queries.sites import site_of
from service.store.queries.work_orders import RevisionRow, WorkOrderRow, revision
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import HeldOrder

NOT_RELEASED = "not_released"


def summary(tx: Tx, order: WorkOrderRow, issued: RevisionRow, *, fresh: bool = False) -> Record:
    """Return whether an order is released, by whom, and which questions are open.

    Parameters
    ----------
    fresh : bool
        The order was opened in this transaction: nobody released it or began it yet, [-]
    """
    asked = issued.record.get("readiness", [])
    release = None if fresh else readiness.release_of(tx, order.id)
    return {
        "released": release is not None or not open_red(asked),
        "required": site_of(tx).require_release,
        "released_by": None if release is None else release.released_by,
        "released_at": None if release is None else rfc3339(release.created_at),
        "reason": None if release is None else release.reason,
        "begun_unreleased": not fresh and _begun_unreleased(tx, order, release) is not None,
        "red_open": _open(asked, RED),
        "amber_open": _open(asked, AMBER),
    }


def _open(asked: list[Record], colour: str) -> list[Record]:
    return [
        {"id": each["id"], "position": each["position"]}
        for each in asked
        if each["colour"] == colour and each["status"] == OPEN
    ]


def is_released(tx: Tx, order_id: str, plan: Record) -> bool:
    """Return whether a named person released an order, or no red question of its plan is open."""
    return not open_red(plan.get("readiness", [])) or readiness.release_of(tx, order_id) is not None


def whole(tx: Tx, order: WorkOrderRow, issued: RevisionRow) -> Record:
    """Return the summary with every question, and who answered it last."""
    given = readiness.answers_of(tx, order.id)
    questions = [{**each, "answer": _last(given, each)} for each in issued.record.get("readiness", [])]
    return {**summary(tx, order, issued), "revision": issued.number, "questions": questions}


def _last(given: list[AnswerRow], question: Record) -> Record | None:
    """Return the last answer to a question: to its position, or to all."""
    found = [
        each for each in given if each.question == question["id"] and each.position in (None, question["position"])
    ]
    if not found:
        return None
    return answer_record(found[-1])


def answer_record(row: AnswerRow) -> Record:
    """Return an answer as it was given."""
    return {
        "id": row.id,
        "question": row.question,
        "position": row.position,
        "value": row.value,
        "answered_by": row.answered_by,
        "source": row.source,
        "made_revision": row.made_revision,
        "created_at": rfc3339(row.created_at),
    }


def unreleased_flags(tx: Tx, at: HeldOrder) -> list[Flag]:
    """Return what the lead looks at where work was begun on an order that nobody had released."""
    begun = _begun_unreleased(tx, at.order, readiness.release_of(tx, at.order.id))
    return [] if begun is None else [Flag(UNRELEASED, None, None, (begun.person,))]


def _begun_unreleased(tx: Tx, order: WorkOrderRow, release: ReleaseRow | None) -> Begun | None:
    """Return how work was begun before the order was released, with a red question open; None where it was not."""
    begun = readiness.begun(tx, order.id)
    if begun is None or (release is not None and release.created_at <= begun.at):
        return None
    by = revision(tx, order.id, begun.revision)
    return begun if by is not None and open_red(by.record.get("readiness", [])) else None


def check_released(tx: Tx, at: HeldOrder) -> None:
    """Refuse to begin work on an order that its site wants released first and that is not.

    Raises
    ------
    Conflict
        ``not_released``, with the red questions that are open.
    """
    asked = at.revision.record.get("readiness", [])
    if is_released(tx, at.order.id, at.revision.record) or not site_of(tx).require_release:
        return
    found = _open(asked, RED)
    said = f"the order is not released: {_named(found)}; answer them, or let a named person release it"
    raise Conflict(said, code=NOT_RELEASED, questions_open=found)


def _named(found: list[Record]) -> str:
    shown = ", ".join(
        each["id"] if each["position"] is None else f"{each['id']} ({each['position']})" for each in found[:6]
    )
    return f"{shown} and {len(found) - 6} more are open" if len(found) > 6 else f"{shown} open"


def release_order(tx: Tx, at: HeldOrder, given: Mapping[str, Any]) -> tuple[ReleaseRow, Event]:
    """Store the release of an order, by the questions of its revision in force.

    Raises
    ------
    CannotEvaluate
        ``reason_required``: a red question is open.
    Conflict
        ``release_refused``: an open question that nobody may release unanswered; ``already_released``.
    """
    asked = at.revision.record.get("readiness", [])
    red = open_red(asked)
    never = [{"id": each["id"], "position": each["position"]} for each in red if not each["override"]]
    if never:
        said = f"nobody releases an order with {_named(never)}: people stand beside this shaft"
        raise Conflict(said, code="release_refused", questions_open=never)
    if red and "reason" not in given:
        said = f"{_named(_open(asked, RED))}: say why the order is released all the same"
        raise CannotEvaluate(said, code="reason_required", field="reason")
    row = readiness.insert_release(
        tx,
        work_order_id=at.order.id,
        revision=at.revision.number,
        released_by=given["released_by"],
        reason=given.get("reason"),
        questions_open=_open(asked, RED),
    )
    data = {"released_by": row.released_by, "questions_open": [each["id"] for each in row.questions_open]}
    return row, Event("work_order.released", "work_order", at.order.id, None, None, data)
