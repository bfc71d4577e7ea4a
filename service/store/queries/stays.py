"""Queries of stays: one bearing in one position, from fitting to removal."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service import record as records
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


def open_stay(tx: Tx, position_id: str) -> StayRow | None:
    """Return the bearing that runs in a position, None when none is on record."""
    stay = models.Stay
    return _one(tx, stay.position_id == position_id, stay.removed_at.is_(None))


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
