"""/v1/housings: housings as their makers' books give them, known by name. Never edited in place."""

from typing import Any

from flask import Response, current_app
from marshmallow import fields as ma_fields

from service.api import fields, lists
from service.api.answers import AnswerSchema, nested, quantity, word
from service.api.book_shapes import HousingRequest
from service.api.charts import ProvenanceRead
from service.api.operations import Answer, Blueprint, Call
from service.api.schema import PageQuery, UnitsQuery
from service.errors import NotFound
from service.instructions.book_checks import refuse_housing
from service.instructions.books import HOUSING
from service.record import sha256
from service.store import books
from service.store.books import BookRow
from service.store.unit_of_work import Event, Tx, Written

blueprint = Blueprint("housings", __name__, url_prefix="/v1/housings", description="Housings of the site by name")


class LocatingRingsRead(AnswerSchema):
    """Locating rings of a housing."""

    count = ma_fields.Integer(required=True)
    width = quantity()


class CapBoltsRead(AnswerSchema):
    """Cap bolts of a housing; members that are not known are left out."""

    thread = word()
    grade = word(required=False)
    count = ma_fields.Integer(required=False)
    torque = quantity(required=False)


class HousingRead(AnswerSchema):
    """One version of a housing; members that are not known are left out."""

    id = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    seat_width = quantity()
    seat_bore = quantity()
    locating_rings = nested(LocatingRingsRead, required=False)
    cap_bolts = nested(CapBoltsRead, required=False)
    accept_unusual = ma_fields.Boolean(required=False)
    reason = word(required=False)
    provenance = nested(ProvenanceRead)
    created_at = ma_fields.DateTime(required=True)
    sha256 = word()


class HousingPage(AnswerSchema):
    """A page of housings."""

    items = nested(HousingRead, many=True)
    next = word(null=True)


class HousingQuery(PageQuery, UnitsQuery):
    """Filters of the list of housings."""

    name = fields.Text(80)
    in_force = fields.Choice(
        ("true", "false"), metadata={"description": "true: the latest version of each housing; false: the earlier ones"}
    )


def housing_record(row: BookRow) -> dict[str, Any]:
    """Return the wire members of a version."""
    return {
        "id": row.id,
        "name": row.name,
        "version": row.version,
        "in_force": row.in_force,
        **row.document,
        "created_at": fields.rfc3339(row.created_at),
        "sha256": sha256(row.document),
    }


def entered_housing(tx: Tx, given: dict[str, Any]) -> tuple[BookRow, Event]:
    """Store the next version of a housing that was checked, and return it with its event."""
    document = {member: value for member, value in given.items() if member != "name"}
    books.hold(tx)
    before = books.latest(tx, HOUSING, kind=HOUSING, name=given["name"])
    row = books.insert_version(tx, HOUSING, kind=HOUSING, name=given["name"], document=document)
    hashes = None if before is None else sha256(before.document), sha256(document)
    data = {"name": row.name, "version": row.version, "accepted": bool(document.get("accept_unusual"))}
    return row, Event("housing.entered", "housing", row.id, *hashes, data)


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
    answers={201: Answer(HousingRead, "The housing, in force from now on", headers=("Location",))},
    refuses=("409",),
    example=EXAMPLE,
)
def create_housing(call: Call) -> Response:
    """Enter a housing; the same name again makes its next version"""
    refuse_housing(call.body)

    def work(tx: Tx) -> Written:
        row, event = entered_housing(tx, call.body)
        location = f"{current_app.config['PUBLIC_URL']}/v1/housings/{row.id}"
        return Written(201, call.json(housing_record(row)), {"Location": location}, (event,))

    return call.written(work)


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
        row = books.book_by_id(tx, HOUSING, housing_id) if fields.is_identifier(housing_id) else None
    if row is None:
        raise NotFound("no housing of this site has this id")
    return call.answer(housing_record(row))
