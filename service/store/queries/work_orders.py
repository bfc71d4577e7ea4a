"""Queries of work orders and of the revisions of their instructions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from hashlib import sha256
from typing import Any, Final, cast

import sqlalchemy as sa
from sqlalchemy.orm import aliased

from service import record as records
from service.errors import CannotEvaluate, Conflict, NotFound
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx

NOT_OPEN: Final = "work_order_not_open"


@dataclass(frozen=True, slots=True)
class WorkOrderRow:
    """An order as stored. ``positions``: {position_id, name, bearing or None}; ``revision``: the latest, 0 for none."""

    id: str
    external_system: str
    external_number: str
    asset_id: str
    asset_tag: str
    kind: str
    status: str
    opened_at: datetime
    closed_at: datetime | None
    cancel_reason: str | None
    positions: list[dict[str, Any]]
    revision: int


@dataclass(frozen=True)
class RevisionRow:
    """Instructions as issued; ``supersedes`` is the number of the revision before.

    ``text`` and ``inputs_text`` are canonical JSON as stored; who only passes them on need not read them.
    """

    id: str
    work_order_id: str
    number: int
    supersedes: int | None
    created_at: datetime
    data_version: str
    engine_version: str
    sha256: str
    inputs_text: str
    text: str

    @cached_property
    def record(self) -> dict[str, Any]:
        """Return the instructions, unit-neutral."""
        return cast(dict[str, Any], records.decoded(self.text))

    @cached_property
    def inputs(self) -> dict[str, Any]:
        """Return what they were made of."""
        return cast(dict[str, Any], records.decoded(self.inputs_text))


def insert_work_order(
    tx: Tx,
    *,
    external_system: str,
    external_number: str,
    asset_id: str,
    asset_tag: str,
    kind: str,
    opened_at: datetime,
    positions: list[dict[str, Any]],
) -> WorkOrderRow:
    """Return the new order, open and without instructions.

    Raises
    ------
    Conflict
        ``work_order_exists``: the number of this system is on record.
    """
    order_id = new_id()
    members: dict[str, Any] = {
        "id": order_id,
        "external_system": external_system,
        "external_number": external_number,
        "asset_id": asset_id,
        "kind": kind,
        "status": "open",
        "opened_at": opened_at,
    }
    tx.connection.execute(_INSERT, members | {"site_id": tx.site_id, "created_at": tx.now})
    rows = [
        {
            "site_id": tx.site_id,
            "work_order_id": order_id,
            "position_id": position["position_id"],
            "ordinal": ordinal,
            "name": position["name"],
            "fitted": None if position["bearing"] is None else records.encoded(position["bearing"]),
        }
        for ordinal, position in enumerate(positions)
    ]
    tx.connection.execute(_INSERT_POSITION, rows)
    return WorkOrderRow(
        **members, asset_tag=asset_tag, closed_at=None, cancel_reason=None, positions=positions, revision=0
    )


def work_order_by_external(tx: Tx, system: str, number: str) -> WorkOrderRow | None:
    """Return the order by the maintenance system's own number, None when it is not on record."""
    return _one(tx, _BY_EXTERNAL, {"system": system, "number": number})


def work_order_by_id(tx: Tx, order_id: str) -> WorkOrderRow | None:
    """Return the order, None when the site has none of this id."""
    known = canonical_id(order_id)
    return None if known is None else _one(tx, _BY_ID, {"order_id": known})


def page_of_work_orders(
    tx: Tx,
    *,
    system: str | None = None,
    number: str | None = None,
    asset: str | None = None,
    position: str | None = None,
    status: str | None = None,
    opened_from: datetime | None = None,
    opened_to: datetime | None = None,
    after: str | None = None,
    limit: int,
) -> list[WorkOrderRow]:
    """Return up to ``limit`` orders in the order of their ids, those after the id ``after``.

    ``asset`` is a tag, ``position`` a name as the order or the asset has it; ``opened_from`` is inclusive,
    ``opened_to`` exclusive.
    """
    order, owner = models.WorkOrder, models.Asset
    wanted = (
        (order.external_system, system),
        (order.external_number, number),
        (order.status, status),
        (owner.tag, asset),
    )
    chosen = [column == value for column, value in wanted if value is not None]
    if opened_from is not None:
        chosen.append(order.opened_at >= opened_from)
    if opened_to is not None:
        chosen.append(order.opened_at < opened_to)
    if position is not None:
        chosen.append(_has_position(position))
    if after is not None:
        known = canonical_id(after)
        if known is None:
            raise CannotEvaluate("The list was asked to go on after something that is not an id.", code="bad_cursor")
        chosen.append(order.id > known)
    found = sa.select(order.id).join(owner, (owner.site_id == order.site_id) & (owner.id == order.asset_id))
    found = found.where(order.site_id == tx.site_id, *chosen).order_by(order.id).limit(limit)
    return _orders(tx, _ORDERS.where(order.id.in_(found.scalar_subquery())), {})


def cancel_work_order(tx: Tx, order_id: str, reason: str) -> WorkOrderRow:
    """Return the order, cancelled.

    Raises
    ------
    Conflict
        ``work_order_not_open``
    NotFound
        The site has no such order.
    """
    known = canonical_id(order_id)
    order = models.WorkOrder
    mine = (order.site_id == tx.site_id, order.id == known, order.status == "open")
    values = {"status": "cancelled", "closed_at": tx.now, "cancel_reason": reason}
    changed = 0 if known is None else tx.connection.execute(sa.update(order).where(*mine).values(values)).rowcount
    found = work_order_by_id(tx, order_id)
    if found is None:
        raise NotFound(f"There is no work order {order_id!r}.")
    if not changed:
        raise Conflict(f"The work order is {found.status}; only an open one can be cancelled.", code=NOT_OPEN)
    return found


def insert_revision(
    tx: Tx,
    *,
    work_order_id: str,
    number: int,
    supersedes: int | None,
    data_version: str,
    engine_version: str,
    inputs: dict[str, Any],
    record: dict[str, Any],
) -> RevisionRow:
    """Return the new revision, named by the SHA-256 of its unit-neutral record.

    Raises
    ------
    Conflict
        ``revision_exists``: another one took the number.
    """
    text = records.encoded(record)
    members: dict[str, Any] = {
        "id": new_id(),
        "work_order_id": work_order_id,
        "number": number,
        "supersedes": supersedes,
        "created_at": tx.now,
        "data_version": data_version,
        "engine_version": engine_version,
        "sha256": sha256(text.encode()).hexdigest(),
    }
    inputs_text = records.encoded(inputs)
    tx.connection.execute(_INSERT_REVISION, members | {"site_id": tx.site_id, "inputs": inputs_text, "record": text})
    row = RevisionRow(**members, inputs_text=inputs_text, text=text)
    vars(row).update(record=record, inputs=inputs)  # what decoding the texts would give, at a tenth of opening an order
    return row


def revision(tx: Tx, work_order_id: str, number: int | None = None) -> RevisionRow | None:
    """Return a revision of the order's instructions, the latest when no number is given."""
    known = canonical_id(work_order_id)
    if known is None:
        return None
    table = models.Revision
    statement = sa.select(table.__table__).where(table.site_id == tx.site_id, table.work_order_id == known)
    if number is not None:
        statement = statement.where(table.number == number)
    row = tx.connection.execute(statement.order_by(table.number.desc()).limit(1)).one_or_none()
    if row is None:
        return None
    members = {name: value for name, value in row._mapping.items() if name not in ("site_id", "inputs", "record")}
    return RevisionRow(**members, inputs_text=row.inputs, text=row.record)


@dataclass(frozen=True, slots=True)
class OpenOrder:
    """An open order on a position, by the name it had then."""

    id: str
    external_system: str
    external_number: str
    name: str


def open_orders_on(tx: Tx, position_ids: Sequence[str]) -> list[OpenOrder]:
    """Return the open orders on these positions, oldest first."""
    if not position_ids:
        return []
    rows = tx.connection.execute(_OPEN_ON, {"site": tx.site_id, "positions": list(position_ids)})
    return [OpenOrder(*row) for row in rows]


def stands() -> sa.ColumnElement[bool]:
    """Return the condition that a revision is the one its order stands at: none is later."""
    issued, later = models.Revision, aliased(models.Revision)
    same = (later.site_id == issued.site_id, later.work_order_id == issued.work_order_id)
    return sa.not_(sa.exists().where(*same, later.number > issued.number))


def _has_position(name: str) -> sa.ColumnElement[bool]:
    """Return the condition that an order has a position of this name, then or now."""
    order, ordered, position = models.WorkOrder, models.WorkOrderPosition, models.Position
    same = (position.site_id == ordered.site_id) & (position.id == ordered.position_id)
    of_order = (ordered.site_id == order.site_id, ordered.work_order_id == order.id)
    found = sa.select(ordered.position_id).join(position, same)
    return found.where(*of_order, (ordered.name == name) | (position.name == name)).correlate(order).exists()


def _one(tx: Tx, statement: sa.Select[*tuple[Any, ...]], values: dict[str, str]) -> WorkOrderRow | None:
    found = _orders(tx, statement, values)
    return found[0] if found else None


def _orders(tx: Tx, statement: sa.Select[*tuple[Any, ...]], values: dict[str, str]) -> list[WorkOrderRow]:
    by_order: dict[str, list[Any]] = {}
    for row in tx.connection.execute(statement, {"site": tx.site_id, **values}):
        by_order.setdefault(row.id, []).append(row)
    return [_order_row(rows) for rows in by_order.values()]


def _selection() -> sa.Select[*tuple[Any, ...]]:
    """Return the one query of orders with positions and latest revision, to be narrowed; built once."""
    order, asset, ordered, issued = models.WorkOrder, models.Asset, models.WorkOrderPosition, models.Revision
    latest = sa.select(sa.func.max(issued.number)).where(
        issued.site_id == order.site_id, issued.work_order_id == order.id
    )
    columns = (
        order.id,
        order.external_system,
        order.external_number,
        order.asset_id,
        asset.tag.label("asset_tag"),
        order.kind,
        order.status,
        order.opened_at,
        order.closed_at,
        order.cancel_reason,
        sa.func.coalesce(latest.scalar_subquery(), 0).label("revision"),
        ordered.position_id,
        ordered.name,
        ordered.fitted,
    )
    of_order = (ordered.site_id == order.site_id) & (ordered.work_order_id == order.id)
    of_asset = (asset.site_id == order.site_id) & (asset.id == order.asset_id)
    statement = sa.select(*columns).join_from(order, asset, of_asset).join(ordered, of_order)
    return statement.where(order.site_id == sa.bindparam("site")).order_by(order.id, ordered.ordinal)


_ORDERS: Final = _selection()
_BY_ID: Final = _ORDERS.where(models.WorkOrder.id == sa.bindparam("order_id"))
_BY_EXTERNAL: Final = _ORDERS.where(
    models.WorkOrder.external_system == sa.bindparam("system"),
    models.WorkOrder.external_number == sa.bindparam("number"),
)
_OPEN_ON: Final = (
    sa.select(
        models.WorkOrder.id,
        models.WorkOrder.external_system,
        models.WorkOrder.external_number,
        models.WorkOrderPosition.name,
    )
    .join_from(
        models.WorkOrder,
        models.WorkOrderPosition,
        (models.WorkOrderPosition.site_id == models.WorkOrder.site_id)
        & (models.WorkOrderPosition.work_order_id == models.WorkOrder.id),
    )
    .where(
        models.WorkOrder.site_id == sa.bindparam("site"),
        models.WorkOrder.status == "open",
        models.WorkOrderPosition.position_id.in_(sa.bindparam("positions", expanding=True)),
    )
    .order_by(models.WorkOrder.id, models.WorkOrderPosition.ordinal)
)
_INSERT: Final = sa.insert(models.WorkOrder)
_INSERT_POSITION: Final = sa.insert(models.WorkOrderPosition)
_INSERT_REVISION: Final = sa.insert(models.Revision)


def _order_row(rows: Sequence[Any]) -> WorkOrderRow:
    """Return the order of these rows, one row a position."""
    of_positions = ("position_id", "name", "fitted")
    members = {name: value for name, value in rows[0]._mapping.items() if name not in of_positions}
    positions = [
        {
            "position_id": row.position_id,
            "name": row.name,
            "bearing": None if row.fitted is None else records.decoded(row.fitted),
        }
        for row in rows
    ]
    return WorkOrderRow(**members, positions=positions)
