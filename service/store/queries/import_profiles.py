"""Queries of import profiles, versions of which are added and never changed. Documents are JSON and stored as such."""

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
class ImportProfileRow:
    """One version of an import profile as stored; ``in_force``: no later version of it is on record."""

    id: str
    name: str
    version: int
    document: dict[str, Any]
    created_at: datetime
    in_force: bool


def insert_import_profile(tx: Tx, *, name: str, document: dict[str, Any]) -> ImportProfileRow:
    """Return the next version of the profile of this name.

    Raises
    ------
    Conflict
        ``version_exists``: another transaction stored this version at the same time.
    """
    before = import_profile_in_force(tx, name)
    row = ImportProfileRow(new_id(), name, 1 if before is None else before.version + 1, document, tx.now, True)
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    values = {"site_id": tx.site_id, "id": row.id, "name": name, "version": row.version, "created_at": tx.now}
    tx.connection.execute(sa.insert(models.ImportProfile), values | {"document": text})
    return row


def import_profile_in_force(tx: Tx, name: str) -> ImportProfileRow | None:
    """Return the latest version of a profile, None when the site has none of this name."""
    profile = models.ImportProfile
    return _one(tx, _SELECTION.where(profile.name == name).order_by(profile.version.desc()).limit(1))


def import_profile_by_id(tx: Tx, profile_id: str) -> ImportProfileRow | None:
    """Return one version, None when the site has none of this id."""
    known = canonical_id(profile_id)
    return None if known is None else _one(tx, _SELECTION.where(models.ImportProfile.id == known))


def names_of_import_profiles(tx: Tx) -> list[str]:
    """Return the names of the site's profiles, in their order."""
    profile = models.ImportProfile
    chosen = sa.select(profile.name).distinct().where(profile.site_id == tx.site_id).order_by(profile.name)
    return list(tx.connection.execute(chosen).scalars())


def page_of_import_profiles(
    tx: Tx, *, name: str | None = None, after: str | None = None, limit: int
) -> list[ImportProfileRow]:
    """Return up to ``limit`` versions in the order of their ids, those after the id ``after``."""
    profile, chosen = models.ImportProfile, _SELECTION
    if name is not None:
        chosen = chosen.where(profile.name == name)
    if after is not None:
        chosen = chosen.where(profile.id > after)
    rows = tx.connection.execute(chosen.order_by(profile.id).limit(limit), {"site": tx.site_id})
    return [_row(row) for row in rows]


def _one(tx: Tx, statement: sa.Select[*tuple[Any, ...]]) -> ImportProfileRow | None:
    row = tx.connection.execute(statement, {"site": tx.site_id}).one_or_none()
    return None if row is None else _row(row)


def _row(row: Any) -> ImportProfileRow:
    members = {**row._mapping, "document": json.loads(row.document), "in_force": bool(row.in_force)}
    return ImportProfileRow(**members)


def _selection() -> sa.Select[*tuple[Any, ...]]:
    own, later = models.ImportProfile, aliased(models.ImportProfile)
    newer = sa.exists().where(later.site_id == own.site_id, later.name == own.name, later.version > own.version)
    columns = (own.id, own.name, own.version, own.document, own.created_at, sa.not_(newer).label("in_force"))
    return sa.select(*columns).where(own.site_id == sa.bindparam("site"))


_SELECTION: Final = _selection()
