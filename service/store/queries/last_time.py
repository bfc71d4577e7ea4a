"""What is on record of the last bearing in some positions: its stay, the order that fitted it, what was found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service import record as records
from service.store import models
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class LastStay:
    """The last bearing in a position, with the one before it where that is known: how it ended.

    ``document`` is how it was mounted; ``before`` None or (end_type, damage, cause) of the bearing it replaced.
    """

    position_id: str
    designation: str
    manufacturer: str | None
    serial: str | None
    installed_at: datetime
    removed_at: datetime | None
    operating_hours: float | None
    end_type: str
    damage: str | None
    cause: str | None
    work_order_id: str | None
    work_order: str | None
    document: dict[str, Any]
    before: tuple[str, str | None, str | None] | None


def last_stays(tx: Tx, position_ids: Sequence[str]) -> dict[str, LastStay]:
    """Return the last stay of each position that had one, by the id of the position."""
    if not position_ids:
        return {}
    rows = tx.connection.execute(_LAST, {"site": tx.site_id, "positions": list(position_ids)})
    by_position: dict[str, list[Any]] = {}
    for row in rows:
        by_position.setdefault(row.position_id, []).append(row)
    return {position: _last_stay(found) for position, found in by_position.items()}


def _last_stay(rows: Sequence[Any]) -> LastStay:
    """Return the last of one or two stays, the later one first."""
    members = {name: value for name, value in rows[0]._mapping.items() if name in LastStay.__dataclass_fields__}
    before = None if len(rows) < 2 else (rows[1].end_type, rows[1].damage, rows[1].cause)
    return LastStay(**members | {"document": records.decoded(rows[0].document), "before": before})


def as_found_of_orders(tx: Tx, order_ids: Sequence[str]) -> dict[tuple[str, str], dict[str, Any]]:
    """Return what was found by order and name of the position; the last entry of each."""
    if not order_ids:
        return {}
    table = models.AsFound
    found = sa.select(table.work_order_id, table.position, table.document)
    mine = (table.site_id == tx.site_id, table.work_order_id.in_(order_ids))
    rows = tx.connection.execute(found.where(*mine).order_by(table.id))
    return {(row.work_order_id, row.position): records.decoded(row.document) for row in rows}


def plans_of(tx: Tx, wanted: Mapping[str, int]) -> dict[str, dict[str, Any]]:
    """Return the plan record of one revision of each of some orders, by the id of the order."""
    if not wanted:
        return {}
    table = models.Revision
    chosen = sa.or_(*(sa.and_(table.work_order_id == order, table.number == n) for order, n in wanted.items()))
    rows = tx.connection.execute(
        sa.select(table.work_order_id, table.record).where(table.site_id == tx.site_id, chosen)
    )
    return {row.work_order_id: records.decoded(row.record) for row in rows}


def names_in(tx: Tx, order_ids: Sequence[str]) -> dict[tuple[str, str], str]:
    """Return the name that a position had in an order, by the ids of order and position."""
    if not order_ids:
        return {}
    table = models.WorkOrderPosition
    found = sa.select(table.work_order_id, table.position_id, table.name)
    rows = tx.connection.execute(found.where(table.site_id == tx.site_id, table.work_order_id.in_(order_ids)))
    return {(row.work_order_id, row.position_id): row.name for row in rows}


def _selection() -> sa.Select[*tuple[Any, ...]]:
    """Return the query of the last two stays of each position, the later one first; built once."""
    stay, order = models.Stay, models.WorkOrder
    columns = [getattr(stay, name) for name in LastStay.__dataclass_fields__ if name not in ("work_order", "before")]
    place = sa.func.row_number().over(partition_by=stay.position_id, order_by=stay.installed_at.desc()).label("place")
    ranked = (
        sa.select(*columns, stay.site_id, stay.work_order_number, place)
        .where(stay.site_id == sa.bindparam("site"), stay.position_id.in_(sa.bindparam("positions", expanding=True)))
        .subquery()
    )
    of_order = (order.site_id == ranked.c.site_id) & (order.id == ranked.c.work_order_id)
    named = sa.func.coalesce(order.external_number, ranked.c.work_order_number).label("work_order")
    return (
        sa.select(ranked, named)
        .join_from(ranked, order, of_order, isouter=True)
        .where(ranked.c.place <= 2)
        .order_by(ranked.c.position_id, ranked.c.place)
    )


_LAST: Final = _selection()
