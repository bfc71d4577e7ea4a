"""Queries of a site's books, its charts and housings: versions are added, never changed or taken away.

``document`` holds provenance and rows as a record (``service.record``).
"""

import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import aliased

from service import record
from service.instructions.books.books import CHART, HOUSING, Book, SiteBooks, book_of, site_books
from service.store import models
from service.store.database import Database
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx
from service.words import CHART_KINDS

Model = type[models.Chart] | type[models.Housing]
TABLES: Final[dict[str, Model]] = {CHART: models.Chart, HOUSING: models.Housing}
KEPT: Final = 512
"""Books whose documents a process keeps read; a version never changes, so none can be stale."""


@dataclass(frozen=True, slots=True)
class BookRow:
    """One version of a chart or a housing as stored; ``in_force``: no later version of it is on record."""

    id: str
    kind: str
    name: str
    version: int
    document: dict[str, Any]
    created_at: datetime
    in_force: bool


def insert_version(tx: Tx, table: str, *, kind: str, name: str, document: dict[str, Any]) -> BookRow:
    """Return the next version of the book of this kind and name.

    Raises
    ------
    Conflict
        ``version_exists``: another transaction stored this version at the same time.
    """
    model = TABLES[table]
    before = latest(tx, table, kind=kind, name=name)
    version = 1 if before is None else before.version + 1
    row = BookRow(new_id(), kind, name, version, document, tx.now, in_force=True)
    values = {"site_id": tx.site_id, "id": row.id, "kind": kind, "name": name, "version": version}
    stored = {"document": record.encoded(document), "created_at": tx.now}
    tx.connection.execute(sa.insert(model), values | stored)
    tx.connection.execute(_CHANGED, {"site": tx.site_id})
    return row


_CHANGED: Final = (
    sa.update(models.Site)
    .where(models.Site.id == sa.bindparam("site"))
    .values(books_version=models.Site.books_version + 1)
)


def latest(tx: Tx, table: str, *, kind: str, name: str) -> BookRow | None:
    """Return the version in force of a kind and name, None when there is none."""
    model = TABLES[table]
    chosen = _selection(model).where(model.kind == kind, model.name == name).order_by(model.version.desc()).limit(1)
    return _one(tx, chosen)


def book_by_id(tx: Tx, table: str, book_id: str) -> BookRow | None:
    """Return one version, None when the site has none of this id."""
    known = canonical_id(book_id)
    model = TABLES[table]
    return None if known is None else _one(tx, _selection(model).where(model.id == known))


def page_of_books(
    tx: Tx,
    table: str,
    *,
    kind: str | None = None,
    name: str | None = None,
    in_force: bool | None = None,
    after: str | None = None,
    limit: int,
) -> list[BookRow]:
    """Return up to ``limit`` versions in the order of their ids, those after the id ``after``."""
    model = TABLES[table]
    chosen = _selection(model)
    for column, wanted in ((model.kind, kind), (model.name, name)):
        if wanted is not None:
            chosen = chosen.where(column == wanted)
    if in_force is not None:
        chosen = chosen.where(_is_latest(model) if in_force else sa.not_(_is_latest(model)))
    if after is not None:
        chosen = chosen.where(model.id > after)
    rows = tx.connection.execute(chosen.order_by(model.id).limit(limit), {"site": tx.site_id})
    return [_book_row(row) for row in rows]


def books_in_force(tx: Tx, kinds: Sequence[str] = CHART_KINDS) -> SiteBooks:
    """Return the latest version of each chart and housing of the kinds, in one query."""
    rows = tx.connection.execute(_IN_FORCE, {"site": tx.site_id, "kinds": list(kinds)})
    return site_books(_book(*row) for row in rows)


class Shelf:
    """The books in force as a process read them last, by site and kinds.

    They are read again when ``Caller.books_version``, which comes with the caller's key, is higher than when they were
    read. What is kept is never older than the caller's number says; it may be newer.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._kept: dict[tuple[str, tuple[str, ...]], tuple[int, SiteBooks]] = {}
        self._lock = threading.Lock()

    def books(self, site_id: str, books_version: int, kinds: Sequence[str]) -> SiteBooks:
        """Return the books of the kinds that are in force."""
        wanted = (site_id, tuple(kinds))
        kept = self._kept.get(wanted)
        if kept is not None and kept[0] >= books_version:
            return kept[1]
        with self._database.read(site_id) as tx:
            books = books_in_force(tx, kinds)
        with self._lock:
            if len(self._kept) >= KEPT:
                self._kept.clear()
            self._kept[wanted] = (books_version, books)
        return books


def books_of(tx: Tx, references: Iterable[dict[str, Any]]) -> SiteBooks:
    """Return the versions that an earlier plan was made with, from ``SiteBooks.references``."""
    ids = [reference["id"] for reference in references]
    if not ids:
        return SiteBooks()
    return site_books(_book(*row) for row in tx.connection.execute(_OF_IDS, {"site": tx.site_id, "ids": ids}))


@lru_cache(maxsize=KEPT)
def _book(table: str, id: str, kind: str, name: str, version: int, document: str) -> Book:
    """Return the book that a stored document is; the same text is read once."""
    return book_of(table=table, id=id, kind=kind, name=name, version=version, document=record.decoded(document))


def _is_latest(model: Model) -> sa.ColumnElement[bool]:
    later = aliased(model)
    same = (later.site_id == model.site_id, later.kind == model.kind, later.name == model.name)
    return sa.not_(sa.exists().where(*same, later.version > model.version))


def _selection(model: Model) -> sa.Select[*tuple[Any, ...]]:
    columns = (model.id, model.kind, model.name, model.version, model.document, model.created_at)
    latest_version = _is_latest(model).label("in_force")
    return sa.select(*columns, latest_version).where(model.site_id == sa.bindparam("site"))


def _one(tx: Tx, statement: sa.Select[*tuple[Any, ...]]) -> BookRow | None:
    row = tx.connection.execute(statement, {"site": tx.site_id}).one_or_none()
    return None if row is None else _book_row(row)


def _book_row(row: Any) -> BookRow:
    members = {**row._mapping, "document": record.decoded(row.document), "in_force": bool(row.in_force)}
    return BookRow(**members)


def _both_tables(*conditions: str) -> sa.CompoundSelect[*tuple[Any, ...]]:
    """Return the one query of books from both tables, narrowed to kinds in force or to ids; built once."""
    selects = []
    for table, model in TABLES.items():
        columns = (sa.literal(table), model.id, model.kind, model.name, model.version, model.document)
        chosen = sa.select(*columns).where(model.site_id == sa.bindparam("site"))
        if "kinds" in conditions:
            chosen = chosen.where(model.kind.in_(sa.bindparam("kinds", expanding=True)), _is_latest(model))
        if "ids" in conditions:
            chosen = chosen.where(model.id.in_(sa.bindparam("ids", expanding=True)))
        selects.append(chosen)
    return sa.union_all(*selects)


_IN_FORCE: Final = _both_tables("kinds")
_OF_IDS: Final = _both_tables("ids")
