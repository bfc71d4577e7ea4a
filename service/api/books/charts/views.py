"""/v1/charts: the makers' books of a site. They go before the built-in tables and are never edited in place."""

from typing import Any, Final

from flask import Response, current_app, request

from service.api.books.charts.schemas import (
    ChartPage,
    ChartQuery,
    ChartRead,
    ChartWriteQuery,
)
from service.api.books.schemas import ChartRequest
from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.api.http.schema import UnitsQuery
from service.exchange.media import JSON
from service.instructions.books.books import CHART
from service.moments import rfc3339
from service.record import sha256
from service.store.queries import books
from service.store.queries.books import BookRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.books.csv import chart_document
from service.use_cases.books.enter import accepted_rows, book_of_path, checked_chart, enter_chart

blueprint = Blueprint("charts", __name__, url_prefix="/v1/charts", description="Charts from the makers' books")

CSV = "text/csv"
SAID_OF_CSV = ("kind", "name", "title", "edition", "page", "entered_by", "checked_by")


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
        "accepted_rows": accepted_rows(row.document),
        "provenance": row.document["provenance"],
        "created_at": rfc3339(row.created_at),
        "sha256": sha256(row.document),
    }


def chart_record(row: BookRow) -> dict[str, Any]:
    """Return the wire members of a version."""
    return {**chart_line(row), "rows": row.document["rows"]}


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
    signs=("provenance/entered_by",),
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
    chart = checked_chart(call.body)

    def work(tx: Tx) -> Written:
        row, event = enter_chart(tx, chart)
        location = f"{current_app.config['PUBLIC_URL']}/v1/charts/{row.id}"
        return Written(201, call.json(chart_record(row)), {"Location": location}, (event,))

    return call.write(work)


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
        return call.answer(chart_record(book_of_path(tx, CHART, chart_id)))
