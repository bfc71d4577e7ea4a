"""/v1/field-maps: how messages of another system become work orders and how it is answered; never edited in place."""

from typing import Any

from flask import Response, current_app

from service.api.http import lists, problems
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.maps.schemas import (
    LOAD_ORDER,
    MOST_BYTES,
    FieldMapPage,
    FieldMapQuery,
    FieldMapRead,
    FieldMapRequest,
    PreviewRequest,
    TrialRead,
    TrialRequest,
)
from service.moments import rfc3339
from service.record import sha256
from service.store.queries import field_maps
from service.store.queries.field_maps import FieldMapRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.maps.enter import checked_map, enter_map, map_of
from service.use_cases.maps.map_message import refuse_draft, trial

blueprint = Blueprint(
    "field maps", __name__, url_prefix="/v1/field-maps", description="Maps of other systems' messages"
)


EXAMPLE: dict[str, Any] = {
    "name": "north-mill",
    "inbound": {
        "targets": {
            "external/system": "'north-mill'",
            "external/number": "order.no",
            "asset": "order.equipment",
            "positions": "order.lines[?task=='BRG'].place",
            "kind": "lookup('kinds', order.type)",
            "opened_at": "date(order.raised, 'America/New_York')",
        },
        "required": ["opened_at"],
    },
    "outbound": {
        "targets": {
            "order.no": "work_order.external.number",
            "longText": "text_lines",
            "tasks": "steps[].{no: number, short: short_text, text: long_text_lines}",
            "materials": "parts[].{text: name, quantity: count}",
        },
        "required": ["longText", "tasks/*/no"],
        "text_width": 96,
    },
    "tables": {"kinds": {"REPL": "replacement", "INSP": "inspection"}},
    "samples": [
        {
            "name": "one bearing of a fan",
            "message": {
                "order": {
                    "no": "R-7041",
                    "equipment": "DRY-2-FAN",
                    "type": "REPL",
                    "raised": "2026-01-07 06:30:00",
                    "lines": [{"task": "BRG", "place": "tail"}, {"task": "OIL", "place": "gearbox"}],
                }
            },
            "request": {
                "external": {"system": "north-mill", "number": "R-7041"},
                "asset": "DRY-2-FAN",
                "positions": ["tail"],
                "kind": "replacement",
                "opened_at": "2026-01-07T11:30:00+00:00",
            },
        }
    ],
}


def field_map_line(row: FieldMapRow) -> dict[str, Any]:
    """Return the wire members of a version without its contents."""
    return {
        "id": row.id,
        "name": row.name,
        "version": row.version,
        "in_force": row.in_force,
        "created_at": rfc3339(row.created_at),
        "sha256": sha256(row.document),
    }


@blueprint.operation(
    "POST",
    "",
    scope="admin",
    body=FieldMapRequest,
    query=WriteQuery,
    answers={201: Answer(FieldMapRead, "The map, in force from now on", headers=("Location",))},
    refuses=("409",),
    example=EXAMPLE,
    most_bytes=MOST_BYTES,
)
def create_field_map(call: Call) -> Response:
    """Enter a field map; its samples are run; the same name again makes its next version"""
    checked = checked_map(call.body, LOAD_ORDER)

    def work(tx: Tx) -> Written:
        row, event = enter_map(tx, checked)
        location = f"{current_app.config['PUBLIC_URL']}/v1/field-maps/{row.id}"
        return Written(201, call.json({**field_map_line(row), **row.document}), {"Location": location}, (event,))

    return call.write(work)


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=FieldMapQuery,
    answers={200: Answer(FieldMapPage, "A page of field maps, every version, oldest first", headers=("Link",))},
)
def list_field_maps(call: Call) -> Response:
    """List field maps"""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        rows = field_maps.page_of_field_maps(tx, name=call.query.get("name"), after=start, limit=limit)
    body, headers = lists.page([field_map_line(row) for row in rows], call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<map_id>",
    scope="read",
    answers={200: Answer(FieldMapRead, "One version of a field map")},
)
def read_field_map(call: Call, map_id: str) -> Response:
    """Read one version of a field map"""
    with call.reading() as tx:
        row = map_of(tx, map_id)
    return call.answer({**field_map_line(row), **row.document})


@blueprint.operation(
    "POST",
    "/preview",
    scope="admin",
    body=PreviewRequest,
    query=WriteQuery,
    answers={200: Answer(TrialRead, "What the map would do with the message; nothing is stored")},
    example={
        "map": {member: EXAMPLE[member] for member in ("inbound", "outbound", "tables")},
        "message": EXAMPLE["samples"][0]["message"],
    },
    most_bytes=MOST_BYTES,
)
def preview_field_map(call: Call) -> Response:
    """Try a field map that is not kept: the request it makes, members nobody read, every problem, and the reply"""
    document, message = call.body["map"], call.body["message"]
    refuse_draft(document)

    def work(tx: Tx) -> Written:
        tried = trial(tx, call.caller, call.units, document, message, load=LOAD_ORDER, tell=problems.document_of)
        return Written(200, call.json(tried))

    return call.write(work, dry_run=True)


@blueprint.operation(
    "POST",
    "/<map_id>/try",
    scope="admin",
    body=TrialRequest,
    query=WriteQuery,
    answers={200: Answer(TrialRead, "What the map would do with the message; nothing is stored")},
    example={"message": EXAMPLE["samples"][0]["message"]},
    most_bytes=MOST_BYTES,
)
def try_field_map(call: Call, map_id: str) -> Response:
    """Try a field map on a message: the request it makes, members nobody read, every problem, and the reply"""

    def work(tx: Tx) -> Written:
        document, message = map_of(tx, map_id).document, call.body["message"]
        tried = trial(tx, call.caller, call.units, document, message, load=LOAD_ORDER, tell=problems.document_of)
        return Written(200, call.json(tried))

    return call.write(work, dry_run=True)
