"""/v1/stays/import: stays from elsewhere, all or nothing; and the template to fill in."""

from typing import Final

from flask import Response, request
from marshmallow import fields as ma_fields

from service.api import fields, strict_json
from service.api.answers import AnswerSchema, nested, word, words
from service.api.operations import JSON, NDJSON, Answer, Call
from service.api.schema import StrictSchema, WriteQuery
from service.api.stay_importing import imported, read_import
from service.api.stay_lines import STAY_COLUMNS
from service.api.stay_sources import template
from service.api.stays import blueprint
from service.api.streams import CSV
from service.store.unit_of_work import Tx, Written

__all__ = ["blueprint"]
MOST_BYTES: Final = 64 * 1024 * 1024
EXAMPLE: Final = {
    "external_id": "S-1001",
    "asset": "DRY-2-FAN",
    "position": "tail",
    "designation": "22216 K/C3",
    "installed_at": "2024-03-04T10:00:00Z",
    "removed_at": "2025-09-12T06:30:00Z",
    "operating_hours": 11800,
    "end_type": "failed",
    "damage": "wear.abrasive",
    "residual_clearance_mm": 0.0635,
    "window_min_mm": 0.056,
    "window_max_mm": 0.08,
}
_EXAMPLES: Final = {
    CSV: ",".join(EXAMPLE) + "\r\n" + ",".join(map(str, EXAMPLE.values())) + "\r\n",
    JSON: strict_json.written({"items": [EXAMPLE]}),
    NDJSON: strict_json.written(EXAMPLE) + "\n",
}


class ImportQuery(WriteQuery):
    """How stays are imported."""

    create_assets = fields.Choice(
        ("true", "false"),
        metadata={"description": "true: register assets that are missing, and positions of assets with one shaft"},
    )
    zone = fields.Text(60, metadata={"description": "IANA time zone of times without an offset: Europe/Stockholm"})


class RowNote(AnswerSchema):
    """Something about a row, counted from 1."""

    row = ma_fields.Integer(required=True)
    column = word()
    value = ma_fields.Raw(required=True, allow_none=True)
    code = word()
    message = word()


class ImportAnswer(AnswerSchema):
    """What the import did, or with dry_run would do."""

    rows = ma_fields.Integer(required=True)
    created = ma_fields.Integer(required=True)
    closed = ma_fields.Integer(
        required=True,
        metadata={"description": "Stays that ran on record and came with their removal; each has a note `closed`"},
    )
    unchanged = ma_fields.Integer(required=True)
    assets_created = words()
    positions_created = ma_fields.Integer(required=True)
    note_count = ma_fields.Integer(required=True)
    notes = nested(RowNote, many=True)


class TemplateQuery(StrictSchema):
    """How the template is written."""

    separator = fields.Choice((",", ";"), metadata={"description": "What stands between the cells, a comma by default"})


@blueprint.operation(
    "POST",
    "/stays/import",
    scope="write",
    query=ImportQuery,
    raw=_EXAMPLES,
    most_bytes=MOST_BYTES,
    answers={
        200: Answer(
            ImportAnswer,
            "All rows stand: so many are new, so many ended that ran on record, so many were on record as they are. "
            "CSV may have a byte order mark and "
            "semicolons (then a decimal comma too)",
        )
    },
    refuses=("409",),
)
def import_stays(call: Call) -> Response:
    """Import stays; faults are reported row by row (import_refused) and nothing is stored"""
    read = read_import(call.body, request.mimetype, call.query.get("zone"))
    create_assets = call.query.get("create_assets") == "true"

    def work(tx: Tx) -> Written:
        done = imported(tx, read, create_assets=create_assets)
        return Written(200, call.json(done.record()), events=done.events)

    return call.written(work)


@blueprint.operation(
    "GET",
    "/stays/template.csv",
    scope="read",
    query=TemplateQuery,
    answers={200: Answer(None, f"The columns: {', '.join(STAY_COLUMNS)}", media=(CSV,))},
)
def stay_template(call: Call) -> Response:
    """Download the header of the CSV for an import"""
    text = template().replace(",", call.query.get("separator", ","))
    headers = {"Content-Disposition": 'attachment; filename="stays.csv"'}
    return Response(text, content_type=f"{CSV}; charset=utf-8; header=present", headers=headers)
