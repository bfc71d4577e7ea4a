"""Charts that come in by the command line: the same checks as by the API, and the same journal."""

from typing import Any

from marshmallow import ValidationError

from service.api.books.charts.views import entered_chart
from service.api.books.schemas import ChartRequest
from service.api.http.problems import faults_of
from service.errors import CannotEvaluate
from service.instructions.books.checks import refuse_chart, with_accepted
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries.books import BookRow
from service.store.queries.sites import COMMAND_LINE, site_by_code
from service.store.unit_of_work import Tx, Written
from service.use_cases.books.csv import chart_document


def imported_chart(
    database: Database, site_code: str, data: bytes, given: dict[str, str], *, accept_unusual: str | None = None
) -> BookRow:
    """Return the chart of a CSV file as it is on record now, in its next version.

    Parameters
    ----------
    given : dict
        kind, name, title, edition, page, entered_by, checked_by
    accept_unusual : str or None
        Reason for which rows may stand that are unusual; it is stored with each of them

    Raises
    ------
    CannotEvaluate
        ``bad_csv``, ``invalid`` or ``chart_refused``; ``faults`` says row by row why.
    NotFound
        There is no such site.
    """
    site_id = site_by_code(database, site_code).id
    try:
        document: dict[str, Any] = ChartRequest().load(chart_document(data, given))
    except ValidationError as error:
        raise _invalid(error) from None
    if accept_unusual is not None:
        document = with_accepted(document["kind"], document, accept_unusual)
    refuse_chart(document["kind"], document)
    stored: list[BookRow] = []

    def work(tx: Tx) -> Written:
        row, event = entered_chart(tx, document)
        stored.append(row)
        return Written(201, "", events=(event,))

    database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
    return stored[-1]


def _invalid(error: ValidationError) -> CannotEvaluate:
    faults = [{"pointer": at, "code": code, "detail": detail} for at, code, detail in faults_of(error.messages)]
    return CannotEvaluate("the chart cannot be read", code="invalid", faults=faults)


def fault_lines(faults: list[dict[str, str]]) -> list[str]:
    """Return what is wrong, one line a fault, rows counted from 1."""
    return [f"{_place(fault['pointer'])}: {fault['detail']}" for fault in faults]


def _place(pointer: str) -> str:
    parts = pointer.removeprefix("#").strip("/").split("/")
    if parts[0] == "rows" and len(parts) > 1:
        return " ".join([f"row {int(parts[1]) + 1}", *parts[2:]])
    return " ".join(parts) or "the chart"
