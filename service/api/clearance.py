"""/v1/clearance-targets: what to measure, how much to take away, what must be left."""

from typing import Any

from flask import Response
from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api import fields, shapes
from service.api.answers import ClearanceTargets
from service.api.documents import measured, site_books
from service.api.media import SVG, VARY, picture_answer, picture_asked_for
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import StrictSchema
from service.instructions.job import required_bearing
from service.mounting.blades import blade_set_of
from service.mounting.charts import KINDS, Chart
from service.mounting.clearance import ClearanceTarget, clearance_target
from service.mounting.witnesses import agreement
from service.reference.sleeves import sleeve_thread
from service.render.window_picture import window_picture

blueprint = Blueprint("calculations", __name__, url_prefix="/v1", description="Calculations: nothing is stored")


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

    bearing = shapes.bearing_field(required=True)
    seat = fields.Choice(shapes.SEATS)
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
    sleeve_thread = fields.Choice(shapes.SLEEVE_THREADS)
    blade_set = shapes.blade_set_field()
    witnesses = ma_fields.Nested(WitnessReadings)


def target_of(given: dict[str, Any], call: Call, charts: tuple[Chart, ...]) -> ClearanceTarget:
    """Return the clearance target of one loaded request, by the site's charts first."""
    return clearance_target(
        bearing=required_bearing(given["bearing"], "bearing"),
        seat=given.get("seat"),
        measured=measured(given.get("measured_clearance")),
        blade_set=blade_set_of(given.get("blade_set", call.caller.blade_set)),
        temperature_difference_k=given.get("temperature_difference"),
        radial_load_n=given.get("radial_load"),
        shaft_bore_mm=given.get("shaft_bore"),
        shaft_diameter_mm=given.get("shaft_diameter"),
        sleeve_thread=given.get("sleeve_thread"),
        charts=charts,
    )


def answer_of(given: dict[str, Any], call: Call, charts: tuple[Chart, ...]) -> dict[str, Any]:
    """Return the record of the answer: the target, and what the witnesses say together where readings were sent."""
    target = target_of(given, call, charts)
    record = target.record()
    record["witnesses"] = _witnesses(target, given) if "witnesses" in given else None
    return record


def _witnesses(target: ClearanceTarget, given: dict[str, Any]) -> dict[str, Any]:
    read = given["witnesses"]
    system = given.get("sleeve_thread")
    thread = None if system is None else sleeve_thread(bore_mm=target.bearing.bore_mm, system=system)
    return agreement(
        target=target,
        residual_nm=read.get("residual_clearance"),
        displacement_nm=read.get("axial_displacement"),
        nut_turn_deg=read.get("nut_turn"),
        pitch_mm=None if thread is None else thread.pitch_mm,
        needed_interference_nm=(target.fit.needed_nm or 0.0) if target.fit is not None else 0.0,
    ).record()


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
    answers={
        200: Answer(
            ClearanceTargets,
            "The targets, or their picture; `blocked` must be read before anything is done",
            media=(SVG,),
        )
    },
    refuses=("406",),
    headers=("Accept",),
    example=EXAMPLE,
)
def clearance_targets(call: Call) -> Response:
    """Clearance targets for one bearing"""
    pictured = picture_asked_for()
    record = answer_of(call.body, call, site_books(call, KINDS).charts)
    if pictured:
        return picture_answer(window_picture(record, units=call.units))
    return call.answer(record, headers=VARY)
