"""/v1/assets/{id}/meter-readings: the hour meter of a machine as a series, with its exchanges."""

from typing import Any

from flask import Response

from service.api.assets.meters.schemas import (
    MeterPageQuery,
    MeterReadingPage,
    MeterReadingsAnswer,
    MeterReadingsRequest,
)
from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.moments import rfc3339
from service.store.queries import meters
from service.store.queries.meters import MeterReadingRow
from service.store.unit_of_work import Tx, Written
from service.units import Quantity
from service.use_cases.assets.meters import enter_meter_readings, meter_of, strike_out_meter_reading
from service.use_cases.assets.register import asset_of

blueprint = Blueprint("meters", __name__, url_prefix="/v1/assets", description="Hour meters of machines")


@blueprint.operation(
    "POST",
    "/<asset_id>/meter-readings",
    scope="write",
    body=MeterReadingsRequest,
    answers={201: Answer(MeterReadingsAnswer, "The readings; those on record already are not entered again")},
    refuses=("409",),
    example={"readings": [{"read_at": "2026-01-07T06:00:00Z", "value": {"value": 41250, "unit": "h"}}]},
)
def add_meter_readings(call: Call, asset_id: str) -> Response:
    """Enter readings of an hour meter"""

    def work(tx: Tx) -> Written:
        entry = enter_meter_readings(tx, asset_id, call.body["readings"])
        body = {"items": _records(entry.rows, entry.series), "unchanged": entry.unchanged}
        return Written(201, call.json(body), {}, entry.events)

    return call.write(work)


@blueprint.operation(
    "GET",
    "/<asset_id>/meter-readings",
    scope="read",
    query=MeterPageQuery,
    answers={200: Answer(MeterReadingPage, "A page of readings, in the order in which they were entered",
                         headers=("Link",))},
)  # fmt: skip
def list_meter_readings(call: Call, asset_id: str) -> Response:
    """List readings of an hour meter"""
    with call.reading() as tx:
        series = meters.meter_readings(tx, asset_of(tx, asset_id).id)
    after = lists.after(call.query, call.caller.site_id) or ""
    rows = sorted((row for row in series if row.id > after), key=lambda row: row.id)[: call.query["limit"] + 1]
    body, headers = lists.page(_records(rows, series), call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "DELETE",
    "/<asset_id>/meter-readings/<reading_id>",
    scope="write",
    answers={204: Answer(None, "The reading is struck out; the journal keeps it")},
    refuses=("409", "422"),
)
def delete_meter_reading(call: Call, asset_id: str, reading_id: str) -> Response:
    """Strike out a wrong reading"""

    def work(tx: Tx) -> Written:
        return Written(204, "", {}, (strike_out_meter_reading(tx, asset_id, reading_id),))

    return call.write(work)


def _records(rows: list[MeterReadingRow], series: list[MeterReadingRow]) -> list[dict[str, Any]]:
    """Return the wire members of rows; refuses a series that runs back."""
    whole = meter_of(series)
    return [
        {
            "id": row.id,
            "read_at": rfc3339(row.read_at),
            "value": Quantity("time", row.value_h),
            "restarts_at": None if row.restarts_at_h is None else Quantity("time", row.restarts_at_h),
            "run_since_first": Quantity("time", whole.hours_at(row.read_at) or 0.0),
        }
        for row in rows
    ]
