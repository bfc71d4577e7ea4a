"""Queries of what is entered in a work order: readings, deviations, what was found. Nothing is ever changed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service import record as records
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx

Entered = type[models.Reading] | type[models.Deviation] | type[models.AsFound]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A reading as stored; ``document`` holds values or series, method, instrument and the words of the verdict."""

    id: str
    work_order_id: str
    entry: int
    kind: str
    position: str | None
    step: str | None
    revision: int
    made_revision: int | None
    verdict: str
    code: str | None
    taken_at: datetime
    taken_by: str
    replaces: str | None
    document: dict[str, Any]
    created_at: datetime


@dataclass(frozen=True, slots=True)
class DeviationRow:
    """A deviation as stored."""

    id: str
    work_order_id: str
    entry: int
    step: str
    position: str | None
    revision: int
    reason: str
    approved_by: str
    taken_by: str | None
    created_at: datetime


@dataclass(frozen=True, slots=True)
class AsFoundRow:
    """What was found at a position, as stored."""

    id: str
    work_order_id: str
    position: str
    made_revision: int | None
    document: dict[str, Any]
    created_at: datetime


def hold_order(tx: Tx, order_id: str) -> None:
    """Make this transaction the only one that writes to an order until its commit; read the order after this."""
    order = models.WorkOrder
    known = canonical_id(order_id)
    statement = sa.select(order.id).where(order.site_id == tx.site_id, order.id == known).with_for_update()
    if known is not None:
        tx.connection.execute(statement).one_or_none()


def insert_reading(tx: Tx, *, work_order_id: str, document: dict[str, Any], **members: Any) -> ReadingRow:
    """Return the new reading; ``entry`` is one more than the last of its order, which the caller holds."""
    row = ReadingRow(id=new_id(), work_order_id=work_order_id, document=document, created_at=tx.now, **members)
    _insert(tx, models.Reading, row)
    return row


def insert_deviation(tx: Tx, *, work_order_id: str, **members: Any) -> DeviationRow:
    """Return the new deviation; ``entry`` is one more than the last of its order, which the caller holds."""
    row = DeviationRow(id=new_id(), work_order_id=work_order_id, created_at=tx.now, **members)
    _insert(tx, models.Deviation, row)
    return row


def insert_as_found(
    tx: Tx, *, work_order_id: str, position: str, made_revision: int | None, document: dict[str, Any]
) -> AsFoundRow:
    """Return what was found at a position, stored."""
    row = AsFoundRow(new_id(), work_order_id, position, made_revision, document, tx.now)
    _insert(tx, models.AsFound, row)
    return row


def readings_of(tx: Tx, work_order_id: str, *, after: str | None = None, limit: int | None = None) -> list[ReadingRow]:
    """Return the readings of an order as they were entered; a page of them by id."""
    return [ReadingRow(**_members(row)) for row in _rows(tx, models.Reading, work_order_id, after, limit)]


def deviations_of(
    tx: Tx, work_order_id: str, *, after: str | None = None, limit: int | None = None
) -> list[DeviationRow]:
    """Return the deviations of an order as they were entered; a page of them by id."""
    return [DeviationRow(**_members(row)) for row in _rows(tx, models.Deviation, work_order_id, after, limit)]


def as_found_of(tx: Tx, work_order_id: str, *, after: str | None = None, limit: int | None = None) -> list[AsFoundRow]:
    """Return what was found, as it was entered; a page of it by id."""
    return [AsFoundRow(**_members(row)) for row in _rows(tx, models.AsFound, work_order_id, after, limit)]


def count_as_found(tx: Tx, work_order_id: str) -> int:
    """Return how often it was entered what was found for an order, [-]"""
    table = models.AsFound
    counted = sa.select(sa.func.count()).where(table.site_id == tx.site_id, table.work_order_id == work_order_id)
    return int(tx.connection.execute(counted).scalar_one())


def _insert(tx: Tx, table: Entered, row: ReadingRow | DeviationRow | AsFoundRow) -> None:
    values = {name: getattr(row, name) for name in type(row).__dataclass_fields__}
    if "document" in values:
        values["document"] = records.encoded(values["document"])
    tx.connection.execute(sa.insert(table).values(site_id=tx.site_id, **values))


def _rows(tx: Tx, table: Entered, work_order_id: str, after: str | None, limit: int | None) -> list[Any]:
    known = canonical_id(work_order_id)
    statement = sa.select(table.__table__).where(table.site_id == tx.site_id, table.work_order_id == known)
    if after is not None:
        statement = statement.where(table.id > after)
    by_entry = table.id if limit is not None or table is models.AsFound else sa.column("entry")
    return list(tx.connection.execute(statement.order_by(by_entry).limit(limit))) if known else []


def _members(row: Any) -> dict[str, Any]:
    members = {name: value for name, value in row._mapping.items() if name != "site_id"}
    if "document" in members:
        members["document"] = records.decoded(members["document"])
    return members
