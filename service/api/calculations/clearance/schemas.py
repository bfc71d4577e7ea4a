"""What is sent to /v1/clearance-targets and what is answered."""

from typing import Any

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire import objects
from service.words import SEATS, UNIT_SYSTEMS


def reading(**kwargs: Any) -> fields.QuantityField:
    """Return the field of one clearance reading."""
    return fields.QuantityField("clearance", least=0, most=100_000, **kwargs)


class ReadingRows(StrictSchema):
    """Readings of each row of rollers, with repeats."""

    rows = fields.Array(
        fields.Array(reading(), validate=validate.Length(1, 20)), required=True, validate=validate.Length(1, 2)
    )


class ThinRing(StrictSchema):
    """Readings of a large thin ring that sags: at both sides, and at 12 o'clock standing or 6 o'clock hanging."""

    nine_o_clock = reading(required=True)
    three_o_clock = reading(required=True)
    vertical = reading(required=True)


class ThinRingReadings(StrictSchema):
    """A large thin ring: (nine + three + vertical) / 2 is its clearance."""

    thin_ring = ma_fields.Nested(ThinRing, required=True)


class WitnessReadings(StrictSchema):
    """What was read after mounting, by any of three ways; read against the measured initial clearance."""

    residual_clearance = reading()
    axial_displacement = fields.QuantityField("displacement", least=0, most=100)
    nut_turn = fields.QuantityField("angle", least=0, most=3600)


class ClearanceRequest(StrictSchema):
    """A bearing, its seat, and what is known about it."""

    bearing = objects.bearing_field(required=True)
    seat = fields.Choice(SEATS)
    measured_clearance = fields.OneOf(
        [
            (fields.has("rows"), ma_fields.Nested(ReadingRows)),
            (fields.has("thin_ring"), ma_fields.Nested(ThinRingReadings)),
            (fields.is_object, reading()),
            (fields.is_array, fields.Array(reading(), validate=validate.Length(1, 20))),
        ],
        expected="a reading {value, unit}, a list of readings, {rows} or {thin_ring}",
    )
    temperature_difference = fields.QuantityField("temperature_difference", least=-200, most=300)
    radial_load = fields.QuantityField("force", least=0, most=1e9)
    shaft_bore = fields.QuantityField("dimension", least=0, most=3000)
    shaft_diameter = fields.QuantityField("dimension", above=0, most=3000)
    sleeve_thread = fields.Choice(UNIT_SYSTEMS)
    blade_set = objects.blade_set_field()
    witnesses = ma_fields.Nested(WitnessReadings)
