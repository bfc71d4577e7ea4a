"""Queries of the names that attributes of stays have at a site."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service.store import models
from service.store.transaction import Tx
from service.words import AttributeType


@dataclass(frozen=True, slots=True)
class AttributeRow:
    """A name and its one type."""

    name: str
    type: AttributeType
    description: str | None
    created_at: datetime


def attribute_rows(tx: Tx) -> list[AttributeRow]:
    """Return the names of the site, in their order."""
    named = models.StayAttribute
    columns = (named.name, named.type, named.description, named.created_at)
    rows = tx.connection.execute(sa.select(*columns).where(named.site_id == tx.site_id).order_by(named.name))
    return [AttributeRow(**row._mapping) for row in rows]


def hold_names(tx: Tx) -> None:
    """Make this transaction the only one that names attributes of the site until its commit."""
    tx.connection.execute(sa.select(models.Site.id).where(models.Site.id == tx.site_id).with_for_update()).one()


def insert_attributes(tx: Tx, types: Mapping[str, AttributeType], *, description: str | None = None) -> None:
    """Store names with their types.

    Raises
    ------
    Conflict
        ``attribute_exists``
    """
    rows: list[dict[str, Any]] = [
        {"site_id": tx.site_id, "name": name, "type": kind, "description": description, "created_at": tx.now}
        for name, kind in sorted(types.items())
    ]
    if rows:
        tx.connection.execute(sa.insert(models.StayAttribute), rows)


def change_attribute(tx: Tx, name: str, *, kind: AttributeType, description: str | None) -> None:
    """Give a name another type or description."""
    named = models.StayAttribute
    mine = (named.site_id == tx.site_id, named.name == name)
    tx.connection.execute(sa.update(named).where(*mine).values(type=kind, description=description))


def delete_attribute(tx: Tx, name: str) -> None:
    """Delete a name."""
    named = models.StayAttribute
    tx.connection.execute(sa.delete(named).where(named.site_id == tx.site_id, named.name == name))


def stay_with_attribute(tx: Tx, name: str) -> str | None:
    """Return the id of a stay that has an attribute of this name, None when none has."""
    stay = models.Stay
    held = stay.attributes.contains(f'"{name}":', autoescape=True)  # a quotation mark inside a text is escaped: \"
    found = sa.select(stay.id).where(stay.site_id == tx.site_id, stay.attributes.is_not(None), held).limit(1)
    return tx.connection.execute(found).scalar_one_or_none()
