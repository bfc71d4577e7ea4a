"""Queries of completions and their corrections. Neither is ever changed; a correction names what it corrects."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service import record as records
from service.errors import Conflict
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.queries.work_orders import NOT_OPEN
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class CompletionRow:
    """The end of an order as stored; ``document`` holds what was done at each position."""

    id: str
    work_order_id: str
    revision: int
    completed_at: datetime
    completed_by: str
    document: dict[str, Any]
    created_at: datetime


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """A correction as stored; ``corrects`` is the completion or the correction before it."""

    id: str
    completion_id: str
    corrects: str
    reason: str
    corrected_by: str
    document: dict[str, Any]
    created_at: datetime


def insert_completion(
    tx: Tx,
    *,
    work_order_id: str,
    revision: int,
    completed_at: datetime,
    completed_by: str,
    document: dict[str, Any],
) -> CompletionRow:
    """Close the order and return its completion.

    Raises
    ------
    Conflict
        ``work_order_not_open``
    """
    order = models.WorkOrder
    mine = (order.site_id == tx.site_id, order.id == work_order_id, order.status == "open")
    closing = sa.update(order).where(*mine).values(status="completed", closed_at=completed_at)
    if not tx.connection.execute(closing).rowcount:
        raise Conflict("The work order is not open; only an open one can be completed.", code=NOT_OPEN)
    row = CompletionRow(new_id(), work_order_id, revision, completed_at, completed_by, document, tx.now)
    _insert(tx, models.Completion, row)
    return row


def completion_of(tx: Tx, work_order_id: str) -> CompletionRow | None:
    """Return the completion of an order, None when it has none."""
    table = models.Completion
    known = canonical_id(work_order_id)
    if known is None:
        return None
    statement = sa.select(table.__table__).where(table.site_id == tx.site_id, table.work_order_id == known)
    row = tx.connection.execute(statement).one_or_none()
    return None if row is None else CompletionRow(**_members(row))


def corrections_of(tx: Tx, completion_id: str) -> list[CorrectionRow]:
    """Return the corrections of a completion, oldest first."""
    table = models.Correction
    statement = sa.select(table.__table__).where(table.site_id == tx.site_id, table.completion_id == completion_id)
    return [CorrectionRow(**_members(row)) for row in tx.connection.execute(statement.order_by(table.id))]


def insert_correction(
    tx: Tx, *, completion_id: str, corrects: str, reason: str, corrected_by: str, document: dict[str, Any]
) -> CorrectionRow:
    """Return the new correction.

    Raises
    ------
    Conflict
        ``already_corrected``: another correction names the same entry.
    """
    row = CorrectionRow(new_id(), completion_id, corrects, reason, corrected_by, document, tx.now)
    _insert(tx, models.Correction, row)
    return row


def _insert(
    tx: Tx, table: type[models.Completion] | type[models.Correction], row: CompletionRow | CorrectionRow
) -> None:
    values = {name: getattr(row, name) for name in type(row).__dataclass_fields__}
    values["document"] = records.encoded(values["document"])
    tx.connection.execute(sa.insert(table).values(site_id=tx.site_id, **values))


def _members(row: Any) -> dict[str, Any]:
    members = {name: value for name, value in row._mapping.items() if name != "site_id"}
    return members | {"document": records.decoded(members["document"])}
