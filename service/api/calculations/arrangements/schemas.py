"""What is sent to /v1/bearing-arrangements and what is answered."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire import objects
from service.words import LOAD_DIRECTIONS, ROLES, SEATS, SIDES


class SupportRequest(StrictSchema):
    """One support of the shaft."""

    name = fields.Text(80, required=True)
    at = fields.QuantityField("distance", least=-1e6, most=1e6, keep=True)
    bearing = objects.bearing_field()
    housing = objects.housing_field()
    radial_load = fields.QuantityField("force", least=0, most=1e9, keep=True)
    load_direction = fields.Choice(LOAD_DIRECTIONS)
    holds_axial_position = fields.Flag()
    role = fields.Choice(ROLES)
    locknut_side = fields.Choice(SIDES)
    seat = fields.Choice(SEATS)
    shaft_diameter = fields.QuantityField("dimension", above=0, most=3000, keep=True)
    can_move = objects.can_move_field()
    seal_travel = objects.seal_travel_field()
    ring_present = objects.ring_present_field()
    rings_planned = objects.rings_planned_field()
    replaced = fields.Flag(metadata={"description": "The bearing is replaced; roles stay unless all are"})


class ArrangementRequest(StrictSchema):
    """A shaft with its supports and drives."""

    supports = fields.Array(ma_fields.Nested(SupportRequest), required=True, validate=validate.Length(1, 12))
    drives = fields.Array(ma_fields.Nested(objects.Drive), load_default=list, validate=validate.Length(max=12))
    shaft = ma_fields.Nested(objects.ShaftBody)
    base = ma_fields.Nested(objects.Body)
    assembly_temperature = fields.QuantityField("temperature", least=-60, most=80)
    reserve = fields.QuantityField("dimension", least=0, most=50)
    wheels = objects.wheels_field()
    setting_temperature = objects.setting_temperature_field(keep=False)
    axial_load = objects.axial_load_field(keep=False)
