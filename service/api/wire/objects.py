"""Bearings, housings and the other objects that several resources take, as the wire contract writes them.

They load into documents of ``service.record``: the same members, quantities as ``Quantity`` leaves. Calculations
and stored assets read the same documents.
"""

from typing import Any

from marshmallow import ValidationError, validate, validates_schema
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.bolts import FittedBolts
from service.words import (
    BASE_MOVEMENTS,
    BEARING_TYPES,
    CLEARANCE_CLASSES,
    DRIVE_KINDS,
    LOAD_DIRECTIONS,
    LUBRICATIONS,
    ROLES,
    SEALINGS,
    SEATS,
    SIDES,
    TAPERS,
    UNIT_SYSTEMS,
)

MATERIALS = (
    "carbon_steel", "alloy_steel", "bearing_steel", "stainless_300", "stainless_400",
    "grey_cast_iron", "ductile_cast_iron", "aluminium", "concrete",
)  # fmt: skip


class BearingByDesignation(StrictSchema):
    """A bearing by its designation of the ISO/DIN number series."""

    designation = fields.Text(60, required=True, metadata={"examples": ["22216 K/C3"]})


class BearingByDimensions(StrictSchema):
    """A bearing by what it measures, for designations that cannot be read."""

    type = fields.Choice(BEARING_TYPES, required=True)
    bore = fields.QuantityField("dimension", above=0, most=3000, keep=True, required=True)
    outside_diameter = fields.QuantityField("dimension", above=0, most=5000, keep=True)
    width = fields.QuantityField("dimension", above=0, most=2000, keep=True)
    taper = fields.Choice(TAPERS, required=True)
    clearance_class = fields.Choice(CLEARANCE_CLASSES, required=True)


def bearing_field(**kwargs: object) -> fields.OneOf:
    """Return the field of a bearing in either shape."""
    return fields.OneOf(
        [
            (fields.has("designation"), ma_fields.Nested(BearingByDesignation)),
            (fields.has("type"), ma_fields.Nested(BearingByDimensions)),
        ],
        expected="a bearing: {designation} or {type, bore, taper, clearance_class}",
        **kwargs,
    )


class HousingBySize(StrictSchema):
    """A split plummer block by its size number of the metric (ISO 113) or the inch series."""

    size = fields.Text(20, required=True, metadata={"examples": ["516"]})
    dimensions = fields.Choice(UNIT_SYSTEMS, required=True)
    seat_design = fields.Choice(("narrow_seat", "wide_seat"))


class HousingByName(StrictSchema):
    """A housing of the site's own list."""

    name = fields.Text(80, required=True)


class LocatingRings(StrictSchema):
    """Locating rings that belong to a housing and its bearing."""

    count = fields.Whole(1, 2, required=True)
    width = fields.QuantityField("dimension", above=0, most=500, keep=True, required=True)


class HousingByDimensions(StrictSchema):
    """A housing by the dimensions of its bearing seat."""

    seat_width = fields.QuantityField("dimension", above=0, most=2000, keep=True, required=True)
    seat_bore = fields.QuantityField("dimension", above=0, most=5000, keep=True, required=True)
    locating_rings = ma_fields.Nested(LocatingRings)


def housing_field(**kwargs: object) -> fields.OneOf:
    """Return the field of a housing in one of its shapes."""
    return fields.OneOf(
        [
            (fields.has("size"), ma_fields.Nested(HousingBySize)),
            (fields.has("name"), ma_fields.Nested(HousingByName)),
            (fields.has("seat_width"), ma_fields.Nested(HousingByDimensions)),
        ],
        expected="a housing: {size, dimensions, seat_design?}, {name} or {seat_width, seat_bore}",
        **kwargs,
    )


class Drive(StrictSchema):
    """Where and how the shaft is driven."""

    at = fields.QuantityField("distance", least=-1e6, most=1e6, keep=True, required=True)
    kind = fields.Choice(DRIVE_KINDS, required=True)


class Wheel(StrictSchema):
    """A wheel on the shaft, between the supports or overhung, and whether the machine needs its place held."""

    at = fields.QuantityField("distance", least=-1e6, most=1e6, keep=True, required=True)
    name = fields.Text(80)
    holds_axial_position = fields.Flag(
        metadata={"description": "The wheel must keep its place along the shaft (inlet gap, seal); left out: not known"}
    )


class Body(StrictSchema):
    """The shaft or the base: what it is made of and how warm it runs."""

    material = fields.Choice(MATERIALS, required=True)
    temperature = fields.QuantityField("temperature", least=-100, most=800, keep=True)


class ShaftBody(Body):
    """The shaft."""

    diameter = fields.QuantityField("dimension", above=0, most=3000, keep=True)


def can_move_field() -> fields.Flag:
    """Return whether a bearing can move in its seat."""
    return fields.Flag(metadata={"description": "false: the bearing cannot move in its seat, the block is built so"})


def seal_travel_field() -> fields.QuantityField:
    """Return the travel that seals allow."""
    said = {"description": "Axial travel in all that the seals allow, where it is less than the seat's"}
    return fields.QuantityField("dimension", least=0, most=500, keep=True, metadata=said)


def ring_present_field() -> fields.Flag:
    """Return whether a locating ring was found in a housing."""
    said = "As found under the cap: a locating ring lies in the housing; goes before the role on record"
    return fields.Flag(metadata={"description": said})


def rings_planned_field() -> fields.Whole:
    """Return how many locating rings a parts list holds for a housing."""
    return fields.Whole(0, 2, metadata={"description": "Locating rings that the parts list holds for this housing"})


class Obstacle(StrictSchema):
    """What stands between a bearing and the shaft end it leaves by."""

    name = fields.Text(80, required=True)
    keyed = fields.Flag(metadata={"description": "It sits on a key: it needs a puller and time"})


class Interference(StrictSchema):
    """Interference of a cylindrical bore on its shaft by both tolerances; negative where the fit is loose."""

    min = fields.QuantityField("dimension", least=-5, most=5, keep=True, required=True)
    max = fields.QuantityField("dimension", least=-5, most=5, keep=True, required=True)

    @validates_schema
    def in_order(self, data: dict[str, Any], **_: Any) -> None:
        """Refuse a range that runs backwards."""
        if data["min"].value > data["max"].value:
            raise ValidationError({"max": [{"code": "out_of_range", "detail": "max lies below min"}]})


class ProcessGap(StrictSchema):
    """A gap that the machine must keep at the held end: an inlet cone, a coupling."""

    name = fields.Text(80, required=True)
    gap = fields.QuantityField("dimension", least=0, most=500, keep=True)


def base_movement_field(**kwargs: Any) -> fields.Choice:
    """Return whether a base may be moved."""
    said = {"description": "Whether the base may slide along the shaft"}
    return fields.Choice(BASE_MOVEMENTS, metadata=said, **kwargs)


def base_torque_field(**kwargs: Any) -> fields.QuantityField:
    """Return the torque of base or cap bolts out of the housing maker's book."""
    return fields.QuantityField("torque", above=0, most=100_000, keep=True, **kwargs)


def in_the_way_field(**kwargs: Any) -> ma_fields.List:
    """Return what is in the way of one bearing; empty where nothing is."""
    return fields.Array(ma_fields.Nested(Obstacle), validate=validate.Length(max=20), **kwargs)


def grease_fill_field(**kwargs: Any) -> fields.QuantityField:
    """Return the first fill of a housing out of its book."""
    said = {"description": "First fill of the housing by its own book, without the bearing"}
    return fields.QuantityField("mass", above=0, most=100, keep=True, metadata=said, **kwargs)


class Position(StrictSchema):
    """The place of one bearing on a shaft, and what is known about it."""

    id = fields.Identifier()
    name = fields.Text(80, required=True)
    at = fields.QuantityField("distance", least=-1e6, most=1e6, keep=True)
    bearing = bearing_field()
    housing = housing_field()
    seat = fields.Choice(SEATS)
    role = fields.Choice(ROLES)
    locknut_side = fields.Choice(SIDES)
    holds_axial_position = fields.Flag()
    shaft_diameter = fields.QuantityField("dimension", above=0, most=3000, keep=True)
    sleeve_thread = fields.Choice(UNIT_SYSTEMS)
    speed = fields.QuantityField("speed", least=0, most=100_000, keep=True)
    radial_load = fields.QuantityField("force", least=0, most=1e9, keep=True)
    load_direction = fields.Choice(LOAD_DIRECTIONS)
    temperature_difference = fields.QuantityField("temperature_difference", least=-200, most=300, keep=True)
    lubrication = fields.Choice(LUBRICATIONS)
    rated_life = fields.QuantityField("time", above=0, most=1e9, keep=True)
    duty = fields.Number(above=0, most=1, metadata={"description": "Share of calendar time that the machine runs"})
    can_move = can_move_field()
    seal_travel = seal_travel_field()
    ring_present = ring_present_field()
    rings_planned = rings_planned_field()
    cap_bolts = ma_fields.Nested(FittedBolts)
    base_bolts = ma_fields.Nested(FittedBolts)
    base_movement = base_movement_field()
    base_torque = base_torque_field()
    cap_torque = base_torque_field(metadata={"description": "Looked up in the housing maker's book for this block"})
    in_the_way = in_the_way_field()
    sealed = fields.Flag(metadata={"description": "The bearing has seals of its own"})
    shaft_bore = fields.QuantityField("dimension", above=0, most=3000, keep=True)
    interference = ma_fields.Nested(Interference)
    sleeve = fields.Text(80, metadata={"description": "The sleeve by its name on the parts list"})
    seals = fields.Choice(SEALINGS)
    grease = fields.Text(80, metadata={"description": "The grease or oil on the lubrication plan"})
    grease_fill = grease_fill_field()


def wheels_field() -> ma_fields.List:
    """Return the wheels of a shaft."""
    return fields.Array(ma_fields.Nested(Wheel), validate=validate.Length(max=12))


def setting_temperature_field(*, keep: bool) -> fields.QuantityField:
    """Return the temperature of the shaft when a free bearing is set."""
    said = {
        "description": "Temperature of the shaft's steel while a free bearing is set; the base is taken to have the "
        "assembly temperature then. A shaft that is warmer than 60 degC is left to cool before hands go near it"
    }
    return fields.QuantityField("temperature", least=-60, most=60, keep=keep, metadata=said)


def axial_load_field(*, keep: bool) -> fields.QuantityField:
    """Return the axial load on a shaft."""
    said = {"description": "Axial load on the shaft, positive in the plus direction"}
    return fields.QuantityField("force", least=-1e9, most=1e9, keep=keep, metadata=said)


def inclination_field(**kwargs: Any) -> fields.QuantityField:
    """Return the angle of a shaft to the horizontal."""
    return fields.QuantityField("angle", least=0, most=90, keep=True, **kwargs)


def rotor_mass_field(**kwargs: Any) -> fields.QuantityField:
    """Return the mass of what is lifted with a shaft."""
    return fields.QuantityField("mass", above=0, most=1e6, keep=True, **kwargs)


def stop_limit_field(**kwargs: Any) -> fields.QuantityField:
    """Return the temperature at which a machine is stopped while it runs in."""
    return fields.QuantityField("temperature", least=40, most=150, keep=True, **kwargs)


class Shaft(StrictSchema):
    """One shaft of an asset with all its bearing positions."""

    name = fields.Text(80, required=True)
    drives = fields.Array(ma_fields.Nested(Drive), validate=validate.Length(max=12))
    shaft = ma_fields.Nested(ShaftBody)
    base = ma_fields.Nested(Body)
    assembly_temperature = fields.QuantityField("temperature", least=-60, most=80, keep=True)
    reserve = fields.QuantityField("dimension", least=0, most=50, keep=True)
    wheels = wheels_field()
    setting_temperature = setting_temperature_field(keep=True)
    axial_load = axial_load_field(keep=True)
    inclination = inclination_field()
    rotor_mass = rotor_mass_field()
    overhung = fields.Flag(metadata={"description": "A wheel or pulley stands outside the bearings"})
    take_up = fields.Flag(metadata={"description": "The bases stand on take-up screws"})
    hollow = fields.Flag()
    process_gap = ma_fields.Nested(ProcessGap)
    stop_limit = stop_limit_field()
    positions = fields.Array(ma_fields.Nested(Position), required=True, validate=validate.Length(1, 12))


class Asset(StrictSchema):
    """A machine: its tag, and its shafts with their positions."""

    tag = fields.Text(80, required=True)
    name = fields.Text(200, required=True)
    shafts = fields.Array(ma_fields.Nested(Shaft), required=True, validate=validate.Length(1, 20))


def blade_set_field(**kwargs: object) -> fields.OneOf:
    """Return the field of a feeler blade set: a usual one by name, or its own blades."""
    own = fields.Array(fields.Blade(), validate=validate.Length(1, 100))
    return fields.OneOf(
        [(fields.is_text, fields.Choice(UNIT_SYSTEMS)), (fields.is_array, own)],
        expected='"inch", "metric" or a list of blades',
        **kwargs,
    )
