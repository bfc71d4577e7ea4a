"""What is said of a work order and of its instructions: the members of the wire, before any unit is chosen."""

from typing import Any

from service.errors import NotFound
from service.moments import rfc3339
from service.record import Kept
from service.store.queries import work_orders
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Tx


def order_line(row: WorkOrderRow) -> dict[str, Any]:
    """Return the members of a work order without its instructions."""
    return {
        "id": row.id,
        "external": {"system": row.external_system, "number": row.external_number},
        "asset": row.asset_tag,
        "asset_id": row.asset_id,
        "positions": [position["name"] for position in row.positions],
        "kind": row.kind,
        "status": row.status,
        "opened_at": rfc3339(row.opened_at),
        "closed_at": None if row.closed_at is None else rfc3339(row.closed_at),
        "cancel_reason": row.cancel_reason,
        "revision": row.revision,
    }


def instructions_record(row: RevisionRow) -> dict[str, Any]:
    """Return the members of a revision of the instructions."""
    return _beside(row) | row.record


def instructions_kept(row: RevisionRow) -> Kept:
    """Return the same members for an answer: the record as it is stored."""
    return Kept(_beside(row), row.text)


def order_record(row: WorkOrderRow, revision: RevisionRow) -> dict[str, Any]:
    """Return the members of a work order with its instructions."""
    return {**order_line(row), "instructions": instructions_kept(revision)}


def card_record(order: WorkOrderRow, revision: RevisionRow) -> dict[str, Any]:
    """Return the record that every card is written from."""
    return {**instructions_record(revision), "external": order_line(order)["external"]}


def revision_of(tx: Tx, order: WorkOrderRow, number: int | None = None) -> RevisionRow:
    """Return one revision of the order's instructions, the latest without a number, or raise NotFound."""
    row = work_orders.revision(tx, order.id, number)
    if row is None:
        raise NotFound(f"the work order has no revision {number}; the latest is {order.revision}")
    return row


def _beside(row: RevisionRow) -> dict[str, Any]:
    return {
        "id": row.id,
        "revision": row.number,
        "supersedes": row.supersedes,
        "created_at": rfc3339(row.created_at),
        "sha256": row.sha256,
    }
