"""/v1/housings: housings as their makers' books give them, known by name. Never edited in place."""

from typing import Any

from flask import Response, current_app

from service.api.books.housings.schemas import HousingPage, HousingQuery, HousingRead
from service.api.books.schemas import HousingRequest
from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.instructions.books.books import HOUSING
from service.moments import rfc3339
from service.record import sha256
from service.store.queries import books
from service.store.queries.books import BookRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.books.enter import book_of_path, checked_housing, enter_housing

blueprint = Blueprint("housings", __name__, url_prefix="/v1/housings", description="Housings of the site by name")


def housing_record(row: BookRow) -> dict[str, Any]:
    """Return the wire members of a version."""
    return {
        "id": row.id,
        "name": row.name,
        "version": row.version,
        "in_force": row.in_force,
        **row.document,
        "created_at": rfc3339(row.created_at),
        "sha256": sha256(row.document),
    }


EXAMPLE: dict[str, Any] = {
    "name": "conveyor block 80",
    "seat_width": {"value": 58, "unit": "mm"},
    "seat_bore": {"value": 140, "unit": "mm"},
    "locating_rings": {"count": 2, "width": {"value": 12.5, "unit": "mm"}},
    "cap_bolts": {"thread": "M16", "grade": "8.8", "count": 2, "torque": {"value": 150, "unit": "N.m"}},
    "provenance": {
        "title": "Housing book of the maker",
        "edition": "2023",
        "page": "41",
        "entered_by": "R. Example",
        "checked_by": "S. Example",
    },
}


@blueprint.operation(
    "POST",
    "",
    scope="admin",
    body=HousingRequest,
    signs=("provenance/entered_by",),
    answers={201: Answer(HousingRead, "The housing, in force from now on", headers=("Location",))},
    refuses=("409",),
    example=EXAMPLE,
)
def create_housing(call: Call) -> Response:
    """Enter a housing; the same name again makes its next version"""
    housing = checked_housing(call.body)

    def work(tx: Tx) -> Written:
        row, event = enter_housing(tx, housing)
        location = f"{current_app.config['PUBLIC_URL']}/v1/housings/{row.id}"
        return Written(201, call.json(housing_record(row)), {"Location": location}, (event,))

    return call.write(work)


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=HousingQuery,
    answers={200: Answer(HousingPage, "A page of housings, every version, oldest first", headers=("Link",))},
)
def list_housings(call: Call) -> Response:
    """List housings"""
    query = call.query
    with call.reading() as tx:
        rows = books.page_of_books(
            tx,
            HOUSING,
            name=query.get("name"),
            in_force=None if "in_force" not in query else query["in_force"] == "true",
            after=lists.after(query, call.caller.site_id),
            limit=query["limit"] + 1,
        )
    body, headers = lists.page([housing_record(row) for row in rows], query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<housing_id>",
    scope="read",
    answers={200: Answer(HousingRead, "The version of the housing")},
)
def read_housing(call: Call, housing_id: str) -> Response:
    """Read one version of a housing"""
    with call.reading() as tx:
        return call.answer(housing_record(book_of_path(tx, HOUSING, housing_id)))
