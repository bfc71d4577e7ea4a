"""What is sent to /v1/cap-bolt-torques and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire import bolts, objects


class CapBoltRequest(StrictSchema):
    """A housing whose book torque is asked for, or a torque and a bolt to be checked."""

    housing = objects.housing_field()
    torque = fields.QuantityField("torque", above=0, most=1e6)
    bolt = ma_fields.Nested(bolts.Bolts)
    lubrication = bolts.lubrication_field(load_default="unknown")
    wrench = ma_fields.Nested(bolts.Wrench)
