"""What is sent to /v1/assets and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import PageQuery, UnitsQuery
from service.api.wire.answers import AnswerSchema, Bounds, nested, quantity, word


class DriveRead(AnswerSchema):
    """A drive of a shaft."""

    at = quantity()
    kind = word()


class ObstacleRead(AnswerSchema):
    """What stands between a bearing and the shaft end it leaves by."""

    name = word()
    keyed = ma_fields.Boolean(required=False)


class PositionRead(AnswerSchema):
    """A bearing position; members that are not known are left out."""

    id = word()
    name = word()
    at = quantity(required=False)
    bearing = ma_fields.Dict(required=False)
    housing = ma_fields.Dict(required=False)
    seat = word(required=False)
    role = word(required=False)
    locknut_side = word(required=False)
    holds_axial_position = ma_fields.Boolean(required=False)
    shaft_diameter = quantity(required=False)
    sleeve_thread = word(required=False)
    speed = quantity(required=False)
    radial_load = quantity(required=False)
    load_direction = word(required=False)
    temperature_difference = quantity(required=False)
    lubrication = word(required=False)
    rated_life = quantity(required=False)
    duty = ma_fields.Float(required=False)
    can_move = ma_fields.Boolean(required=False)
    seal_travel = quantity(required=False)
    ring_present = ma_fields.Boolean(required=False)
    rings_planned = ma_fields.Integer(required=False)
    cap_bolts = ma_fields.Dict(required=False)
    base_bolts = ma_fields.Dict(required=False)
    base_movement = word(required=False)
    base_torque = quantity(required=False)
    cap_torque = quantity(required=False)
    in_the_way = nested(ObstacleRead, required=False, many=True)
    sealed = ma_fields.Boolean(required=False)
    shaft_bore = quantity(required=False)
    interference = nested(Bounds, required=False)
    sleeve = word(required=False)
    seals = word(required=False)
    grease = word(required=False)
    grease_fill = quantity(required=False)


class WheelRead(AnswerSchema):
    """A wheel of a shaft."""

    at = quantity()
    name = word(required=False)
    holds_axial_position = ma_fields.Boolean(required=False)


class ProcessGapRead(AnswerSchema):
    """A gap that the machine must keep."""

    name = word()
    gap = quantity(required=False)


class ShaftRead(AnswerSchema):
    """A shaft; members that are not known are left out."""

    name = word()
    drives = nested(DriveRead, many=True)
    shaft = ma_fields.Dict(required=False)
    base = ma_fields.Dict(required=False)
    assembly_temperature = quantity(required=False)
    reserve = quantity(required=False)
    wheels = nested(WheelRead, required=False, many=True)
    setting_temperature = quantity(required=False)
    axial_load = quantity(required=False)
    inclination = quantity(required=False)
    rotor_mass = quantity(required=False)
    overhung = ma_fields.Boolean(required=False)
    take_up = ma_fields.Boolean(required=False)
    hollow = ma_fields.Boolean(required=False)
    process_gap = nested(ProcessGapRead, required=False)
    stop_limit = quantity(required=False)
    positions = nested(PositionRead, many=True)


class AssetRead(AnswerSchema):
    """A machine on record."""

    id = word()
    tag = word()
    name = word()
    version = ma_fields.Integer(required=True)
    created_at = ma_fields.DateTime(required=True)
    updated_at = ma_fields.DateTime(required=True)
    shafts = nested(ShaftRead, many=True)


class AssetPage(AnswerSchema):
    """A page of machines."""

    items = nested(AssetRead, many=True)
    next = word(null=True)


class AssetQuery(PageQuery, UnitsQuery):
    """Filters of the list of machines."""

    tag = fields.Text(80, metadata={"description": "The machine with this tag"})
    named = fields.Text(
        80, metadata={"description": "Machines whose tag or name holds this text, in any case (A to Z)"}
    )
