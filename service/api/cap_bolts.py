"""/v1/cap-bolt-torques: how tight the cap goes, and what that does to the bolts."""

from typing import Any

from flask import Response
from marshmallow import fields as ma_fields

from service.api import fields, shapes
from service.api.answers import CapBoltTorqueRead
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import StrictSchema
from service.bolting.book import Bolt
from service.bolting.cap_bolts import CapBoltTorque, cap_bolt_torque
from service.bolting.lubrication import Lubrication
from service.bolting.wrench import Wrench
from service.instructions.job import housing_of

blueprint = Blueprint("cap bolts", __name__, url_prefix="/v1", description="Cap bolt torque")

LUBRICATION_STATES = ("dry", "oiled", "anti_seize", "unknown")


class BoltRequest(StrictSchema):
    """The bolts of one cap."""

    thread = fields.Text(20, required=True, metadata={"examples": ["M16", "1/2-13 UNC"]})
    grade = fields.Text(20, metadata={"examples": ["8.8", "SAE J429 5"]})
    count = fields.Whole(1, 16)


class NutFactor(StrictSchema):
    """A known nut factor K."""

    nut_factor = fields.Number(above=0, most=1, required=True)


class Frictions(StrictSchema):
    """Known coefficients of friction in the thread and under the head."""

    thread_friction = fields.Number(above=0, most=1, required=True)
    head_friction = fields.Number(above=0, most=1, required=True)


class WrenchRequest(StrictSchema):
    """A torque wrench, with an adapter if one is used."""

    min = fields.QuantityField("torque", above=0, most=1e6, required=True)
    max = fields.QuantityField("torque", above=0, most=1e6, required=True)
    length = fields.QuantityField("dimension", above=0, most=5000)
    adapter_length = fields.QuantityField("dimension", least=0, most=2000)
    adapter_angle = fields.QuantityField("angle", least=-180, most=180)


class CapBoltRequest(StrictSchema):
    """A housing whose book torque is asked for, or a torque and a bolt to be checked."""

    housing = shapes.housing_field()
    torque = fields.QuantityField("torque", above=0, most=1e6)
    bolt = ma_fields.Nested(BoltRequest)
    lubrication = fields.OneOf(
        [
            (fields.is_text, fields.Choice(LUBRICATION_STATES)),
            (fields.has("nut_factor"), ma_fields.Nested(NutFactor)),
            (fields.is_object, ma_fields.Nested(Frictions)),
        ],
        expected="dry, oiled, anti_seize, unknown, {nut_factor} or {thread_friction, head_friction}",
        load_default="unknown",
    )
    wrench = ma_fields.Nested(WrenchRequest)


@blueprint.operation(
    "POST",
    "/cap-bolt-torques",
    scope="read",
    body=CapBoltRequest,
    answers={200: Answer(CapBoltTorqueRead, "The torque from a book, never computed from the bolt; else null")},
    example={"housing": {"size": "516", "dimensions": "inch"}, "lubrication": "oiled"},
)
def cap_bolt_torques(call: Call) -> Response:
    """Cap bolt torque of a housing, or a cross-check of a torque"""
    return call.answer(_torque(call.body).record())


def _torque(given: dict[str, Any]) -> CapBoltTorque:
    lubrication = given["lubrication"]
    return cap_bolt_torque(
        housing=housing_of(given.get("housing"), "housing"),
        torque_n_m=given.get("torque"),
        bolt=Bolt(**given["bolt"]) if "bolt" in given else None,
        lubrication=lubrication if isinstance(lubrication, str) else Lubrication(**lubrication),
        wrench=_wrench(given.get("wrench")),
    )


def _wrench(given: dict[str, Any] | None) -> Wrench | None:
    if given is None:
        return None
    return Wrench(
        min_n_m=given["min"],
        max_n_m=given["max"],
        length_mm=given.get("length"),
        adapter_length_mm=given.get("adapter_length"),
        adapter_angle_deg=given.get("adapter_angle"),
    )
