"""The database of a process: an engine made when first needed, after a fork, and the doors to it."""

import logging
import os
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from typing import Any, Final

import sqlalchemy as sa

from service.errors import Busy
from service.secret import Secret, SecretMissing, make_secret, read_secret
from service.settings import Settings
from service.store import chain, engines, fence, migrate, unit_of_work
from service.store.failures import translated
from service.store.models import SiteHead
from service.store.unit_of_work import Event, Idempotency, Tx, Written

LOG = logging.getLogger(__name__)
Told = Callable[[str, tuple[Event, ...]], None]
"""What is told of a commit: the id of the site, and the events that it entered in the journal."""
REPLICA_RESTS_S: Final = 5.0
_TAKES_NO_CHANGES: Final = "SELECT pg_is_in_recovery() OR current_setting('default_transaction_read_only') = 'on'"
_HEAD: Final = sa.select(SiteHead.seq).where(SiteHead.site_id == sa.bindparam("site"))


class Database:
    """What the service knows of its database.

    Parameters
    ----------
    settings : Settings
        Its URL, pool and time limits.

    An engine is made on first use in each process, so that one made before a fork is never used after it.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.writer_lock: threading.Lock | None = threading.Lock() if settings.on_sqlite else None
        self._engines: dict[str, sa.Engine] = {}
        self._pid = 0
        self._making = threading.Lock()
        self._replica_failed_at: float | None = None
        self._watcher: Any = None
        self._watched_by: tuple[int, Any] = (0, None)  # the process, and the file that it has open
        self._watching = threading.Lock()
        self._told: list[Told] = []
        self._secret: Secret | None = None

    @property
    def engine(self) -> sa.Engine:
        """Return the engine of this process."""
        return self._engine_of("primary")

    def _engine_of(self, name: str) -> sa.Engine:
        """Return the engine of this process to the primary or the replica."""
        if self._pid == os.getpid() and name in self._engines:
            return self._engines[name]
        with self._making:
            if self._pid != os.getpid():
                for engine in self._engines.values():
                    engine.dispose(close=False)  # the parent's connections stay the parent's
                self._engines, self._pid = {}, os.getpid()
            if name not in self._engines:
                self._engines[name] = self._made(name)
            return self._engines[name]

    def _made(self, name: str) -> sa.Engine:
        settings = self.settings
        engine = engines.pooled(
            settings.database_url if name == "primary" else settings.database_read_url or "",
            size=settings.pool_size,
            statement_timeout_ms=settings.statement_timeout_ms,
            lock_timeout_ms=settings.lock_timeout_ms,
            pooler=settings.pooler,
            connect_timeout_s=engines.CONNECT_TIMEOUT_S if name == "primary" else engines.REPLICA_CONNECT_TIMEOUT_S,
        )
        chain.listen(engine)
        return engine

    def unchanged_since(self) -> int | None:
        """Return a number that stays the same while no transaction of any process has changed the embedded database.

        SQLite counts the commits of others for each connection, so the one asked here never writes. None on PostgreSQL.
        """
        if not self.settings.on_sqlite:
            return None
        found = self._watched("PRAGMA data_version", {})
        return -time.monotonic_ns() if found is None else int(found[0])  # not known: as if something had changed

    def glanced(self, statement: str, values: Mapping[str, str]) -> tuple[Any, ...] | None:
        """Return the one row that a statement finds in the embedded database, as it is stored, to be compared.

        None when it finds none, cannot be asked, or on PostgreSQL: ask in a transaction then.
        """
        return self._watched(statement, values) if self.settings.on_sqlite else None

    def _watched(self, statement: str, values: Mapping[str, str]) -> tuple[Any, ...] | None:
        with self._watching:
            try:
                file = engines.identity(engines.sqlite_file(self.settings.database_url))
                if self._watcher is None or self._watched_by != (os.getpid(), file):
                    self._watcher = engines.watcher(self.settings.database_url)
                    self._watched_by = (os.getpid(), file)
                rows: list[tuple[Any, ...]] = self._watcher.execute(statement, values).fetchall()
            except sqlite3.Error:
                return None
        return rows[0] if len(rows) == 1 else None

    @contextmanager
    def reading(
        self,
        *,
        site_id: str | None = None,
        before_site: bool = False,
        snapshot: bool = False,
        engine: sa.Engine | None = None,
    ) -> Iterator[sa.Connection]:
        """Yield a connection in a read-only transaction, for questions about all sites unless one is named.

        Parameters
        ----------
        before_site : bool
            Whether the question is which site it is: only keys and sites can be read then.
        snapshot : bool
            Whether all statements see the same moment (on SQLite they always do).

        Raises
        ------
        Busy
            The database cannot answer now.
        """
        options: dict[str, Any] = {} if self.settings.on_sqlite else {"postgresql_readonly": True}
        if snapshot and not self.settings.on_sqlite:
            options["isolation_level"] = "REPEATABLE READ"
        with translated(), (engine or self.engine).connect() as connection:
            connection = connection.execution_options(**options)
            with connection.begin():
                if not before_site:
                    fence.let_through(connection, site_id)
                yield connection

    @contextmanager
    def read(self, site_id: str, *, past: bool = False) -> Iterator[Tx]:
        """Yield a read-only transaction of a site.

        Parameters
        ----------
        past : bool
            Whether the question may go to the replica. It does when the replica has every write of this site that was
            committed before the question came (its journal is as long), else to the primary: whoever reads, in any
            process, reads what was written.

        Raises
        ------
        Busy
            The database cannot answer now.
        """
        with ExitStack() as stack:
            connection = self._of_replica(stack, site_id) if past and self.settings.database_read_url else None
            if connection is None:
                connection = stack.enter_context(self.reading(site_id=site_id))
            yield Tx(connection, site_id, datetime.now(UTC))

    def _of_replica(self, stack: ExitStack, site_id: str) -> sa.Connection | None:
        """Return a connection to the replica, None when it lags behind this site or does not answer."""
        if not self._replica_is_asked():
            return None
        with self.reading(site_id=site_id) as primary:
            written = primary.execute(_HEAD, {"site": site_id}).scalar_one()
        with ExitStack() as opened:
            try:
                connection = opened.enter_context(
                    self.reading(site_id=site_id, snapshot=True, engine=self._engine_of("replica"))
                )
                found = connection.execute(_HEAD, {"site": site_id}).scalar() or 0
            except Busy:
                self._replica_failed_at = time.monotonic()
                return None
            self._replica_failed_at = None
            if found < written:
                return None
            stack.push(opened.pop_all())
            return connection

    def _replica_is_asked(self) -> bool:
        """Return whether to ask the replica: after it did not answer, one question in ``REPLICA_RESTS_S`` tries it.

        A host that is gone lets every connection wait; without this each question about the past would.
        """
        if self._replica_failed_at is None:
            return True
        with self._making:
            now, failed_at = time.monotonic(), self._replica_failed_at
            if failed_at is not None and now - failed_at < REPLICA_RESTS_S:
                return False
            self._replica_failed_at = now
            return True

    def write(
        self,
        *,
        site_id: str,
        actor: str,
        request_id: str,
        work: Callable[[Tx], Written],
        idempotency: Idempotency | None = None,
        dry_run: bool = False,
    ) -> Written:
        """Run ``work`` in the unit of work and return what it wrote; see ``unit_of_work.run``.

        The one door of all writes: whoever asked to be told of commits is told here.
        """
        given = None if dry_run else idempotency
        call = unit_of_work.Call(site_id, actor, request_id, work, given, dry_run, lambda: self.secret)
        written = unit_of_work.run(self.engine, self.writer_lock, call)
        if written.sealed:
            written = unit_of_work.opened(written, self.secret)
        if written.events and not dry_run:
            self._tell(site_id, written.events)
        return written

    @property
    def is_free(self) -> bool:
        """Return whether no thread of this process is writing to the embedded database; PostgreSQL always is."""
        return self.writer_lock is None or not self.writer_lock.locked()

    @property
    def secret(self) -> Secret:
        """Return the secret outside the database; beside the embedded one it is made when it is not there.

        Raises
        ------
        SecretMissing
            There is none, or its file cannot be used.
        """
        if self._secret is None:
            file = self.settings.secret_path
            if file is None:
                raise SecretMissing("CAPSADDLE_SECRET_FILE is not set; its operator must see to it.")
            if self.settings.secret_file is None and not file.exists():
                make_secret(file)
            self._secret = read_secret(file)
        return self._secret

    def tell_of_commits(self, told: Told) -> None:
        """Call ``told`` after each commit of this process that entered events: no way of writing goes past it.

        A dry run and the repetition of a request enter none. What it raises is logged: the write stands.
        """
        self._told.append(told)

    def _tell(self, site_id: str, events: tuple[Event, ...]) -> None:
        for told in self._told:
            try:
                told(site_id, events)
            except Exception:
                LOG.exception("what follows a commit failed; the write stands")

    def ready(self) -> dict[str, Any]:
        """Return whether the database answers, has the schema that this code was written for, and takes changes."""
        expected = migrate.head()
        answer: dict[str, Any] = {"ready": False, "database": False, "writable": False, "migration": None}
        try:
            with translated():
                found = migrate.current(self.engine)
                writable = self._writable()
        except Exception:
            return answer | {"expected_migration": expected}
        answer |= {"ready": found == expected, "database": True, "writable": writable, "migration": found}
        return answer | {"expected_migration": expected}

    def _writable(self) -> bool:
        """Return whether the database takes changes, as far as can be told without one."""
        if self.settings.on_sqlite:
            return os.access(engines.sqlite_file(self.settings.database_url), os.W_OK)
        with self.reading(before_site=True) as connection:
            return not connection.exec_driver_sql(_TAKES_NO_CHANGES).scalar_one()

    def dispose(self) -> None:
        """Close the connections of this process."""
        if self._pid == os.getpid():
            for engine in self._engines.values():
                engine.dispose()
            self._engines = {}
        with self._watching:
            if self._watcher is not None and self._watched_by[0] == os.getpid():
                self._watcher.close()
            self._watcher = None
