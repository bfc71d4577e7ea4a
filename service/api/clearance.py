"""/v1/clearance-targets: what to measure, how much to take away, what must be left."""

from typing import Any

from flask import Response
from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api import fields, shapes
from service.api.answers import ClearanceTargets
from service.api.documents import blade_set, measured
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import StrictSchema
from service.instructions.job import required_bearing
from service.mounting.clearance import ClearanceTarget, clearance_target

blueprint = Blueprint("calculations", __name__, url_prefix="/v1", description="Calculations: nothing is stored")


def reading(**kwargs: Any) -> fields.QuantityField:
    """Return the field of one clearance reading."""
    return fields.QuantityField("clearance", least=0, most=100_000, **kwargs)


class ReadingRows(StrictSchema):
    """Readings of each row of rollers, with repeats."""

    rows = ma_fields.List(
        ma_fields.List(reading(), validate=validate.Length(1, 20)), required=True, validate=validate.Length(1, 2)
    )


class ClearanceRequest(StrictSchema):
    """A bearing, its seat, and what is known about it."""

    bearing = shapes.bearing_field(required=True)
    seat = fields.Choice(shapes.SEATS)
    measured_clearance = fields.OneOf(
        [
            (fields.has("rows"), ma_fields.Nested(ReadingRows)),
            (fields.is_object, reading()),
            (fields.is_array, ma_fields.List(reading(), validate=validate.Length(1, 20))),
        ],
        expected="a reading {value, unit}, a list of readings or {rows}",
    )
    temperature_difference = fields.QuantityField("temperature_difference", least=-200, most=300)
    radial_load = fields.QuantityField("force", least=0, most=1e9)
    shaft_bore = fields.QuantityField("dimension", least=0, most=3000)
    shaft_diameter = fields.QuantityField("dimension", above=0, most=3000)
    sleeve_thread = fields.Choice(shapes.SLEEVE_THREADS)
    blade_set = shapes.blade_set_field()


def target_of(given: dict[str, Any], call: Call) -> ClearanceTarget:
    """Return the clearance target of one loaded request."""
    return clearance_target(
        bearing=required_bearing(given["bearing"], "bearing"),
        seat=given.get("seat"),
        measured=measured(given.get("measured_clearance")),
        blade_set=blade_set(given.get("blade_set", call.caller.blade_set)),
        temperature_difference_k=given.get("temperature_difference"),
        radial_load_n=given.get("radial_load"),
        shaft_bore_mm=given.get("shaft_bore"),
        shaft_diameter_mm=given.get("shaft_diameter"),
        sleeve_thread=given.get("sleeve_thread"),
    )


EXAMPLE = {
    "bearing": {"designation": "22216 K/C3"},
    "seat": "adapter_sleeve",
    "measured_clearance": {"value": 0.0040, "unit": "in"},
    "blade_set": "inch",
}


@blueprint.operation(
    "POST",
    "/clearance-targets",
    scope="read",
    body=ClearanceRequest,
    answers={200: Answer(ClearanceTargets, "The targets; `blocked` must be read before anything is done")},
    example=EXAMPLE,
)
def clearance_targets(call: Call) -> Response:
    """Clearance targets for one bearing"""
    return call.answer(target_of(call.body, call).record())
