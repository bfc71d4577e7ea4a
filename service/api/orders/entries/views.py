"""/v1/work-orders/{id}/readings, as-found, deviations: what the mechanic enters while the order is open."""

from collections.abc import Collection
from typing import Any

from flask import Response, current_app

from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.orders.entries.reading_schemas import JudgedReadings, ReadingPage, Readings
from service.api.orders.entries.schemas import (
    AsFoundAnswer,
    AsFoundPage,
    AsFoundRequest,
    DeviationAnswer,
    DeviationPage,
    DeviationRequest,
    EntryQuery,
)
from service.moments import rfc3339
from service.store.queries import entries
from service.store.queries.entries import AsFoundRow, DeviationRow, ReadingRow
from service.store.queries.work_orders import WorkOrderRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders import enter as use_case
from service.use_cases.orders.enter import enter_readings
from service.use_cases.orders.found import enter_as_found, found_warnings
from service.use_cases.orders.held import HeldOrder, held_order, hold_order, order_of

blueprint = Blueprint(
    "readings", __name__, url_prefix="/v1/work-orders", description="What is entered in an open work order"
)


def _judged(row: ReadingRow) -> dict[str, Any]:
    said: dict[str, Any] = {name: row.document[name] for name in ("fits", "fits_class") if name in row.document}
    return {
        "id": row.id,
        "kind": row.kind,
        "position": row.position,
        "step": row.step,
        "revision": row.revision,
        "verdict": row.verdict,
        "code": row.code,
        **said,
        "replaces": row.replaces,
        "detail": row.document["detail"],
        "next": row.document["next"],
    }


def _reading(row: ReadingRow, counting: Collection[str]) -> dict[str, Any]:
    times = {"taken_at": rfc3339(row.taken_at), "created_at": rfc3339(row.created_at)}
    own = {"entry": row.entry, "made_revision": row.made_revision, "taken_by": row.taken_by, **times}
    return {**_judged(row), **row.document, **own, "counts": row.id in counting}


def _as_found(row: AsFoundRow) -> dict[str, Any]:
    own = {"id": row.id, "position": row.position, "made_revision": row.made_revision}
    return {**own, "created_at": rfc3339(row.created_at), **row.document}


def _deviation(row: DeviationRow) -> dict[str, Any]:
    names = ("id", "entry", "step", "position", "revision", "reason", "approved_by", "taken_by")
    return {name: getattr(row, name) for name in names} | {"created_at": rfc3339(row.created_at)}


def _now(at: HeldOrder) -> dict[str, Any]:
    return {"revision": at.revision.number, "hold_points_open": [each.record() for each in at.hold_points()]}


@blueprint.operation(
    "POST",
    "/<order_id>/readings",
    scope="write",
    body=Readings,
    signs=("readings/*/taken_by",),
    query=WriteQuery,
    answers={201: Answer(JudgedReadings, "The readings are kept, each with its verdict")},
    refuses=("409",),
    example={
        "readings": [
            {
                "position": "tail",
                "kind": "initial_clearance",
                "method": "blades",
                "values": [
                    {"value": {"value": 0.0040, "unit": "in"}, "row": 1},
                    {"value": {"value": 0.0040, "unit": "in"}, "row": 2},
                ],
                "taken_at": "2026-01-07T09:10:00Z",
                "taken_by": "A. Fitter",
                "instrument": "blades 14",
            }
        ]
    },
)
def record_readings(call: Call, order_id: str) -> Response:
    """Send readings and have them judged"""

    def work(tx: Tx) -> Written:
        lead = "approve" in call.caller.scopes
        at, rows, events = enter_readings(tx, hold_order(tx, order_id), call.body["readings"], lead=lead)
        return Written(201, call.json({"items": [_judged(row) for row in rows], **_now(at)}), {}, events)

    return call.write(work)


@blueprint.operation(
    "POST",
    "/<order_id>/as-found",
    scope="write",
    body=AsFoundRequest,
    signs=("taken_by",),
    query=WriteQuery,
    answers={201: Answer(AsFoundAnswer, "What was found is kept")},
    refuses=("409",),
    example={
        "position": "tail",
        "rings": [],
        "gap_in": {"value": 0.31, "unit": "in"},
        "gap_out": {"value": 0.08, "unit": "in"},
        "ring_moves": "free",
        "clearance": [
            {"value": {"value": 0.0060, "unit": "in"}, "row": 1},
            {"value": {"value": 0.0055, "unit": "in"}, "row": 2},
        ],
        "load_mark": [{"ring": "outer", "row": 1, "from": 4, "to": 8, "pattern": "band"}],
        "grease": {"amount": "some", "state": "dark", "water": False},
        "break_away": [{"value": 95, "unit": "lbf.ft"}, {"value": 110, "unit": "lbf.ft"}],
        "not_looked_at": ["creep", "seals"],
        "taken_by": "A. Fitter",
    },
)
def record_as_found(call: Call, order_id: str) -> Response:
    """Say what was found under the cap"""

    def work(tx: Tx) -> Written:
        at, row, events = enter_as_found(tx, hold_order(tx, order_id), call.body)
        found = {**_as_found(row), "warnings": found_warnings(at.revision.record, row), **_now(at)}
        return Written(201, call.json(found), {}, events)

    return call.write(work)


@blueprint.operation(
    "POST",
    "/<order_id>/deviations",
    scope="approve",
    body=DeviationRequest,
    signs=("approved_by",),
    query=WriteQuery,
    answers={201: Answer(DeviationAnswer, "The deviation is on record")},
    refuses=("409",),
    example={
        "step": "shaft-size",
        "position": "tail",
        "reason": "Worn by 0.002 in; the shaft goes to the grinder at the next stop.",
        "approved_by": "B. Foreman",
    },
)
def approve_deviation(call: Call, order_id: str) -> Response:
    """Approve a deviation, as another person than the one who did the work"""
    by_key = current_app.extensions["capsaddle"].settings.approval == "keys"
    approver = call.caller.key_id if by_key else None

    def work(tx: Tx) -> Written:
        at, row, events = use_case.approve_deviation(tx, hold_order(tx, order_id), call.body, approver=approver)
        still = {"hold_points_open": [each.record() for each in at.hold_points()]}
        return Written(201, call.json({**_deviation(row), **still}), {}, events)

    return call.write(work)


def _listed(call: Call, order_id: str, rows_of: Any, record: Any) -> Response:
    """Answer one page of an order's entries; ``record(tx, rows)`` says them."""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        order = order_of(tx, order_id)
        items = record(tx, order, rows_of(tx, order.id, after=start, limit=limit))
    body, headers = lists.page(items, call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


def _readings(tx: Tx, order: WorkOrderRow, rows: list[ReadingRow]) -> list[dict[str, Any]]:
    counting = {each.id for each in held_order(tx, order).counting}
    return [_reading(row, counting) for row in rows]


@blueprint.operation(
    "GET",
    "/<order_id>/readings",
    scope="read",
    query=EntryQuery,
    answers={200: Answer(ReadingPage, "Readings, as they were entered", headers=("Link",))},
)
def list_readings(call: Call, order_id: str) -> Response:
    """List the readings of a work order"""
    return _listed(call, order_id, entries.readings_of, _readings)


@blueprint.operation(
    "GET",
    "/<order_id>/as-found",
    scope="read",
    query=EntryQuery,
    answers={200: Answer(AsFoundPage, "What was found, as it was entered", headers=("Link",))},
)
def list_as_found(call: Call, order_id: str) -> Response:
    """List what was found for a work order"""
    return _listed(call, order_id, entries.as_found_of, lambda _tx, _order, rows: [_as_found(row) for row in rows])


@blueprint.operation(
    "GET",
    "/<order_id>/deviations",
    scope="read",
    query=EntryQuery,
    answers={200: Answer(DeviationPage, "Deviations, as they were approved", headers=("Link",))},
)
def list_deviations(call: Call, order_id: str) -> Response:
    """List the deviations of a work order"""
    return _listed(call, order_id, entries.deviations_of, lambda _tx, _order, rows: [_deviation(row) for row in rows])
