"""An order as one transaction holds it: the revision it stands at, and what was entered in it so far."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from service import ENGINE_VERSION
from service.errors import Conflict
from service.instructions.books.books import SiteBooks
from service.instructions.closing import READ_NEVER_CONFIRMED
from service.instructions.readings.corrections import effective
from service.instructions.readings.entries import DEVIATION, Entry
from service.instructions.readings.flags import Flag, flags
from service.instructions.readings.hold_points import HoldPoint, open_hold_points, rows_of
from service.instructions.readings.readings import Value
from service.mounting.blades import BladeSet, blade_set_of
from service.mounting.readings import ACCEPT
from service.store.queries import books, entries, work_orders
from service.store.queries.entries import DeviationRow, ReadingRow
from service.store.queries.work_orders import NOT_OPEN, RevisionRow, WorkOrderRow
from service.store.unit_of_work import Tx
from service.units import Quantity
from service.use_cases.found import found

MOST_ENTRIES: Final = 1_000
"""Readings and deviations of one order, and as many of what was found and of answers; common practice, no source."""


@dataclass(frozen=True, slots=True)
class HeldOrder:
    """An order that this transaction alone writes to: its revision in force and what was entered so far."""

    order: WorkOrderRow
    revision: RevisionRow
    entries: tuple[Entry, ...]

    @property
    def blade_set(self) -> BladeSet:
        """Return the blades in use: their step is how close a second measurement must lie."""
        return blade_set_of(self.revision.inputs["blade_set"])

    @property
    def counting(self) -> list[Entry]:
        """Return the entries that count: without those that were taken back."""
        return effective(self.entries, self.blade_set)

    @property
    def next_entry(self) -> int:
        """Return the number of the entry that comes next."""
        return len(self.entries) + 1

    def check_room(self, kept: int | None = None) -> None:
        """See that the order takes one entry more; ``kept``: how many of its kind there are, of entries when None.

        Raises
        ------
        Conflict
            ``too_many_entries``
        """
        there = len(self.entries) if kept is None else kept
        if there >= MOST_ENTRIES:
            said = f"the order has {there} entries of this kind and takes no more; complete it, or cancel it"
            raise Conflict(said, code="too_many_entries")

    def hold_points(self, outcomes: Mapping[str, str] | None = None) -> list[HoldPoint]:
        """Return the hold points that are open."""
        return open_hold_points(self.revision.record, self.counting, outcomes)

    def flags(self, *, completed_at: datetime | None = None, outcomes: Mapping[str, str] | None = None) -> list[Flag]:
        """Return what the lead looks at before the order is closed; nothing of instructions of an older engine."""
        if not self.entries or self.revision.engine_version != ENGINE_VERSION:
            return []
        return flags(self.revision.record, self.counting, completed_at=completed_at, outcomes=outcomes)


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


def held_order(tx: Tx, order: WorkOrderRow) -> HeldOrder:
    """Return an order as it stands, to be read only: nothing keeps others from writing to it."""
    return HeldOrder(order, revision_in_force(tx, order), tuple(entries_of(tx, order.id)))


def order_of(tx: Tx, order_id: str) -> WorkOrderRow:
    """Return the order.

    Raises
    ------
    NotFound
        The site has no such order.
    """
    return found(work_orders.work_order_by_id(tx, order_id), "work order", order_id)


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
            id=row.id,
            taken_at=row.created_at,
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
        id=row.id,
        taken_at=row.taken_at,
        rows_nm=rows_of(values_of(row.document)) if row.kind in READ_NEVER_CONFIRMED else None,
        value=_value_of(row),
        replaces=row.replaces,
    )


def _value_of(row: ReadingRow) -> float | None:
    """Return what ``hold_points.value_of`` returns, of a reading on record."""
    if row.kind == "run_in_temperature":
        return float(row.document["series"][-1]["temperature"].value)
    return float(row.document["values"][0]["value"].value) if row.kind in ("stop_limit", "seat_spacing") else None


def values_of(document: Mapping[str, Any]) -> tuple[Value, ...]:
    """Return the values of a reading, as sent or as stored: quantities, or the words of an answer."""
    return tuple(
        Value(
            quantity=each["value"] if isinstance(each["value"], Quantity) else None,
            row=each.get("row"),
            point=each.get("point"),
            repeat=each.get("repeat"),
            word=None if isinstance(each["value"], Quantity) else each["value"],
        )
        for each in document.get("values", ())
    )


def books_of_revision(tx: Tx, revision: RevisionRow) -> SiteBooks:
    """Return the site's charts and housings in the versions that a revision was made with."""
    return books.books_of(tx, revision.inputs.get("books", ()))
