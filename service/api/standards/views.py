"""Open standards out: JobResponse (B2MML), SyncAssetSegmentEvents (MIMOSA CCOM), failure data (ISO 14224).

A job order of B2MML comes in by the built-in field map, POST /v1/inbound/b2mml-job-order.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any, Final

from flask import Response

from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.api.standards.schemas import (
    B2mmlJobResponse,
)
from service.api.stays.schemas import StayQuery
from service.exchange.b2mml import job_response
from service.exchange.ccom import sync_asset_segment_events
from service.exchange.failure_data import failure_rows
from service.moments import rfc3339
from service.mounting.readings import ACCEPT
from service.render.present import present
from service.store.queries import completions, entries, stays
from service.store.queries.stay_lists import stay_rows
from service.store.unit_of_work import Tx
from service.units import Quantity
from service.use_cases.orders.correct import Standing
from service.use_cases.orders.held import held_order, order_of
from service.use_cases.orders.records import order_line
from service.use_cases.stays.lists import chosen_stays
from service.words import UnitSystem

blueprint = Blueprint("standards", __name__, url_prefix="/v1", description="Open standards out")

XML: Final = "application/xml"
CSV: Final = "text/csv"
MOST_READINGS: Final = 10_000
_MEMBERS: Final = (
    "id", "asset", "position", "position_id", "designation", "manufacturer", "serial", "end_type", "damage", "cause",
    "operating_hours", "downtime_h", "work_order",
)  # fmt: skip


def _readings(tx: Tx, order_id: str, units: UnitSystem) -> Iterator[dict[str, Any]]:
    """Yield every value of the accepted readings that count and is a quantity; of a series the last one."""
    counting = {each.id for each in held_order(tx, order_of(tx, order_id)).counting}
    for row in entries.readings_of(tx, order_id, limit=MOST_READINGS):
        if row.verdict != ACCEPT or row.id not in counting:
            continue
        series = [{"value": pair["temperature"]} for pair in row.document.get("series", ())[-1:]]
        for value in (*row.document.get("values", ()), *series):
            if isinstance(value["value"], Quantity):
                shown = present(value["value"], units)
                place = {"position": row.position, "kind": row.kind, "row": value.get("row")}
                yield {**place, "quantity": shown, "taken_at": rfc3339(row.taken_at), "taken_by": row.taken_by}


def _exchanged(tx: Tx, order_id: str) -> Iterator[dict[str, Any]]:
    """Yield the bearings that an order took out and fitted."""
    done = completions.completion_of(tx, order_id)
    if done is None:
        return
    for each in Standing.of(done, completions.corrections_of(tx, done.id)).positions.values():
        for use, member in (("Removed", "ended_stay"), ("Installed", "begun_stay")):
            stay = stays.stay_by_id(tx, each[member]) if each[member] is not None else None
            if stay is not None:
                members = ("position", "serial", "designation", "manufacturer")
                yield {"use": use} | {name: getattr(stay, name) for name in members}


@blueprint.operation(
    "GET",
    "/work-orders/<order_id>/job-response",
    scope="read",
    answers={200: Answer(B2mmlJobResponse, "JobResponse of B2MML V7 as JSON: state, accepted readings, bearings")},
)
def read_job_response(call: Call, order_id: str) -> Response:
    """Read a work order as a job response of B2MML"""
    with call.reading() as tx:
        order = order_of(tx, order_id)
        readings = list(_readings(tx, order.id, call.units))
        exchanged = list(_exchanged(tx, order.id))
        done = completions.completion_of(tx, order.id)
    closed_by = None if done is None else done.completed_by
    return call.answer(job_response(order_line(order), readings, exchanged, closed_by=closed_by))


def _page(call: Call) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Return a page of stays with their times as texts, and the header that leads on."""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        rows = stay_rows(tx, chosen_stays(call.query), after=start, limit=limit)
    items = [{name: getattr(row, name) for name in _MEMBERS} | _times(row) for row in rows]
    body, headers = lists.page(items, call.query, call.caller.site_id)
    return body["items"], headers


def _times(row: Any) -> dict[str, str | None]:
    removed = None if row.removed_at is None else rfc3339(row.removed_at)
    return {"installed_at": rfc3339(row.installed_at), "removed_at": removed}


@blueprint.operation(
    "GET",
    "/stays/asset-segment-events.xml",
    scope="read",
    query=StayQuery,
    answers={
        200: Answer(
            None,
            "SyncAssetSegmentEvents of MIMOSA CCOM 4: fittings and removals of a page of stays; Link leads on",
            headers=("Link",),
            media=(XML,),
        )
    },
    refuses=("422",),
)
def read_asset_segment_events(call: Call) -> Response:
    """Read fittings and removals as a message of MIMOSA CCOM"""
    items, headers = _page(call)
    body = sync_asset_segment_events(
        items,
        site_id=call.caller.site_id,
        sender=call.caller.site_code,
        created_at=rfc3339(datetime.now(UTC)),
    )
    return Response(body, content_type=f"{XML}; charset=utf-8", headers=headers)


@blueprint.operation(
    "GET",
    "/stays/failure-data.csv",
    scope="read",
    query=StayQuery,
    answers={
        200: Answer(
            None,
            "One row for each bearing that was taken out, columns in the manner of ISO 14224; Link leads on",
            headers=("Link",),
            media=(CSV,),
        )
    },
    refuses=("422",),
)
def read_failure_data(call: Call) -> Response:
    """Read removals in the manner of ISO 14224"""
    items, headers = _page(call)
    named = {"Content-Disposition": 'attachment; filename="failure-data.csv"'}
    return Response(failure_rows(items), content_type=f"{CSV}; charset=utf-8", headers={**headers, **named})
