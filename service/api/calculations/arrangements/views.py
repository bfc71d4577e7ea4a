"""/v1/bearing-arrangements: which support locates the shaft, which are free, how far they must move."""

from collections.abc import Mapping
from typing import Any

from flask import Response

from service.api.calculations.arrangements.schemas import ArrangementRequest
from service.api.calculations.documents import site_books
from service.api.http.media import SVG, VARY, picture_answer, picture_asked_for
from service.api.http.operations import Answer, Blueprint, Call
from service.api.wire.answers import ArrangementRead
from service.arrangement.shaft_line import Arrangement, arrangement
from service.instructions.books.books import HOUSING, NO_BOOKS
from service.instructions.plan.job import body_of, drives_of, support_of, wheels_of
from service.reference.housings import Housing
from service.render.pictures.shaft import shaft_picture

blueprint = Blueprint("arrangements", __name__, url_prefix="/v1", description="Locating and free supports of a shaft")


EXAMPLE: dict[str, Any] = {
    "supports": [
        {
            "name": name,
            "at": {"value": at, "unit": "m"},
            "bearing": {"designation": "22216 K/C3"},
            "housing": {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"},
        }
        for name, at in (("tail", 0), ("drive", 3.0))
    ],
    "drives": [{"at": {"value": 3.4, "unit": "m"}, "kind": "coupling"}],
    "shaft": {"material": "carbon_steel", "temperature": {"value": 80, "unit": "degC"}},
    "base": {"material": "concrete", "temperature": {"value": 20, "unit": "degC"}},
}


@blueprint.operation(
    "POST",
    "/bearing-arrangements",
    scope="read",
    body=ArrangementRequest,
    answers={
        200: Answer(
            ArrangementRead,
            "The roles, or the picture of the shaft; null where the rules leave them open, with the question",
            media=(SVG,),
        )
    },
    refuses=("406",),
    headers=("Accept",),
    example=EXAMPLE,
)
def bearing_arrangements(call: Call) -> Response:
    """Locating and free supports of a shaft"""
    pictured = picture_asked_for()
    named = any("name" in support.get("housing", {}) for support in call.body["supports"])
    books = site_books(call, (HOUSING,)) if named else NO_BOOKS
    record = _arrangement(call.body, books.housings).record()
    return picture_answer(_picture(record, call)) if pictured else call.answer(record, headers=VARY)


def _picture(record: dict[str, Any], call: Call) -> str:
    given = call.body
    return shaft_picture(
        record,
        supports=given["supports"],
        drives=given["drives"],
        wheels=given.get("wheels", ()),
        units=call.units,
    )


def _arrangement(given: dict[str, Any], housings: Mapping[str, Housing]) -> Arrangement:
    shaft = given.get("shaft") or {}
    options = {
        name: given[member]
        for name, member in (
            ("assembly_temperature_degc", "assembly_temperature"),
            ("reserve_mm", "reserve"),
            ("axial_load_n", "axial_load"),
            ("setting_temperature_degc", "setting_temperature"),
        )
        if member in given
    }
    return arrangement(
        supports=tuple(
            support_of(support, f"supports/{n}", housings=housings) for n, support in enumerate(given["supports"])
        ),
        drives=drives_of(given["drives"]),
        wheels=wheels_of(given.get("wheels")),
        shaft=body_of(given.get("shaft")),
        base=body_of(given.get("base")),
        shaft_diameter_mm=shaft["diameter"].value if "diameter" in shaft else None,
        **options,
    )
