"""What was found, and deviations, as callers send them and as they are answered."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import PageQuery, StrictSchema, UnitsQuery
from service.api.orders.entries.reading_schemas import HoldPointRead
from service.api.wire.answers import AnswerSchema, nested, quantity, word
from service.words import LUBRICATIONS, SIDES


class FreePosition(StrictSchema):
    """Gap between outer ring and seat shoulder, on either side."""

    minus = fields.QuantityField("dimension", least=0, most=1000, keep=True)
    plus = fields.QuantityField("dimension", least=0, most=1000, keep=True)


class AsFoundRequest(StrictSchema):
    """What was found at a position before anything was touched; it overrides the record."""

    position = fields.Text(80, required=True)
    ring_present = fields.Flag(metadata={"description": "A locating ring lies in this block"})
    ring_count = fields.Whole(0, 4)
    free_position = ma_fields.Nested(FreePosition)
    residual_clearance = fields.QuantityField("clearance", least=0, most=100, keep=True)
    locknut_side = fields.Choice(SIDES)
    lubrication = fields.Choice(LUBRICATIONS)
    lubricant_condition = fields.Text(500)
    load_mark = fields.Text(500, metadata={"description": "Where on the outer ring"})
    cap_bolt_break_away = fields.Array(
        fields.QuantityField("torque", least=0, most=1e6, keep=True), validate=validate.Length(1, 12)
    )
    marks = fields.Text(200, metadata={"description": "Marks on the rings of the old bearing"})
    notes = fields.Text(2000, lines=True)
    taken_at = fields.PastTime()
    taken_by = fields.Text(80)


class FreePositionRead(AnswerSchema):
    """Gap between outer ring and seat shoulder, on either side."""

    minus = quantity(required=False)
    plus = quantity(required=False)


class AsFoundRead(AnswerSchema):
    """What was found at a position; members that were not sent are left out."""

    id = word()
    position = word()
    made_revision = ma_fields.Integer(required=True, allow_none=True)
    created_at = ma_fields.DateTime(required=True)
    ring_present = ma_fields.Boolean(required=False)
    ring_count = ma_fields.Integer(required=False)
    free_position = nested(FreePositionRead, required=False)
    residual_clearance = quantity(required=False)
    locknut_side = word(required=False)
    lubrication = word(required=False)
    lubricant_condition = word(required=False)
    load_mark = word(required=False)
    cap_bolt_break_away = ma_fields.List(fields.QuantityOut(), required=False)
    marks = word(required=False)
    notes = word(required=False)
    taken_at = ma_fields.DateTime(required=False)
    taken_by = word(required=False)


class AsFoundAnswer(AsFoundRead):
    """What was found, the revision in force now, and the hold points that are open."""

    revision = ma_fields.Integer(required=True)
    hold_points_open = nested(HoldPointRead, many=True)


class AsFoundPage(AnswerSchema):
    """What was found, as it was entered."""

    items = nested(AsFoundRead, many=True)
    next = word(null=True)


class DeviationRequest(StrictSchema):
    """Another person lets a step pass that was not done as the instructions ask."""

    step = fields.OneOf(
        [
            (fields.is_text, fields.Text(120)),
            (lambda value: isinstance(value, int), fields.Whole(1, 999_999)),
        ],
        expected="the number of a step of the latest revision, or its id",
        required=True,
    )
    position = fields.Text(80)
    reason = fields.Text(2000, required=True)
    approved_by = fields.Text(80, required=True)
    taken_by = fields.Text(80, metadata={"description": "Who did the work of this step"})


class DeviationRead(AnswerSchema):
    """A deviation on record."""

    id = word()
    entry = ma_fields.Integer(required=True)
    step = word()
    position = word(null=True)
    revision = ma_fields.Integer(required=True)
    reason = word()
    approved_by = word()
    taken_by = word(null=True)
    created_at = ma_fields.DateTime(required=True)


class DeviationAnswer(DeviationRead):
    """A deviation, and the hold points that are still open."""

    hold_points_open = nested(HoldPointRead, many=True)


class DeviationPage(AnswerSchema):
    """Deviations as they were approved."""

    items = nested(DeviationRead, many=True)
    next = word(null=True)


class EntryQuery(PageQuery, UnitsQuery):
    """Query of the lists of an order's entries."""
