"""Queries of field maps, versions of which are added and never changed, and of the messages they mapped.

Documents and messages are foreign JSON and stored as such, not as records.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import aliased

from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class FieldMapRow:
    """One version of a field map as stored; ``in_force``: no later version of it is on record."""

    id: str
    name: str
    version: int
    document: dict[str, Any]
    created_at: datetime
    in_force: bool


@dataclass(frozen=True, slots=True)
class MessageRow:
    """A message that an order was made of."""

    id: str
    work_order_id: str
    field_map_id: str | None
    field_map: str
    sha256: str
    body: str
    created_at: datetime


def insert_field_map(tx: Tx, *, name: str, document: dict[str, Any]) -> FieldMapRow:
    """Return the next version of the map of this name.

    Raises
    ------
    Conflict
        ``version_exists``: another transaction stored this version at the same time.
    """
    before = field_map_in_force(tx, name)
    row = FieldMapRow(new_id(), name, 1 if before is None else before.version + 1, document, tx.now, True)
    values = {"site_id": tx.site_id, "id": row.id, "name": name, "version": row.version, "created_at": tx.now}
    tx.connection.execute(sa.insert(models.FieldMap), values | {"document": _encoded(document)})
    return row


def field_map_in_force(tx: Tx, name: str) -> FieldMapRow | None:
    """Return the latest version of a map, None when the site has none of this name."""
    wanted = _SELECTION.where(models.FieldMap.name == name).order_by(models.FieldMap.version.desc()).limit(1)
    return _one(tx, wanted)


def names_of_field_maps(tx: Tx) -> set[str]:
    """Return the names of the site's maps."""
    chosen = sa.select(models.FieldMap.name).distinct().where(models.FieldMap.site_id == tx.site_id).limit(500)
    return set(tx.connection.execute(chosen).scalars())


def field_map_by_id(tx: Tx, map_id: str) -> FieldMapRow | None:
    """Return one version, None when the site has none of this id."""
    known = canonical_id(map_id)
    return None if known is None else _one(tx, _SELECTION.where(models.FieldMap.id == known))


def page_of_field_maps(tx: Tx, *, name: str | None = None, after: str | None = None, limit: int) -> list[FieldMapRow]:
    """Return up to ``limit`` versions in the order of their ids, those after the id ``after``."""
    chosen = _SELECTION
    if name is not None:
        chosen = chosen.where(models.FieldMap.name == name)
    if after is not None:
        chosen = chosen.where(models.FieldMap.id > after)
    rows = tx.connection.execute(chosen.order_by(models.FieldMap.id).limit(limit), {"site": tx.site_id})
    return [_row(row) for row in rows]


def insert_message(
    tx: Tx, *, work_order_id: str, field_map_id: str | None, field_map: str, sha256: str, body: str
) -> None:
    """Keep a message with the order that was made of it; ``field_map`` is the map's name and version."""
    by = {"work_order_id": work_order_id, "field_map_id": field_map_id, "field_map": field_map}
    values = {"site_id": tx.site_id, "id": new_id(), "sha256": sha256, "body": body, "created_at": tx.now}
    tx.connection.execute(sa.insert(models.InboundMessage), values | by)


def messages_of(tx: Tx, work_order_id: str) -> list[MessageRow]:
    """Return the messages that an order was made of."""
    message = models.InboundMessage
    wanted = sa.select(message.__table__).where(message.site_id == tx.site_id, message.work_order_id == work_order_id)
    rows = tx.connection.execute(wanted.order_by(message.id)).mappings()
    return [MessageRow(**{name: value for name, value in row.items() if name != "site_id"}) for row in rows]


def _encoded(document: dict[str, Any]) -> str:
    return json.dumps(document, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _one(tx: Tx, statement: sa.Select[*tuple[Any, ...]]) -> FieldMapRow | None:
    row = tx.connection.execute(statement, {"site": tx.site_id}).one_or_none()
    return None if row is None else _row(row)


def _row(row: Any) -> FieldMapRow:
    members = {**row._mapping, "document": json.loads(row.document), "in_force": bool(row.in_force)}
    return FieldMapRow(**members)


def _selection() -> sa.Select[*tuple[Any, ...]]:
    own, later = models.FieldMap, aliased(models.FieldMap)
    newer = sa.exists().where(later.site_id == own.site_id, later.name == own.name, later.version > own.version)
    columns = (own.id, own.name, own.version, own.document, own.created_at, sa.not_(newer).label("in_force"))
    return sa.select(*columns).where(own.site_id == sa.bindparam("site"))


_SELECTION: Final = _selection()
