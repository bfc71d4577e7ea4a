"""Entering a version of a chart or of a housing: checked first, outside of the writer's turn, then stored and told.

Only what ``checked_chart`` or ``checked_housing`` returned can be entered, whichever way it came in.
"""

from dataclasses import dataclass
from typing import Any, Final

from service.errors import NotFound
from service.instructions.books.books import CHART, HOUSING
from service.instructions.books.checks import refuse_chart, refuse_housing
from service.record import sha256
from service.store.queries import books
from service.store.queries.books import BookRow
from service.store.unit_of_work import Event, Tx

NAMES_OF: Final = {CHART: ("kind", "name"), HOUSING: ("name",)}
"""Members that say which book it is; the others are its document."""


@dataclass(frozen=True, slots=True)
class CheckedBook:
    """A chart or a housing that may stand as it was sent."""

    table: str
    kind: str
    name: str
    document: dict[str, Any]


def checked_chart(given: dict[str, Any]) -> CheckedBook:
    """Return a loaded chart when its rows may stand.

    Raises
    ------
    CannotEvaluate
        ``chart_refused``; ``faults`` says row by row why.
    """
    refuse_chart(given["kind"], given)
    return CheckedBook(CHART, given["kind"], given["name"], _document(CHART, given))


def checked_housing(given: dict[str, Any]) -> CheckedBook:
    """Return a loaded housing when it may stand.

    Raises
    ------
    CannotEvaluate
        ``chart_refused``
    """
    refuse_housing(given)
    return CheckedBook(HOUSING, HOUSING, given["name"], _document(HOUSING, given))


def enter_chart(tx: Tx, chart: CheckedBook) -> tuple[BookRow, Event]:
    """Store the next version of a chart, and return it with its event."""
    data = {"row_count": len(chart.document["rows"]), "accepted_rows": accepted_rows(chart.document)}
    return _enter(tx, chart, "chart.entered", {"kind": chart.kind}, data)


def enter_housing(tx: Tx, housing: CheckedBook) -> tuple[BookRow, Event]:
    """Store the next version of a housing, and return it with its event."""
    return _enter(tx, housing, "housing.entered", {}, {"accepted": bool(housing.document.get("accept_unusual"))})


def accepted_rows(document: dict[str, Any]) -> list[int]:
    """Return the rows of a chart that stand though they are unusual, counted from 1."""
    return [number for number, each in enumerate(document["rows"], start=1) if each.get("accept_unusual")]


def book_of_path(tx: Tx, table: str, book_id: str) -> BookRow:
    """Return one version of a chart or a housing that a path names, or raise NotFound."""
    row = books.book_by_id(tx, table, book_id)
    if row is None:
        raise NotFound(f"no {table} of this site has this id")
    return row


def _enter(
    tx: Tx, book: CheckedBook, event_type: str, head: dict[str, Any], data: dict[str, Any]
) -> tuple[BookRow, Event]:
    before = books.latest(tx, book.table, kind=book.kind, name=book.name)
    row = books.insert_version(tx, book.table, kind=book.kind, name=book.name, document=book.document)
    hashes = None if before is None else sha256(before.document), sha256(book.document)
    told = {**head, "name": row.name, "version": row.version, **data}
    return row, Event(event_type, book.table, row.id, *hashes, told)


def _document(table: str, given: dict[str, Any]) -> dict[str, Any]:
    return {member: value for member, value in given.items() if member not in NAMES_OF[table]}
