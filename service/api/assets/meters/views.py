"""/v1/assets/{id}/meter-readings: the hour meter of a machine as a series, with its exchanges."""

from typing import Any

from flask import Response

from service.api.assets.meters.schemas import (
    MeterPageQuery,
    MeterReadingPage,
    MeterReadingsAnswer,
    MeterReadingsRequest,
)
from service.api.http import fields, lists
from service.api.http.operations import Answer, Blueprint, Call
from service.errors import NotFound
from service.history.ages import MeterReading, meter
from service.store.queries import assets, meters
from service.store.queries.meters import MeterReadingRow
from service.store.unit_of_work import Event, Tx, Written
from service.units import Quantity

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
        machine = _asset(tx, asset_id)
        meters.hold_asset(tx, machine)
        known = {row.read_at: row for row in meters.meter_readings(tx, machine)}
        new = [one for one in call.body["readings"] if not _same(known.get(one["read_at"]), one)]
        rows = [
            meters.insert_meter_reading(
                tx, asset_id=machine, read_at=one["read_at"], value_h=one["value"], restarts_at_h=one.get("restarts_at")
            )
            for one in new
        ]
        series = meters.meter_readings(tx, machine)
        body = {"items": _records(rows, series), "unchanged": len(call.body["readings"]) - len(new)}
        events = (Event("meter.read", "asset", machine, None, None, {"readings": len(rows)}),) if rows else ()
        return Written(201, call.json(body), {}, events)

    return call.written(work)


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
        series = meters.meter_readings(tx, _asset(tx, asset_id))
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
        machine = _asset(tx, asset_id)
        meters.hold_asset(tx, machine)
        row = meters.delete_meter_reading(tx, machine, reading_id) if fields.is_identifier(reading_id) else None
        if row is None:
            raise NotFound("the asset has no reading of this id")
        meter(_series(meters.meter_readings(tx, machine)))
        kept = {"read_at": fields.rfc3339(row.read_at), "value": Quantity("time", row.value_h)}
        return Written(204, "", {}, (Event("meter_reading.struck_out", "asset", machine, None, None, kept),))

    return call.written(work)


def _asset(tx: Tx, asset_id: str) -> str:
    row = assets.asset_by_id(tx, asset_id) if fields.is_identifier(asset_id) else None
    if row is None:
        raise NotFound("no asset of this site has this id")
    return row.id


def _same(known: MeterReadingRow | None, given: dict[str, Any]) -> bool:
    """Return whether a reading is on record as it was sent."""
    return known is not None and (known.value_h, known.restarts_at_h) == (given["value"], given.get("restarts_at"))


def _series(rows: list[MeterReadingRow]) -> list[MeterReading]:
    return [MeterReading(row.read_at, row.value_h, row.restarts_at_h) for row in rows]


def _records(rows: list[MeterReadingRow], series: list[MeterReadingRow]) -> list[dict[str, Any]]:
    """Return the wire members of rows; refuses a series that runs back."""
    whole = meter(_series(series))
    return [
        {
            "id": row.id,
            "read_at": fields.rfc3339(row.read_at),
            "value": Quantity("time", row.value_h),
            "restarts_at": None if row.restarts_at_h is None else Quantity("time", row.restarts_at_h),
            "run_since_first": Quantity("time", whole.hours_at(row.read_at) or 0.0),
        }
        for row in rows
    ]
