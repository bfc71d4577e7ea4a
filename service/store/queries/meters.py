"""Queries of hour meters: their readings, asset by asset. A reading is never changed; a wrong one is struck out."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class MeterReadingRow:
    """A reading as stored, hours in [h]; ``restarts_at_h`` when the meter was exchanged then."""

    id: str
    asset_id: str
    read_at: datetime
    value_h: float
    restarts_at_h: float | None
    created_at: datetime


def hold_asset(tx: Tx, asset_id: str) -> None:
    """Make this transaction the only one that enters readings of an asset until its commit."""
    asset = models.Asset
    held = sa.select(asset.id).where(asset.site_id == tx.site_id, asset.id == asset_id).with_for_update()
    tx.connection.execute(held).one_or_none()


def insert_meter_reading(
    tx: Tx, *, asset_id: str, read_at: datetime, value_h: float, restarts_at_h: float | None
) -> MeterReadingRow:
    """Return the new reading.

    Raises
    ------
    Conflict
        ``meter_read_then``
    """
    row = MeterReadingRow(new_id(), asset_id, read_at, value_h, restarts_at_h, tx.now)
    values = {name: getattr(row, name) for name in MeterReadingRow.__dataclass_fields__}
    tx.connection.execute(sa.insert(models.MeterReading).values(site_id=tx.site_id, **values))
    return row


def delete_meter_reading(tx: Tx, asset_id: str, reading_id: str) -> MeterReadingRow | None:
    """Strike out a reading and return it; None when the asset has none of this id."""
    read = models.MeterReading
    mine = (read.site_id == tx.site_id, read.asset_id == asset_id, read.id == canonical_id(reading_id))
    row = tx.connection.execute(sa.select(read.__table__).where(*mine)).one_or_none()
    if row is None:
        return None
    tx.connection.execute(sa.delete(read).where(*mine))
    return _row(row)


def meter_readings(tx: Tx, asset_id: str) -> list[MeterReadingRow]:
    """Return the readings of an asset in the order of their times."""
    read = models.MeterReading
    mine = sa.select(read.__table__).where(read.site_id == tx.site_id, read.asset_id == asset_id)
    return [_row(row) for row in tx.connection.execute(mine.order_by(read.read_at))]


def all_meter_readings(tx: Tx) -> dict[str, list[MeterReadingRow]]:
    """Return the readings of all assets of the site, by the id of the asset, in the order of their times."""
    read = models.MeterReading
    mine = sa.select(read.__table__).where(read.site_id == tx.site_id).order_by(read.asset_id, read.read_at)
    found: dict[str, list[MeterReadingRow]] = {}
    for row in tx.connection.execute(mine):
        found.setdefault(row.asset_id, []).append(_row(row))
    return found


def _row(row: Any) -> MeterReadingRow:
    return MeterReadingRow(**{name: value for name, value in row._mapping.items() if name != "site_id"})
