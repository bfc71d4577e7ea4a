"""Recall of a chart, a housing or a built-in table: which bearings run now that were mounted by a wrong row."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import Response

from service.api.books.recalls.schemas import RecallRead, RecallRequest, TableRecallRequest
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.instructions.books.books import CHART, HOUSING
from service.store.unit_of_work import Tx, Written
from service.use_cases.books.recall import RecalledBook, book_to_recall, recall_book, recall_record, table_to_recall

blueprint = Blueprint("recall", __name__, url_prefix="/v1", description="Recall of numbers that were wrong")
ANSWER = Answer(RecallRead, "The bearings that run by it, the farthest outside the corrected limits first")
ROW = {
    "bore_over": {"value": 65, "unit": "mm"},
    "bore_incl": {"value": 80, "unit": "mm"},
    "min": {"value": 0.038, "unit": "mm"},
    "max": {"value": 0.046, "unit": "mm"},
    "smallest_residual": {"C3": {"value": 0.05, "unit": "mm"}},
}
EXAMPLE: dict[str, Any] = {
    "reason": "The book's erratum of 2026: row 65-80 mm was printed one column too far to the left",
    "corrected": {"kind": "reduction", "bearing_type": "spherical_roller", "rows": [ROW]},
}
HOUSING_EXAMPLE = {"reason": "The torque was that of the next larger block"}


def _recall(call: Call, named: Callable[[Tx], RecalledBook]) -> Response:
    """Answer a recall, and enter it in the journal; the record is made before the writer's turn begins."""
    with call.reading() as tx:
        book = named(tx)
        record = recall_record(tx, book, call.body)
    event = recall_book(book, record)
    body = call.json(record)
    return call.write(lambda _tx: Written(200, body, events=(event,)))


_DECLARED: Mapping[str, Any] = {
    "scope": "admin",
    "body": RecallRequest,
    "query": WriteQuery,
    "answers": {200: ANSWER},
}


@blueprint.operation("POST", "/charts/<chart_id>/recall", example=EXAMPLE, **_DECLARED)
def recall_chart(call: Call, chart_id: str) -> Response:
    """Find the bearings that run by a version of a chart"""
    return _recall(call, lambda tx: book_to_recall(tx, CHART, chart_id))


@blueprint.operation("POST", "/housings/<housing_id>/recall", example=HOUSING_EXAMPLE, **_DECLARED)
def recall_housing(call: Call, housing_id: str) -> Response:
    """Find the bearings that run in blocks described by a version of a housing"""
    return _recall(call, lambda tx: book_to_recall(tx, HOUSING, housing_id))


@blueprint.operation("POST", "/tables/<table_id>/recall", example=EXAMPLE, **{**_DECLARED, "body": TableRecallRequest})
def recall_table(call: Call, table_id: str) -> Response:
    """Find the bearings that run by a built-in table, named as answers name it among their sources"""
    return _recall(call, lambda _tx: table_to_recall(table_id, call.body.get("data_version")))
