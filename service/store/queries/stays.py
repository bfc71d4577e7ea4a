"""Queries of stays: one bearing in one position, from fitting to removal."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service import record as records
from service.history.attributes import attributes_of
from service.moments import in_document
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class StayRow:
    """A stay as stored, with the names of its asset, position and work order; ``document`` holds it as mounted."""

    id: str
    external_id: str | None
    asset: str
    position: str
    position_id: str
    work_order: str | None
    work_order_id: str | None
    designation: str
    manufacturer: str | None
    serial: str | None
    installed_at: datetime
    removed_at: datetime | None
    operating_hours: float | None
    as_of: datetime | None
    age_at_install_h: float | None
    observed_from: datetime | None
    end_type: str
    inspected: bool | None
    damage: str | None
    cause: str | None
    initial_clearance_nm: int | None
    residual_clearance_nm: int | None
    window_min_nm: int | None
    window_max_nm: int | None
    downtime_h: float | None
    lubricant: str | None
    batch: str | None
    speed_rpm: float | None
    temperature_degc: float | None
    radial_load_n: float | None
    attributes: str | None
    document: dict[str, Any]
    created_at: datetime


def begin_stay(tx: Tx, *, position_id: str, document: dict[str, Any], **members: Any) -> str:
    """Store a bearing that runs from now on, and return the id of its stay.

    Raises
    ------
    Conflict
        ``position_has_open_stay``, ``stays_overlap``
    """
    stay_id = new_id()
    values: dict[str, Any] = {"id": stay_id, "site_id": tx.site_id, "position_id": position_id, "end_type": "running"}
    values |= {
        "role": document.get("role"),
        "installed_by": document.get("completed_by"),
        "deviations": len(document["deviations"]) if "deviations" in document else None,
        "document": records.encoded(document),
        "created_at": tx.now,
    }
    tx.connection.execute(sa.insert(models.Stay).values(values | members))
    return stay_id


def change_stay(tx: Tx, stay_id: str, *, document: dict[str, Any] | None = None, **members: Any) -> None:
    """End a stay, or put right what a correction names.

    Raises
    ------
    Conflict
        ``removed_before_installed``, ``stays_overlap``
    """
    values = members if document is None else members | {"document": records.encoded(document)}
    stay = models.Stay
    if values:
        mine = (stay.site_id == tx.site_id, stay.id == stay_id)
        tx.connection.execute(sa.update(stay).where(*mine).values(values))


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    """A stay that is kept and shown and not counted; ``document``: its members."""

    id: str
    position_id: str
    work_order_id: str
    reason: str
    document: dict[str, Any]
    created_at: datetime


def set_aside_stay(tx: Tx, *, position_id: str, work_order_id: str, reason: str, document: dict[str, Any]) -> str:
    """Keep a stay beside those that count, and return its id."""
    row_id = new_id()
    values: dict[str, Any] = {"id": row_id, "site_id": tx.site_id, "position_id": position_id}
    values["work_order_id"] = work_order_id
    values |= {"reason": reason, "document": records.encoded(document), "created_at": tx.now}
    tx.connection.execute(sa.insert(models.SetAsideStay).values(values))
    return row_id


def strike_stay(tx: Tx, stay: StayRow, *, work_order_id: str) -> None:
    """Take a stay out of those that count; all of it is kept, under the same id."""
    names = (name for name in StayRow.__dataclass_fields__ if name not in ("document", "created_at"))
    kept = {name: in_document(getattr(stay, name)) for name in names} | {"mounted": stay.document}
    kept["attributes"] = attributes_of(stay.attributes)
    values: dict[str, Any] = {"id": stay.id, "site_id": tx.site_id, "position_id": stay.position_id}
    values["work_order_id"] = work_order_id
    values |= {"reason": models.stays.STRUCK_OUT, "document": records.encoded(kept), "created_at": tx.now}
    tx.connection.execute(sa.delete(models.Stay).where(models.Stay.site_id == tx.site_id, models.Stay.id == stay.id))
    tx.connection.execute(sa.insert(models.SetAsideStay).values(values))


def strike_set_aside(tx: Tx, row_id: str) -> None:
    """Strike out a bearing that was kept as never on record: the outcome that told of it was wrong."""
    table = models.SetAsideStay
    mine = (table.site_id == tx.site_id, table.id == row_id)
    tx.connection.execute(sa.update(table).where(*mine).values(reason=models.stays.STRUCK_OUT))


def set_aside_of(tx: Tx, work_order_id: str) -> list[SetAsideRow]:
    """Return the stays that an order set aside, kept and not counted, oldest first."""
    table = models.SetAsideStay
    statement = sa.select(table.__table__).where(table.site_id == tx.site_id, table.work_order_id == work_order_id)
    rows = tx.connection.execute(statement.order_by(table.created_at, table.id))
    return [SetAsideRow(**_kept(row) | {"document": records.decoded(row.document)}) for row in rows]


def _kept(row: Any) -> dict[str, Any]:
    return {name: value for name, value in row._mapping.items() if name in SetAsideRow.__dataclass_fields__}


def removed_unrecorded(tx: Tx) -> int:
    """Return how many bearings of the site came out that were never on record."""
    table = models.SetAsideStay
    unknown = (table.site_id == tx.site_id, table.reason == models.stays.BEGINNING_UNKNOWN)
    return int(tx.connection.execute(sa.select(sa.func.count()).select_from(table).where(*unknown)).scalar_one())


def later_work(tx: Tx, position_id: str, *, order_id: str, after: datetime, stay_id: str | None) -> bool:
    """Return whether a later order or stay of a position stands on what was completed there, [-].

    Parameters
    ----------
    after : datetime
        When the completion was entered: orders that were made later count, cancelled ones do not
    stay_id : str or None
        The stay that the completion began: it must still run, and none may have begun after it
    """
    order, place, stay = models.WorkOrder, models.WorkOrderPosition, models.Stay
    later = (
        sa.select(sa.literal(1))
        .join_from(order, place, (place.site_id == order.site_id) & (place.work_order_id == order.id))
        .where(order.site_id == tx.site_id, place.position_id == position_id, order.id != order_id)
        .where(order.created_at > after, order.status != "cancelled")
    )
    own = stay_by_id(tx, stay_id) if stay_id is not None else None
    if own is not None and own.removed_at is not None:
        return True
    begun = sa.select(sa.literal(1)).where(stay.site_id == tx.site_id, stay.position_id == position_id)
    begun = begun.where(stay.created_at > after, stay.work_order_id.is_distinct_from(order_id))
    return any(tx.connection.execute(each.limit(1)).first() is not None for each in (later, begun))


def open_stay(tx: Tx, position_id: str) -> StayRow | None:
    """Return the bearing that runs in a position, None when none is on record."""
    stay = models.Stay
    return _one(tx, stay.position_id == position_id, stay.removed_at.is_(None))


def running_by_serial(tx: Tx, serials: Iterable[str]) -> dict[str, list[tuple[str, str]]]:
    """Return tag and position of the bearings that run, by those of the serial numbers that any of them has."""
    stay, found = models.Stay, dict[str, list[tuple[str, str]]]()
    chosen = _selection(tx).where(stay.removed_at.is_(None), stay.serial.in_(sorted(set(serials))))
    for row in tx.connection.execute(chosen):
        found.setdefault(row.serial, []).append((row.asset, row.position))
    return found


def stay_by_id(tx: Tx, stay_id: str) -> StayRow | None:
    """Return a stay, None when the site has none of this id."""
    known = canonical_id(stay_id)
    return None if known is None else _one(tx, models.Stay.id == known)


def _one(tx: Tx, *chosen: Any) -> StayRow | None:
    row = tx.connection.execute(_selection(tx).where(*chosen)).one_or_none()
    return None if row is None else _stay_row(row)


def _selection(tx: Tx) -> sa.Select[*tuple[Any, ...]]:
    stay, position, asset, order = models.Stay, models.Position, models.Asset, models.WorkOrder
    named = (
        asset.tag.label("asset"),
        position.name.label("position"),
        sa.func.coalesce(order.external_number, stay.work_order_number).label("work_order"),
    )
    return (
        sa.select(stay.__table__, *named)
        .join_from(stay, position, (position.site_id == stay.site_id) & (position.id == stay.position_id))
        .join(asset, (asset.site_id == position.site_id) & (asset.id == position.asset_id))
        .join(order, (order.site_id == stay.site_id) & (order.id == stay.work_order_id), isouter=True)
        .where(stay.site_id == tx.site_id)
    )


def _stay_row(row: Any) -> StayRow:
    members = {name: value for name, value in row._mapping.items() if name in StayRow.__dataclass_fields__}
    return StayRow(**members | {"document": records.decoded(members["document"])})
