"""What is sent to /v1/stays/import and what is answered."""

from typing import Any, Final

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema, WriteQuery
from service.api.wire.answers import AnswerSchema, nested, word, words
from service.words import END_TYPES


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


NOT_NEGATIVE: Final = {"minimum": 0}


def _number(description: str, **shape: Any) -> ma_fields.Float:
    return ma_fields.Float(allow_none=True, metadata={"description": description, **shape})


class StayToImport(StrictSchema):
    """A stay as an import takes it; what is read and refused beyond this stands row by row in the report."""

    id = ma_fields.UUID(allow_none=True, metadata={"description": "Id here, of a stay that came from an export"})
    external_id = ma_fields.String(
        allow_none=True, metadata={"description": "Id in the system it comes from; needed unless `id` is there"}
    )
    asset = ma_fields.String(required=True)
    position = ma_fields.String(required=True)
    designation = ma_fields.String(required=True)
    manufacturer = ma_fields.String(allow_none=True)
    serial = ma_fields.String(allow_none=True)
    installed_at = ma_fields.String(
        required=True, metadata={"description": "RFC 3339; without an offset only beside ?zone="}
    )
    removed_at = ma_fields.String(allow_none=True, metadata={"description": "When it was taken out; null: it runs"})
    operating_hours = _number("Age at removal, or at `as_of` while it runs [h]", **NOT_NEGATIVE)
    as_of = ma_fields.String(allow_none=True, metadata={"description": "When a bearing that runs had these hours"})
    age_at_install_h = _number("Operating hours before it was fitted [h]", **NOT_NEGATIVE)
    observed_from = ma_fields.String(allow_none=True)
    end_type = ma_fields.String(required=True, metadata={"enum": list(END_TYPES)})
    inspected = ma_fields.Boolean(allow_none=True)
    damage = ma_fields.String(allow_none=True, metadata={"description": "Modes of ISO 15243, | between them"})
    cause = ma_fields.String(allow_none=True)
    initial_clearance_mm = _number("Before mounting [mm]", **NOT_NEGATIVE)
    residual_clearance_mm = _number("After mounting [mm]", **NOT_NEGATIVE)
    window_min_mm = _number("Smallest residual clearance that was allowed [mm]", **NOT_NEGATIVE)
    window_max_mm = _number("Largest residual clearance that was allowed [mm]", **NOT_NEGATIVE)
    downtime_h = _number("Hours the machine stood [h]", **NOT_NEGATIVE)
    work_order = ma_fields.String(allow_none=True)
    installed_by = ma_fields.String(allow_none=True, metadata={"description": "Who mounted it"})
    shaft_diameter_mm = _number("Of the shaft under the bearing [mm]", **NOT_NEGATIVE)
    shaft_min_mm = _number("Lower limit of the shaft diameter [mm]", **NOT_NEGATIVE)
    shaft_max_mm = _number("Upper limit of the shaft diameter [mm]", **NOT_NEGATIVE)
    lubricant = ma_fields.String(allow_none=True)
    batch = ma_fields.String(allow_none=True, metadata={"description": "Batch of the supplier"})
    speed_rpm = _number("Speed it ran at", **NOT_NEGATIVE)
    temperature_degc = _number("Temperature it ran at")
    radial_load_n = _number("Load it ran under", **NOT_NEGATIVE)
    attributes = ma_fields.Dict(
        allow_none=True, metadata={"description": "What else the site keeps: texts, numbers, true and false by name"}
    )


class StaysToImport(StrictSchema):
    """Stays to import; a page of GET /v1/stays is taken as it is."""

    items = ma_fields.List(ma_fields.Nested(StayToImport), required=True)
    next = ma_fields.String(allow_none=True)


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
