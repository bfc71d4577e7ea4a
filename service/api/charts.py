"""/v1/charts: the makers' books of a site. They go before the built-in tables and are never edited in place."""

from typing import Any, Final

from flask import Response, current_app, request
from marshmallow import fields as ma_fields

from service.api import fields, lists
from service.api.answers import AnswerSchema, nested, quantity, word
from service.api.book_csv import chart_document
from service.api.book_shapes import ChartRequest
from service.api.operations import JSON, Answer, Blueprint, Call
from service.api.problems import ProblemRaised
from service.api.schema import PageQuery, UnitsQuery, WriteQuery
from service.errors import NotFound
from service.instructions.book_checks import refuse_chart
from service.instructions.books import CHART, CHART_KINDS
from service.record import sha256
from service.store import books
from service.store.books import BookRow
from service.store.unit_of_work import Event, Tx, Written

blueprint = Blueprint("charts", __name__, url_prefix="/v1/charts", description="Charts from the makers' books")

CSV = "text/csv"
SAID_OF_CSV = ("kind", "name", "title", "edition", "page", "entered_by", "checked_by")


class ProvenanceRead(AnswerSchema):
    """Where the numbers of a book come from."""

    title = word()
    edition = word()
    page = word()
    entered_by = word()
    checked_by = word()


class ChartLine(AnswerSchema):
    """One version of a chart, without its rows."""

    id = word()
    kind = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    bearing_type = word(null=True)
    bore_form = word(null=True)
    row_count = ma_fields.Integer(required=True)
    accepted_rows = ma_fields.List(ma_fields.Integer(), required=True)
    provenance = nested(ProvenanceRead)
    created_at = ma_fields.DateTime(required=True)
    sha256 = word()


class ChartRowRead(AnswerSchema):
    """A row of a chart; the kind of the chart says which members it has."""

    bore_over = quantity(required=False)
    bore_incl = quantity(required=False)
    min = quantity(required=False)
    max = quantity(required=False)
    clearance_class = word(required=False)
    taper = word(required=False)
    on_sleeve = ma_fields.Boolean(required=False)
    smallest_residual = ma_fields.Dict(required=False)
    housing = ma_fields.Dict(required=False)
    torque = quantity(required=False)
    bolt = ma_fields.Dict(required=False)
    name = word(required=False)
    seat_width = quantity(required=False)
    seat_bore = quantity(required=False)
    locating_rings = ma_fields.Dict(required=False)
    cap_bolts = ma_fields.Dict(required=False)
    accept_unusual = ma_fields.Boolean(required=False)
    reason = word(required=False)


class ChartRead(ChartLine):
    """One version of a chart."""

    rows = nested(ChartRowRead, many=True)


class ChartPage(AnswerSchema):
    """A page of charts."""

    items = nested(ChartLine, many=True)
    next = word(null=True)


class ChartWriteQuery(WriteQuery):
    """What is said about a chart that comes as CSV; JSON has it in its body."""

    kind = fields.Choice(CHART_KINDS, metadata={"description": "With CSV: kind of the chart"})
    name = fields.Text(80, metadata={"description": "With CSV: name of the chart"})
    title = fields.Text(200, metadata={"description": "With CSV: title of the book"})
    edition = fields.Text(80, metadata={"description": "With CSV: edition of the book"})
    page = fields.Text(40, metadata={"description": "With CSV: page of the book"})
    entered_by = fields.Text(80, metadata={"description": "With CSV: who entered the rows"})
    checked_by = fields.Text(80, metadata={"description": "With CSV: who checked them"})


class ChartQuery(PageQuery):
    """Filters of the list of charts."""

    kind = fields.Choice(CHART_KINDS)
    name = fields.Text(80)
    in_force = fields.Choice(
        ("true", "false"), metadata={"description": "true: the latest version of each chart; false: the earlier ones"}
    )


def chart_line(row: BookRow) -> dict[str, Any]:
    """Return the wire members of a version without its rows."""
    rows = row.document["rows"]
    return {
        "id": row.id,
        "kind": row.kind,
        "name": row.name,
        "version": row.version,
        "in_force": row.in_force,
        "bearing_type": row.document.get("bearing_type"),
        "bore_form": row.document.get("bore_form"),
        "row_count": len(rows),
        "accepted_rows": [number for number, each in enumerate(rows, start=1) if each.get("accept_unusual")],
        "provenance": row.document["provenance"],
        "created_at": fields.rfc3339(row.created_at),
        "sha256": sha256(row.document),
    }


def chart_record(row: BookRow) -> dict[str, Any]:
    """Return the wire members of a version."""
    return {**chart_line(row), "rows": row.document["rows"]}


def entered_chart(tx: Tx, given: dict[str, Any]) -> tuple[BookRow, Event]:
    """Store the next version of a chart that was checked, and return it with its event."""
    document = {member: value for member, value in given.items() if member not in ("kind", "name")}
    books.hold(tx)
    before = books.latest(tx, CHART, kind=given["kind"], name=given["name"])
    row = books.insert_version(tx, CHART, kind=given["kind"], name=given["name"], document=document)
    hashes = None if before is None else sha256(before.document), sha256(document)
    line = chart_line(row)
    data = {member: line[member] for member in ("kind", "name", "version", "row_count", "accepted_rows")}
    return row, Event("chart.entered", "chart", row.id, *hashes, data)


_PROVENANCE = {
    "title": "Bearing handbook of the maker",
    "edition": "2024",
    "page": "112",
    "entered_by": "R. Example",
    "checked_by": "S. Example",
}


def _mm(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "mm"}


CSV_EXAMPLE: Final = (
    "bearing_type,bore_over_mm,bore_incl_mm,min_um,max_mm,smallest_residual_c3_mm\r\n"
    "spherical_roller,65,80,42,0.052,0.044\r\n"
)
EXAMPLE: dict[str, Any] = {
    "kind": "reduction",
    "name": "spherical roller bearings",
    "bearing_type": "spherical_roller",
    "provenance": _PROVENANCE,
    "rows": [
        {
            "bore_over": _mm(65),
            "bore_incl": _mm(80),
            "min": _mm(0.04),
            "max": _mm(0.05),
            "smallest_residual": {"CN": _mm(0.025), "C3": _mm(0.04)},
        }
    ],
}


@blueprint.operation(
    "POST",
    "",
    scope="admin",
    body=ChartRequest,
    query=ChartWriteQuery,
    answers={201: Answer(ChartRead, "The chart, in force from now on", headers=("Location",))},
    refuses=("409",),
    example=EXAMPLE,
    readers={CSV: (chart_document, CSV_EXAMPLE)},
)
def create_chart(call: Call) -> Response:
    """Enter a chart; the same kind and name again make its next version"""
    if request.mimetype == JSON:
        _refuse_what_is_said_of_csv(call)
    refuse_chart(call.body["kind"], call.body)

    def work(tx: Tx) -> Written:
        row, event = entered_chart(tx, call.body)
        location = f"{current_app.config['PUBLIC_URL']}/v1/charts/{row.id}"
        return Written(201, call.json(chart_record(row)), {"Location": location}, (event,))

    return call.written(work)


def _refuse_what_is_said_of_csv(call: Call) -> None:
    for name in SAID_OF_CSV:
        if name in call.query:
            detail = "goes with a CSV body; JSON has it in the body"
            fault = {"parameter": name, "code": "bad_parameter", "detail": detail}
            raise ProblemRaised("bad_parameter", f"{name}: {detail}", faults=[fault])


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=ChartQuery,
    answers={200: Answer(ChartPage, "A page of charts, every version, oldest first", headers=("Link",))},
)
def list_charts(call: Call) -> Response:
    """List charts"""
    query = call.query
    with call.reading() as tx:
        rows = books.page_of_books(
            tx,
            CHART,
            kind=query.get("kind"),
            name=query.get("name"),
            in_force=None if "in_force" not in query else query["in_force"] == "true",
            after=lists.after(query, call.caller.site_id),
            limit=query["limit"] + 1,
        )
    body, headers = lists.page([chart_line(row) for row in rows], query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<chart_id>",
    scope="read",
    query=UnitsQuery,
    answers={200: Answer(ChartRead, "The version of the chart")},
)
def read_chart(call: Call, chart_id: str) -> Response:
    """Read one version of a chart"""
    with call.reading() as tx:
        row = books.book_by_id(tx, CHART, chart_id) if fields.is_identifier(chart_id) else None
    if row is None:
        raise NotFound("no chart of this site has this id")
    return call.answer(chart_record(row))
