"""/v1/clearance-targets: what to measure, how much to take away, what must be left."""

from typing import Any

from flask import Response

from service.api.calculations.clearance.schemas import (
    ClearanceRequest,
)
from service.api.calculations.documents import measured, site_books
from service.api.http.media import SVG, VARY, picture_answer, picture_asked_for
from service.api.http.operations import Answer, Blueprint, Call
from service.api.wire.answers import ClearanceTargets
from service.instructions.plan.job import required_bearing
from service.mounting.blades import blade_set_of
from service.mounting.charts import KINDS, Chart
from service.mounting.clearance import ClearanceTarget, clearance_target
from service.mounting.witnesses import agreement
from service.reference.sleeves import sleeve_thread
from service.render.pictures.window import window_picture

blueprint = Blueprint("calculations", __name__, url_prefix="/v1", description="Calculations: nothing is stored")


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
