"""What is sent to /v1/assets/{id}/meter-readings and what is answered."""

from typing import Final

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import PageQuery, StrictSchema, UnitsQuery
from service.api.wire.answers import AnswerSchema, nested, quantity, word

MOST_READINGS: Final = 1_000


class MeterReadingWrite(StrictSchema):
    """A reading; ``restarts_at`` when the meter was exchanged then, and what the new one showed."""

    read_at = fields.Timestamp(required=True)
    value = fields.QuantityField("time", least=0, most=1e8, required=True)
    restarts_at = fields.QuantityField(
        "time", least=0, most=1e8, metadata={"description": "The meter was exchanged: what the new one began with"}
    )


class MeterReadingsRequest(StrictSchema):
    """Readings of the hour meter of one machine."""

    readings = fields.Array(
        ma_fields.Nested(MeterReadingWrite), required=True, validate=validate.Length(1, MOST_READINGS)
    )


class MeterReadingRead(AnswerSchema):
    """A reading, with the hours run since the first one."""

    id = word()
    read_at = ma_fields.DateTime(required=True)
    value = quantity()
    restarts_at = quantity(null=True)
    run_since_first = quantity()


class MeterReadingPage(AnswerSchema):
    """A page of readings."""

    items = nested(MeterReadingRead, many=True)
    next = word(null=True)


class MeterReadingsAnswer(AnswerSchema):
    """The readings that were entered."""

    items = nested(MeterReadingRead, many=True)
    unchanged = ma_fields.Integer(required=True)


class MeterPageQuery(PageQuery, UnitsQuery):
    """Query of the list of readings."""
