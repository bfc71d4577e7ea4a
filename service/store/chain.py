"""The rows that a write leaves, by the hash of their content: collected at the one door of all writes.

The unit of work gives its connection a ``Touched``; what SQLAlchemy executes there is noted, so that no write can be
forgotten: a table is in the chain unless ``OUTSIDE`` says why it is not. The journal names the hashes (``journal``).

A hash is over content, not over what an engine stores: a row is the JSON of its table and of its members that are not
None, sorted; moments in UTC with six digits, identifiers with hyphens. A column that is added later and is NULL in old
rows changes no hash; any other change of a table needs a new baseline (``baseline``).
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from hashlib import sha256
from typing import Any, Final
from urllib.parse import unquote
from uuid import UUID

import orjson
import sqlalchemy as sa
from sqlalchemy.sql.dml import Delete, Insert, Update

from service.moments import rfc3339
from service.store.models import Base, UTCDateTime

OUTSIDE: Final[Mapping[str, str]] = {
    "journal": "it is the chain",
    "journal_rows": "the chain names the digest of what stands here",
    "site_heads": "the end of the chain; held against its last row",
    "idempotency_keys": "answers kept for seven days, to repeat them; what they did is in the chain",
    "deliveries": "state of delivery; what is delivered is in the chain",
    "delivery_attempts": "state of delivery",
    "desk_sessions": "who looks at pages for some hours; nothing of the plant",
}
"""Tables that are not in the chain, and why."""
OUTSIDE_COLUMNS: Final[Mapping[tuple[str, str], str]] = {
    ("sites", "books_version"): "a counter by which processes know that a book was entered",
    ("api_keys", "last_used_at"): "written at most once an hour by whoever uses the key",
    ("subscriptions", "position"): "state of delivery",
    ("subscriptions", "not_before"): "state of delivery",
    ("subscriptions", "leased_by"): "state of delivery",
    ("subscriptions", "leased_until"): "state of delivery",
}
"""Columns of chained tables that are not in the chain, and why."""
ROWS: Final = "rows_sha256"
"""The member of a journal row's data that names the digest of the rows which its write left."""
BASELINE: Final = "record.baseline"
SITES_BEFORE: Final = "sites before"
"""Not a table: an entry of it names a site that was there when the write came."""
AT_ONCE: Final = 500
PART: Final = 1_000
"""Rows named in one row of ``journal_rows``"""
_OPTION: Final = "touched"

Members = Mapping[str, Any]
Entry = tuple[str, str, str | None]
"""A row by its table and key, and the hash of its content; None when it is gone."""
_Known = dict[tuple[str, str], str | None]
"""By table and key the hash of a row that was only inserted; None: it is looked at when all is written"""


class Raced(Exception):
    """Another transaction changed rows between the look at them and their change; the work is run again."""


@dataclass(frozen=True, slots=True)
class Chained:
    """A table in the chain: its key within a site, its columns and how each is written into the content."""

    table: sa.Table
    site: sa.Column[Any]
    key: tuple[sa.Column[Any], ...]
    columns: tuple[sa.Column[Any], ...]
    writers: tuple[tuple[str, Callable[[Any], Any] | None], ...]
    key_writers: tuple[Callable[[Any], str], ...]
    """What writes each column of the key into the key"""

    def content(self, values: Sequence[Any]) -> bytes:
        """Return the canonical content of a row from the values of ``columns``."""
        members = {
            name: value if write is None else write(value)
            for (name, write), value in zip(self.writers, values, strict=True)
            if value is not None
        }
        return orjson.dumps([self.table.name, members], option=orjson.OPT_SORT_KEYS)

    def digest(self, values: Sequence[Any]) -> str:
        """Return the hash of a row from the values of ``columns``."""
        return sha256(self.content(values)).hexdigest()

    def key_of(self, members: Members) -> str:
        """Return the key of a row within its site."""
        return self.key_from([members[column.key] for column in self.key])

    def key_from(self, values: Sequence[Any]) -> str:
        """Return the key of a row from the values of the columns ``key``."""
        return "/".join(write(value) for write, value in zip(self.key_writers, values, strict=True))

    @property
    def sorted_alike(self) -> bool:
        """Return whether keys have the same order in every engine and as texts: identifiers have, words have not."""
        return all(write is _identifier for write in self.key_writers)


def key_values(key: str) -> list[str]:
    """Return the values of the columns of a key."""
    return [unquote(part) for part in key.split("/")]


def _identifier(value: Any) -> str:
    text = str(value)
    return text.lower() if len(text) == 36 else str(UUID(text))


def _word(value: Any) -> str:
    return str(value).replace("%", "%25").replace("/", "%2F")


def _number(value: Any) -> float:
    return float(value) + 0.0  # SQLite keeps no minus zero


def _writer(column: sa.Column[Any]) -> Callable[[Any], Any] | None:
    """Return what brings a value to the one form that both engines give back; None where nothing is to do."""
    kind = column.type
    if isinstance(kind, sa.Uuid):
        return _identifier
    if isinstance(kind, UTCDateTime):
        return rfc3339
    if isinstance(kind, sa.Boolean):
        return bool
    if isinstance(kind, sa.Float):
        return _number
    if isinstance(kind, sa.Integer):
        return int
    if isinstance(kind, sa.Text):
        return None
    raise TypeError(f"{column}: no form for {kind!r} in the chain")


@cache
def chained() -> Mapping[str, Chained]:
    """Return the tables in the chain by name: all that ``OUTSIDE`` does not list."""
    return {name: _chained(table) for name, table in Base.metadata.tables.items() if name not in OUTSIDE}


def _chained(table: sa.Table, present: frozenset[str] | None = None) -> Chained:
    columns = tuple(
        column
        for column in table.columns
        if (table.name, column.key) not in OUTSIDE_COLUMNS and (present is None or column.key in present)
    )
    site = table.c.id if table.name == "sites" else table.c.site_id
    key = tuple(column for column in table.primary_key if column.key != "site_id")
    key_writers = tuple(_identifier if isinstance(column.type, sa.Uuid) else _word for column in key)
    return Chained(table, site, key, columns, tuple((column.key, _writer(column)) for column in columns), key_writers)


class Touched:
    """The rows that a transaction has written so far, in the order in which they were first touched.

    A row that was only inserted is known by what was inserted; any other is looked at when all is written.
    """

    def __init__(self, site_id: str) -> None:
        self.site_id = site_id
        self._rows: _Known = {}
        self._sites_before: list[str] = []
        self.gone: list[dict[str, Any]] = []
        """What of the tables outside was deleted because its time was over"""
        self._expected = 0
        self._kept: list[_Known] = []

    def insert(self, table: str, rows: Iterable[Members], *, complete: bool = True) -> None:
        """Note rows that were inserted; not ``complete``: the database itself gave some of their members."""
        known = chained()[table]
        for members in rows:
            self._refuse_foreign(members[known.site.key], table)
            at = (table, known.key_of(members))
            only = complete and at not in self._rows
            self._rows[at] = known.digest([members.get(column.key) for column in known.columns]) if only else None

    def name_sites(self, sites: Sequence[str]) -> None:
        """Note sites that were there before: if one vanishes, the chain of another still names it."""
        self._sites_before += sites

    def entries(self, connection: sa.Connection) -> list[Entry]:
        """Return the rows as the transaction leaves them."""
        found: dict[tuple[str, str], str] = {}
        wanted: dict[str, list[str]] = {}
        for at, digest in self._rows.items():
            if digest is None:
                wanted.setdefault(at[0], []).append(at[1])
            else:
                found[at] = digest
        for table, keys in wanted.items():
            found |= {(table, key): digest for key, digest in _stored(connection, table, self.site_id, keys)}
        rows: list[Entry] = [(*at, found.get(at)) for at in self._rows]
        return [*rows, *((SITES_BEFORE, site, None) for site in self._sites_before)]

    def _refuse_foreign(self, site_id: Any, table: str) -> None:
        if _identifier(site_id) != self.site_id:
            raise AssertionError(f"a write of site {self.site_id} reaches a row of {table} of site {site_id}")

    def before(self, connection: sa.Connection, statement: Update | Delete, given: Sequence[Any]) -> None:
        """Look which rows a change or a deletion reaches, and hold them."""
        known = chained()[_table_of(statement)]
        wanted = sa.select(known.site, *known.key)
        if statement.whereclause is not None:
            wanted = wanted.where(statement.whereclause)
        self._expected = 0
        for values in given or ({},):
            for site_id, *key in connection.execute(wanted.with_for_update(), values):
                self._refuse_foreign(site_id, known.table.name)
                self._rows[known.table.name, known.key_from(key)] = None
                self._expected += 1

    def after(self, connection: sa.Connection, result: sa.CursorResult[Any]) -> None:
        """See that a change reached the rows that were looked at; SQLite has one writer, so none comes between."""
        if connection.dialect.name != "sqlite" and result.rowcount not in (-1, self._expected):
            raise Raced

    def keep(self) -> None:
        """Note what was touched when a savepoint was made."""
        self._kept.append(dict(self._rows))

    def end(self, *, back: bool) -> None:
        """End the savepoint that was made last; ``back``: forget what was touched since."""
        kept = self._kept.pop()
        if back:
            self._rows = kept


def touched_on(connection: sa.Connection) -> Touched | None:
    """Return what notes the writes of a connection, None outside the unit of work."""
    found: Touched | None = connection.get_execution_options().get(_OPTION)
    return found


def name_sites(connection: sa.Connection, sites: Sequence[str]) -> None:
    """Have the write name sites that were there before it."""
    touched = touched_on(connection)
    if touched is not None:
        touched.name_sites(sites)


def note_gone(connection: sa.Connection, table: str, count: int, until: datetime) -> None:
    """Have the journal say how many rows of a table outside were deleted, and that they were of before a moment."""
    touched = touched_on(connection)
    if touched is not None and count:
        touched.gone.append({"what": table, "count": count, "until": rfc3339(until)})


def insert_rows(connection: sa.Connection, table: str, rows: Iterable[Members]) -> None:
    """Note rows that were inserted past SQLAlchemy, with all their members but those that are None."""
    touched = touched_on(connection)
    if touched is not None:
        touched.insert(table, rows)


def noting(connection: sa.Connection, touched: Touched) -> sa.Connection:
    """Return the connection, whose writes are noted from now on."""
    return connection.execution_options(**{_OPTION: touched})


def listen(engine: sa.Engine) -> None:
    """Note what is written through the engine's connections, where somebody asked for it (``noting``)."""

    @sa.event.listens_for(engine, "before_execute")
    def before(
        connection: sa.Connection, statement: Any, multiparams: Any, params: Any, _options: Mapping[str, Any]
    ) -> None:
        if isinstance(statement, Update | Delete) and _concerns(statement):
            touched = touched_on(connection)
            if touched is not None:
                touched.before(connection, statement, multiparams or ([params] if params else ()))

    @sa.event.listens_for(engine, "after_execute")
    def after(
        connection: sa.Connection,
        statement: Any,
        _multiparams: Any,
        _params: Any,
        _options: Mapping[str, Any],
        result: Any,
    ) -> None:
        if not isinstance(statement, Insert | Update | Delete) or not _concerns(statement):
            return
        touched = touched_on(connection)
        if touched is None:
            return
        if isinstance(statement, Insert):
            given = result.context.compiled_parameters
            touched.insert(_table_of(statement), given, complete=_is_complete(statement, given))
        else:
            touched.after(connection, result)

    @sa.event.listens_for(engine, "savepoint")
    def savepoint(connection: sa.Connection, _name: str | None) -> None:
        touched = touched_on(connection)
        if touched is not None:
            touched.keep()

    @sa.event.listens_for(engine, "rollback_savepoint")
    def rollback_savepoint(connection: sa.Connection, _name: str, _context: None) -> None:
        touched = touched_on(connection)
        if touched is not None:
            touched.end(back=True)

    @sa.event.listens_for(engine, "release_savepoint")
    def release_savepoint(connection: sa.Connection, _name: str, _context: None) -> None:
        touched = touched_on(connection)
        if touched is not None:
            touched.end(back=False)


def _table_of(statement: Any) -> str:
    """Return the name of the table that a statement writes."""
    return str(statement.table.name)


def _concerns(statement: Insert | Update | Delete) -> bool:
    """Return whether a statement writes what is in the chain."""
    table = _table_of(statement)
    if table in OUTSIDE:
        return False
    if isinstance(statement, Update) and statement._values:
        return any((table, getattr(column, "key", column)) not in OUTSIDE_COLUMNS for column in statement._values)
    return True


def _is_complete(statement: Insert, given: Sequence[Members]) -> bool:
    """Return whether the parameters of an insertion are all that the row holds.

    Raises
    ------
    AssertionError
        It is of a kind whose rows are not told by its parameters.
    """
    if statement.select is not None or statement._multi_values or statement._post_values_clause is not None:
        raise AssertionError(f"rows of {_table_of(statement)} are inserted in a way that the chain cannot follow")
    for value in (statement._values or {}).values():
        if not (isinstance(value, sa.BindParameter) and value.unique):
            return False
    known = chained()[_table_of(statement)]
    has = given[0]
    return all(column.key in has or column.server_default is None for column in known.columns)


def _stored(connection: sa.Connection, table: str, site_id: str, keys: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield keys and hashes of those of the rows that are there."""
    known = chained()[table]
    for start in range(0, len(keys), AT_ONCE):
        some = [key_values(key) for key in keys[start : start + AT_ONCE]]
        of_some = known.key[0].in_([key for (key,) in some]) if len(known.key) == 1 else sa.tuple_(*known.key).in_(some)
        wanted = sa.select(*known.columns).where(known.site == site_id, of_some)
        for row in connection.execute(wanted):
            yield known.key_of(dict(row._mapping)), known.digest(tuple(row))


def contents(connection: sa.Connection, known: Chained, site_id: str) -> Iterator[tuple[str, str]]:
    """Yield key and hash of each row of a site in a table, in the order of the keys, without holding them all."""
    names = [column.key for column in known.columns]
    places = [names.index(column.key) for column in known.key]
    wanted = sa.select(*known.columns).where(known.site == site_id).order_by(*known.key)
    with connection.execute(wanted.execution_options(yield_per=PART)) as rows:
        for row in rows:
            values = tuple(row)
            yield known.key_from([values[place] for place in places]), known.digest(values)


def baseline(connection: sa.Connection, site_id: str) -> Iterator[Entry]:
    """Yield every row of a site as it is, in the tables and columns that the database has, and the sites beside it.

    A migration may stand before later ones that add tables and columns: what is not there yet is left out.
    """
    inspector = sa.inspect(connection)
    there = set(inspector.get_table_names())
    for name, known in chained().items():
        if name in there:
            present = frozenset(column["name"] for column in inspector.get_columns(name))
            for key, digest in contents(connection, _chained(known.table, present), site_id):
                yield name, key, digest
    sites = Base.metadata.tables["sites"]
    others = sa.select(sites.c.id).where(sites.c.id != site_id).order_by(sites.c.id)
    for other in connection.execute(others).scalars().all():
        yield SITES_BEFORE, other, None


def parts(entries: Iterable[Entry]) -> Iterator[str]:
    """Yield the entries as texts of at most ``PART`` entries each, as ``journal_rows`` keeps them."""
    some: list[Entry] = []
    for entry in entries:
        some.append(entry)
        if len(some) == PART:
            yield orjson.dumps(some).decode()
            some = []
    if some:
        yield orjson.dumps(some).decode()


class Digest:
    """The digest of parts, one after the other."""

    def __init__(self) -> None:
        self._sum = sha256()

    def add(self, part: str) -> None:
        """Take the next part in."""
        self._sum.update(sha256(part.encode()).digest())

    @property
    def text(self) -> str:
        """Return the digest of the parts so far."""
        return self._sum.hexdigest()
