"""What is sent to /v1/work-orders and what is answered."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import PageQuery, StrictSchema
from service.api.orders.completion.schemas import FlagRead
from service.api.orders.instructions.schemas import Instructions
from service.api.orders.readiness.schemas import ReadinessSummary
from service.api.wire import objects
from service.api.wire.answers import AnswerSchema, nested, word
from service.api.wire.bolts import Wrench
from service.words import ORDER_KINDS, ORDER_STATUSES


class External(StrictSchema):
    """The order's number in the system that opened it."""

    system = fields.Text(80, required=True)
    number = fields.Text(80, required=True)


class OrderPosition(StrictSchema):
    """A position of the order, with the bearing to be fitted when it is not the one on record."""

    name = fields.Text(80, required=True)
    bearing = objects.bearing_field()
    refit = fields.Flag(
        metadata={"description": "true: the bearing that runs here is looked over, measured anew and goes back in"}
    )


class WorkOrderRequest(StrictSchema):
    """A work order to replace or inspect the bearings of one shaft."""

    external = ma_fields.Nested(External, required=True)
    asset = fields.OneOf(
        [(fields.is_text, fields.Text(80)), (fields.is_object, ma_fields.Nested(objects.Asset))],
        expected="the tag of an asset or a full asset",
        required=True,
    )
    positions = fields.Array(
        fields.OneOf(
            [(fields.is_text, fields.Text(80)), (fields.is_object, ma_fields.Nested(OrderPosition))],
            expected="the name of a position or {name, bearing}",
        ),
        required=True,
        validate=validate.Length(1, 12),
    )
    kind = fields.Choice(ORDER_KINDS, load_default="replacement")
    wrench = ma_fields.Nested(Wrench, metadata={"description": "The torque wrench at hand, for its setting"})
    opened_at = fields.Timestamp()
    allow_second = fields.Flag(
        load_default=False,
        metadata={"description": "true: open the order though another one is open on one of its positions"},
    )


class ExternalRead(AnswerSchema):
    """The order's number in the system that opened it."""

    system = word()
    number = word()


class WorkOrderLine(AnswerSchema):
    """A work order without its instructions."""

    id = word()
    external = nested(ExternalRead)
    asset = word()
    asset_id = word()
    positions = ma_fields.List(ma_fields.String(), required=True)
    kind = word()
    status = ma_fields.String(required=True, metadata={"enum": list(ORDER_STATUSES)})
    opened_at = ma_fields.DateTime(required=True)
    closed_at = ma_fields.DateTime(required=True, allow_none=True)
    cancel_reason = word(null=True)
    revision = ma_fields.Integer(required=True)


class WorkOrderRead(WorkOrderLine):
    """A work order with its latest instructions."""

    readiness = nested(ReadinessSummary)
    instructions = nested(Instructions)


class FlaggedWorkOrder(WorkOrderRead):
    """A work order, and what the lead looks at before it is closed."""

    flags = nested(FlagRead, many=True)


class WorkOrderPage(AnswerSchema):
    """A page of work orders."""

    items = nested(WorkOrderLine, many=True)
    next = word(null=True)


class WorkOrderQuery(PageQuery):
    """Filters of the list of work orders."""

    system = fields.Text(80)
    number = fields.Text(80)
    asset = fields.Text(80, metadata={"description": "Tag of the asset"})
    position = fields.Text(80, metadata={"description": "Name of a position"})
    status = fields.Choice(ORDER_STATUSES)
    from_ = fields.Timestamp(data_key="from", metadata={"description": "Opened at or after"})
    to = fields.Timestamp(metadata={"description": "Opened before"})


class Cancellation(StrictSchema):
    """Why the order is cancelled."""

    reason = fields.Text(500, required=True)
