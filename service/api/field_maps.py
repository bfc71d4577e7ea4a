"""/v1/field-maps: how messages of another system become work orders and how it is answered; never edited in place."""

from typing import Any

from flask import Response, current_app
from marshmallow import fields as ma_fields

from service.api import fields, lists
from service.api.answers import AnswerSchema, nested, word, words
from service.api.map_shapes import MOST_BYTES, FieldMapRequest, JsonObject, MapName
from service.api.mapping import refuse_map, trial
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import PageQuery, StrictSchema, WriteQuery
from service.errors import NotFound
from service.record import sha256
from service.store import field_maps
from service.store.field_maps import FieldMapRow
from service.store.unit_of_work import Event, Tx, Written

blueprint = Blueprint(
    "field maps", __name__, url_prefix="/v1/field-maps", description="Maps of other systems' messages"
)


class DirectionRead(AnswerSchema):
    """Expressions by target, and the targets that may not come out as null."""

    targets = ma_fields.Dict(required=True)
    required = words(required=False)


class SampleRead(AnswerSchema):
    """A message, and the request that it becomes."""

    name = word()
    message = ma_fields.Dict(required=True)
    request = ma_fields.Dict(required=True)


class FieldMapLine(AnswerSchema):
    """One version of a field map, without its contents."""

    id = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    created_at = ma_fields.DateTime(required=True)
    sha256 = word()


class FieldMapRead(FieldMapLine):
    """One version of a field map."""

    note = word(required=False)
    inbound = nested(DirectionRead)
    outbound = nested(DirectionRead, required=False)
    tables = ma_fields.Dict(required=False)
    samples = nested(SampleRead, many=True)


class FieldMapPage(AnswerSchema):
    """A page of field maps."""

    items = nested(FieldMapLine, many=True)
    next = word(null=True)


class FaultRead(AnswerSchema):
    """A fault, by its place in the mapped request."""

    pointer = word(required=False)
    code = word()
    detail = word()


class TrialRead(AnswerSchema):
    """What a map would do with a message."""

    mapped_request = ma_fields.Dict(required=True)
    unmapped = words()
    problems = nested(FaultRead, many=True)
    status = ma_fields.Integer(
        required=True, allow_none=True, metadata={"description": "What POST /v1/inbound would answer"}
    )
    reply = ma_fields.Dict(required=True, allow_none=True)


class FieldMapQuery(PageQuery):
    """Filters of the list of field maps."""

    name = MapName(60)


class TrialRequest(StrictSchema):
    """A message to try."""

    message = JsonObject(required=True, metadata={"type": "object"})


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
    },
    "tables": {"kinds": {"REPL": "replacement", "INSP": "inspection"}},
    "samples": [
        {
            "name": "one bearing of a fan",
            "message": {
                "order": {
                    "no": "40012345",
                    "equipment": "DRY-2-FAN",
                    "type": "REPL",
                    "raised": "2026-01-07 06:30:00",
                    "lines": [{"task": "BRG", "place": "tail"}, {"task": "OIL", "place": "gearbox"}],
                }
            },
            "request": {
                "external": {"system": "north-mill", "number": "40012345"},
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
        "created_at": fields.rfc3339(row.created_at),
        "sha256": sha256(row.document),
    }


def field_map_of(tx: Tx, map_id: str) -> FieldMapRow:
    """Return one version, or raise NotFound."""
    row = field_maps.field_map_by_id(tx, map_id)
    if row is None:
        raise NotFound("no field map of this site has this id")
    return row


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
    document = {member: value for member, value in call.body.items() if member != "name"}
    refuse_map(document)

    def work(tx: Tx) -> Written:
        row = field_maps.insert_field_map(tx, name=call.body["name"], document=document)
        location = f"{current_app.config['PUBLIC_URL']}/v1/field-maps/{row.id}"
        data = {"name": row.name, "version": row.version}
        event = Event("field_map.entered", "field_map", row.id, None, sha256(document), data)
        return Written(201, call.json({**field_map_line(row), **row.document}), {"Location": location}, (event,))

    return call.written(work)


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
        row = field_map_of(tx, map_id)
    return call.answer({**field_map_line(row), **row.document})


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
        row = field_map_of(tx, map_id)
        tried = trial(tx, call.caller, call.units, row.document, call.body["message"])
        return Written(200, call.json(tried))

    return call.written(work, dry_run=True)
