"""What is sent to /v1/stays/import and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema, WriteQuery
from service.api.wire.answers import AnswerSchema, nested, word, words


class ImportQuery(WriteQuery):
    """How stays are imported."""

    create_assets = fields.Choice(
        ("true", "false"),
        metadata={"description": "true: register assets that are missing, and positions of assets with one shaft"},
    )
    accept_unknown = fields.Choice(
        ("true", "false"),
        metadata={"description": "true: take designations that nobody here can read as they are, each with a note"},
    )
    profile = fields.Text(60, metadata={"description": "Name of the import profile that a CSV is read by"})
    zone = fields.Text(60, metadata={"description": "IANA time zone of times without an offset: Europe/Stockholm"})


class RowNote(AnswerSchema):
    """Something about a row, counted from 1."""

    row = ma_fields.Integer(required=True)
    column = word()
    sent_as = word(required=False, description="What the sheet calls the column, where it is another name")
    value = ma_fields.Raw(required=True, allow_none=True)
    code = word()
    message = word()


class RowCount(AnswerSchema):
    """How often a code came in a column."""

    code = word()
    column = word()
    count = ma_fields.Integer(required=True)


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
    counts = nested(RowCount, many=True)
    notes = nested(RowNote, many=True)


class TemplateQuery(StrictSchema):
    """How the template is written."""

    separator = fields.Choice((",", ";"), metadata={"description": "What stands between the cells, a comma by default"})
