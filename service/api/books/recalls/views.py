"""Recall of a chart, a housing or a built-in table: which bearings run now that were mounted by a wrong row."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import Response

from service.api.books.recalls.schemas import RecallRead, RecallRequest, TableRecallRequest
from service.api.http import fields
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.errors import NotFound
from service.instructions.books.books import CHART, HOUSING, provenance_of
from service.reference import tables
from service.store.queries import books
from service.store.unit_of_work import Tx, Written
from service.use_cases.books.recall import Recalled, recall_event, recall_record

blueprint = Blueprint("recall", __name__, url_prefix="/v1", description="Recall of numbers that were wrong")
ANSWER = Answer(RecallRead, "The bearings that run by it, the farthest outside the corrected limits first")
HEADER = ("kind", "bearing_type", "bore_form")
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


def _book(table: str, tx: Tx, book_id: str) -> Recalled:
    """Return the version of a chart or a housing that is recalled."""
    row = books.book_by_id(tx, table, book_id) if fields.is_identifier(book_id) else None
    if row is None:
        raise NotFound(f"no {table} of this site has this id")
    document = {"kind": row.kind, **row.document}
    said = {member: document[member] for member in HEADER if member in document}
    title = provenance_of(row.document).words(row.version)
    return Recalled(table, row.id, title, f"{table}-{row.id}-v{row.version}", row.kind, str(row.version), None, said)


def _table(table_id: str, data_version: str | None) -> Recalled:
    """Return the built-in table that is recalled, by the id that answers name as their source."""
    source = tables.sources().get(table_id)
    if source is None:
        raise NotFound("no built-in table has this id; answers name them in `sources`")
    return Recalled("table", source.id, source.title, source.id, data_version=data_version)


def _recalled(call: Call, event_type: str, found: Callable[[Tx], Recalled]) -> Response:
    """Answer a recall, and enter it in the journal; the record is made before the writer's turn begins."""
    with call.reading() as tx:
        book = found(tx)
        record = recall_record(tx, book, call.body)
    event = recall_event(event_type, book, record)
    body = call.json(record)
    return call.written(lambda _tx: Written(200, body, events=(event,)))


_DECLARED: Mapping[str, Any] = {
    "scope": "admin",
    "body": RecallRequest,
    "query": WriteQuery,
    "answers": {200: ANSWER},
}


@blueprint.operation("POST", "/charts/<chart_id>/recall", example=EXAMPLE, **_DECLARED)
def recall_chart(call: Call, chart_id: str) -> Response:
    """Find the bearings that run by a version of a chart"""
    return _recalled(call, "chart.recalled", lambda tx: _book(CHART, tx, chart_id))


@blueprint.operation("POST", "/housings/<housing_id>/recall", example=HOUSING_EXAMPLE, **_DECLARED)
def recall_housing(call: Call, housing_id: str) -> Response:
    """Find the bearings that run in blocks described by a version of a housing"""
    return _recalled(call, "housing.recalled", lambda tx: _book(HOUSING, tx, housing_id))


@blueprint.operation("POST", "/tables/<table_id>/recall", example=EXAMPLE, **{**_DECLARED, "body": TableRecallRequest})
def recall_table(call: Call, table_id: str) -> Response:
    """Find the bearings that run by a built-in table, named as answers name it among their sources"""
    return _recalled(call, "table.recalled", lambda _tx: _table(table_id, call.body.get("data_version")))
