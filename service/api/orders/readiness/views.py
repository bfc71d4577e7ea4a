"""/v1/work-orders/{id}/readiness, answers, release: what the office settles before work begins."""

from typing import Any

from flask import Response

from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.orders.readiness.schemas import (
    AnswersKept,
    AnswersRequest,
    ReadinessRead,
    ReadinessSummary,
    ReleaseRequest,
)
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders.answer import answer_questions
from service.use_cases.orders.held import hold_order, order_of
from service.use_cases.orders.readiness import answer_record, release_order, summary, whole
from service.use_cases.orders.records import revision_of
from service.use_cases.orders.revise import renew_revision

blueprint = Blueprint("readiness", __name__, url_prefix="/v1/work-orders", description="Questions before work begins")


@blueprint.operation(
    "GET",
    "/<order_id>/readiness",
    scope="read",
    answers={200: Answer(ReadinessRead, "Every question of the order, and whether it is released")},
)
def read_readiness(call: Call, order_id: str) -> Response:
    """Read what must be known before work begins"""
    with call.reading() as tx:
        order = order_of(tx, order_id)
        body = whole(tx, order, revision_of(tx, order))
    return call.answer(body)


@blueprint.operation(
    "POST",
    "/<order_id>/answers",
    scope="write",
    body=AnswersRequest,
    signs=("answers/*/answered_by",),
    query=WriteQuery,
    answers={201: Answer(AnswersKept, "The answers are kept, facts are on record, the plan is made anew")},
    refuses=("409",),
    example={
        "answers": [
            {
                "question": "R12",
                "value": {"stop_limit": {"value": 95, "unit": "degC"}},
                "answered_by": "C. Planner",
                "source": "operating manual, page 12",
            },
            {"question": "R13", "value": {"at_hand": True}, "answered_by": "D. Storekeeper"},
        ]
    },
)
def answer(call: Call, order_id: str) -> Response:
    """Answer questions of an open order"""

    def work(tx: Tx) -> Written:
        at, rows, events = answer_questions(tx, hold_order(tx, order_id), call.body["answers"])
        body: dict[str, Any] = {
            "items": [answer_record(row) for row in rows],
            "revision": at.revision.number,
            "readiness": summary(tx, at.order, at.revision),
        }
        return Written(201, call.json(body), {}, events)

    return call.write(work)


@blueprint.operation(
    "POST",
    "/<order_id>/release",
    scope="write",
    body=ReleaseRequest,
    signs=("released_by",),
    query=WriteQuery,
    answers={201: Answer(ReadinessSummary, "The order is released")},
    refuses=("409",),
    example={"released_by": "E. Lead", "reason": "the mass is on the drawing that lies on the bench"},
)
def release(call: Call, order_id: str) -> Response:
    """Release an open order by name"""

    def work(tx: Tx) -> Written:
        at, renewed = renew_revision(tx, hold_order(tx, order_id))
        _, event = release_order(tx, at, call.body)
        return Written(201, call.json(summary(tx, at.order, at.revision)), {}, (*renewed, event))

    return call.write(work)
