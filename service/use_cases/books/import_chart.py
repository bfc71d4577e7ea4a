"""Charts that come in by the command line: the same checks as by the API, and the same journal."""

from collections.abc import Callable
from typing import Any

from service.instructions.books.checks import with_accepted
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries.books import BookRow
from service.store.queries.sites import COMMAND_LINE, site_by_code
from service.store.unit_of_work import Tx, Written
from service.use_cases.books.csv import chart_document
from service.use_cases.books.enter import checked_chart, enter_chart

Load = Callable[[Any], dict[str, Any]]
"""From a document as it was sent to what the edge makes of it; raises CannotEvaluate with ``faults``."""


def import_chart(
    database: Database,
    site_code: str,
    data: bytes,
    given: dict[str, str],
    *,
    load: Load,
    accept_unusual: str | None = None,
) -> BookRow:
    """Enter the chart of a CSV file, and return it as it is on record now, in its next version.

    Parameters
    ----------
    given : dict
        kind, name, title, edition, page, entered_by, checked_by
    load : callable
        Reads the document that JSON would be.
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
    document = load(chart_document(data, given))
    if accept_unusual is not None:
        document = with_accepted(document["kind"], document, accept_unusual)
    chart = checked_chart(document)
    stored: list[BookRow] = []

    def work(tx: Tx) -> Written:
        row, event = enter_chart(tx, chart)
        stored.append(row)
        return Written(201, "", events=(event,))

    database.write(site_id=site_id, actor=COMMAND_LINE, request_id=new_id(), work=work)
    return stored[-1]


def fault_lines(faults: list[dict[str, str]]) -> list[str]:
    """Return what is wrong, one line a fault, rows counted from 1."""
    return [f"{_place(fault['pointer'])}: {fault['detail']}" for fault in faults]


def _place(pointer: str) -> str:
    parts = pointer.removeprefix("#").strip("/").split("/")
    if parts[0] == "rows" and len(parts) > 1:
        return " ".join([f"row {int(parts[1]) + 1}", *parts[2:]])
    return " ".join(parts) or "the chart"
