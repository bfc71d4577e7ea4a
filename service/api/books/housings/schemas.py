"""What is sent to /v1/housings and what is answered."""

from marshmallow import fields as ma_fields

from service.api.books.charts.schemas import ProvenanceRead
from service.api.http import fields
from service.api.http.schema import PageQuery, UnitsQuery
from service.api.wire.answers import AnswerSchema, nested, quantity, word


class LocatingRingsRead(AnswerSchema):
    """Locating rings of a housing."""

    count = ma_fields.Integer(required=True)
    width = quantity()


class CapBoltsRead(AnswerSchema):
    """Cap bolts of a housing; members that are not known are left out."""

    thread = word()
    grade = word(required=False)
    count = ma_fields.Integer(required=False)
    torque = quantity(required=False)


class HousingRead(AnswerSchema):
    """One version of a housing; members that are not known are left out."""

    id = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    seat_width = quantity()
    seat_bore = quantity()
    locating_rings = nested(LocatingRingsRead, required=False)
    cap_bolts = nested(CapBoltsRead, required=False)
    accept_unusual = ma_fields.Boolean(required=False)
    reason = word(required=False)
    provenance = nested(ProvenanceRead)
    created_at = ma_fields.DateTime(required=True)
    sha256 = word()


class HousingPage(AnswerSchema):
    """A page of housings."""

    items = nested(HousingRead, many=True)
    next = word(null=True)


class HousingQuery(PageQuery, UnitsQuery):
    """Filters of the list of housings."""

    name = fields.Text(80)
    in_force = fields.Choice(
        ("true", "false"), metadata={"description": "true: the latest version of each housing; false: the earlier ones"}
    )
