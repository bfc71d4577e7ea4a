"""Queries of assets. A document has the members of the wire (tag, name, shafts), with quantities as leaves."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service import record
from service.errors import CannotEvaluate, Conflict, NotFound, StaleVersion
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.queries import positions
from service.store.transaction import Tx

Document = dict[str, Any]
HELD_AT_ONCE: Final = 5_000  # values in one IN list
MOST_TO_COMPARE: Final = 2_000  # names that a misspelt one is compared with


@dataclass(frozen=True, slots=True)
class AssetRow:
    """An asset as stored; ``shafts`` has the members of the wire, each position with its ``id`` first."""

    id: str
    tag: str
    name: str
    version: int
    shafts: list[Document]
    created_at: datetime
    updated_at: datetime


def insert_asset(tx: Tx, document: Document) -> AssetRow:
    """Return the new asset, version 1.

    Raises
    ------
    CannotEvaluate
        ``position_named_twice``, or ``unknown_position``: a new asset has no positions that could be named by id.
    Conflict
        ``asset_tag_taken``
    """
    positions.check_names(document["shafts"])
    asset_id = new_id()
    values = {"site_id": tx.site_id, "id": asset_id, "version": 1, "created_at": tx.now, "updated_at": tx.now}
    tx.connection.execute(_INSERT, values | _own_members(document))
    shafts = positions.replace_shafts(tx, asset_id, document["shafts"], fresh=True)
    return AssetRow(asset_id, document["tag"], document["name"], 1, shafts, tx.now, tx.now)


def asset_by_id(tx: Tx, asset_id: str) -> AssetRow | None:
    """Return the asset, None when the site has none of this id."""
    known = canonical_id(asset_id)
    return None if known is None else _one(tx, _BY_ID, {"asset_id": known})


def asset_by_tag(tx: Tx, tag: str) -> AssetRow | None:
    """Return the asset, None when the site has none of this tag."""
    return _one(tx, _BY_TAG, {"tag": tag})


def tags_among(tx: Tx, texts: Iterable[str]) -> set[str]:
    """Return those of the texts that are tags of assets."""
    asset = models.Asset
    chosen = sa.select(asset.tag).where(asset.site_id == tx.site_id, asset.tag.in_(sorted(set(texts))))
    return set(tx.connection.execute(chosen).scalars())


def some_tags(tx: Tx, *, limit: int = MOST_TO_COMPARE) -> list[str]:
    """Return tags of assets to compare a misspelt one with; all of them on most sites."""
    asset = models.Asset
    chosen = sa.select(asset.tag).where(asset.site_id == tx.site_id).order_by(asset.tag).limit(limit)
    return list(tx.connection.execute(chosen).scalars())


def keep_as_they_are(tx: Tx, tags: Iterable[str]) -> None:
    """Let nobody replace or delete the assets of these tags before this transaction ends.

    Who hangs something on positions asks for this before anything else. Replacing and deleting take the asset's row
    first too, so that all come one after the other; by their positions they would wait crosswise. What is read after
    this is as it was left. On SQLite there is one writer anyway.
    """
    if tx.connection.dialect.name == "sqlite":
        return
    wanted = sorted(set(tags))
    for start in range(0, len(wanted), HELD_AT_ONCE):
        some = {"site": tx.site_id, "tags": wanted[start : start + HELD_AT_ONCE]}
        tx.connection.execute(_HELD, some).all()


def page_of_assets(
    tx: Tx, *, tag: str | None = None, named: str | None = None, after: str | None = None, limit: int
) -> list[AssetRow]:
    """Return up to ``limit`` assets in the order of their ids, those after the id ``after``.

    ``named``: their tag or name holds this text, letters of either case counting as alike.
    """
    asset = models.Asset
    chosen = sa.select(asset.id).where(asset.site_id == tx.site_id)
    if tag is not None:
        chosen = chosen.where(asset.tag == tag)
    if named is not None:
        held = (sa.func.lower(column).contains(named.lower(), autoescape=True) for column in (asset.tag, asset.name))
        chosen = chosen.where(sa.or_(*held))
    if after is not None:
        chosen = chosen.where(asset.id > _cursor(after))
    page = asset.id.in_(chosen.order_by(asset.id).limit(limit).scalar_subquery())
    return _assets(tx, _ASSETS.where(page), {})


def replace_asset(tx: Tx, asset_id: str, version: int | None, document: Document) -> AssetRow:
    """Return the asset with another document and the next version; ``version`` None stands for any.

    A shaft is known again by its name, a position by the id that is sent, else by its name. Comparing the version and
    raising it is one statement.

    Raises
    ------
    CannotEvaluate
        ``position_named_twice``, or ``unknown_position``: an id that is not one of the asset's.
    Conflict
        ``asset_tag_taken``; ``position_has_history``: a position would be dropped that has stays or work orders.
    NotFound
        The site has no such asset.
    StaleVersion
        The asset has another version now.
    """
    positions.check_names(document["shafts"])
    row = _raised(tx, asset_id, version, _own_members(document))
    shafts = positions.replace_shafts(tx, row.id, document["shafts"], fresh=False)
    return AssetRow(row.id, document["tag"], document["name"], row.version, shafts, row.created_at, tx.now)


def delete_asset(tx: Tx, asset_id: str, version: int | None) -> None:
    """Delete the asset, its shafts and its positions.

    Raises
    ------
    Conflict
        ``asset_in_use``: work orders or stays hang on it.
    NotFound
        The site has no such asset.
    StaleVersion
        The asset has another version now.
    """
    row = _raised(tx, asset_id, version, {})
    order = models.WorkOrder
    read = models.MeterReading
    hanging = (
        sa.select(order.id).where(order.site_id == tx.site_id, order.asset_id == row.id).limit(1),
        sa.select(read.id).where(read.site_id == tx.site_id, read.asset_id == row.id).limit(1),
    )
    in_use = any(tx.connection.execute(one).first() for one in hanging)
    if in_use or positions.with_history(tx, asset_id=row.id):
        said = "Work orders, stays or meter readings hang on this asset; it cannot be deleted."
        raise Conflict(said, code="asset_in_use")
    for table in (models.Position, models.Shaft):
        tx.connection.execute(sa.delete(table).where(table.site_id == tx.site_id, table.asset_id == row.id))
    asset = models.Asset
    tx.connection.execute(sa.delete(asset).where(asset.site_id == tx.site_id, asset.id == row.id))


def _raised(tx: Tx, asset_id: str, version: int | None, values: dict[str, Any]) -> Any:
    """Return id, version and created_at after comparing and raising the version in one statement."""
    known = canonical_id(asset_id)
    asset = models.Asset
    mine = (asset.site_id == tx.site_id, asset.id == known)
    same = mine if version is None else (*mine, asset.version == version)
    statement = sa.update(asset).where(*same).values(version=asset.version + 1, updated_at=tx.now, **values)
    returned = statement.returning(asset.id, asset.version, asset.created_at)
    row = None if known is None else tx.connection.execute(returned).one_or_none()
    if row is not None:
        return row
    found = tx.connection.execute(sa.select(asset.version).where(*mine)).scalar_one_or_none() if known else None
    if found is None:
        raise NotFound(f"There is no asset {asset_id!r}.")
    raise StaleVersion(f"The asset has version {found} now, not {version}; read it again.", version=found)


def _own_members(document: Document) -> dict[str, str]:
    """Return the columns of the asset itself; what is not a column goes into the document."""
    rest = {name: value for name, value in document.items() if name not in ("id", "tag", "name", "shafts")}
    return {"tag": document["tag"], "name": document["name"], "document": record.encoded(rest)}


def _cursor(after: str) -> str:
    known = canonical_id(after)
    if known is None:
        raise CannotEvaluate("The list was asked to go on after something that is not an id.", code="bad_cursor")
    return known


def _one(tx: Tx, statement: sa.Select[*tuple[Any, ...]], values: dict[str, str]) -> AssetRow | None:
    found = _assets(tx, statement, values)
    return found[0] if found else None


def _assets(tx: Tx, statement: sa.Select[*tuple[Any, ...]], values: dict[str, str]) -> list[AssetRow]:
    by_asset: dict[str, list[Any]] = {}
    for row in tx.connection.execute(statement, {"site": tx.site_id, **values}):
        by_asset.setdefault(row.id, []).append(row)
    return [_asset_row(of_one) for of_one in by_asset.values()]


def _selection() -> sa.Select[*tuple[Any, ...]]:
    """Return the one query of assets with shafts and positions, to be narrowed; built once, it costs less per call."""
    asset, shaft, position = models.Asset, models.Shaft, models.Position
    columns = (
        asset.id,
        asset.tag,
        asset.name,
        asset.version,
        asset.created_at,
        asset.updated_at,
        shaft.id.label("shaft_id"),
        shaft.name.label("shaft_name"),
        shaft.document.label("shaft_document"),
        position.id.label("position_id"),
        position.name.label("position_name"),
        position.document.label("position_document"),
    )
    of_asset = (shaft.site_id == asset.site_id) & (shaft.asset_id == asset.id)
    of_shaft = (position.site_id == shaft.site_id) & (position.shaft_id == shaft.id)
    statement = sa.select(*columns).outerjoin_from(asset, shaft, of_asset).outerjoin(position, of_shaft)
    statement = statement.where(asset.site_id == sa.bindparam("site"))
    return statement.order_by(asset.id, shaft.ordinal, position.ordinal)


_ASSETS: Final = _selection()
_BY_ID: Final = _ASSETS.where(models.Asset.id == sa.bindparam("asset_id"))
_BY_TAG: Final = _ASSETS.where(models.Asset.tag == sa.bindparam("tag"))
_INSERT: Final = sa.insert(models.Asset)
_HELD: Final = (
    sa.select(models.Asset.id)
    .where(models.Asset.site_id == sa.bindparam("site"), models.Asset.tag.in_(sa.bindparam("tags", expanding=True)))
    .order_by(models.Asset.tag)
    .with_for_update(read=True)
)


def _asset_row(rows: Sequence[Any]) -> AssetRow:
    """Return the asset of these rows, one row a position."""
    shafts: dict[str, Document] = {}
    for row in rows:
        if row.shaft_id is None:
            continue
        if row.shaft_id not in shafts:
            shafts[row.shaft_id] = {"name": row.shaft_name, **record.decoded(row.shaft_document), "positions": []}
        if row.position_id is not None:
            members = {"id": row.position_id, "name": row.position_name, **record.decoded(row.position_document)}
            shafts[row.shaft_id]["positions"].append(members)
    first = rows[0]
    return AssetRow(
        first.id, first.tag, first.name, first.version, list(shafts.values()), first.created_at, first.updated_at
    )
