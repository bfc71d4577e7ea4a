"""/v1/work-orders/{id}/completion and its corrections."""

from typing import Any

from flask import Response

from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.orders.completion.schemas import (
    CompletionRead,
    CompletionRequest,
    CorrectionRead,
    CorrectionRequest,
)
from service.api.wire.damage import EXAMPLE as EXAMPLE_DAMAGE
from service.errors import NotFound
from service.moments import rfc3339
from service.store.queries import completions, stays
from service.store.queries.completions import CompletionRow, CorrectionRow
from service.store.queries.stays import SetAsideRow
from service.store.queries.work_orders import WorkOrderRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders import correct as use_case
from service.use_cases.orders.complete import complete_order
from service.use_cases.orders.held import hold_order, order_of

blueprint = Blueprint("completion", __name__, url_prefix="/v1/work-orders", description="The end of a work order")


def _correction(row: CorrectionRow) -> dict[str, Any]:
    said = {name: row.document.get(name, []) for name in ("changes", "outcomes")}
    return {
        "id": row.id,
        "corrects": row.corrects,
        "reason": row.reason,
        "corrected_by": row.corrected_by,
        "created_at": rfc3339(row.created_at),
        **said,
    }


def _completion(row: CompletionRow, corrections: list[CorrectionRow], set_aside: list[SetAsideRow]) -> dict[str, Any]:
    return {
        "id": row.id,
        "work_order": row.work_order_id,
        "status": "completed",
        "revision": row.revision,
        "completed_at": rfc3339(row.completed_at),
        "completed_by": row.completed_by,
        "flags": [],
        "warnings": [],
        **row.document,
        "created_at": rfc3339(row.created_at),
        "corrections": [_correction(each) for each in corrections],
        "set_aside_stays": [{"id": each.id, "reason": each.reason, "stay": each.document} for each in set_aside],
    }


def _of_order(tx: Tx, order: WorkOrderRow) -> CompletionRow:
    row = completions.completion_of(tx, order.id)
    if row is None:
        raise NotFound(f"the work order is {order.status}; it has no completion")
    return row


@blueprint.operation(
    "POST",
    "/<order_id>/completion",
    scope="write",
    body=CompletionRequest,
    signs=("completed_by", "flags_acknowledged/by"),
    query=WriteQuery,
    answers={201: Answer(CompletionRead, "The order is completed: old stays ended, new ones begun")},
    refuses=("409",),
    example={
        "completed_at": "2026-01-07T15:30:00Z",
        "completed_by": "A. Fitter",
        "meter_reading": {"value": 18250, "unit": "h"},
        "positions": [
            {
                "position": "tail",
                "outcome": "replaced",
                "removed": {"end_type": "failed", "damage": [{"code": EXAMPLE_DAMAGE, "component": "inner_ring"}]},
                "installed": {
                    "serial": "N-4711",
                    "designation": "22216 K/C3",
                    "batch": "B-77",
                    "lubricant": "Grease 2",
                    "speed": {"value": 1480, "unit": "rpm"},
                    "attributes": {"crew_size": 3},
                },
            }
        ],
        "flags_acknowledged": {"by": "B. Foreman", "flags": ["signed_in_one_go"]},
    },
)
def complete_work_order(call: Call, order_id: str) -> Response:
    """Complete a work order; refused while hold points are open"""

    def work(tx: Tx) -> Written:
        row, events = complete_order(tx, hold_order(tx, order_id), call.body)
        return Written(201, call.json(_completion(row, [], stays.set_aside_of(tx, row.work_order_id))), {}, events)

    return call.write(work)


@blueprint.operation(
    "GET",
    "/<order_id>/completion",
    scope="read",
    answers={200: Answer(CompletionRead, "The completion, with its corrections")},
)
def read_completion(call: Call, order_id: str) -> Response:
    """Read the completion of a work order"""
    with call.reading() as tx:
        row = _of_order(tx, order_of(tx, order_id))
        corrections = completions.corrections_of(tx, row.id)
        set_aside = stays.set_aside_of(tx, row.work_order_id)
    return call.answer(_completion(row, corrections, set_aside))


@blueprint.operation(
    "POST",
    "/<order_id>/corrections",
    scope="write",
    body=CorrectionRequest,
    signs=("corrected_by",),
    query=WriteQuery,
    answers={201: Answer(CorrectionRead, "The correction is on record, the stays are put right")},
    refuses=("409",),
    example={
        "corrects": "01900000-0000-7000-8000-000000000000",
        "reason": "The serial number was read from the wrong ring.",
        "corrected_by": "B. Foreman",
        "positions": [{"position": "tail", "installed": {"serial": "N-4712"}}],
    },
)
def correct_completion(call: Call, order_id: str) -> Response:
    """Correct a completion with a new entry that names what it corrects"""

    def work(tx: Tx) -> Written:
        at = hold_order(tx, order_id, status="completed")
        row, events = use_case.correct_completion(tx, at, _of_order(tx, at.order), call.body)
        return Written(201, call.json(_correction(row)), {}, events)

    return call.write(work)
