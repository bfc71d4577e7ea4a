"""A recall: from a book that was wrong to the bearings that run by it, and the open orders that still go by it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.errors import CannotEvaluate, NotFound
from service.instructions.books.books import CHART, HOUSING, Book, provenance_of
from service.instructions.books.recall import (
    NOT_COMPARED,
    OUTSIDE,
    VERDICTS,
    Compared,
    bore_mm,
    compared,
    corrected_book,
    members_used,
    of_floor_alone,
)
from service.moments import rfc3339
from service.mounting.charts import REDUCTION
from service.record import Record, sha256
from service.reference import tables
from service.store.queries import recalls
from service.store.queries.books import books_of
from service.store.queries.recalls import Issued, Mounted
from service.store.unit_of_work import Event, Tx
from service.use_cases.books.enter import book_of_path

TABLE: Final = "table"
RECALLED: Final = {CHART: "chart.recalled", HOUSING: "housing.recalled", TABLE: "table.recalled"}
HEADER: Final = ("kind", "bearing_type", "bore_form")
"""Of a chart, what corrected rows must share."""
MOST_LISTED = 500
MOST_IN_EVENT = 200


@dataclass(frozen=True, slots=True)
class RecalledBook:
    """The book in question; ``said`` of it: kind, bearing_type, bore_form, which corrected rows must share."""

    table: str
    id: str
    title: str
    source_id: str
    kind: str | None = None
    version: str | None = None
    data_version: str | None = None
    said: Mapping[str, Any] | None = None

    def record(self) -> Record:
        """Return the wire member ``book``."""
        return {
            "table": self.table,
            "id": self.id,
            "title": self.title,
            "kind": self.kind,
            "version": self.version or self.data_version,
        }


Found = tuple[Mounted, list[str], Compared | None]


def recall_record(tx: Tx, book: RecalledBook, given: Mapping[str, Any]) -> Record:
    """Return the answer to a recall.

    Raises
    ------
    CannotEvaluate
        The corrected rows may not stand (``chart_refused``), or are not for what the book is for.
    """
    corrected = _corrected(book, given)
    found = sorted(_mounted(tx, book, given, corrected), key=_rank)
    running, with_instructions = recalls.running(tx)
    verdicts = [_verdict(each) for each in found]
    counts = {verdict: verdicts.count(verdict) for verdict in VERDICTS}
    counts |= {"running": running, "with_instructions": with_instructions, "mounted_by_it": len(found)}
    return {
        "book": book.record(),
        "reason": given["reason"],
        "compared": corrected is not None,
        "counts": counts | {"not_listed": max(len(found) - MOST_LISTED, 0)},
        "items": [_item(rank, each) for rank, each in enumerate(found[:MOST_LISTED], start=1)],
        "open_work_orders": list(_open_orders(tx, book, given, corrected))[:MOST_LISTED],
    }


def recall_facts(record: Record) -> dict[str, Any]:
    """Return what the journal keeps of a recall: why, how many, and the first of those outside."""
    outside = [item["stay"] for item in record["items"] if item["verdict"] == OUTSIDE]
    orders = [order["id"] for order in record["open_work_orders"]]
    return {
        "reason": record["reason"],
        "version": record["book"]["version"],
        "counts": record["counts"],
        "outside": outside[:MOST_IN_EVENT],
        "open_work_orders": orders[:MOST_IN_EVENT],
        "answer_sha256": sha256(record),
    }


def recall_book(book: RecalledBook, record: Record) -> Event:
    """Return the event that enters a recall in the journal: the one thing that a recall writes."""
    return Event(RECALLED[book.table], book.table, book.id, None, None, recall_facts(record))


def book_to_recall(tx: Tx, table: str, book_id: str) -> RecalledBook:
    """Return the version of a chart or a housing that is recalled, or raise NotFound."""
    row = book_of_path(tx, table, book_id)
    document = {"kind": row.kind, **row.document}
    said: dict[str, Any] = {member: document[member] for member in HEADER if member in document}
    title = provenance_of(row.document).words(row.version)
    return RecalledBook(
        table, row.id, title, f"{table}-{row.id}-v{row.version}", row.kind, str(row.version), None, said
    )


def table_to_recall(table_id: str, data_version: str | None) -> RecalledBook:
    """Return the built-in table that is recalled, by the id that answers name as their source, or raise NotFound."""
    source = tables.sources().get(table_id)
    if source is None:
        raise NotFound("no built-in table has this id; answers name them in `sources`")
    return RecalledBook(TABLE, source.id, source.title, source.id, data_version=data_version)


def _corrected(book: RecalledBook, given: Mapping[str, Any]) -> Book | None:
    rows = given.get("corrected")
    if rows is None:
        return None
    for member, value in (book.said or {}).items():
        if rows.get(member) != value:
            said = f"the book is for {member} {value}; corrected rows are for the same"
            raise CannotEvaluate(said, code="corrected_differs", field=f"corrected/{member}")
    return corrected_book(rows["kind"], rows)


def _mounted(tx: Tx, book: RecalledBook, given: Mapping[str, Any], corrected: Book | None) -> Iterator[Found]:
    for row in recalls.mounted_by(tx, book.source_id, book.data_version):
        used = members_used(row.issued.record, row.name, book.source_id)
        if not used or not _of_bores(row.issued, row.name, given):
            continue
        own = corrected
        if corrected is not None and corrected.kind == REDUCTION and "reduction" not in used:
            own = of_floor_alone(corrected, row.issued.record, row.name)
        held = _held_against(tx, row.issued, row.name, row.document.get("readings", {}), own)
        if corrected is None or held is not None:
            yield row, used, held


def _held_against(
    tx: Tx, issued: Issued, name: str, kept: Mapping[str, Any], corrected: Book | None
) -> Compared | None:
    if corrected is None:
        return None
    readings = {kind: reading["values"] for kind, reading in kept.items() if "values" in reading}
    books = books_of(tx, issued.inputs.get("books", ()))
    return compared(issued.inputs, books=books, corrected=corrected, position=name, readings=readings)


def _of_bores(issued: Issued, name: str, given: Mapping[str, Any]) -> bool:
    bores = given.get("bores")
    if bores is None:
        return True
    bore = bore_mm(issued.record, name)
    return bore is not None and bool(bores["over"] < bore <= bores["incl"])


def _open_orders(tx: Tx, book: RecalledBook, given: Mapping[str, Any], corrected: Book | None) -> Iterator[Record]:
    for issued in recalls.open_orders_by(tx, book.source_id, book.data_version):
        names = [
            name
            for name in issued.record["positions"]
            if members_used(issued.record, name, book.source_id)
            and _of_bores(issued, name, given)
            and (corrected is None or _held_against(tx, issued, name, {}, corrected) is not None)
        ]
        if names:
            yield {**_order(issued), "positions": names}


def _rank(found: Found) -> tuple[Any, ...]:
    row, _, held = found
    return (*(held.rank if held is not None else (0, 0.0)), row.installed_at, row.stay_id)


def _verdict(found: Found) -> str:
    return NOT_COMPARED if found[2] is None else found[2].verdict


def _item(rank: int, found: Found) -> Record:
    row, used, held = found
    known = row.window_min_nm is not None and row.window_max_nm is not None
    limits = None if held is None or held.limits is None else {"min": held.limits[0], "max": held.limits[1]}
    return {
        "rank": rank,
        "verdict": _verdict(found),
        "outside_by": None if held is None else held.outside_by,
        "detail": "no corrected rows were sent; nothing was compared" if held is None else held.detail,
        "position": row.position,
        "stay": row.stay_id,
        "designation": row.designation,
        "serial": row.serial,
        "installed_at": rfc3339(row.installed_at),
        "used": used,
        "data_version": row.issued.data_version,
        "reading": None if held is None else held.reading,
        "read": [] if held is None else list(held.read),
        "window_as_mounted": _window(row) if known else None,
        "corrected": limits,
        "work_order": _order(row.issued),
    }


def _window(row: Mounted) -> Record:
    return {"min": units.clearance(row.window_min_nm or 0), "max": units.clearance(row.window_max_nm or 0)}


def _order(issued: Issued) -> Record:
    return {
        "id": issued.order_id,
        "external": {"system": issued.external_system, "number": issued.external_number},
        "asset": issued.asset,
        "revision": issued.revision,
        "link": f"/v1/work-orders/{issued.order_id}",
    }
