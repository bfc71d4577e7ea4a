"""Queries of the photos of an order, and of whether a site takes them."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service.store import models
from service.store.database import Database
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A photo as stored; its file is named by ``sha256``."""

    id: str
    work_order_id: str
    about: str
    position: str | None
    sha256: str
    bytes: int
    width: int
    height: int
    taken_by: str
    taken_at: datetime
    sent_as: str | None
    created_at: datetime


def insert_photo(tx: Tx, *, work_order_id: str, **members: Any) -> PhotoRow:
    """Return the new photo, stored."""
    row = PhotoRow(id=new_id(), work_order_id=work_order_id, created_at=tx.now, **members)
    values = {name: getattr(row, name) for name in PhotoRow.__dataclass_fields__}
    tx.connection.execute(sa.insert(models.Photo).values(site_id=tx.site_id, **values))
    return row


def photos_of(tx: Tx, work_order_id: str, *, after: str | None = None, limit: int | None = None) -> list[PhotoRow]:
    """Return the photos of an order by age; a page of them by id."""
    known = canonical_id(work_order_id)
    if known is None:
        return []
    table = models.Photo.__table__
    statement = sa.select(table).where(table.c.site_id == tx.site_id, table.c.work_order_id == known)
    if after is not None:
        statement = statement.where(table.c.id > after)
    return [_row(each) for each in tx.connection.execute(statement.order_by(table.c.id).limit(limit))]


def photo_by_id(tx: Tx, work_order_id: str, photo_id: str) -> PhotoRow | None:
    """Return a photo of an order."""
    order, known = canonical_id(work_order_id), canonical_id(photo_id)
    if order is None or known is None:
        return None
    table = models.Photo.__table__
    named = (table.c.site_id == tx.site_id, table.c.work_order_id == order, table.c.id == known)
    row = tx.connection.execute(sa.select(table).where(*named)).one_or_none()
    return None if row is None else _row(row)


def takes_photos(tx: Tx) -> bool:
    """Return whether the site takes photos, [-]."""
    asked = sa.select(models.Site.takes_photos).where(models.Site.id == tx.site_id)
    return tx.connection.execute(asked).scalar_one() is not False


def photo_files(database: Database) -> Iterator[tuple[str, str]]:
    """Yield site and hash of the file of every photo of all sites."""
    table = models.Photo.__table__
    with database.reading() as connection:
        yield from (
            (row.site_id, row.sha256)
            for row in connection.execute(sa.select(table.c.site_id, table.c.sha256).distinct())
        )


def _row(row: Any) -> PhotoRow:
    return PhotoRow(**{name: value for name, value in row._mapping.items() if name != "site_id"})
