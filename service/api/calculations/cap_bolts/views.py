"""/v1/cap-bolt-torques: how tight the cap goes, and what that does to the bolts."""

from typing import Any

from flask import Response

from service.api.calculations.cap_bolts.schemas import CapBoltRequest
from service.api.calculations.documents import site_books
from service.api.http.operations import Answer, Blueprint, Call
from service.api.wire.answers import CapBoltTorqueRead
from service.bolting.book import Bolt
from service.bolting.cap_bolts import CapBoltTorque, cap_bolt_torque
from service.bolting.lubrication import Lubrication
from service.instructions.books.books import CAP_BOLT_TORQUE, HOUSING, SiteBooks
from service.instructions.plan.bolts import wrench_of
from service.instructions.plan.job import housing_of

blueprint = Blueprint("cap bolts", __name__, url_prefix="/v1", description="Cap bolt torque")


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
    return call.answer(_torque(call.body, site_books(call, (CAP_BOLT_TORQUE, HOUSING))).record())


def _torque(given: dict[str, Any], books: SiteBooks) -> CapBoltTorque:
    lubrication = given["lubrication"]
    return cap_bolt_torque(
        housing=housing_of(given.get("housing"), "housing", housings=books.housings),
        torque_n_m=given.get("torque"),
        bolt=Bolt(**given["bolt"]) if "bolt" in given else None,
        lubrication=lubrication if isinstance(lubrication, str) else Lubrication(**lubrication),
        wrench=wrench_of(given.get("wrench")),
        charts=books.torques,
    )
