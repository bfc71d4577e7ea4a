"""Verifying the record: each journal followed from its first row, and every row of every table held against it.

What the journals say of a row last is kept in a file of SQLite's own that is gone afterwards; tables are read in the
order of their keys beside it. So a record of any size is verified in the same memory.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any, Final

import orjson
import sqlalchemy as sa

from service.moments import rfc3339
from service.store import chain
from service.store.baseline import NEW_CHAIN
from service.store.database import Database
from service.store.journal import FIRST_HASH, row_hash
from service.store.models import Base, JournalEntry, JournalRows, Site, SiteHead
from service.use_cases.checks.anchors import Head

TELL_EVERY: Final = 50_000
_SCRATCH: Final = (
    "PRAGMA journal_mode = OFF",
    "PRAGMA synchronous = OFF",
    "PRAGMA cache_size = -16384",
    "CREATE TABLE expected (tab TEXT, key TEXT, hash TEXT, PRIMARY KEY (tab, key)) WITHOUT ROWID",
    "CREATE TABLE sorted (key TEXT PRIMARY KEY, hash TEXT) WITHOUT ROWID",
)


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that the chain does not bear out: in which site and table, which row, and what is wrong with it."""

    site_code: str
    table: str
    key: str
    what: str


@dataclass(slots=True)
class Audited:
    """What was verified of a site: journal rows and rows of tables, and how many faults were found, [-]."""

    site_code: str
    journal_rows: int = 0
    rows: int = 0
    faults: int = 0
    heads: int = 0
    """Anchored heads that the journal goes on from, [-]"""
    baseline: str | None = None
    """The last row of the journal that took all rows as they were, with the reason; None: none did"""


@dataclass(frozen=True, slots=True)
class Reached:
    """How far a verification has come: rows so far, [-]."""

    site_code: str
    table: str
    rows: int


Told = Fault | Audited | Reached


def audit(database: Database, site_code: str | None = None, anchors: Sequence[Head] = ()) -> Iterator[Told]:
    """Yield what is found: faults as they come, now and then how far it got, and the sum of each site at its end.

    Parameters
    ----------
    site_code : str or None
        One site; without it also sites are looked for that vanished, and rows of no site.
    anchors : sequence of Head
        Ends of journals as they were signed once: each journal must hold them.
    """
    with database.reading(snapshot=True) as connection:
        yield from audit_on(connection, site_code, anchors)


def audit_on(connection: sa.Connection, site_code: str | None = None, anchors: Sequence[Head] = ()) -> Iterator[Told]:
    """Yield what ``audit`` does, of what a transaction sees."""
    rows = connection.execute(sa.select(Site.id, Site.code).order_by(Site.code)).all()
    known = {row.id: row.code for row in rows}
    named: dict[str, str] = {}
    for site_id, code in known.items():
        if site_code in (None, code):
            wanted = [head for head in anchors if head.site_id == site_id]
            with closing(_Audit(connection, site_id, code, wanted, named)) as of_site:
                yield from of_site.told()
    if site_code is None:
        yield from _vanished(connection, known, named, anchors)


def _vanished(
    connection: sa.Connection, known: Mapping[str, str], named: Mapping[str, str], anchors: Sequence[Head]
) -> Iterator[Fault]:
    """Yield the sites that others or anchors name and that are gone, and rows whose site is not on record."""
    for site_id, code in named.items():
        if site_id not in known:
            yield Fault("-", "sites", site_id, f"the site is gone; the journal of {code} names it")
    for head in anchors:
        if head.site_id not in known:
            yield Fault(head.site_code, "sites", head.site_id, "the site is gone; an anchor names it")
    for table in Base.metadata.tables.values():
        if "site_id" in table.c:
            strays = sa.select(table.c.site_id, sa.func.count()).group_by(table.c.site_id)
            for site_id, count in connection.execute(strays.where(table.c.site_id.not_in(sa.select(Site.id)))):
                yield Fault("-", table.name, site_id, f"{count} rows belong to a site that is not on record")


@dataclass(frozen=True, slots=True)
class _Row:
    """A journal row as the verification needs it: what it says of rows."""

    seq: int
    digest: str | None
    begins: bool
    """Whether it is a baseline: what was said of rows before it does not count any more."""


@dataclass
class _Audit:
    """The verification of one site."""

    connection: sa.Connection
    site_id: str
    code: str
    anchors: Sequence[Head]
    named: dict[str, str]
    scratch: sqlite3.Connection = field(default_factory=lambda: sqlite3.connect("", isolation_level=None))
    done: Audited = field(init=False)

    def __post_init__(self) -> None:
        self.done = Audited(self.code)
        for statement in _SCRATCH:
            self.scratch.execute(statement)

    def close(self) -> None:
        """Let go of what was kept for the comparison."""
        self.scratch.close()

    def told(self) -> Iterator[Told]:
        """Yield what is found in the site, and its sum."""
        for each in self._all():
            if isinstance(each, Fault):
                self.done.faults += 1
            yield each
        yield self.done

    def _all(self) -> Iterator[Fault | Reached]:
        self.scratch.execute("BEGIN")
        yield from self._readable("journal", self._journal())
        self.scratch.execute("COMMIT")
        for name, known in chain.chained().items():
            yield from self._readable(name, self._table(name, known))
        stray = self.scratch.execute("SELECT DISTINCT tab FROM expected").fetchall()
        for (name,) in stray:
            if name not in chain.chained():
                yield self._fault(name, "-", "the journal names rows of a table that is not in the chain")

    def _readable(self, name: str, told: Iterator[Fault | Reached]) -> Iterator[Fault | Reached]:
        """Yield what is found, and that a table cannot be read on: a value in it is of no kind that its column has."""
        try:
            yield from told
        except (ValueError, TypeError, AttributeError) as error:
            yield self._fault(name, "-", f"a row cannot be read, nor those behind it: {error}")

    def _fault(self, table: str, key: object, what: str) -> Fault:
        return Fault(self.code, table, str(key), what)

    def _journal(self) -> Iterator[Fault | Reached]:
        """Follow the journal, and keep what it says last of each row."""
        seq, previous = 0, FIRST_HASH
        wanted = {(head.seq, head.hash) for head in self.anchors}
        parts = _Parts(self.connection, self.site_id)
        restart = self._restart()
        for row in self._entries():
            for missing in range(seq + 1, min(row["seq"], seq + 1001)):
                yield self._fault("journal", missing, "the row is missing")
            if row["seq"] == seq + 1 and row["prev_hash"] != previous:
                yield self._fault("journal", row["seq"], "the row does not name the hash of the row before it")
            try:
                whole = row_hash(row["prev_hash"], row) == row["hash"]
                left = _told_of_rows(row)
            except (ValueError, TypeError, AttributeError):
                whole, left = False, _Row(row["seq"], None, False)
            if not whole:
                yield self._fault("journal", row["seq"], "the row differs from its hash")
            if left.begins:
                self.done.baseline = f"row {row['seq']} of {rfc3339(row['at'])}, {_why(row['data'])}"
            yield from self._parts(left, parts, counts=row["seq"] >= restart)
            seq, previous = row["seq"], row["hash"]
            self._meet(wanted, seq, previous)
            self.done.journal_rows += 1
            if self.done.journal_rows % TELL_EVERY == 0:
                yield Reached(self.code, "journal", self.done.journal_rows)
        for left_over in parts.rest():
            yield self._fault("journal_rows", left_over, "no row of the journal has this number")
        yield from self._end(seq, previous, wanted)

    def _meet(self, wanted: set[tuple[int, str]], seq: int, digest: str) -> None:
        if (seq, digest) in wanted:
            wanted.discard((seq, digest))
            self.done.heads += 1

    def _end(self, seq: int, previous: str, wanted: Iterable[tuple[int, str]]) -> Iterator[Fault]:
        """Hold the end of the journal against its head, and what no row agreed with against the anchors."""
        head = self.connection.execute(
            sa.select(SiteHead.seq, SiteHead.head_hash).where(SiteHead.site_id == self.site_id)
        ).one_or_none()
        if head is None:
            yield self._fault("site_heads", self.site_id, "the head of the journal is missing")
        elif head.seq > seq:
            yield self._fault("journal", seq + 1, f"the row is missing: the head of the journal is at {head.seq}")
        elif head.seq < seq or head.head_hash != previous:
            yield self._fault("site_heads", self.site_id, "the head does not name the last row of the journal")
        for number, _ in sorted(wanted):
            if number == 0:
                self.done.heads += 1
            elif number > seq:
                yield self._fault("journal", number, f"an anchor names this row; the journal ends at {seq}")
            else:
                yield self._fault("journal", number, "the row is not the one that was anchored: history was rewritten")

    def _restart(self) -> int:
        """Return the number of the last row before which no hashes of rows are kept."""
        last = 0
        of_kind = sa.select(JournalEntry.seq, JournalEntry.data).where(
            JournalEntry.site_id == self.site_id, JournalEntry.event_type == chain.BASELINE
        )
        for seq, data in self.connection.execute(of_kind.order_by(JournalEntry.seq)):
            try:
                if orjson.loads(data).get(NEW_CHAIN) is True:
                    last = seq
            except (orjson.JSONDecodeError, AttributeError):
                continue
        return last

    def _entries(self) -> Iterator[dict[str, Any]]:
        """Yield the rows of the journal in order, without holding them all."""
        table = JournalEntry.__table__
        statement = sa.select(table).where(JournalEntry.site_id == self.site_id).order_by(JournalEntry.seq)
        with self.connection.execute(statement.execution_options(yield_per=chain.PART)) as rows:
            for row in rows.mappings():
                yield dict(row)

    def _parts(self, row: _Row, parts: "_Parts", *, counts: bool) -> Iterator[Fault]:
        """Take in what a journal row says of the rows that its write left."""
        digest, texts = chain.Digest(), 0
        if row.begins:
            self.scratch.execute("DELETE FROM expected")
        for seq, part, text in parts.up_to(row.seq):
            if seq != row.seq:
                yield self._fault("journal_rows", seq, "no row of the journal has this number")
                continue
            texts += 1
            if part != texts:
                yield self._fault("journal_rows", row.seq, f"part {texts} is missing")
            digest.add(text)
            if counts:
                yield from self._take(row.seq, text)
        if not counts:
            return
        if row.digest is None and texts:
            yield self._fault("journal_rows", row.seq, "the journal says nothing of these")
        if row.digest is not None and (not texts or digest.text != row.digest):
            yield self._fault(
                "journal_rows", row.seq, "differs from what the journal says of it" if texts else "missing"
            )

    def _take(self, seq: int, text: str) -> Iterator[Fault]:
        try:
            entries = [(str(table), str(key), value) for table, key, value in orjson.loads(text)]
        except (ValueError, TypeError):
            yield self._fault("journal_rows", seq, "cannot be read")
            return
        gone = [(table, key) for table, key, value in entries if value is None and table != chain.SITES_BEFORE]
        self.named |= {key: self.code for table, key, _ in entries if table == chain.SITES_BEFORE}
        self.scratch.executemany(
            "INSERT OR REPLACE INTO expected VALUES (?, ?, ?)", [each for each in entries if each[2] is not None]
        )
        if gone:
            self.scratch.executemany("DELETE FROM expected WHERE tab = ? AND key = ?", gone)

    def _table(self, name: str, known: chain.Chained) -> Iterator[Fault | Reached]:
        """Hold the rows of a table against what the journal says, both in the order of their keys."""
        expected = self.scratch.execute("SELECT key, hash FROM expected WHERE tab = ? ORDER BY key", (name,))
        due = expected.fetchone()
        for key, digest in self._contents(known):
            while due is not None and due[0] < key:
                yield self._fault(name, due[0], "missing")
                due = expected.fetchone()
            if due is None or due[0] != key:
                yield self._fault(name, key, "too many: no write made it")
            else:
                if due[1] != digest:
                    yield self._fault(name, key, "changed")
                due = expected.fetchone()
            self.done.rows += 1
            if self.done.rows % TELL_EVERY == 0:
                yield Reached(self.code, name, self.done.rows)
        while due is not None:
            yield self._fault(name, due[0], "missing")
            due = expected.fetchone()

    def _contents(self, known: chain.Chained) -> Iterator[tuple[str, str]]:
        """Yield key and hash of each row of a table in the order of the keys as texts, whatever the engine's is."""
        rows = chain.contents(self.connection, known, self.site_id)
        if known.sorted_alike:
            yield from rows
            return
        self.scratch.execute("DELETE FROM sorted")
        self.scratch.executemany("INSERT INTO sorted VALUES (?, ?)", rows)
        yield from self.scratch.execute("SELECT key, hash FROM sorted ORDER BY key")


def _told_of_rows(row: Mapping[str, Any]) -> _Row:
    """Return what a journal row says of rows."""
    data = row["data"]
    digest = orjson.loads(data).get(chain.ROWS) if chain.ROWS in data else None
    return _Row(row["seq"], digest, row["event_type"] == chain.BASELINE)


def _why(data: str) -> str:
    """Return the reason of a baseline as its row gives it; it may have been tampered with."""
    try:
        return str(orjson.loads(data)["why"])
    except (ValueError, TypeError, KeyError):
        return "no reason can be read"


class _Parts:
    """The rows of ``journal_rows`` of a site in order, read as far as they are asked for."""

    def __init__(self, connection: sa.Connection, site_id: str) -> None:
        table = JournalRows
        wanted = (
            sa.select(table.seq, table.part, table.rows).where(table.site_id == site_id).order_by(table.seq, table.part)
        )
        self._rows: Iterator[Any] = iter(connection.execute(wanted.execution_options(yield_per=50)))
        self._next: Any = next(self._rows, None)

    def up_to(self, seq: int) -> Iterator[tuple[int, int, str]]:
        """Yield number, part and text of the parts up to a row of the journal."""
        while self._next is not None and self._next[0] <= seq:
            yield tuple(self._next)
            self._next = next(self._rows, None)

    def rest(self) -> Iterator[int]:
        """Yield the numbers of the parts that are left."""
        while self._next is not None:
            yield self._next[0]
            self._next = next(self._rows, None)
