"""What is sent to /v1/stays/attributes and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word
from service.words import ATTRIBUTE_TYPES


class AttributeWrite(StrictSchema):
    """The one type of a name, and what it means."""

    type = fields.Choice(ATTRIBUTE_TYPES, required=True)
    description = fields.Text(300, metadata={"description": "What it says, with its unit where it is a number"})


class AttributeRead(AnswerSchema):
    """A name that attributes of the site's stays may have."""

    name = word()
    type = word()
    description = word(null=True)
    created_at = ma_fields.DateTime(required=True)


class AttributeList(AnswerSchema):
    """All names of the site."""

    items = nested(AttributeRead, many=True)
