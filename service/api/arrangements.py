"""/v1/bearing-arrangements: which support locates the shaft, which are free, how far they must move."""

from collections.abc import Mapping
from typing import Any

from flask import Response
from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api import fields, shapes
from service.api.answers import ArrangementRead
from service.api.documents import site_books
from service.api.media import SVG, VARY, picture_answer, picture_asked_for
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import StrictSchema
from service.arrangement.shaft_line import Arrangement, arrangement
from service.instructions.books import HOUSING, NO_BOOKS
from service.instructions.job import body_of, drives_of, support_of, wheels_of
from service.reference.housings import Housing
from service.render.shaft_picture import shaft_picture

blueprint = Blueprint("arrangements", __name__, url_prefix="/v1", description="Locating and free supports of a shaft")


class SupportRequest(StrictSchema):
    """One support of the shaft."""

    name = fields.Text(80, required=True)
    at = fields.QuantityField("distance", least=-1e6, most=1e6, keep=True)
    bearing = shapes.bearing_field()
    housing = shapes.housing_field()
    radial_load = fields.QuantityField("force", least=0, most=1e9, keep=True)
    load_direction = fields.Choice(shapes.LOAD_DIRECTIONS)
    holds_axial_position = fields.Flag()
    role = fields.Choice(shapes.ROLES)
    locknut_side = fields.Choice(shapes.SIDES)
    seat = fields.Choice(shapes.SEATS)
    shaft_diameter = fields.QuantityField("dimension", above=0, most=3000, keep=True)
    can_move = shapes.can_move_field()
    seal_travel = shapes.seal_travel_field()
    ring_present = shapes.ring_present_field()
    rings_planned = shapes.rings_planned_field()
    replaced = fields.Flag(metadata={"description": "The bearing is replaced; roles stay unless all are"})


class ArrangementRequest(StrictSchema):
    """A shaft with its supports and drives."""

    supports = fields.Array(ma_fields.Nested(SupportRequest), required=True, validate=validate.Length(1, 12))
    drives = fields.Array(ma_fields.Nested(shapes.Drive), load_default=list, validate=validate.Length(max=12))
    shaft = ma_fields.Nested(shapes.ShaftBody)
    base = ma_fields.Nested(shapes.Body)
    assembly_temperature = fields.QuantityField("temperature", least=-60, most=80)
    reserve = fields.QuantityField("dimension", least=0, most=50)
    wheels = shapes.wheels_field()
    setting_temperature = shapes.setting_temperature_field(keep=False)
    axial_load = shapes.axial_load_field(keep=False)


EXAMPLE: dict[str, Any] = {
    "supports": [
        {
            "name": name,
            "at": {"value": at, "unit": "m"},
            "bearing": {"designation": "22216 K/C3"},
            "housing": {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"},
        }
        for name, at in (("tail", 0), ("drive", 3.0))
    ],
    "drives": [{"at": {"value": 3.4, "unit": "m"}, "kind": "coupling"}],
    "shaft": {"material": "carbon_steel", "temperature": {"value": 80, "unit": "degC"}},
    "base": {"material": "concrete", "temperature": {"value": 20, "unit": "degC"}},
}


@blueprint.operation(
    "POST",
    "/bearing-arrangements",
    scope="read",
    body=ArrangementRequest,
    answers={
        200: Answer(
            ArrangementRead,
            "The roles, or the picture of the shaft; null where the rules leave them open, with the question",
            media=(SVG,),
        )
    },
    refuses=("406",),
    headers=("Accept",),
    example=EXAMPLE,
)
def bearing_arrangements(call: Call) -> Response:
    """Locating and free supports of a shaft"""
    pictured = picture_asked_for()
    named = any("name" in support.get("housing", {}) for support in call.body["supports"])
    books = site_books(call, (HOUSING,)) if named else NO_BOOKS
    record = _arrangement(call.body, books.housings).record()
    return picture_answer(_picture(record, call)) if pictured else call.answer(record, headers=VARY)


def _picture(record: dict[str, Any], call: Call) -> str:
    given = call.body
    return shaft_picture(
        record,
        supports=given["supports"],
        drives=given["drives"],
        wheels=given.get("wheels", ()),
        units=call.units,
    )


def _arrangement(given: dict[str, Any], housings: Mapping[str, Housing]) -> Arrangement:
    shaft = given.get("shaft") or {}
    options = {
        name: given[member]
        for name, member in (
            ("assembly_temperature_degc", "assembly_temperature"),
            ("reserve_mm", "reserve"),
            ("axial_load_n", "axial_load"),
            ("setting_temperature_degc", "setting_temperature"),
        )
        if member in given
    }
    return arrangement(
        supports=tuple(
            support_of(support, f"supports/{n}", housings=housings) for n, support in enumerate(given["supports"])
        ),
        drives=drives_of(given["drives"]),
        wheels=wheels_of(given.get("wheels")),
        shaft=body_of(given.get("shaft")),
        base=body_of(given.get("base")),
        shaft_diameter_mm=shaft["diameter"].value if "diameter" in shaft else None,
        **options,
    )
