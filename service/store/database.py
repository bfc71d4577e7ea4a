"""The database of a process: an engine made when first needed, after a fork, and the doors to it."""

import os
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from service.settings import Settings
from service.store import engines, migrate, unit_of_work
from service.store.failures import translated
from service.store.unit_of_work import Idempotency, Tx, Written


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
        self._engine: sa.Engine | None = None
        self._pid = 0
        self._making = threading.Lock()
        self._watcher: Any = None
        self._watcher_pid = 0
        self._watching = threading.Lock()

    @property
    def engine(self) -> sa.Engine:
        """Return the engine of this process."""
        if self._engine is not None and self._pid == os.getpid():
            return self._engine
        with self._making:
            if self._engine is None or self._pid != os.getpid():
                if self._engine is not None:
                    self._engine.dispose(close=False)  # the parent's connections stay the parent's
                self._engine = engines.pooled(
                    self.settings.database_url,
                    size=self.settings.pool_size,
                    statement_timeout_ms=self.settings.statement_timeout_ms,
                    lock_timeout_ms=self.settings.lock_timeout_ms,
                )
                self._pid = os.getpid()
            return self._engine

    def unchanged_since(self) -> int | None:
        """Return a number that stays the same while no transaction of any process has changed the embedded database.

        SQLite counts the commits of others for each connection, so the one asked here never writes. None on PostgreSQL.
        """
        if not self.settings.on_sqlite:
            return None
        with self._watching:
            try:
                if self._watcher is None or self._watcher_pid != os.getpid():
                    self._watcher = engines.watcher(self.settings.database_url)
                    self._watcher_pid = os.getpid()
                found: int = self._watcher.execute("PRAGMA data_version").fetchone()[0]
            except sqlite3.Error:
                return -time.monotonic_ns()  # not known: as if something had changed
            return found

    @contextmanager
    def reading(self, *, snapshot: bool = False) -> Iterator[sa.Connection]:
        """Yield a connection in a read-only transaction, for questions that come before the site is known.

        Parameters
        ----------
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
        with translated(), self.engine.connect() as connection:
            connection = connection.execution_options(**options)
            with connection.begin():
                yield connection

    @contextmanager
    def read(self, site_id: str) -> Iterator[Tx]:
        """Yield a read-only transaction of a site.

        Raises
        ------
        Busy
            The database cannot answer now.
        """
        with self.reading() as connection:
            yield Tx(connection, site_id, datetime.now(UTC))

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
        """Run ``work`` in the unit of work and return what it wrote; see ``unit_of_work.run``."""
        call = unit_of_work.Call(site_id, actor, request_id, work, None if dry_run else idempotency, dry_run)
        return unit_of_work.run(self.engine, self.writer_lock, call)

    def ready(self) -> dict[str, Any]:
        """Return whether the database answers and has the schema that this code was written for."""
        expected = migrate.head()
        try:
            with translated():
                found = migrate.current(self.engine)
        except Exception:
            return {"ready": False, "database": False, "migration": None, "expected_migration": expected}
        return {"ready": found == expected, "database": True, "migration": found, "expected_migration": expected}

    def dispose(self) -> None:
        """Close the connections of this process."""
        if self._engine is not None and self._pid == os.getpid():
            self._engine.dispose()
            self._engine = None
        with self._watching:
            if self._watcher is not None and self._watcher_pid == os.getpid():
                self._watcher.close()
            self._watcher = None
