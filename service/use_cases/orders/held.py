"""An order as one transaction holds it: the revision it stands at, and what was entered in it so far."""

from collections.abc import Mapping
from dataclasses import dataclass

from service.errors import Conflict
from service.instructions.books.books import SiteBooks
from service.instructions.readings.hold_points import DEVIATION, Entry, HoldPoint, open_hold_points
from service.mounting.readings import ACCEPT
from service.store.queries import books, entries, work_orders
from service.store.queries.entries import DeviationRow, ReadingRow
from service.store.queries.work_orders import NOT_OPEN, RevisionRow, WorkOrderRow
from service.store.unit_of_work import Tx
from service.use_cases.found import found


@dataclass(frozen=True, slots=True)
class HeldOrder:
    """An order that this transaction alone writes to: its revision in force and what was entered so far."""

    order: WorkOrderRow
    revision: RevisionRow
    entries: tuple[Entry, ...]

    @property
    def next_entry(self) -> int:
        """Return the number of the entry that comes next."""
        return len(self.entries) + 1

    def hold_points(self, outcomes: Mapping[str, str] | None = None) -> list[HoldPoint]:
        """Return the hold points that are open."""
        return open_hold_points(self.revision.record, self.entries, outcomes)


def hold_order(tx: Tx, order_id: str, *, status: str = "open") -> HeldOrder:
    """Return the order, held until the commit.

    Raises
    ------
    NotFound
        The site has no such order.
    Conflict
        The order has another status (``work_order_not_open``, ``work_order_not_completed``).
    """
    entries.hold_order(tx, order_id)
    order = order_of(tx, order_id)
    if order.status != status:
        code = NOT_OPEN if status == "open" else f"work_order_not_{status}"
        raise Conflict(f"the work order is {order.status}; this is done to one that is {status}", code=code)
    return HeldOrder(order, revision_in_force(tx, order), tuple(entries_of(tx, order.id)))


def order_of(tx: Tx, order_id: str) -> WorkOrderRow:
    """Return the order.

    Raises
    ------
    NotFound
        The site has no such order.
    """
    return found(work_orders.work_order_by_id(tx, order_id), "work order")


def revision_in_force(tx: Tx, order: WorkOrderRow) -> RevisionRow:
    """Return the revision that the order stands at: the latest."""
    revision = work_orders.revision(tx, order.id)
    if revision is None:
        raise AssertionError("an order is stored with its first revision")
    return revision


def entries_of(tx: Tx, order_id: str) -> list[Entry]:
    """Return the readings and deviations of an order in the order in which they were entered."""
    rows: list[ReadingRow | DeviationRow] = [*entries.readings_of(tx, order_id), *entries.deviations_of(tx, order_id)]
    return [entry_of_row(row) for row in sorted(rows, key=lambda row: row.entry)]


def entry_of_row(row: ReadingRow | DeviationRow) -> Entry:
    """Return a reading or a deviation on record as an entry."""
    if isinstance(row, DeviationRow):
        return Entry(
            kind=DEVIATION,
            position=row.position,
            step=row.step,
            verdict=ACCEPT,
            code=None,
            revision=row.revision,
            person=row.approved_by,
        )
    return Entry(
        kind=row.kind,
        position=row.position,
        step=row.step,
        verdict=row.verdict,
        code=row.code,
        revision=row.revision,
        person=row.taken_by,
        made_revision=row.made_revision,
    )


def books_of_revision(tx: Tx, revision: RevisionRow) -> SiteBooks:
    """Return the site's charts and housings in the versions that a revision was made with."""
    return books.books_of(tx, revision.inputs.get("books", ()))
